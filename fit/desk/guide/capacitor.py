"""The guide to a tone capacitor (or another part) in a guitar that stays closed."""

from typing import TYPE_CHECKING

import msgspec

from fit.circuit.instrument import parts_of, stated_values
from fit.desk.book.desk import Outcome
from fit.desk.guide.ask_instrument import instrument_of, instrument_stage, over_stage, usual_controls
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.make_take import Slot, level_stage, takes_stage
from fit.desk.guide.needs import needs_stage
from fit.desk.guide.page import Asked, answer_stage
from fit.desk.guide.plan import (
    LEFT_ALONE,
    Plan,
    accepted_slots,
    dcr_stage,
    further_stage,
    names_of,
    plan_for_part,
    reference_stage,
    report_stage,
    wish_of,
)
from fit.desk.guide.prepare import input_stage, look_stage
from fit.desk.guide.scene import Scene, caution_stage, first_open, hushed
from fit.desk.guide.session import Question, Step, one_of
from measure.errors import FileError
from measure.logbook.conditions import Conditions

if TYPE_CHECKING:
    from fit.answers.pickup.answer import PickupAnswer

STORY = "A guitar that stays closed: is its tone capacitor (or a pot) what is printed on it?"
ASKED = Asked(title="Is it what is printed on it?", picture="confirm.png")


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
            lambda scene: instrument_stage(scene),
            part_stage,
            over_stage,
            lambda scene: dcr_stage(scene, is_closed=True),
            reference_stage,
            look_stage,
            level_stage,
            lambda scene: takes_stage(scene, slots(scene), plan(scene)),
            lambda scene: further_stage(scene, slots(scene), lambda answer: _plan(scene, answer), plan=plan),
            _answer_stage,
            lambda scene: report_stage(scene, names_of(scene, slots(scene))),
        ),
        scene,
    )


def slots(scene: Scene) -> tuple[Slot, ...]:
    """List the takes that are always made.

    Returns
    -------
    tuple of Slot
        Without and with the known part, everything at 10.
    """
    added, over = scene.answer("added"), scene.answer("over")
    where = f"the {over} pickup" if over else "the pickup"
    conditions = Conditions(controls=usual_controls(scene), coil_over=over or None)
    return (
        Slot(
            name="open",
            title="the guitar as it is",
            todo=(
                "guitar to the input by the cable that you stated, unplugged from any amplifier; nothing else at the jack",
                f"lay the exciter over {where}, on the strings if need be, and fix it: it has to stay there",
            ),
            conditions=msgspec.structs.replace(conditions, coil_moved=True),
        ),
        Slot(
            name="plus-added",
            title="with the known part",
            todo=(LEFT_ALONE, f"clip {added} across the jack, tip to sleeve, for example at the far plug of the cable"),
            conditions=msgspec.structs.replace(conditions, added=added),
        ),
    )


def plan(scene: Scene) -> tuple[Slot, ...]:
    """List all takes that are planned by now."""
    return (*slots(scene), *accepted_slots(scene))


def part_stage(scene: Scene) -> Step | None:
    """Ask which part is in doubt.

    Raises
    ------
    FileError
        If the guitar has no part that is only marked.
    """
    instrument = instrument_of(scene)
    stated = {} if instrument is None else stated_values(instrument)
    names = [] if instrument is None else [key for key, _, _ in parts_of(instrument) if stated[key].is_marked]
    if not names:
        msg = 'instrument.toml states no part as marked, so there is nothing to confirm: write marked = "22n ± 10%" for value'
        raise FileError(msg)
    if scene.answer("part") in names:
        return None
    names.sort(key=lambda name: (not name.startswith("capacitor."), "tone" not in name))
    return Question(
        key="part",
        text=f"Which part is in doubt: {', '.join(names)}?",
        default=names[0],
        explanation=("Its value is measured through the jack and compared with what is printed on it.",),
        read=one_of(tuple(names)),
    )


def _plan(scene: Scene, answer: "PickupAnswer") -> Plan | None:
    from fit.desk.questions.confirm import judge_part

    part, instrument = scene.answer("part"), instrument_of(scene)
    marked = None if instrument is None else stated_values(instrument)[part].quantity
    verdict = judge_part(part, marked, answer).verdict
    return plan_for_part(answer, part, is_resolved=verdict != "not resolved")


def _answer_stage(scene: Scene) -> Step | None:
    def ask() -> Outcome:
        from fit.desk.questions.confirm import confirm_part_of
        from fit.desk.questions.fit import fit_takes

        wish, desk = wish_of(scene, names_of(scene, slots(scene))), hushed(scene.desk)
        fit_takes(desk, wish)  # kept, for predict and export
        return confirm_part_of(desk, scene.answer("part"), wish)

    return answer_stage(scene, ASKED, ask)
