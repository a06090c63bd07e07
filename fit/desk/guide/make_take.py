"""The stages of a guide that make a take: what to do first, the sweep, a look at it, and a repeat where it is needed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from fit.desk.bench.take import Order, PreflightError
from fit.desk.book.next_step import free_name
from fit.desk.guide.scene import FAILED, FIRST_LEVEL, LEVEL_KEY, Scene, cardless_lines, read_yes
from fit.desk.guide.session import Deed, Done, Planned, Question, Step, one_of
from fit.desk.show.words import plain_text
from measure.errors import DeviceError, MeasureError
from measure.logbook.conditions import Conditions

LOUDER, SOFTER = 2.0, 0.5  # [1] what "louder" and "softer" make of the level
LEAST_LEVEL, MOST_LEVEL = 0.001, 1.0  # [1] of full scale
TOO_LOUD = ("clipped",)
TOO_SOFT = ("low-level", "silent", "buried-in-hum", "no-signal")
NOTHING_ARRIVES = ("dead-channel", "no-signal", "low-level", "buried-in-hum", "response")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Slot:
    """A take that a guide wants.

    Attributes
    ----------
    name : str
        In the session, and of the take unless that name is used already.
    title : str
        What it is for, in a few words.
    may_be_silent : bool
        That nothing arrives is an answer too: this pickup is not connected.
    """

    name: str
    title: str
    todo: tuple[str, ...]
    conditions: Conditions = field(default_factory=Conditions)
    may_be_silent: bool = False


def level_stage(scene: Scene) -> Step | None:
    """Ask how loud to play."""
    if scene.settled(LEVEL_KEY):
        return None
    return Question(
        key=LEVEL_KEY,
        text="How loud to play, as a share of full scale?",
        default=f"{FIRST_LEVEL:g}",
        before=("", "Monitors down, headphones off the ears, direct monitoring off; the output's knob low."),
        explanation=(
            "Nothing is ever played louder than this. Begin low: each take is looked at, and louder or softer is offered.",
        ),
        read=_read_level,
    )


def _read_level(typed: str) -> str:
    try:
        level = float(typed.replace(",", "."))
    except ValueError:
        level = 0.0
    if not LEAST_LEVEL <= level <= MOST_LEVEL:
        msg = f'"{plain_text(typed[:40])}" is not a share of full scale, expected {LEAST_LEVEL:g} to {MOST_LEVEL:g}'
        raise ValueError(msg)
    return f"{level:.4g}"


def take_stage(scene: Scene, slot: Slot, plan: Sequence[Slot] = ()) -> Step | None:
    """Make one take: ready, the sweep, a look at it.

    Parameters
    ----------
    plan : sequence of Slot
        All takes that are planned by now, so that it can be said which of them this is.

    Returns
    -------
    Question, Deed or None
        None when there is a take that can be used.
    """
    if not scene.settled(f"ready.{slot.name}"):
        return _ready(scene, slot, plan)
    if not scene.settled(f"outcome.{slot.name}"):
        return _sweep(scene, slot)
    if scene.answer(f"outcome.{slot.name}") != "good" and not scene.settled(f"verdict.{slot.name}"):
        return _verdict(scene, slot)
    return None


def take_of(scene: Scene, slot: Slot) -> str:
    """Name of the take that was made for a slot.

    Returns
    -------
    str
        In the logbook; empty where there is none.
    """
    return scene.answer(f"take.{slot.name}")


def control_lines(controls: Mapping[str, str]) -> tuple[str, ...]:
    """Say where the controls are to stand."""
    if not controls:
        return ()
    return (f"Set {', '.join(f'{name} to {value}' for name, value in controls.items())}.",)


def takes_stage(scene: Scene, slots: Sequence[Slot], plan: Sequence[Slot] = ()) -> Step | None:
    """Make several takes, one after the other.

    Parameters
    ----------
    plan : sequence of Slot
        All takes that are planned by now; empty where these are.

    Returns
    -------
    Question, Deed or None
        None when all of them can be used.
    """
    for slot in slots:
        step = take_stage(scene, slot, plan or slots)
        if step is not None:
            return step
    return None


def heading(slot: Slot, plan: Sequence[Slot]) -> str:
    """Say which of the planned takes one is, and what it is for."""
    place = _place(slot, plan)
    return f"Take {place} of {len(plan)}: {slot.title}" if place else slot.title[:1].upper() + slot.title[1:]


def _place(slot: Slot, plan: Sequence[Slot]) -> int:
    return next((number for number, one in enumerate(plan, start=1) if one.name == slot.name), 0)


def _ready(scene: Scene, slot: Slot, plan: Sequence[Slot]) -> Question:
    sound = (
        "Nothing is played; hands off the strings."
        if slot.conditions.method == "quiet"
        else f"The sweep plays at {_level(scene):g}."
    )
    planned = Planned(
        count=_place(slot, plan),
        of=len(plan),
        heading=heading(slot, plan),
        todo=(*slot.todo, *control_lines(slot.conditions.controls)),
        conditions=slot.conditions,
    )
    return Question(
        key=f"ready.{slot.name}",
        text="Ready? Enter records" if slot.conditions.method == "quiet" else "Ready? Enter plays",
        default="yes",
        before=("", planned.heading, *(f"  - {line}" for line in planned.todo)),
        explanation=(sound, "Each take is checked at once. A bad one is kept, marked, and never used."),
        read=read_yes,
        is_recorded=True,
        planned=planned,
    )


def _level(scene: Scene) -> float:
    return float(_read_level(scene.answer(LEVEL_KEY, f"{FIRST_LEVEL:g}")))


def _sweep(scene: Scene, slot: Slot) -> Deed:
    def run() -> Done:
        name = free_name(scene.logbook(), slot.name)
        conditions = msgspec.structs.replace(slot.conditions, note=f"guide: {slot.title}")
        order = Order(name=name, conditions=conditions, level=_level(scene), is_looked_at_first=not slot.may_be_silent)
        try:
            made = scene.bench.take(order)
        except PreflightError as err:
            return Done(lines=(f"  {err.message}",), entries={f"outcome.{slot.name}": FAILED, f"codes.{slot.name}": err.code})
        except MeasureError as err:
            lines = (f"  No take: {plain_text(str(err))}", *(cardless_lines(scene) if isinstance(err, DeviceError) else ()))
            return Done(lines=lines, back_to=f"ready.{slot.name}", exit_code=getattr(err, "exit_code", 0))
        codes = tuple(finding.code for finding in made.judgement.findings if finding.severity != "pass")
        is_silent = slot.may_be_silent and _is_nothing(made.judgement.outcome, codes)
        outcome = "silent" if is_silent else made.judgement.outcome
        entries = {f"take.{slot.name}": name, f"outcome.{slot.name}": outcome, f"codes.{slot.name}": " ".join(codes)}
        return Done(lines=tuple(f"  {line}" for line in made.reply.lines), entries=entries)

    return Deed(key=f"sweep.{slot.name}", run=run, before=("  recording …",))


def _is_nothing(outcome: str, codes: tuple[str, ...]) -> bool:
    return outcome == "rejected" and "dead-channel" in codes and all(code in NOTHING_ARRIVES for code in codes)


def _verdict(scene: Scene, slot: Slot) -> Question:
    outcome, codes = scene.answer(f"outcome.{slot.name}"), scene.answer(f"codes.{slot.name}").split()
    choices = ("again", "softer", "louder") if outcome in ("rejected", FAILED) else ("keep", "again", "softer", "louder")
    default = choices[0]
    if outcome in ("rejected", FAILED):
        default = "softer" if any(code in TOO_LOUD for code in codes) else default
        default = "louder" if any(code in TOO_SOFT for code in codes) else default
    faint = "Little of the sweep reached the jack: so it is where this pickup is not connected. If the coil lies well: keep."
    told = {
        "usable": faint if slot.may_be_silent and "noisy-response" in codes else "",
        FAILED: "No take was made. Put right what is said above.",
        "rejected": "This take cannot be used: nothing may rest on it. Put right what is said above.",
        "silent": "Nothing of the sweep reached the jack. If the coil lies well, this pickup is not connected here: keep.",
    }.get(outcome) or "This take can be used, but it could be better. Put right what is said above, or keep it."

    def act(answer: str) -> Done:
        if answer == "keep":
            return Done()
        factor = {"softer": SOFTER, "louder": LOUDER}.get(answer, 1.0)
        level = min(max(_level(scene) * factor, LEAST_LEVEL), MOST_LEVEL)
        return Done(entries={LEVEL_KEY: f"{level:.4g}"}, back_to=f"ready.{slot.name}")

    return Question(
        key=f"verdict.{slot.name}",
        text=f"What now: {', '.join(choices)}?",
        default=default,
        before=(f"  {told}",),
        explanation=("again: the same once more. softer, louder: once more at half or twice the level.",),
        read=one_of(choices),
        act=act,
    )
