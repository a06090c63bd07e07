"""The stages of a guide that fit what was taken, plan the next take by what would help most, and write the report."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import msgspec

from fit.desk.guide.ask_instrument import usual_controls
from fit.desk.guide.make_take import Slot, take_of, take_stage
from fit.desk.guide.scene import NONE, Scene, hushed, parts_said, read_parts, read_quantity, said
from fit.desk.guide.session import Deed, Done, Entry, Memory, Question, Step, answer_of, is_settled, one_of, rewound
from fit.desk.show.words import headline_keys, in_sentence, plain_text, quantity_name, table_lines
from measure.logbook.conditions import Conditions

if TYPE_CHECKING:
    from fit.answers.figures import NextTake
    from fit.answers.pickup.answer import PickupAnswer
    from fit.desk.book.fits import FitWish

MOST_ROUNDS = 5  # further takes that are planned; after that the person knows better
WORTH = 0.9  # [1] a further take is offered where it leaves less than this of an uncertainty
MUCH, WIDE = 0.5, 0.02  # [1] of a guitar a take is urged that halves an uncertainty of more than 2 % (1 σ)
PARTS, COILS = ("pot.", "capacitor.", "resistor."), ("inductance", "winding_capacitance")
SHOWN = ("inductance", "winding_capacitance", "dc_resistance", "resonance_loaded")
LEFT_ALONE = "leave the coil exactly where it is"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Plan:
    """A further take, and why.

    Attributes
    ----------
    is_needed : bool
        Without it the question of the job stays open.
    """

    take: "NextTake"
    why: str
    is_needed: bool


Planner = Callable[["PickupAnswer"], Plan | None]


def reference_stage(scene: Scene) -> Step | None:
    """Ask for the known part to clip on, and what else is at hand.

    Returns
    -------
    Question or None
        None when both are settled.
    """
    if not scene.settled("added"):
        return Question(
            key="added",
            text="Which known capacitor will you clip across the jack?",
            default=scene.bench.defaults.get("added", "1n ± 1%"),
            before=("", "What sets the scale"),
            explanation=(
                "One take with it and one without tell inductance and capacitance apart; its bound is the bound of the result.",
                "About 1 nF, film or C0G, of 1 % is good. Clip it from tip to sleeve, for example at the far plug of the cable.",
            ),
            read=read_parts(may_be_none=False),
            act=lambda answer: Done(lines=parts_said(answer, "added")),
        )
    if not scene.settled("at_hand"):
        return Question(
            key="at_hand",
            text="Other known parts at hand, for further takes?",
            default=NONE,
            explanation=("For example: 470p ± 1%, 2n2 ± 1%. The guide works out which of them would help most.",),
            read=read_parts(may_be_none=True),
            act=lambda answer: Done(lines=parts_said(answer, "at hand")),
        )
    return None


def dcr_stage(scene: Scene, *, is_closed: bool) -> Step | None:
    """Ask for the winding's resistance."""
    if scene.settled("dcr"):
        return None
    where = "In a closed guitar the pots lie across the winding: go without, or take the maker's figure with a wide bound."
    return Question(
        key="dcr",
        text="Winding resistance by a multimeter, with ± its bound?",
        default=NONE if is_closed else scene.bench.defaults.get("dcr", NONE),
        explanation=(
            where if is_closed else "Measured with nothing else connected; the bound is in the meter's data sheet.",
            'For example "7.9k ± 1%", or with its temperature "7.9k ± 1% at 24C".',
            "none: go without it; the result is a little less sharp.",
        ),
        read=read_quantity("dcr", may_be_none=True),
        act=lambda answer: Done(lines=said(answer, "dcr", "dcr")),
    )


def further_stage(
    scene: Scene, slots: Sequence[Slot], planner: Planner, *, plan: Callable[[Scene], Sequence[Slot]] = lambda _: ()
) -> Step | None:
    """Fit what there is; offer the take that would help most, make it, and fit again.

    Parameters
    ----------
    scene : Scene
        What is settled; the slots are filled.
    slots : sequence of Slot
        Takes that there are to begin with.
    planner : callable
        Chooses the further take, or none.
    plan : callable
        Lists all takes that are planned, so that they can be counted.

    Returns
    -------
    Question, Deed or None
        None when no further take is wanted.
    """
    for number in range(1, MOST_ROUNDS + 1):
        if not scene.settled(f"plan.{number}"):
            return _fit_deed(scene, names_of(scene, slots), planner, number=number)
        if scene.answer(f"plan.{number}") == NONE:
            return None
        if not scene.settled(f"more.{number}"):
            return _more_question(scene, number, plan)
        if scene.answer(f"more.{number}") == "no":
            return None
        step = take_stage(scene, further_slot(scene, number), plan(scene))
        if step is not None:
            return step
    return None


def names_of(scene: Scene, slots: Sequence[Slot]) -> tuple[str, ...]:
    """Names of all takes that can be fitted.

    Parameters
    ----------
    slots : sequence of Slot
        Takes that there were to begin with.

    Returns
    -------
    tuple of str
        Theirs and those of the further ones.
    """
    names = [take_of(scene, slot) for slot in slots]
    names += [take_of(scene, slot) for slot in accepted_slots(scene)]
    return tuple(name for name in names if name)


def accepted_plans(scene: Scene) -> tuple[int, ...]:
    """List the planned takes that the person wanted."""
    return tuple(number for number in range(1, MOST_ROUNDS + 1) if scene.answer(f"more.{number}") == "yes")


def accepted_slots(scene: Scene) -> tuple[Slot, ...]:
    """List the further takes that the person wanted."""
    return tuple(further_slot(scene, number) for number in accepted_plans(scene))


def further_slot(scene: Scene, number: int) -> Slot:
    """Put a planned take as one to be made."""
    added, _, sets = scene.answer(f"plan.{number}").partition("|")
    turned = dict(text.split("=", 1) for text in sets.split(",") if "=" in text)
    name = "plus-" + added if added else "-".join(f"{control}-{value}" for control, value in turned.items())
    what = f"clip {plain_text(added)} across the jack, tip to sleeve" if added else "take every added part off the jack"
    return Slot(
        name=re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:40] or f"more-{number}",
        title=_turned_text(turned, added),
        todo=(_where(scene, number), what),
        conditions=Conditions(added=added, controls=usual_controls(scene) | turned, coil_over=scene.answer("over") or None),
    )


def wish_of(scene: Scene, names: Sequence[str]) -> "FitWish":
    """Put what is to be fitted.

    Returns
    -------
    FitWish
        With the references that the person named.
    """
    from fit.desk.book.fits import FitWish

    dcr, at_hand = scene.answer("dcr", NONE), scene.answer("at_hand", NONE)
    over = scene.answer("over")
    named = f"{over}={dcr}" if over else dcr
    return FitWish(names=tuple(names), dcr=None if dcr == NONE else named, at_hand="" if at_hand == NONE else at_hand)


def report_stage(scene: Scene, names: Sequence[str]) -> Step | None:
    """Write the report.

    Parameters
    ----------
    names : sequence of str
        Takes that it rests on.
    """
    if scene.settled("report"):
        return None

    def run() -> Done:
        from fit.desk.questions.report import REPORT_FILE, write_report

        wish = wish_of(scene, names)
        file = scene.logbook().path / REPORT_FILE
        write_report(hushed(scene.desk), names=names, dcr=wish.dcr, at_hand=wish.at_hand)
        return Done(lines=("", f"All of it as one page, for your browser: {file}"), entries={"report": str(file)})

    return Deed(key="reporting", run=run)


def plan_for_pickup(answer: "PickupAnswer") -> Plan | None:
    """Choose the take that would tell most of a pickup.

    Returns
    -------
    Plan or None
        None where no take helps.
    """
    for one in answer.not_identified:
        if one.next_take is not None:
            return Plan(take=one.next_take, why=f"{quantity_name(one.quantity)}: {one.why}", is_needed=True)
    for key in headline_keys(answer.next_takes, ("inductance", "winding_capacitance")):
        plan = _sharper(answer, key)
        if plan is not None:
            return plan
    return None


def plan_for_guitar(answer: "PickupAnswer", *, has_parts: bool) -> Plan | None:
    """Choose the take that would tell most of a whole guitar.

    Parameters
    ----------
    has_parts : bool
        There are further known parts at hand; without, only knobs are turned.

    Returns
    -------
    Plan or None
        None where no take helps.
    """
    ways = {key: tuple(take for take in takes if has_parts or not take.add) for key, takes in answer.next_takes.items()}
    narrowed = replace(answer, next_takes=ways)
    untold = [one for one in answer.not_identified if one.next_take is not None and (has_parts or not one.next_take.add)]
    if untold:
        return plan_for_pickup(replace(narrowed, not_identified=tuple(untold)))
    plans = {key: _sharper(narrowed, key) for key in ways if key.startswith(PARTS) or key.rpartition(".")[2] in COILS}
    gains = {key: plan.take.predicted_relative_std / _relative(answer, key) for key, plan in plans.items() if plan is not None}
    if not gains:
        return None
    best = min(gains, key=lambda key: gains[key])
    plan = plans[best]
    is_needed = gains[best] < MUCH and _relative(answer, best) > WIDE
    return None if plan is None else replace(plan, is_needed=is_needed)


def _relative(answer: "PickupAnswer", key: str) -> float:
    estimate = answer.quantities[key]
    return estimate.standard_uncertainty / abs(estimate.value)


def plan_for_comparison(answer: "PickupAnswer") -> Plan | None:
    """Choose the take that would tell most of what a job may change; it is made on both sides.

    Parameters
    ----------
    answer : PickupAnswer
        The fit of the takes before the job.

    Returns
    -------
    Plan or None
        None where no take helps. A job is compared without it as well, so it is offered, not urged.
    """
    plan = plan_for_pickup(answer)
    return None if plan is None else replace(plan, is_needed=False)


def plan_for_part(answer: "PickupAnswer", part: str, *, is_resolved: bool) -> Plan | None:
    """Choose the take that would tell most of one part.

    Parameters
    ----------
    is_resolved : bool
        The takes that there are answer the question.

    Returns
    -------
    Plan or None
        None where no take helps.
    """
    for one in answer.not_identified:
        if one.quantity == part and one.next_take is not None:
            return Plan(take=one.next_take, why=f"{quantity_name(part)}: {one.why}", is_needed=True)
    plan = _sharper(answer, part)
    return None if plan is None else replace(plan, is_needed=not is_resolved)


def _sharper(answer: "PickupAnswer", key: str) -> Plan | None:
    takes, estimate = answer.next_takes.get(key, ()), answer.quantities.get(key)
    if not takes or estimate is None:
        return None
    now, then = estimate.standard_uncertainty / abs(estimate.value), takes[0].predicted_relative_std
    if not then < WORTH * now:
        return None
    why = f"it would bring the {in_sentence(key)} from ± {196 * now:.2g} % to ± {196 * then:.2g} %"
    return Plan(take=takes[0], why=why, is_needed=False)


def _fit_deed(scene: Scene, names: tuple[str, ...], planner: Planner, *, number: int) -> Deed:
    def run() -> Done:
        from fit.desk.book.fits import answer_for

        answer, _ = answer_for(hushed(scene.desk), scene.logbook(), wish_of(scene, names))
        plan = planner(answer)
        text, why = NONE, ""
        if plan is not None:
            text, why = f"{plan.take.add}|{','.join(plan.take.controls)}", plan.why
        entries = {f"plan.{number}": text, f"why.{number}": why[:900], f"do.{number}": "" if plan is None else plan.take.text}
        entries[f"need.{number}"] = "yes" if plan is not None and plan.is_needed else "no"
        return Done(lines=_told(answer), entries=entries)

    return Deed(key=f"fit.{number}", run=run, before=("", f"What these takes tell: {', '.join(names)}"))


def _told(answer: "PickupAnswer") -> tuple[str, ...]:
    """Put the values in short: the whole table comes with the answer."""
    from fit.desk.show.sheets.fit import limiting_source
    from fit.desk.show.words import estimate_texts

    rows: list[tuple[str, ...]] = [
        (quantity_name(key), *estimate_texts(answer.quantities[key]), plain_text(limiting_source(answer, key)))
        for key in headline_keys(answer.quantities, SHOWN)
    ]
    head: list[tuple[str, ...]] = [("", "value", "95 % interval", "limited most by")]
    lines = table_lines([*head, *rows]) if rows else []
    untold = [in_sentence(one.quantity) for one in answer.not_identified]
    lines += [f"  not told yet: {', '.join(untold)}"] if untold else []
    if answer.outcome != "good":
        doubts = [plain_text(one.text) for one in answer.findings if one.severity == "reject"]
        lines += ["  INDICATIVE ONLY: model and measurement do not go together.", *(f"  {text}" for text in doubts)]
    return tuple(lines)


# The fit foresees takes with the coil over the first pickup; of a whole guitar the coil has been over all of them.
def _where(scene: Scene, number: int) -> str:
    over = plain_text(scene.answer("over"))
    has_moved = scene.answer("coil_last", over) != over and not any(one < number for one in accepted_plans(scene))
    return f"lay the exciter over the {over} pickup again, and fix it" if has_moved else LEFT_ALONE


def with_further(memory: Memory, wanted: Conditions) -> Memory | None:
    """Put a take that the person chose where the next one would be offered; what followed from there is done anew.

    Returns
    -------
    Memory or None
        None where the session has not come to such offers, or has made as many as there are.
    """
    number = next((number for number in range(1, MOST_ROUNDS + 1) if answer_of(memory, f"more.{number}") != "yes"), None)
    if number is None or not is_settled(memory, f"plan.{number}"):
        return None
    sets = ",".join(f"{control}={value}" for control, value in wanted.controls.items())
    chosen = {"plan": f"{wanted.added}|{sets}", "do": _turned_text(wanted.controls, wanted.added), "why": "", "need": "no"}
    entries = tuple(Entry(key=f"{key}.{number}", answer=value) for key, value in chosen.items())
    consent = Entry(key=f"more.{number}", answer="yes", is_asked=True)
    before = rewound(memory, f"plan.{number}")
    return msgspec.structs.replace(before, entries=(*before.entries, *entries, consent))


def _turned_text(turned: Mapping[str, str], added: str) -> str:
    what = ", ".join(f"{plain_text(control)} at {plain_text(value)}" for control, value in turned.items())
    return f"one more, with {plain_text(added) if added else what}"


def _more_question(scene: Scene, number: int, plan: Callable[[Scene], Sequence[Slot]]) -> Question:
    def act(answer: str) -> Done:
        entries = (*scene.memory.entries, Entry(key=f"more.{number}", answer=answer))
        n_takes = len(plan(replace(scene, memory=msgspec.structs.replace(scene.memory, entries=entries))))
        return Done(lines=(f"  The plan has {n_takes} takes now.",) if answer == "yes" and n_takes else ())

    needed = scene.answer(f"need.{number}") == "yes"
    return Question(
        key=f"more.{number}",
        text="Make that take: yes or no?",
        default="yes" if needed else "no",
        before=(
            "",
            "What would help most" if needed else "What would make it sharper",
            f"  {scene.answer(f'do.{number}')}",
            f"  {scene.answer(f'why.{number}')}",
        ),
        explanation=(
            "It was worked out from the takes that there are: of the knobs and parts at hand, this tells most.",
            "no: the answer rests on what there is.",
        ),
        read=one_of(("yes", "no")),
        act=act,
    )
