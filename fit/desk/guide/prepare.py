"""The stages of a guide that offer a look at the levels, and to measure the input where its capacitance is a guess."""

import functools

from fit.desk.bench.recordings import InputLoad
from fit.desk.book.desk import Outcome, lines_of
from fit.desk.book.rig import rig_of
from fit.desk.guide.scene import NONE, Scene, cardless_lines, hushed, parts_said, read_yes
from fit.desk.guide.session import Deed, Done, Question, Step, one_of
from fit.desk.show.words import plain_text
from measure.errors import DeviceError, MeasureError
from measure.logbook.rig import input_capacitance
from measure.marking import parse_parts

GUESS = 0.15  # [1] bound over value from which on an input's capacitance is a guess, not a measurement
LOADS = "100k ± 1%, 1M ± 1%, 1n ± 1%"
LOOK_S = 10.0  # [s] that the quiet tone plays


def input_stage(scene: Scene) -> Step | None:
    """Offer to measure the input, cable included, where its capacitance is a guess."""
    bench, rig = scene.bench.calibration, rig_of(scene.logbook())
    stated = input_capacitance(rig)
    if bench is None or scene.settled("input.done"):
        return None
    if not scene.settled("input"):
        is_guess = stated is not None and (stated.bound is None or stated.bound > GUESS * stated.value)
        if not is_guess or rig.reference.kind == NONE or stated is None:
            return None
        return _offer(stated.text)
    if scene.answer("input") == "no":
        return None
    if not scene.settled("input.through"):
        return Question(
            key="input.through",
            text="Which resistors and which known capacitor are at hand?",
            default=LOADS,
            explanation=("Two resistors that lie far apart, of 1 %, and a capacitor of about 1 nF; with commas between.",),
            read=_read_loads,
            act=lambda answer: Done(lines=parts_said(answer, "at hand")),
        )
    loads = loads_of(scene.answer("input.through"))
    for number, load in enumerate(loads, start=1):
        if not scene.settled(f"input.load.{number}"):
            return _load_question(load, number, len(loads))
        if not scene.settled(f"input.recorded.{number}"):
            return Deed(key="input.recording", run=functools.partial(_record, scene, load, number))
    return Deed(key="input.measuring", run=lambda: _measure(scene, loads))


def loads_of(text: str) -> tuple[InputLoad, ...]:
    """Put parts as loads: through each resistor, and through the largest with the capacitor across the input.

    Raises
    ------
    ValueError
        If there is no resistor.
    """
    parts = parse_parts(text)
    resistors = sorted((part for part in parts if part.unit == "Ω"), key=lambda part: part.value)
    if not resistors:
        msg = "the input is driven through a resistor: name at least one, such as 100k ± 1%"
        raise ValueError(msg)
    loads = [InputLoad(name=f"through {part.text}", series=part) for part in resistors]
    loads += [
        InputLoad(name=f"through {resistors[-1].text}, {part.text}", series=resistors[-1], added=(part,))
        for part in parts
        if part.unit == "F"
    ]
    return tuple(loads)


def look_stage(scene: Scene) -> Step | None:
    """Offer to look at what the inputs hear while a quiet tone plays."""
    if scene.bench.level is None or scene.answer("look") == "no":
        return None
    if scene.answer("look") == "yes":
        return Deed(key="looking", run=lambda: _look(scene))
    return Question(
        key="look",
        text="Look at the levels again: yes or no?" if scene.settled("looked") else "Look at the levels first: yes or no?",
        default="no" if scene.settled("looked") else "yes",
        before=("", "The exciter on the pickup, all connected as drawn; monitors down, headphones off the ears."),
        explanation=(f"A quiet tone plays for {LOOK_S:.0f} s at most: is the exciter found, is an input dead, does one clip?",),
        read=one_of(("yes", "no")),
    )


def _offer(stated: str) -> Question:
    return Question(
        key="input",
        text="Measure the input now: yes or no?",
        default="no",
        before=(
            "",
            f"The capacitance of input and cable is a guess so far, {plain_text(stated)}: what it is off, the winding's is off.",
            "It can be measured here, with two resistors and a known capacitor, in three short sweeps.",
        ),
        explanation=(
            "The same as coilsweep calibrate input, which can be done at any time before the takes.",
            "no: the guess stands, and the interval of the winding's capacitance is as wide as it makes it.",
        ),
        read=one_of(("yes", "no")),
    )


def _read_loads(typed: str) -> str:
    loads_of(typed)
    return typed


def _load_question(load: InputLoad, number: int, n_loads: int) -> Question:
    across = ", ".join(plain_text(part.text) for part in load.added)
    return Question(
        key=f"input.load.{number}",
        text="Ready? Enter plays",
        default="yes",
        before=(
            "",
            f"Sweep {number} of {n_loads} for the input",
            f"  - output and reference input to one end of {plain_text(load.series.text)}",
            "  - the cable to the pickup's input to its other end" + (f", {across} across that end" if across else ""),
        ),
        read=read_yes,
        is_recorded=True,
    )


def _record(scene: Scene, load: InputLoad, number: int) -> Done:
    bench = scene.bench.calibration
    if bench is None:
        return Done(entries={"input.done": NONE})
    try:
        bench.recorded[load.name] = bench.record(load)
    except MeasureError as err:
        return _trouble(scene, err, back_to=f"input.load.{number}")
    return Done(entries={f"input.recorded.{number}": load.name})


def _measure(scene: Scene, loads: tuple[InputLoad, ...]) -> Done:
    from fit.desk.bench.calibrate import calibrate_input

    bench = scene.bench.calibration
    if bench is None or any(load.name not in bench.recorded for load in loads):
        return Done(lines=("  The sweeps of before are not kept: once more.",), back_to="input.load.1")
    try:
        outcome: Outcome = calibrate_input(hushed(scene.desk), loads, lambda load: bench.recorded[load.name])
    except MeasureError as err:
        return Done(lines=(f"  Not measured: {plain_text(str(err))}. The guess stands.",), entries={"input.done": NONE})
    end = () if outcome.exit_code == 0 else ("  Not measured; the guess stands. coilsweep calibrate input says more.",)
    again = "  Now connect the exciter and the pickup's input again as drawn."
    return Done(lines=("", *lines_of(outcome), *end, again), entries={"input.done": "yes"})


def _look(scene: Scene) -> Done:
    if scene.bench.level is None:
        return Done(back_to="look")
    try:
        outcome = scene.bench.level()
    except MeasureError as err:
        return _trouble(scene, err, back_to="look", entries={"looked": "no"})
    lines = [line for line in lines_of(outcome) if not line.startswith("Next:")]
    return Done(lines=tuple(lines), entries={"looked": "yes"}, back_to="look")


def _trouble(scene: Scene, err: MeasureError, *, back_to: str, entries: dict[str, str] | None = None) -> Done:
    more = cardless_lines(scene) if isinstance(err, DeviceError) else ()
    lines = (f"  {plain_text(str(err))}", *more)
    return Done(lines=lines, back_to=back_to, entries=entries or {}, exit_code=getattr(err, "exit_code", 0))
