"""The stage of a guide that lists what will be needed, before its first question."""

import functools

from fit.desk.guide.scene import Scene
from fit.desk.guide.session import Deed, Done, Step
from fit.desk.show.sheet import Section
from fit.desk.show.sheets.needs import CoilToWind, sheet_of_needs
from fit.desk.show.terminal import lines


def needs_stage(scene: Scene) -> Step | None:
    """List once what will be needed, with a drawing of the bench and the exciter to wind."""
    if scene.settled("needs"):
        return None

    def run() -> Done:
        return Done(lines=tuple(lines(sheet_of_needs(scene.memory.job, coil_to_wind(), virtual=scene.memory.virtual))))

    return Deed(key="needs", run=run)


def needs_section(scene: Scene) -> Section:
    """List what was needed, for a page."""
    return Section(sheet_of_needs(scene.memory.job, coil_to_wind(), virtual=scene.memory.virtual).blocks)


@functools.cache
def coil_to_wind() -> CoilToWind:
    """Choose the exciter that `coilsweep exciter` proposes for a usual headphone output."""
    from fit.desk.questions.exciter import usual_exciter

    wire, winding, sense_ohm = usual_exciter()
    return CoilToWind(
        turns=winding.turns,
        wire=wire,
        former_m=winding.former_width_m,
        length_m=winding.length_m,
        sense_ohm=sense_ohm,
    )
