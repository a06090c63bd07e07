"""The guide to a part of a closed guitar: which takes it makes, and what it finds."""

import pytest

from fit.desk.bench.virtual import TONE_CAPACITOR_F
from fit.desk.command.main import main
from measure.logbook.store import list_takes, open_logbook
from tests.guided import Script, answers, guided
from tests.pages import read_page
from tests.spies import spy_on


@pytest.mark.slow
def test_capacitor_by_the_take_that_tells_it(tmp_path, monkeypatch):
    script = Script(**answers(capacitor=["223", "223K", "33n ± 10%"]))
    spy = spy_on(monkeypatch)
    document = guided(tmp_path, "capacitor", script)
    assert spy.fits == 2  # before the further take, and with it
    answer = document["answer"]
    assert [take.conditions.controls["tone"] for take in list_takes(open_logbook(tmp_path)).takes] == ["10", "10", "0"]
    assert (
        "What would help most one more take with the controls set to tone=0, the coil left where it is Tone capacitor: a pot"
        in script.text
    )
    assert answer["verdict"] == "outside marking"
    assert answer["measured"]["value"] == pytest.approx(TONE_CAPACITOR_F, rel=0.01)
    assert abs(answer["measured"]["value"] - TONE_CAPACITOR_F) < 3 * answer["measured"]["standard_uncertainty"]
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "Is it what is printed on it? (simulated)"
    expected = ["What was asked", "The answer", "Measured and marked", "Takes"]
    assert [heading for heading in page.headings if heading in expected] == expected
    assert "OUTSIDE MARKING" in page.said
    assert "Known part clipped across the jack" in page.said
    assert 'marked = "33n ± 10%"' in (tmp_path / "instrument.toml").read_text(encoding="utf-8")
    # the fit is kept, so that other commands go on from here
    assert main(["predict", "--set", "tone=3", "--logbook", str(tmp_path)]) == 0
