"""The stage that lists what will be needed, before the first question."""

import pytest

from fit.desk.guide import capacitor, compare, guitar, pickup, wiring
from fit.desk.guide.needs import needs_section, needs_stage
from fit.desk.guide.session import Deed
from fit.desk.show.sheet import Sheet
from fit.desk.show.terminal import lines
from tests.guide_scenes import scene


@pytest.mark.parametrize("job", [guitar, pickup, capacitor, compare, wiring])
def test_every_job_begins_with_what_it_needs_and_then_the_cautions(tmp_path, job):
    name = job.__name__.rpartition(".")[2]
    first = job.next_step(scene(tmp_path, job=name))
    assert isinstance(first, Deed)
    said = first.run().lines
    assert said[1] == "What you will need"
    assert job.next_step(scene(tmp_path, job=name, needs="done")).key == "cautions"
    assert needs_stage(scene(tmp_path, needs="done")) is None


def test_the_page_has_the_same(tmp_path):
    whole = scene(tmp_path, job="guitar")
    assert tuple(lines(Sheet(title="", blocks=(needs_section(whole),)))) == ("", *needs_stage(whole).run().lines)
