"""The guide to a part of a closed guitar: which takes it makes, and what it finds."""

import pytest

from fit.circuit.layouts import layout_text
from fit.desk.bench.virtual import TONE_CAPACITOR_F
from fit.desk.command.main import main
from fit.desk.guide import capacitor
from measure.errors import FileError
from measure.logbook.store import list_takes, open_logbook
from tests.guide_scenes import scene
from tests.guided import Script, answers, guided
from tests.pages import read_page
from tests.spies import spy_on


@pytest.mark.slow
def test_capacitor_by_the_take_that_tells_it(tmp_path, monkeypatch):
    script = Script(**answers(capacitor=["33", "33m", "33n ± 10%"]))
    spy = spy_on(monkeypatch)
    document = guided(tmp_path, "capacitor", script)
    assert spy.fits == 2  # before the further take, and with it
    answer = document["answer"]
    assert [take.conditions.controls["tone"] for take in list_takes(open_logbook(tmp_path)).takes] == ["10", "10", "0"]
    assert (
        "What would help most one more take with the controls set to tone=0, the exciter left where it is Tone capacitor: a pot"
        in script.text
    )
    assert answer["verdict"] == "outside marking"
    assert answer["measured"]["value"] == pytest.approx(TONE_CAPACITOR_F, rel=0.01)
    assert abs(answer["measured"]["value"] - TONE_CAPACITOR_F) < 3 * answer["measured"]["standard_uncertainty"]
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "Is it what is printed on it? (simulated)"
    expected = ["The answer", "Measured and marked", "What was asked", "Takes"]
    assert [heading for heading in page.headings if heading in expected] == expected
    assert "OUTSIDE MARKING" in page.said
    assert "Known part clipped across the jack" in page.said
    assert 'marked = "33n ± 10%"' in (tmp_path / "instrument.toml").read_text(encoding="utf-8")
    # the fit is kept, so that other commands go on from here
    assert main(["predict", "--set", "tone=3", "--logbook", str(tmp_path)]) == 0


@pytest.fixture
def guitar(tmp_path):
    (tmp_path / "instrument.toml").write_text(layout_text("one-pickup"), encoding="utf-8")
    return tmp_path


def test_only_parts_that_are_marked_can_be_in_doubt(guitar):
    one = capacitor.part_stage(scene(guitar))
    assert one.read("capacitor.tone") == "capacitor.tone"
    with pytest.raises(ValueError, match="is not one of"):
        one.read("bridge.inductance")
    assert capacitor.part_stage(scene(guitar, part="capacitor.tone")) is None
    text = (
        layout_text("one-pickup").replace("marked =", "value =").replace('"22n', '"22n ± 1%" #').replace('"500k', '"500k ± 1%" #')
    )
    (guitar / "instrument.toml").write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match="states no part as marked"):
        capacitor.part_stage(scene(guitar))


def test_both_takes_have_everything_at_ten_and_the_coil_moves_once(guitar):
    first, second = capacitor.slots(scene(guitar, added="1n ± 1%"))
    assert first.conditions.controls == second.conditions.controls == {"volume": "10", "tone": "10"}
    assert (first.conditions.coil_moved, second.conditions.coil_moved) == (True, False)
    assert (first.conditions.added, second.conditions.added) == ("", "1n ± 1%")
    assert "clip 1n ± 1% across the jack" in second.todo[1]


def test_it_begins_with_the_cautions(tmp_path):
    assert capacitor.next_step(scene(tmp_path, needs="done")).key == "cautions"
