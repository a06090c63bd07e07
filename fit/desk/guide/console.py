"""The guide at a terminal: prompts, the session kept in the logbook, leaving and going on."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType
from typing import cast

import msgspec

from fit.desk.book.desk import Desk, Outcome
from fit.desk.guide import capacitor as guide_capacitor
from fit.desk.guide import compare as guide_compare
from fit.desk.guide import guitar as guide_guitar
from fit.desk.guide import pickup as guide_pickup
from fit.desk.guide import wiring as guide_wiring
from fit.desk.guide.page import wrapped
from fit.desk.guide.plan import with_further
from fit.desk.guide.scene import Bench, Scene
from fit.desk.guide.session import (
    OFFERS,
    WORDS,
    Ending,
    Entry,
    Job,
    Manner,
    Memory,
    Question,
    Step,
    Talk,
    answer_of,
    converse,
    one_of,
    prompt_of,
    refusal,
)
from fit.desk.show.document.guided import Answered, GuideDocument
from fit.desk.show.document.guitar import WiringDocument
from fit.desk.show.words import SIMULATED_TEXT, plain_text, table_lines
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.disk import DAMAGE, describe, one_line, read_small
from measure.logbook.store import Logbook, list_takes, open_logbook, write_result

LIMIT_BYTES = 2_000_000  # of the file of a session; a long one has some 20 kB
JOBS: dict[Job, ModuleType] = {
    "guitar": guide_guitar,
    "pickup": guide_pickup,
    "capacitor": guide_capacitor,
    "compare": guide_compare,
    "wiring": guide_wiring,
}
MOST_COLUMNS = 130
HOW_TO = "Enter takes what stands in brackets; ? explains, b goes back, q leaves (to go on later)."
LEAVING = "q leaves, and the same command goes on later"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Keeper:
    """A person at a terminal, and the file that keeps the session.

    Attributes
    ----------
    read_line : callable
        Prints a prompt and reads a line; None at the end of input.
    """

    logbook: Logbook
    manner: Manner
    show: Callable[[str], None]
    read_line: Callable[[str], str | None]

    def tell(self, line: str) -> None:
        """Show a line."""
        width = max(60, min(shutil.get_terminal_size((MOST_COLUMNS, 24)).columns, MOST_COLUMNS))
        for part in wrapped(plain_text(line), width):
            self.show(part)

    def refuse(self, why: str) -> None:
        """Say why an answer will not do."""
        self.tell(refusal(why))

    def ask(self, question: Question, *, can_go_back: bool = False) -> str | None:
        """Ask and wait.

        Returns
        -------
        str or None
            What was typed; None at the end of input.
        """
        del can_go_back  # b is always said of
        return self.read_line(f"{prompt_of(question)} ")

    def keep(self, memory: Memory) -> None:
        """Keep the session."""
        keep_session(self.logbook, memory)


def keep_session(logbook: Logbook, memory: Memory) -> None:
    """Keep a session in its logbook, so that it can be gone on with."""
    write_result(logbook, file_name(memory.job), msgspec.json.format(msgspec.json.encode(memory), indent=1))


def file_name(job: Job) -> str:
    """Name of the file that keeps a session, in the logbook's results.

    Returns
    -------
    str
        A guide of its own for each job.
    """
    return f"guide-{job}.json"


def run_guide(desk: Desk, job: Job, *, virtual: bool, bench: Bench, read_line: Callable[[str], str | None]) -> Outcome:
    """Lead a person through a job.

    Parameters
    ----------
    desk : Desk
        Where; `tell` shows the session, `say` does where only a document is wanted.
    bench : Bench
        Where takes come from.
    read_line : callable
        Prints a prompt and reads a line.

    Returns
    -------
    Outcome
        How it ended; lines were told on the way.

    Raises
    ------
    KeyboardInterrupt
        As it comes, after a word how to go on.
    """
    manner = Manner(how_to=HOW_TO, leaving=LEAVING, rehearsal=f"coilsweep guide {job} --virtual")
    talk = Keeper(logbook=open_logbook(desk.logbook, create=True), manner=manner, show=desk.tell, read_line=read_line)
    going_on = f"To go on: {' '.join(['coilsweep guide', job, *(['--virtual'] if virtual else [])])}, with the same logbook."
    try:
        ending = lead(desk, job, talk, virtual=virtual, bench=bench)
    except KeyboardInterrupt:
        desk.say(f"\n{going_on}")
        raise
    if ending is not None and not ending.is_finished:
        desk.tell(f"Left; nothing is lost. {going_on}")
    return Outcome(lines=(), document=document_of(desk, job, ending), exit_code=0 if ending is None else ending.exit_code)


def lead(desk: Desk, job: Job, talk: Talk, *, virtual: bool, bench: Bench, further: Conditions | None = None) -> Ending | None:
    """Lead a person through a job, however they are met.

    Parameters
    ----------
    talk : Talk
        Shows, asks, and keeps the session.
    further : Conditions or None
        Of a take that is to be made besides, where the session has come far enough.

    Returns
    -------
    Ending or None
        None where a session that is finished already is to stay as it is.
    """
    memory = _begin(open_logbook(desk.logbook, create=True), job, virtual=virtual, talk=talk, further=further)
    if memory is None:
        return None

    def next_step(memory: Memory) -> Step | None:
        return JOBS[job].next_step(Scene(desk=desk, memory=memory, bench=bench, manner=talk.manner))

    return converse(next_step, memory, talk)


def choose_job(desk: Desk, *, virtual: bool, read_line: Callable[[str], str | None]) -> Job | Outcome:
    """Offer the jobs.

    Returns
    -------
    str or Outcome
        The job; how it ended where the person left.
    """
    names: tuple[Job, ...] = tuple(JOBS)
    rows: list[tuple[str, ...]] = [(str(number), name, OFFERS[name]) for number, name in enumerate(names, start=1)]
    for line in ("What do you want to know?", *table_lines(rows)):
        desk.tell(line)
    if not virtual:
        desk.tell("Without a sound card: coilsweep guide --virtual rehearses each of them.")
    while (typed := read_line("Which, by its number? [1] ")) is not None and WORDS.get(typed.strip().lower()) != "leave":
        try:
            return cast("Job", one_of(names)(typed.strip() or "1"))
        except ValueError as err:
            desk.tell(refusal(plain_text(str(err))))
    document = GuideDocument(job=None, logbook=str(desk.logbook), finished=False, report=None, answer=None)
    return Outcome(lines=(), document=document)


def read_memory(logbook: Logbook, job: Job) -> Memory | None:
    """Read a session that was left.

    Raises
    ------
    FileError
        If its file is damaged.
    """
    path = logbook.path / "results" / file_name(job)
    if not path.exists():
        return None
    try:
        memory = msgspec.json.decode(read_small(path, LIMIT_BYTES, below=logbook.path), type=Memory)
    except DAMAGE as err:
        msg = f"{one_line(path)} is damaged ({describe(err, {})}): delete it; takes and rig stay, and the guide begins anew"
        raise FileError(msg) from err
    if memory.job != job:
        msg = f'{path} belongs to the guide "{memory.job}": delete it; takes and rig stay, and the guide begins anew'
        raise FileError(msg)
    return _with_takes(memory, {take.name for take in list_takes(logbook).takes})


# A take whose folder was deleted is made again, with all that rested on it. Nothing is played on going on: where a sweep was
# interrupted, the person is asked again.
def _with_takes(memory: Memory, names: set[str]) -> Memory:
    entries = memory.entries
    while True:
        while entries and entries[-1].key.startswith("ready."):
            entries = entries[:-1]
        keys = [entry.key for entry in entries]
        lost = next((place for place, entry in enumerate(entries) if _is_lost(entry, names)), None)
        if lost is None:
            return msgspec.structs.replace(memory, entries=entries)
        asked = f"ready.{keys[lost].removeprefix('take.')}"
        entries = entries[: next((place for place in range(lost, -1, -1) if keys[place] == asked), lost)]


def _is_lost(entry: Entry, names: set[str]) -> bool:
    return entry.key.startswith("take.") and entry.answer not in names


def _begin(logbook: Logbook, job: Job, *, virtual: bool, talk: Talk, further: Conditions | None) -> Memory | None:
    """Begin, or go on; None where a finished session is to stay as it is.

    Raises
    ------
    FileError
        If the session that was left took place on the other kind of bench.
    """
    memory = read_memory(logbook, job)
    talk.tell(JOBS[job].STORY)
    if virtual:
        talk.tell(SIMULATED_TEXT)
    talk.tell(talk.manner.how_to)
    if memory is None or not memory.entries:
        return Memory(job=job, virtual=virtual)
    if memory.virtual != virtual:
        how = "go on with --virtual" if memory.virtual else "go on without --virtual"
        kind = "the virtual" if memory.virtual else "a real"
        msg = f"the guide in {logbook.path} was begun on {kind} bench: {how}, or use another folder by --logbook"
        raise FileError(msg)
    longer = None if further is None else with_further(memory, further)
    if longer is not None:
        talk.tell(f"One more take; {_made(memory)}.")
        return longer
    report = answer_of(memory, "report")
    if not report:
        talk.tell(f"Going on where you left; {_made(memory)}.")
        return memory
    talk.tell(f"This guide is finished; its report: {report}")
    anew = Question(
        key="anew",
        text="Begin anew; the takes so far stay in the logbook: yes or no?",
        default="no",
        read=one_of(("yes", "no")),
    )
    typed = talk.ask(anew)
    if typed is not None and typed.strip().lower() in ("y", "yes"):
        return Memory(job=job, virtual=virtual)
    return None


def takes_of(memory: Memory) -> tuple[str, ...]:
    """List the takes that a session made, as the logbook names them."""
    return tuple(entry.answer for entry in memory.entries if entry.key.startswith("take."))


def _made(memory: Memory) -> str:
    names = takes_of(memory)
    return f"takes so far: {', '.join(names)}" if names else "no take was made yet"


def document_of(desk: Desk, job: Job, ending: Ending | None) -> GuideDocument:
    """Put the end of a session for programs."""
    is_finished = ending is not None and ending.is_finished
    report = "" if ending is None or not is_finished else answer_of(ending.memory, "report")
    documents = () if ending is None else ending.documents
    wiring = next((one for one in documents if job == "guitar" and isinstance(one, WiringDocument)), None)
    answer = next((one for one in documents if one is not wiring), None)
    return GuideDocument(
        job=job,
        logbook=str(desk.logbook),
        finished=is_finished,
        report=report or None,
        answer=cast("Answered | None", answer),  # jobs ask nothing else
        wiring=wiring,
    )
