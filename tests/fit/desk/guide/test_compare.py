"""The guide to a job on shielding or wiring: the same takes before and after, and what changed."""

import pytest

from fit.desk.bench.virtual import JOB_F
from measure.logbook.store import list_takes, open_logbook
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
