"""The guide to a pickup: a whole session from nothing set up, with wrong answers and steps back in it."""

import re

import pytest

from fit.circuit.layouts import layout_text
from fit.desk.bench.drawer import Drawer
from fit.desk.guide import pickup as job
from measure.errors import FileError
from measure.logbook.store import list_takes, open_logbook
from tests.desk_bench import names_of, run
from tests.guide_scenes import scene
from tests.guided import Script, answers, guided
from tests.spies import spy_on


@pytest.fixture(scope="module")
def pickup(tmp_path_factory):
    """A whole session, wrong answers, a question mark and steps back in it."""
    folder = tmp_path_factory.mktemp("guide") / "new"
    script = Script(
        **answers(
            cautions=["what?", ""],
            input_resistance=["1", "?", "ten ± 1%", "b"],
            input_capacitance=["190p ± 3p", "186p ± 3p"],
            dcr=["b"],
            level=["0", "much", "0.1"],
            ready=["no", ""],
        )
    )
    with pytest.MonkeyPatch.context() as patch:
        spy = spy_on(patch)
        document = guided(folder, "pickup", script)
    assert spy.fits == 1  # the plan, the answer and the report rest on one
    return folder, script, document


@pytest.mark.long
def test_pickup_is_found_from_nothing_set_up(pickup):
    folder, script, document = pickup
    assert (document["finished"], document["report"]) == (True, str(folder / "report.html"))
    answer, drawer = document["answer"], Drawer()
    assert (names_of(answer), answer["simulated"], answer["outcome"]) == (["open", "plus-added"], True, "good")
    truths = {
        "inductance": (drawer.inductance_h, 0.01 * drawer.inductance_h),
        "winding_capacitance": (drawer.capacitance_f, 5e-12),
        "dc_resistance": (drawer.resistance_ohm, 0.01 * drawer.resistance_ohm),
    }
    for name, (truth, within) in truths.items():
        found = answer["quantities"][name]
        assert found["value"] == pytest.approx(truth, abs=within)
        assert abs(found["value"] - truth) < 3 * found["standard_uncertainty"]
    assert (folder / "report.html").stat().st_size > 100_000
    assert all(take.simulated for take in list_takes(open_logbook(folder)).takes)
    assert "simulated: these recordings came from the virtual bench" in script.text


@pytest.mark.long
def test_cautions_are_shown_once(pickup):
    script = pickup[1]
    assert script.text.count("Valve amplifiers hold lethal voltage") == 1
    assert script.text.index("lethal voltage") < script.text.index("Ready?")


@pytest.mark.long
def test_wrong_answers_are_asked_again_with_the_reason(pickup):
    text = pickup[1].text
    for reason in (
        'Not so: "1": 1 Ω is odd for an input; is 1M meant?',
        'Not so: "ten',
        'Not so: "0" is not a share of full scale, expected 0.001 to 1',
        'Not so: "much" is not a share of full scale',
        'Not so: "no" was not expected',
    ):
        assert reason in text
    assert "It stands in the interface's data sheet" in text  # what ? explains


@pytest.mark.long
def test_back_asks_again_and_the_last_answer_counts(pickup):
    folder, script, _ = pickup
    assert 'capacitance = "186p ± 3p"' in (folder / "rig.toml").read_text(encoding="utf-8")
    assert script.text.count("The sense resistor?") == 2  # b at the question after it
    again = [line for line in script.shown if line.startswith("Capacitance of input")]
    assert [re.search(r"\[(.*)\]", line)[1] for line in again] == ["185p ± 3p", "190p ± 3p"]


@pytest.mark.long
def test_finished_guide_is_not_run_twice_unasked(pickup):
    folder = pickup[0]
    script = Script()
    assert guided(folder, "pickup", script)["finished"] is False
    assert script.n_asked == 1
    assert len(list_takes(open_logbook(folder)).takes) == 2
    with pytest.raises(FileError, match="begun on the virtual bench: go on with --virtual"):
        guided(folder, "pickup", Script(), virtual=False)


def test_guide_to_a_pickup_leaves_a_guitar_alone(tmp_path, capsys):
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    code, _, err = run(capsys, "guide", "pickup", "--virtual", "--logbook", tmp_path)
    assert code == 2
    assert "states a guitar around the pickup" in err


def test_two_takes_and_the_coil_moves_once(tmp_path):
    first, second = job.slots(scene(tmp_path, added="1n ± 1%"))
    assert (first.name, first.conditions.coil_moved, first.conditions.added) == ("open", True, "")
    assert (second.name, second.conditions.coil_moved, second.conditions.added) == ("plus-added", False, "1n ± 1%")
    assert "clip 1n ± 1% across the pickup's two wires" in second.todo


def test_a_guitar_in_the_logbook_is_none_of_its_business_once_the_report_is_there(tmp_path):
    (tmp_path / "instrument.toml").write_text(layout_text("one-pickup"), encoding="utf-8")
    with pytest.raises(FileError, match="states a guitar around the pickup"):
        job.next_step(scene(tmp_path))
    assert job.next_step(scene(tmp_path, report="there", needs="done")).key == "cautions"
