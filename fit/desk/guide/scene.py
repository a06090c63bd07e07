"""What the stages of a guide look at, and what they share: cautions, how quantities are read."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from fit.desk.book.bounds import remarks
from fit.desk.book.desk import Desk, Outcome
from fit.desk.guide.session import Manner, Memory, Question, Read, Step, answer_of, is_settled
from fit.desk.show.words import CAUTIONS, plain_text
from measure.kinds import Kind
from measure.logbook.store import Logbook, open_logbook
from measure.marking import parse_parts, read_value

if TYPE_CHECKING:
    from fit.desk.bench.intake import KeptTake
    from fit.desk.bench.recordings import Batch, InputLoad
    from fit.desk.bench.take import Order

NONE = "none"
UNKNOWN = "don't know"
UNKNOWN_WORDS = ("don't know", "dont know", "don’t know", "not known", "unknown", "no idea", "x")  # noqa: RUF001
FAILED = "failed"  # no take was kept: a look before the sweep showed that it would not be worth it
LEVEL_KEY = "level"
FIRST_LEVEL = 0.1  # [1] of full scale: begin with the output low


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Offer:
    """An interface that can be chosen.

    Attributes
    ----------
    device, host_api : str
        As rig.toml names them.
    rates_hz : tuple of int
        At which it opens; empty: not known. [Hz]
    is_default : bool
        The system's own choice.
    """

    device: str
    host_api: str
    rates_hz: tuple[int, ...] = ()
    is_default: bool = False
    has_inputs: bool = True
    has_outputs: bool = True


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InputBench:
    """Records for a calibration of the input.

    Attributes
    ----------
    record : callable
        Plays and records one load.
    recorded : dict of str to Batch
        What was recorded so far, by the load's name; it is not kept from one session to the next.
    """

    record: Callable[["InputLoad"], "Batch"]
    recorded: dict[str, "Batch"] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """Where the guide's takes come from.

    Attributes
    ----------
    take : callable
        Makes a take, keeps it in the logbook and looks at it, as `fit.desk.bench.take.make_take`.
    offers : callable
        Lists interfaces; None on the virtual bench, where there is nothing to choose.
    defaults : dict of str to str
        Key of a question to what Enter alone means.
    level : callable or None
        Shows what the inputs hear while a quiet tone plays; None where that is not offered.
    calibration : InputBench or None
        None where no calibration is offered.
    """

    take: Callable[["Order"], "KeptTake"]
    offers: Callable[[], Sequence[Offer]] | None
    defaults: Mapping[str, str]
    level: Callable[[], Outcome] | None = None
    calibration: InputBench | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scene:
    """What a stage looks at.

    Attributes
    ----------
    bench : Bench
        Where takes come from.
    manner : Manner
        Words for where the person is met.
    """

    desk: Desk
    memory: Memory
    bench: Bench
    manner: Manner

    def settled(self, key: str) -> bool:
        """Say whether something is settled.

        Returns
        -------
        bool
            True if there is an answer.
        """
        return is_settled(self.memory, key)

    def answer(self, key: str, otherwise: str = "") -> str:
        """Tell what was settled."""
        return answer_of(self.memory, key, otherwise)

    def logbook(self) -> Logbook:
        """Open the logbook.

        Returns
        -------
        Logbook
            Made, where it is not there.
        """
        return open_logbook(self.desk.logbook, create=True)


Stage = Callable[[Scene], Step | None]


def first_open(stages: Sequence[Stage], scene: Scene) -> Step | None:
    """Find what comes next.

    Returns
    -------
    Question, Deed or None
        Of the first stage that has something to do.
    """
    for stage in stages:
        step = stage(scene)
        if step is not None:
            return step
    return None


def caution_stage(scene: Scene) -> Step | None:
    """Show the cautions once."""
    if scene.settled("cautions"):
        return None
    return Question(
        key="cautions",
        text="Read that? Enter goes on",
        default="yes",
        before=("", "Before anything else", *(f"  {line}" for line in CAUTIONS), ""),
        explanation=("Each of these lines is there because something breaks, or somebody is hurt, without it.",),
        read=read_yes,
    )


def cardless_lines(scene: Scene) -> tuple[str, ...]:
    """Say what can be done where there is no sound card."""
    return (
        f"  Without a sound card: {scene.manner.leaving}.",
        f"  To rehearse without one: {scene.manner.rehearsal} --logbook rehearsal",
    )


def hushed(desk: Desk) -> Desk:
    """Let a command work without speaking: the guide speaks."""
    return replace(desk, say=lambda _: None, tell=lambda _: None)


def read_yes(typed: str) -> str:
    """Read a consent.

    Raises
    ------
    ValueError
        If it is none.
    """
    if typed.lower() not in ("yes", "y"):
        msg = f'"{plain_text(typed[:40])}" was not expected: Enter when you are ready, q to leave, b to go back'
        raise ValueError(msg)
    return "yes"


def read_quantity(kind: Kind, *, may_be_none: bool = False, may_be_unknown: bool = False) -> Read:
    """Read a value as it is printed or measured; a tolerance may be left out.

    Parameters
    ----------
    may_be_none : bool
        "none" will do as well.
    may_be_unknown : bool
        So will "don't know".

    Returns
    -------
    callable
        Reads what was typed.
    """

    def read(typed: str) -> str:
        if may_be_none and typed.lower() in (NONE, *UNKNOWN_WORDS):
            return NONE
        if may_be_unknown and typed.lower() in (NONE, *UNKNOWN_WORDS):
            return UNKNOWN
        read_value(typed, kind)
        return typed

    return read


def said(typed: str, what: str, kind: Kind) -> tuple[str, ...]:
    """Say what an answer was taken for, and which tolerance is assumed, before the session goes on."""
    if typed.lower() in (NONE, UNKNOWN):
        return ()
    return tuple(f"  {plain_text(line)}" for line in remarks(read_value(typed, kind), what, kind))


def read_parts(*, may_be_none: bool) -> Read:
    """Read parts across the jack; a tolerance may be left out.

    Parameters
    ----------
    may_be_none : bool
        "none" will do as well.

    Returns
    -------
    callable
        Reads what was typed.
    """

    def read(typed: str) -> str:
        if may_be_none and typed.lower() == NONE:
            return NONE
        parse_parts(typed)
        return typed

    return read


def parts_said(typed: str, what: str) -> tuple[str, ...]:
    """Say what each part of an answer was taken for, and which tolerance is assumed."""
    if typed.lower() == NONE:
        return ()
    return tuple(f"  {plain_text(line)}" for part in parse_parts(typed) for line in remarks(part, what))
