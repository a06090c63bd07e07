"""A guided session as data: what is asked, what was answered, how an answer leads on. No terminal, no disk.

A session is a list of entries, each a key with its answer. Given the entries so far, a job's stages say what comes next: a
question to the person, or a deed of the guide's own. So a session can be left after any entry and resumed from it, and going
back is taking entries away.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import msgspec

from fit.desk.show.document.pieces import Document
from fit.desk.show.sheet import Sheet
from measure.logbook.conditions import Conditions

Job = Literal["guitar", "pickup", "capacitor", "compare", "wiring"]
OFFERS: dict[Job, str] = {
    "guitar": "a whole guitar that stays closed: what is in it?",
    "pickup": "a pickup on the bench: what is it?",
    "capacitor": "is a tone capacitor, or a pot, what is printed on it? The guitar stays closed",
    "compare": "what did a job on shielding or wiring change?",
    "wiring": "what does each position of the switch connect?",
}
MOST_ENTRIES = 2000
MAX_ANSWER = 1000  # [characters]
NO_EXPLANATION = ("There is no more to say: type an answer, or Enter for what stands in brackets.",)
WORDS = {"?": "explain", "b": "back", "back": "back", "q": "leave", "quit": "leave"}


class Entry(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One thing that is settled.

    Attributes
    ----------
    key : str
        What, for example ``"rig.input_resistance"``.
    answer : str
        What was typed, or what came of a deed.
    is_asked : bool
        The person was asked; the others follow from deeds.
    """

    key: str
    answer: str
    is_asked: bool = False

    def __post_init__(self) -> None:
        """Check the lengths.

        Raises
        ------
        ValueError
            If one is longer than any guide writes.
        """
        if len(self.key) > MAX_ANSWER or len(self.answer) > MAX_ANSWER:
            msg = f"key and answer have at most {MAX_ANSWER} characters"
            raise ValueError(msg)


class Memory(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """All that a session has settled, in the order it was.

    Attributes
    ----------
    entries : tuple of Entry
        The oldest first; of two with one key the later counts.
    """

    schema: Literal["coilsweep.guide/1"] = "coilsweep.guide/1"
    job: Job
    virtual: bool = False
    entries: tuple[Entry, ...] = ()

    def __post_init__(self) -> None:
        """Check the number of entries.

        Raises
        ------
        ValueError
            If there are more than any guide makes.
        """
        if len(self.entries) > MOST_ENTRIES:
            msg = f"{len(self.entries)} entries, a guide makes at most {MOST_ENTRIES}"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Done:
    """What came of a deed or an answer.

    Attributes
    ----------
    entries : dict of str to str
        To be remembered beside the deed or answer itself.
    back_to : str
        Key of the question to be asked again, the entries since taken away; empty to go on.
    beside : tuple of Document
        Further answers, which people have read with the first.
    exit_code : int
        What went wrong, as the program's exit code, in case the person leaves now; 0 for nothing.
    answer : Sheet or None
        The same as `document`, for people.
    """

    lines: tuple[str, ...] = ()
    entries: Mapping[str, str] = field(default_factory=dict)
    back_to: str = ""
    document: Document | None = None
    beside: tuple[Document, ...] = ()
    exit_code: int = 0
    answer: Sheet | None = None


Read = Callable[[str], str]
Act = Callable[[str], Done]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Planned:
    """The take that a question is about.

    Attributes
    ----------
    count, of : int
        Which of how many that are planned by now; 0 where it is none of them.
    heading : str
        The same in words, and what the take is for.
    todo : tuple of str
        What to do before it.
    """

    count: int
    of: int
    heading: str
    todo: tuple[str, ...]
    conditions: Conditions


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Question:
    """One thing to ask.

    Attributes
    ----------
    default : str
        What Enter alone means; empty where something has to be typed.
    explanation : tuple of str
        Told for ``?``.
    read : callable
        What was typed to what is remembered; raises ValueError with the reason where it will not do.
    act : callable or None
        What follows at once, for example writing it down.
    exit_code : int
        Of the program, in case the person leaves here.
    is_recorded : bool
        What follows an assent is played or recorded.
    planned : Planned or None
        None where it is about no take of the plan.
    """

    key: str
    text: str
    read: Read
    default: str = ""
    before: tuple[str, ...] = ()
    explanation: tuple[str, ...] = ()
    act: Act | None = None
    exit_code: int = 0
    is_recorded: bool = False
    planned: Planned | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Deed:
    """Something that the guide does by itself."""

    key: str
    run: Callable[[], Done]
    before: tuple[str, ...] = ()


Step = Question | Deed
NextStep = Callable[[Memory], Step | None]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Manner:
    """Words that differ with where a person is met: at a terminal, at a page.

    Attributes
    ----------
    how_to : str
        How to answer, to go back and to leave; told before anything is asked.
    leaving : str
        How to leave, so that it can be gone on with.
    rehearsal : str
        What to type to rehearse without a sound card.
    """

    how_to: str
    leaving: str
    rehearsal: str


class Talk(Protocol):
    """How a session meets its person."""

    @property
    def manner(self) -> Manner:
        """Words for it."""
        ...

    def tell(self, line: str) -> None:
        """Show a line."""
        ...

    def refuse(self, why: str) -> None:
        """Say why an answer will not do; the question is asked again."""
        ...

    def ask(self, question: Question, *, can_go_back: bool = False) -> str | None:
        """Ask and wait; what stands before the question was told.

        Parameters
        ----------
        can_go_back : bool
            There is an answer to be taken back.

        Returns
        -------
        str or None
            What was typed; None where nobody will answer any more.
        """
        ...

    def keep(self, memory: Memory) -> None:
        """Keep the session, so that it can be resumed."""
        ...


def answer_of(memory: Memory, key: str, otherwise: str = "") -> str:
    """Tell what was settled."""
    return next((entry.answer for entry in reversed(memory.entries) if entry.key == key), otherwise)


def is_settled(memory: Memory, key: str) -> bool:
    """Say whether something is settled.

    Returns
    -------
    bool
        True if there is an answer.
    """
    return any(entry.key == key for entry in memory.entries)


def remember(memory: Memory, entry: Entry, done: Done) -> Memory:
    """Add what was settled, and what came of it.

    Returns
    -------
    Memory
        With it; where `done` leads back, without what was settled since.
    """
    before = (*memory.entries, entry) if not done.back_to else rewound(memory, done.back_to).entries
    more = tuple(Entry(key=name, answer=value) for name, value in done.entries.items())
    return msgspec.structs.replace(memory, entries=(*before, *more))


def rewound(memory: Memory, key: str) -> Memory:
    """Take away what was settled from the latest answer to a question on.

    Returns
    -------
    Memory
        Without it and what followed; as it was where there is no such entry.
    """
    places = [place for place, entry in enumerate(memory.entries) if entry.key == key]
    return msgspec.structs.replace(memory, entries=memory.entries[: places[-1]]) if places else memory


def one_back(memory: Memory) -> Memory:
    """Take away the latest answer that the person gave, and what followed from it.

    Returns
    -------
    Memory
        As it was before that answer; as it was where there is none.
    """
    places = [place for place, entry in enumerate(memory.entries) if entry.is_asked]
    return msgspec.structs.replace(memory, entries=memory.entries[: places[-1]]) if places else memory


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ending:
    """How a session ended.

    Attributes
    ----------
    is_finished : bool
        False if the person left.
    documents : tuple of Document
        Answers for programs, in the order they were given.
    exit_code : int
        0, or what was wrong when the person left, for example that there is no sound card.
    sheets : tuple of Sheet
        The same answers for people.
    """

    memory: Memory
    is_finished: bool
    documents: tuple[Document, ...]
    exit_code: int = 0
    sheets: tuple[Sheet, ...] = ()


def converse(next_step: NextStep, memory: Memory, talk: Talk) -> Ending:
    """Ask, read and do, until all is done or the person leaves.

    Parameters
    ----------
    next_step : callable
        What comes next, from what is settled; None at the end.
    """
    documents: tuple[Document, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    told: Question | None = None
    trouble = 0
    while (step := next_step(memory)) is not None:
        if isinstance(step, Deed):
            _tell(talk, step.before)
            done = step.run()
            memory = _settle(memory, Entry(key=step.key, answer="done"), done, talk=talk)
            documents += (*(() if done.document is None else (done.document,)), *done.beside)
            sheets += () if done.answer is None else (done.answer,)
            told, trouble = None, done.exit_code
            continue
        if told is None or (told.key, told.before) != (step.key, step.before):
            _tell(talk, step.before)
        told = step
        typed = talk.ask(step, can_go_back=one_back(memory) is not memory)
        word = "leave" if typed is None else WORDS.get(typed.strip().lower(), "")
        if typed is None or word == "leave":
            code = step.exit_code or trouble
            return Ending(memory=memory, is_finished=False, documents=documents, exit_code=code, sheets=sheets)
        if word == "explain":
            _tell(talk, tuple(f"  {line}" for line in step.explanation or NO_EXPLANATION))
        elif word == "back":
            memory, told = _go_back(memory, talk), None
        else:
            after = _answer(memory, step, typed.strip(), talk=talk)
            memory, told = after, (step if after is memory else None)
    return Ending(memory=memory, is_finished=True, documents=documents, sheets=sheets)


def refusal(why: str) -> str:
    """Put why an answer will not do as a terminal shows it."""
    return f"  Not so: {why}"


def prompt_of(question: Question) -> str:
    """Text of a question with what Enter alone means."""
    return f"{question.text} [{question.default}]" if question.default else question.text


def _answer(memory: Memory, question: Question, typed: str, *, talk: Talk) -> Memory:
    try:
        answer = question.read(typed or question.default)
        done = question.act(answer) if question.act is not None else Done()
    except ValueError as err:
        talk.refuse(str(err))
        return memory
    return _settle(memory, Entry(key=question.key, answer=answer, is_asked=True), done, talk=talk)


def _go_back(memory: Memory, talk: Talk) -> Memory:
    before = one_back(memory)
    if before is memory:
        talk.tell("This is the first question.")
        return memory
    for entry in memory.entries[len(before.entries) :]:
        if entry.key.startswith("take."):
            talk.tell(f'  The take "{entry.answer}" stays in the logbook, but is not used.')
    talk.keep(before)
    return before


def _tell(talk: Talk, lines: Sequence[str]) -> None:
    for line in lines:
        talk.tell(line)


def _settle(memory: Memory, entry: Entry, done: Done, *, talk: Talk) -> Memory:
    _tell(talk, done.lines)
    after = remember(memory, entry, done)
    talk.keep(after)
    return after


@dataclass(frozen=True, slots=True, eq=False)
class OneOf:
    """Reads one of several words, by its beginning or its number from 1."""

    choices: tuple[str, ...]

    def __call__(self, typed: str) -> str:
        """Read what was typed.

        Raises
        ------
        ValueError
            If it is none of them, or might be several.
        """
        if typed.isascii() and typed.isdigit() and 1 <= int(typed) <= len(self.choices) and typed not in self.choices:
            return self.choices[int(typed) - 1]
        exact = [choice for choice in self.choices if choice.lower() == typed.lower()]
        begun = exact or [choice for choice in self.choices if typed and choice.lower().startswith(typed.lower())]
        if len(begun) != 1:
            msg = f'"{typed[:40]}" is not one of {", ".join(self.choices)}'
            raise ValueError(msg)
        return begun[0]


def one_of(choices: Sequence[str]) -> OneOf:
    """Read one of several words, by its beginning or its number from 1."""
    return OneOf(tuple(choices))
