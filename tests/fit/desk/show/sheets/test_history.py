"""What was found before, for people."""

from fit.answers.figures import Estimate
from fit.desk.show.document.history import PastResult
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.history import Earlier, earlier_section, lasting, sheet_of_history
from fit.desk.show.terminal import lines
from fit.desk.show.words import text_width


def henry(value):
    return Estimate(value=value, unit="H", standard_uncertainty=0.01, low=value - 0.02, high=value + 0.02)


def result(day, **options):
    times = {"begun_utc": f"{day}T16:00:00Z", "measured_utc": f"{day}T17:00:00Z", "fitted_utc": f"{day}T18:00:00Z"}
    facts = {"item": "neck", "takes": ("open", "plus"), "stated": {}, "outcome": "good", "temperature_c": 24.0}
    return PastResult(simulated=False, values={}, **(times | facts | options))


def test_a_quantity_day_by_day():
    shown = lines(
        sheet_of_history(
            [result("2026-03-02"), result("2026-05-01")],
            {"inductance": (None, True), "capacitor.tone": (None, None)},
            item="neck",
            items=("neck", "bridge"),
            doubtful=("old",),
            values=[{"inductance": henry(2.31)}, {"inductance": henry(2.6), "capacitor.tone": henry(3.0)}],
        )
    )
    assert shown[:4] == ["neck", "", "Inductance", "  2026-03-02  2.310 H  2.290 … 2.330 H"]
    assert shown[4] == "  2026-05-01  2.600 H  2.580 … 2.620 H  changed"
    assert "  2026-03-02  takes open, plus; winding at 24 °C" in shown
    assert shown[-1] == "Other items: bridge"
    assert "  old" in shown
    assert shown[5:8] == ["", "Tone capacitor", "  2026-05-01  3.000 H  2.980 … 3.020 H"]
    assert max(map(text_width, shown)) <= 80


def test_nothing_yet():
    assert lines(sheet_of_history([], {}, item=None, items=(), doubtful=(), values=[])) == [
        "No good result is kept yet: coilsweep fit keeps one with every fit."
    ]


def test_the_same_in_march():
    before = Earlier(
        result=result("2026-03-02"),
        values={"inductance": henry(2.31), "bridge.inductance": henry(3.0)},
        changed=frozenset({"inductance"}),
    )
    assert lines(Sheet(title="", blocks=earlier_section(before))) == [
        "",
        "Measured before: neck, 2026-03-02, takes open, plus",
        "  Inductance          2.310 H  2.290 … 2.330 H  changed since",
        "  Bridge: inductance  3.000 H  2.980 … 3.020 H  as before",
    ]
    assert earlier_section(None) == ()
    assert earlier_section(Earlier(result=result("2026-03-02"), values={}, changed=frozenset())) == ()


def test_what_hangs_on_cable_input_or_model_is_not_of_the_item():
    keys = ["q_loaded", "resonance_loaded", "neck.inductance", "capacitor.tone", "capacitor.tone.leak", "pot.tone@5", "eddy_1"]
    assert lasting(keys) == ["neck.inductance", "capacitor.tone"]
