"""What the stages of a guide look at, and what they share: cautions, quantities, rig."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fit.desk.bench import rig_rows, show_or_write_rig
from fit.desk.guiding import Deed, Done, Memory, Question, Read, Step, answer_of, is_settled, one_of
from fit.desk.outcome import Desk
from fit.desk.takes import rig_of
from fit.desk.wording import CAUTIONS, plain_text, table_lines
from measure.errors import MeasureError
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook
from measure.quantity import parse_parts, parse_quantity

NONE = "none"
FAILED = "failed"  # no take was kept: a look before the sweep showed that it would not be worth it
LEVEL_KEY = "level"
FIRST_LEVEL = 0.1  # [1] of full scale: begin with the output low
MOST_RATE_HZ = 96000  # [Hz] more makes takes longer to work on and tells a pickup no better


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Order:
    """A take that is to be made.

    Attributes
    ----------
    name : str
        That it gets in the logbook.
    added : str
        Parts across the jack.
    controls : dict of str to str
        Where the controls stand.
    coil_over : str
        Pickup under the exciter; empty where there is one.
    coil_moved : bool
        The exciter was laid down anew.
    method : str
        "exciter" or "quiet".
    level : float
        Peak of the sweep over full scale.
    is_after : bool
        After the job of "compare".
    may_be_silent : bool
        That nothing arrives is an answer too.
    note : str
        Kept with it.
    """

    name: str
    added: str = ""
    controls: Mapping[str, str]
    coil_over: str = ""
    coil_moved: bool = False
    method: str = "exciter"
    level: float = FIRST_LEVEL
    is_after: bool = False
    may_be_silent: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Taken:
    """A take that was made and looked at.

    Attributes
    ----------
    outcome : str
        "good", "usable", "rejected" or `FAILED`.
    lines : tuple of str
        What the look showed, for people.
    codes : tuple of str
        Checks that were not passed.
    """

    outcome: str
    lines: tuple[str, ...]
    codes: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """Where the guide's takes come from.

    Attributes
    ----------
    take : callable
        Makes a take, keeps it in the logbook and looks at it; raises MeasureError where the sound card gives trouble.
    offers : callable
        Lists interfaces; None on the virtual bench, where there is nothing to choose.
    defaults : dict of str to str
        Key of a question to what Enter alone means.
    """

    take: Callable[[Order], Taken]
    offers: Callable[[], Sequence[Offer]] | None
    defaults: Mapping[str, str]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scene:
    """What a stage looks at.

    Attributes
    ----------
    desk : Desk
        Where the logbook is.
    memory : Memory
        What is settled.
    bench : Bench
        Where takes come from.
    """

    desk: Desk
    memory: Memory
    bench: Bench

    def settled(self, key: str) -> bool:
        """Say whether something is settled.

        Parameters
        ----------
        key : str
            What.

        Returns
        -------
        bool
            True if there is an answer.
        """
        return is_settled(self.memory, key)

    def answer(self, key: str, otherwise: str = "") -> str:
        """Tell what was settled.

        Parameters
        ----------
        key : str
            What.
        otherwise : str
            Where it is not.

        Returns
        -------
        str
            The latest answer.
        """
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

    Parameters
    ----------
    stages : sequence of callable
        In their order.
    scene : Scene
        What is settled.

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
    """Show the cautions once.

    Parameters
    ----------
    scene : Scene
        What is settled.

    Returns
    -------
    Question or None
        To be confirmed.
    """
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


def read_yes(typed: str) -> str:
    """Read a consent.

    Parameters
    ----------
    typed : str
        What was typed.

    Returns
    -------
    str
        "yes".

    Raises
    ------
    ValueError
        If it is none.
    """
    if typed.lower() not in ("yes", "y"):
        msg = f'"{plain_text(typed[:40])}" was not expected: Enter when you are ready, q to leave, b to go back'
        raise ValueError(msg)
    return "yes"


def read_quantity(unit: str, *, may_be_none: bool = False) -> Read:
    """Read a value with its bound.

    Parameters
    ----------
    unit : str
        Ω, F or Hz.
    may_be_none : bool
        "none" will do as well.

    Returns
    -------
    callable
        Reads what was typed.
    """
    example = {"Ω": "7.9k ± 1%", "F": "185p ± 3p", "Hz": "9k ± 5%"}[unit]

    def read(typed: str) -> str:
        if may_be_none and typed.lower() == NONE:
            return NONE
        if parse_quantity(typed, unit).bound is None:
            msg = f'how exact is it? Add ± and the bound, as in "{example}"; +- will do'
            raise ValueError(msg)
        return typed

    return read


def read_parts(*, may_be_none: bool) -> Read:
    """Read parts across the jack, each with its bound.

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
        for part in parse_parts(typed):
            if part.bound is None:
                msg = f'how exact is {part.text}? Add ± and the bound printed on it, for example "{part.text} ± 1%"; +- will do'
                raise ValueError(msg)
        return typed

    return read


def rig_stage(scene: Scene) -> Step | None:
    """Ask for what rig.toml does not state, one thing at a time, and write it down.

    Parameters
    ----------
    scene : Scene
        What is settled.

    Returns
    -------
    Question, Deed or None
        None when all that the guide needs is stated.
    """
    logbook = scene.logbook()
    rig = rig_of(logbook)
    if not scene.settled("rig.known"):
        rows = rig_rows(rig)
        lines = ("", "rig.toml states already:", *table_lines(rows)) if rows else ()
        known = " ".join(name for name in QUESTIONS if _stated(rig, name) is not None)
        return Deed(key="rig.begun", run=lambda: Done(lines=lines, entries={"rig.known": known}))
    known_names = scene.answer("rig.known").split()
    for name in QUESTIONS:
        is_open = _stated(rig, name) is None or not (name in known_names or scene.settled(f"rig.{name}"))
        if is_open and _is_needed(scene, rig, name):
            return _rig_question(scene, rig, name)
    return None


# What is asked, a word of explanation, and how it is read; by the name of the option of `coilsweep rig`.
QUESTIONS: dict[str, tuple[str, tuple[str, ...]]] = {
    "device": (
        "Which interface?",
        ("The one that the exciter, the sense resistor and the guitar are plugged into. Type its number.",),
    ),
    "rate_hz": (
        "Sample rate in hertz?",
        ("96000 is good; 44100 will do. Higher ones tell a pickup no better.",),
    ),
    "output_channel": (
        "Which output drives the exciter, counted from 1?",
        ("Tip to the exciter, from there through the sense resistor to the sleeve. On a balanced socket leave the ring open.",),
    ),
    "pickup_channel": (
        "Which input takes the pickup or the guitar, counted from 1?",
        ("An input made for instruments, about 1 MΩ. A line input of 10 kΩ would damp the resonance away.",),
    ),
    "reference": (
        "What does the other input record: current, loopback or none?",
        (
            "current: the voltage across the sense resistor; the exciter's make then does not matter. The best choice.",
            "loopback: the output itself. none: nothing; both need the exciter's corner, which is asked for.",
        ),
    ),
    "reference_channel": (
        "Which input records it, counted from 1?",
        ("A line input will do: the sense resistor is small.",),
    ),
    "sense_resistor": (
        "The sense resistor?",
        ("In series with the exciter, a film resistor of about 100 Ω. Its value does not enter the results.",),
    ),
    "exciter_corner": (
        "The exciter's corner?",
        ("R/(2πL) of exciter and all that is in series with it; coilsweep exciter reckons it from wire and former.",),
    ),
    "input_resistance": (
        "Resistance of the pickup's input?",
        ("It stands in the interface's data sheet. It damps the resonance, so it is part of the circuit.",),
    ),
    "input_capacitance": (
        "Capacitance of input and cable together?",
        (
            "A capacitance meter at one end of the cable, the other end open; then add the input's own, from its data sheet.",
            "It lies parallel to the winding's own: 10 pF of error here are 10 pF of error in the answer. A short cable helps.",
        ),
    ),
}
USUAL = {
    "output_channel": "1",
    "pickup_channel": "1",
    "reference": "current",
    "reference_channel": "2",
    "sense_resistor": "100 ± 1%",
    "input_resistance": "1M ± 5%",
    "input_capacitance": "200p ± 50p",
}
UNITS = {"sense_resistor": "Ω", "exciter_corner": "Hz", "input_resistance": "Ω", "input_capacitance": "F"}


def _stated(rig: Rig, name: str) -> str | None:
    place = {
        "reference": (rig.reference, "kind"),
        "sense_resistor": (rig.reference, "sense_resistor"),
        "exciter_corner": (rig.exciter, "corner_hz"),
        "input_resistance": (rig.input, "resistance"),
        "input_capacitance": (rig.input, "capacitance"),
    }.get(name, (rig.interface, name))
    value = getattr(*place)
    return None if value is None else str(value)


def _is_needed(scene: Scene, rig: Rig, name: str) -> bool:
    if name in ("device", "rate_hz", "output_channel") and scene.bench.offers is None:
        return False
    kind = rig.reference.kind or "current"
    if name == "reference_channel":
        return kind != "none"
    if name == "sense_resistor":
        return kind == "current"
    return kind != "current" if name == "exciter_corner" else True


def _rig_question(scene: Scene, rig: Rig, name: str) -> Question:
    text, explanation = QUESTIONS[name]
    default = _stated(rig, name) or scene.bench.defaults.get(name, USUAL.get(name, ""))
    question = Question(
        key=f"rig.{name}",
        text=text,
        default=default,
        explanation=explanation,
        read=_rig_reader(name),
        act=lambda answer: _write_rig(scene, {name: int(answer) if name in WHOLE else answer}),
    )
    if name == "device":
        return _device_question(scene, question)
    if name == "rate_hz":
        rates = [rate for rate in _offered_rates(scene, rig) if rate <= MOST_RATE_HZ] or [MOST_RATE_HZ]
        return replace(question, default=_stated(rig, name) or str(max(rates)))
    return question


WHOLE = ("rate_hz", "output_channel", "pickup_channel", "reference_channel")


def _rig_reader(name: str) -> Read:
    if name in UNITS:
        return read_quantity(UNITS[name])
    if name == "reference":
        return one_of(("current", "loopback", "none"))
    return _read_whole


def _read_whole(typed: str) -> str:
    if not (typed.isascii() and typed.isdigit()):
        msg = f'"{plain_text(typed[:40])}" is not a whole number'
        raise ValueError(msg)
    return typed


def _write_rig(scene: Scene, changes: Mapping[str, str | int]) -> Done:
    quiet = replace(scene.desk, say=lambda _: None)
    try:
        show_or_write_rig(quiet, changes)
    except MeasureError as err:
        msg = str(err)
        raise ValueError(msg) from err
    return Done()


def _device_question(scene: Scene, question: Question) -> Question:
    offers = [] if scene.bench.offers is None else list(scene.bench.offers())
    offers.sort(key=lambda offer: not offer.is_default)
    names = [f"{plain_text(offer.device)} ({plain_text(offer.host_api)})" for offer in offers]
    if not names:
        before = ("", "PortAudio finds no interface: plug it in, see that its sound system runs, then press Enter.")
        return replace(question, text="Look again?", default="yes", before=before, read=read_yes, act=_look_again)
    choices = one_of(names)

    def write(answer: str) -> Done:
        offer = offers[names.index(answer)]
        return _write_rig(scene, {"device": offer.device, "host_api": offer.host_api})

    listed = tuple(f"  {number}  {name}" for number, name in enumerate(names, start=1))
    return replace(question, default="1", before=("", "Interfaces", *listed), read=choices, act=write)


def _look_again(answer: str) -> Done:
    del answer
    return Done(back_to="rig.device")


def _offered_rates(scene: Scene, rig: Rig) -> tuple[int, ...]:
    offers = () if scene.bench.offers is None else scene.bench.offers()
    own = [offer for offer in offers if offer.device == rig.interface.device]
    return own[0].rates_hz if own else ()
