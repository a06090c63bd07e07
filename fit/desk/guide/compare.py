"""The guide to a job on shielding or wiring: what it changed."""

from dataclasses import replace

import msgspec

from fit.desk.book.desk import Outcome
from fit.desk.guide.ask_instrument import instrument_of, instrument_stage, over_stage, usual_controls
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.make_take import Slot, level_stage, take_of, takes_stage
from fit.desk.guide.needs import needs_stage
from fit.desk.guide.page import Asked, answer_stage
from fit.desk.guide.plan import (
    LEFT_ALONE,
    accepted_plans,
    dcr_stage,
    further_slot,
    further_stage,
    plan_for_comparison,
    reference_stage,
    report_stage,
    wish_of,
)
from fit.desk.guide.prepare import input_stage, look_stage
from fit.desk.guide.scene import Scene, caution_stage, first_open, hushed, read_yes
from fit.desk.guide.session import Question, Step
from measure.logbook.conditions import Conditions

STORY = "Before and after a job on shielding or wiring: what did it change, and is that more than the error?"
ASKED = Asked(title="What the job changed", picture="compare.png")
KINDS = ("quiet", "open", "plus-added")


def next_step(scene: Scene) -> Step | None:
    """Find what comes next.

    Returns
    -------
    Question, Deed or None
        None when the report is written.
    """
    return first_open(
        (
            needs_stage,
            caution_stage,
            rig_stage,
            input_stage,
            lambda scene: instrument_stage(
                scene, without="no guitar around it: a pickup wired straight to the jack", is_marking_known=False
            ),
            over_stage,
            lambda scene: dcr_stage(scene, is_closed=instrument_of(scene) is not None),
            reference_stage,
            look_stage,
            level_stage,
            lambda scene: takes_stage(scene, slots(scene, "before"), plan(scene)),
            lambda scene: further_stage(scene, slots(scene, "before")[1:], plan_for_comparison, plan=plan),
            _job_stage,
            lambda scene: takes_stage(scene, _side(scene, "after"), plan(scene)),
            _answer_stage,
            lambda scene: report_stage(scene, _names(scene, "after")[1:]),
        ),
        scene,
    )


def slots(scene: Scene, side: str) -> tuple[Slot, ...]:
    """List the takes of one side.

    Returns
    -------
    tuple of Slot
        Quiet, without and with the known part.
    """
    added, over, is_after = scene.answer("added"), scene.answer("over"), side == "after"
    where = "the pickup" if not over else f"the {over} pickup"
    again = "as before the job: the same place, the same cable, the guitar turned the same way" if is_after else ""
    first = again or "everything as it will be for all takes: cable, place, lamps and computers on as usual"
    titles = ("hum and noise", "the sweep", "with the known part")
    todo = (
        (first, "nothing is played: this take tells the hum"),
        (f"lay the exciter over {where}, and fix it", "nothing else across the jack"),
        (LEFT_ALONE, f"clip {added} across the jack, tip to sleeve"),
    )
    quiet, plain, loaded = (
        Slot(
            name=f"{kind}-{side}",
            title=f"{side} the job, {title}",
            todo=lines,
            conditions=Conditions(
                method="quiet" if kind == "quiet" else "exciter",
                added=added if kind == "plus-added" else "",
                controls=usual_controls(scene),
                coil_over=over or None,
                coil_moved=kind == "open",
                is_after=is_after,
            ),
        )
        for kind, title, lines in zip(KINDS, titles, todo, strict=True)
    )
    return quiet, plain, loaded


def _further(scene: Scene, number: int, side: str) -> Slot:
    slot = further_slot(scene, number)
    if side == "before":
        return slot
    after = msgspec.structs.replace(slot.conditions, is_after=True)
    return replace(slot, name=f"{slot.name}-after", title=f"after the job, {slot.title.lower()}", conditions=after)


def _side(scene: Scene, side: str) -> tuple[Slot, ...]:
    further = [_further(scene, number, side) for number in accepted_plans(scene)]
    return (*slots(scene, side), *further)


def plan(scene: Scene) -> tuple[Slot, ...]:
    """List all takes that are planned by now; what is added before the job is made again after it."""
    return (*_side(scene, "before"), *_side(scene, "after"))


def _names(scene: Scene, side: str) -> tuple[str, ...]:
    return tuple(take_of(scene, slot) for slot in _side(scene, side))


def _job_stage(scene: Scene) -> Step | None:
    if scene.settled("job"):
        return None
    return Question(
        key="job",
        text="Is the job done? Enter goes on",
        default="yes",
        before=(
            "",
            "Now do the job: shield, solder, rewire. It may take days: leave with q, and start the guide again when it is done.",
            "  When soldering, wear eye protection and air the room. The cable and the input stay as they are.",
        ),
        explanation=("What follows is measured again, and the two sides go into one fit, so that what they share cancels.",),
        read=read_yes,
    )


def _answer_stage(scene: Scene) -> Step | None:
    def ask() -> Outcome:
        from fit.desk.questions.compare import CompareWish, compare_sides

        sides = CompareWish(before=_names(scene, "before"), after=_names(scene, "after"), dcr=wish_of(scene, ()).dcr)
        return compare_sides(hushed(scene.desk), sides)

    return answer_stage(scene, ASKED, ask)
