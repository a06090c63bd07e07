"""The rig, asked for one thing at a time, and written to rig.toml as it is answered."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from fit.desk.bench.rig import show_or_write_rig
from fit.desk.book.desk import Desk, Outcome
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.bench import card_bench, virtual_bench
from fit.desk.guide.console import LEAVING
from fit.desk.guide.scene import Scene
from fit.desk.guide.session import Manner, Memory, Question, Step, converse, prompt_of, refusal
from fit.desk.show.words import CAUTIONS, plain_text
from measure.logbook.store import open_logbook

MANNER = Manner(
    how_to="Enter takes what stands in brackets; ? explains, b goes back, q leaves; what is answered is written at once.",
    leaving=LEAVING,
    rehearsal="coilsweep rig --ask --virtual",
)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Person:
    """Somebody at a terminal; there is nothing to keep, since rig.toml holds what was answered."""

    show: Callable[[str], None]
    read_line: Callable[[str], str | None]
    manner: Manner = MANNER

    def tell(self, line: str) -> None:
        self.show(plain_text(line))

    def refuse(self, why: str) -> None:
        self.tell(refusal(why))

    def ask(self, question: Question, *, can_go_back: bool = False) -> str | None:
        del can_go_back
        return self.read_line(f"{prompt_of(question)} ")

    def keep(self, memory: Memory) -> None:
        del memory


def ask_rig(desk: Desk, read_line: Callable[[str], str | None], *, virtual: bool = False) -> Outcome:
    """Ask for what a rig states, and write each answer.

    Parameters
    ----------
    desk : Desk
        Where; `tell` shows the questions.
    read_line : callable
        Prints a prompt and reads a line; None at the end of input.
    virtual : bool
        On the virtual bench, which has no devices to choose from.

    Returns
    -------
    Outcome
        The rig as it is then, and what is missing; sound card trouble where the person left since there is none.
    """
    logbook = open_logbook(desk.logbook, create=True)
    for caution in CAUTIONS:
        desk.say(caution)
    person = _Person(show=desk.tell, read_line=read_line)
    person.tell(MANNER.how_to)
    bench = virtual_bench(desk, "pickup") if virtual else card_bench(desk)
    if virtual:
        person.tell("Rehearsed on the virtual bench, which has no devices to choose from.")

    def next_step(memory: Memory) -> Step | None:
        return rig_stage(Scene(desk=desk, memory=memory, bench=bench, manner=MANNER))

    ending = converse(next_step, Memory(job="pickup"), person)
    desk.tell("")
    return replace(show_or_write_rig(replace(desk, logbook=logbook.path), {}), exit_code=ending.exit_code)
