"""The guide to a pickup on the bench: what it is."""

from fit.desk.book.desk import lines_of
from fit.desk.book.output import save_figure
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.make_take import Slot, level_stage, takes_stage
from fit.desk.guide.needs import needs_stage
from fit.desk.guide.plan import (
    LEFT_ALONE,
    accepted_slots,
    dcr_stage,
    further_stage,
    names_of,
    plan_for_pickup,
    reference_stage,
    report_stage,
    wish_of,
)
from fit.desk.guide.prepare import input_stage, look_stage
from fit.desk.guide.scene import Scene, caution_stage, first_open, hushed
from fit.desk.guide.session import Deed, Done, Step
from fit.desk.show.sheets.report import RESPONSE
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.store import instrument_path

STORY = (
    "A pickup on the bench, its two wires at the interface's input: its inductance, capacitance, resistance, losses, resonance."
)
PLOT_FILE = "fit.png"


def next_step(scene: Scene) -> Step | None:
    """Find what comes next.

    Returns
    -------
    Question, Deed or None
        None when the report is written.
    """
    return first_open(
        (
            _alone_stage,
            needs_stage,
            caution_stage,
            rig_stage,
            input_stage,
            lambda scene: dcr_stage(scene, is_closed=False),
            reference_stage,
            look_stage,
            level_stage,
            lambda scene: takes_stage(scene, slots(scene), plan(scene)),
            lambda scene: further_stage(scene, slots(scene), plan_for_pickup, plan=plan),
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
        Without and with the known part.
    """
    added = scene.answer("added")
    return (
        Slot(
            name="open",
            title="the pickup as it is",
            todo=(
                "pickup to the input, nothing else connected to it; keep its cable as it was when you stated the capacitance",
                "lay the exciter flat on the pickup, over the middle of its coil, and fix it: it has to stay there",
            ),
            conditions=Conditions(coil_moved=True),
        ),
        Slot(
            name="plus-added",
            title="with the known part",
            todo=(LEFT_ALONE, f"clip {added} across the pickup's two wires"),
            conditions=Conditions(added=added),
        ),
    )


def plan(scene: Scene) -> tuple[Slot, ...]:
    """List all takes that are planned by now."""
    return (*slots(scene), *accepted_slots(scene))


def _alone_stage(scene: Scene) -> Step | None:
    """See that the logbook states no guitar.

    Raises
    ------
    FileError
        If it does.
    """
    path = instrument_path(scene.logbook())
    if path.exists() and not scene.settled("report"):
        msg = f"{path} states a guitar around the pickup: use another folder by --logbook, or coilsweep guide capacitor"
        raise FileError(msg)
    return None


def _answer_stage(scene: Scene) -> Step | None:
    if scene.settled("answered"):
        return None

    def run() -> Done:
        from fit.desk.questions.fit import fit_takes

        logbook = scene.logbook().path
        plot = logbook / PLOT_FILE
        outcome = fit_takes(hushed(scene.desk), wish_of(scene, names_of(scene, slots(scene))))
        save_figure(outcome.figures[RESPONSE.name], plot)
        lines = ("", *lines_of(outcome), f"Picture: {plot}")
        return Done(lines=lines, document=outcome.document, answer=outcome.sheet)

    return Deed(key="answered", run=run)
