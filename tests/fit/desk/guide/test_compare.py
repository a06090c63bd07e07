"""The guide to a job on shielding or wiring: the same takes before and after, and what changed."""

import msgspec
import pytest

from fit.desk.bench.virtual import JOB_F
from fit.desk.guide import compare
from measure.logbook.store import list_takes, open_logbook
from tests.guide_scenes import scene
from tests.guided import Script, answers, guided


@pytest.mark.slow
def test_compare_makes_a_further_take_on_both_sides(tmp_path):
    document = guided(tmp_path, "compare", Script(**answers(more=["yes"])))
    takes = [(take.name, take.conditions.controls["tone"]) for take in list_takes(open_logbook(tmp_path)).takes]
    assert takes[3:4] + takes[-1:] == [("volume-5", "10"), ("volume-5-after", "10")]
    parts = document["answer"]["quantities"]
    for name in ("pot.volume", "pot.tone"):
        assert parts[name]["verdict"] == "not resolved"  # the job leaves them as they are
        assert parts[name]["before"]["standard_uncertainty"] < 0.05 * parts[name]["before"]["value"]
    assert parts["winding_capacitance"]["verdict"] == "changed"


@pytest.mark.slow
def test_compare_finds_what_the_job_changed(tmp_path):
    """Left while the job is done, and gone on with."""
    script = Script(**answers(layout=["none"], done=["q"]))
    assert guided(tmp_path, "compare", script)["finished"] is False
    assert len(list_takes(open_logbook(tmp_path)).takes) == 3
    script = Script()
    document = guided(tmp_path, "compare", script)
    assert "takes so far: quiet-before, open-before, plus-added-before" in script.text
    changed = document["answer"]["quantities"]["winding_capacitance"]
    assert changed["verdict"] == "changed"
    assert changed["change"]["value"] == pytest.approx(JOB_F, abs=3 * changed["change"]["standard_uncertainty"])
    assert document["answer"]["quantities"]["inductance"]["verdict"] == "not resolved"
    assert document["answer"]["hum"]["change"]["value"] == pytest.approx(-14.0, abs=1.5)  # 20·lg(0.2)
    assert "What the job changed (simulated)" in (tmp_path / "answer.html").read_text(encoding="utf-8")


def test_both_sides_are_made_alike(tmp_path):
    before, after = (compare.slots(scene(tmp_path, added="1n ± 1%", over="neck"), side) for side in ("before", "after"))
    assert [slot.name for slot in after] == ["quiet-after", "open-after", "plus-added-after"]
    for one, other in zip(before, after, strict=True):
        same = {"is_after": True}
        assert msgspec.structs.replace(one.conditions, **same) == other.conditions
        assert not one.conditions.is_after
    assert [slot.conditions.method for slot in before] == ["quiet", "exciter", "exciter"]
    assert [slot.conditions.coil_moved for slot in before] == [False, True, False]
    assert before[2].conditions.added == "1n ± 1%"
    assert "as before the job" in after[0].todo[0]


def test_further_takes_are_made_again_after_the_job(tmp_path):
    settled = {"plan__1": "470p ± 1%|", "more__1": "yes", "plan__2": "1n ± 1%|", "more__2": "no"}
    planned = compare.plan(scene(tmp_path, **settled))
    assert [slot.name for slot in planned] == [
        *("quiet-before", "open-before", "plus-added-before", "plus-470p-1"),
        *("quiet-after", "open-after", "plus-added-after", "plus-470p-1-after"),
    ]
    assert planned[-1].conditions.is_after
    assert planned[-1].title == "after the job, one more, with 470p ± 1%"
