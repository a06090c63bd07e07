"""The stage of a guide that asks for the rig, one thing at a time, and writes it down."""

from collections.abc import Mapping
from dataclasses import replace

from fit.desk.bench.recordings import require_rehearsal
from fit.desk.bench.rig import show_or_write_rig
from fit.desk.book.rig import rig_of, rig_rows
from fit.desk.guide.scene import UNKNOWN, Offer, Scene, cardless_lines, hushed, read_quantity, read_yes, said
from fit.desk.guide.session import Deed, Done, Question, Read, Step, one_of
from fit.desk.show.words import plain_text, table_lines
from measure.errors import MeasureError, NoCardError
from measure.kinds import Kind
from measure.logbook.rig import Rig

MOST_RATE_HZ = 96000  # [Hz] more makes takes longer to work on and tells a pickup no better


def rig_stage(scene: Scene) -> Step | None:
    """Ask for what rig.toml does not state, one thing at a time, and write it down.

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
            _require_own_rig(scene, rig)
            return _rig_question(scene, rig, name)
    return None


def _require_own_rig(scene: Scene, rig: Rig) -> None:
    """See that no answer of a rehearsal is written into the rig of real takes.

    Raises
    ------
    ValueError
        If it would be.
    """
    if scene.bench.offers is not None:
        return
    require_rehearsal(scene.desk)
    if rig.interface.device is not None:
        name = plain_text(rig.interface.device)
        msg = f"rig.toml here names a real interface, {name}: rehearse in a folder of its own, --virtual --logbook rehearsal"
        raise ValueError(msg)


# What is asked, a word of explanation, and how it is read; by the name of the option of `coilsweep rig`.
QUESTIONS: dict[str, tuple[str, tuple[str, ...]]] = {
    "device": (
        "Which interface?",
        ("The one that the exciter, the sense resistor and the guitar are plugged into. Type its number.",),
    ),
    "input_device": (
        "Which device records?",
        ("Some systems show the inputs of an interface as a device of its own, under the same or nearly the same name.",),
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
# What is taken where somebody does not know; common practice, no source.
GUESSES = {
    "sense_resistor": ("100 ± 5%", "which the results do not rest on"),
    "input_resistance": ("1M ± 20%", "as most inputs for instruments have"),
    "input_capacitance": ("350p ± 250p", "as cables of 1 to 5 m and their inputs have"),
}
VALUES: dict[str, Kind] = {
    "sense_resistor": "resistance",
    "exciter_corner": "corner",
    "input_resistance": "input resistance",
    "input_capacitance": "input capacitance",
}


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
    if name == "input_device":
        return _plays_only(scene, rig)
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
        act=lambda answer: _write_answer(scene, name, answer),
    )
    if name in ("device", "input_device"):
        return _device_question(scene, question, rig)
    if name == "rate_hz":
        rates = [rate for rate in _offered_rates(scene, rig) if rate <= MOST_RATE_HZ] or [MOST_RATE_HZ]
        return replace(question, default=_stated(rig, name) or str(max(rates)))
    return question


WHOLE = ("rate_hz", "output_channel", "pickup_channel", "reference_channel")


def _rig_reader(name: str) -> Read:
    if name in VALUES:
        return read_quantity(VALUES[name], may_be_unknown=name in GUESSES)
    if name == "reference":
        return one_of(("current", "loopback", "none"))
    return _read_whole


def _read_whole(typed: str) -> str:
    if not (typed.isascii() and typed.isdigit()):
        msg = f'"{plain_text(typed[:40])}" is not a whole number'
        raise ValueError(msg)
    return typed


def _write_answer(scene: Scene, name: str, answer: str) -> Done:
    if answer == UNKNOWN:
        guess, why = GUESSES[name]
        return replace(
            _write_rig(scene, {name: guess}), lines=(f"  {name.replace('_', ' ')}: {guess} is taken, {why} (common practice)",)
        )
    done = _write_rig(scene, {name: int(answer) if name in WHOLE else answer})
    if name not in VALUES:
        return done
    return replace(done, lines=(*done.lines, *said(answer, name.replace("_", " "), VALUES[name])))


def _write_rig(scene: Scene, changes: Mapping[str, str | int]) -> Done:
    try:
        show_or_write_rig(hushed(scene.desk), changes)
    except MeasureError as err:
        msg = str(err)
        raise ValueError(msg) from err
    return Done()


def _device_question(scene: Scene, question: Question, rig: Rig) -> Question:
    offers = _offers(scene)
    if question.key == "rig.device":
        offers = [offer for offer in offers if offer.has_outputs]
    else:
        offers = [offer for offer in offers if offer.has_inputs and offer.host_api == rig.interface.host_api]
    offers.sort(key=lambda offer: (not offer.is_default, not offer.has_inputs))
    names = [f"{plain_text(offer.device)} ({plain_text(offer.host_api)})" for offer in offers]
    if not names:
        what = "PortAudio finds no interface: plug it in, see that its sound system runs, then press Enter."
        before = ("", what, *cardless_lines(scene))
        code = NoCardError.exit_code
        return replace(question, text="Look again?", default="yes", before=before, read=read_yes, act=_look_again, exit_code=code)

    def write(answer: str) -> Done:
        offer = offers[names.index(answer)]
        if question.key == "rig.input_device":
            return _write_rig(scene, {"input_device": offer.device})
        return _write_rig(scene, {"device": offer.device, "host_api": offer.host_api})

    listed = tuple(f"  {number}  {name}" for number, name in enumerate(names, start=1))
    return replace(question, default="1", before=("", "Interfaces", *listed), read=one_of(names), act=write)


def _offers(scene: Scene) -> list[Offer]:
    return [] if scene.bench.offers is None else list(scene.bench.offers())


def _plays_only(scene: Scene, rig: Rig) -> bool:
    if scene.bench.offers is None or rig.interface.device is None:
        return False
    chosen = [
        offer for offer in _offers(scene) if (offer.device, offer.host_api) == (rig.interface.device, rig.interface.host_api)
    ]
    return bool(chosen) and not chosen[0].has_inputs


def _look_again(answer: str) -> Done:
    del answer
    return Done(back_to="rig.device")


def _offered_rates(scene: Scene, rig: Rig) -> tuple[int, ...]:
    """Rates at which all that is used opens; none where that is not known."""
    used = {rig.interface.device, rig.interface.input_device} - {None}
    rates = [set(offer.rates_hz) for offer in _offers(scene) if offer.device in used]
    return tuple(set.intersection(*rates)) if rates else ()
