"""What a measurement report says of the measurement: item, measurands, equipment, uncertainty, rule; no certificate."""

from dataclasses import replace

from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.measurement import MEASURANDS, item_rows, measurement_section
from fit.desk.show.terminal import lines
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, ResponseFile, Take
from tests.answer_by_hand import answer, estimate

TIME = "2026-03-02T17:00:00.000Z"


def take(name="open", day="02", **stated):
    return Take(
        name=name,
        conditions=Conditions(**stated),
        recordings=(RecordingFile(file="recording.wav"),),
        rate_hz=96000,
        time_utc=f"2026-03-{day}T17:00:00.000Z",
    )


def said(*takes, found=None):
    section = measurement_section(found or answer(), takes, [("sound card", "two-channel card")])
    return lines(Sheet(title="", blocks=(section,)))


def test_it_is_a_report_and_no_certificate():
    text = " ".join(said(take()))
    assert "measurement report and no calibration certificate" in text
    assert "ISO/IEC 17025:2017, 7.8" in text
    assert "not claimed" in text
    for part in ("two-channel card", "guarded acceptance", "JCGM 106:2012, 8.3", "coverage factor", "small signals"):
        assert part in text


def test_item_operator_day_and_temperature():
    both = {"item": "red one", "operator": "me"}
    rows = item_rows([take(temperature_c=22.0, **both), take("plus", day="03", temperature_c=24.0, **both)])
    assert dict(rows) == {
        "item": "red one",
        "operator": "me",
        "measured": "2026-03-02 to 2026-03-03, UTC",
        "temperature": "winding at 22 °C to winding at 24 °C",
        "method": "exciter; one model is fitted to all takes together",
    }
    assert [row[1] for row in item_rows([take()])][:4] == ["not stated", "not stated", "2026-03-02, UTC", "not stated"]
    assert item_rows([])[2] == ("measured", "not stated")
    table = Take(name="t", kind="response", response_file=ResponseFile(file="response.csv"), time_utc=TIME)
    assert item_rows([table])[-1][1].startswith("exciter (response measured elsewhere);")


def test_each_value_has_its_coverage_factor_and_measurand():
    found = replace(
        answer(),
        quantities={
            "neck.inductance": estimate(2.6, 0.01, "H"),
            "pot.volume": replace(estimate(470e3, 900.0, "Ω"), coverage_factor=1.65, distribution="rectangular"),
            "pot.volume@5": estimate(0.12, 0.01, "1"),
            "capacitor.tone.leak": estimate(1e8, 1e7, "Ω"),
            "neck.q_unloaded": estimate(9.4, 0.1, "1"),
            "neck.eddy_loop_1.corner": estimate(9e3, 10.0, "Hz"),
        },
    )
    text = said(take(), found=found)
    uncertain = [line for line in text[next(n for n, line in enumerate(text) if line == "Uncertainty") :] if "  " in line]
    assert any(line.split() == ["Neck:", "inductance", "10", "mH", "1.96", "normal"] for line in uncertain)
    assert any(line.split() == ["Neck:", "Q,", "pickup", "alone", "0.10", "1.96", "normal"] for line in uncertain)
    assert any(line.split() == ["Volume", "pot", "900", "Ω", "1.65", "rectangular"] for line in uncertain)
    assert not any(word in "\n".join(text) for word in ("leak", "at 5", "Eddy", "eddy loop"))
    assert any(line.startswith("  Volume pot ") and line.endswith(MEASURANDS["pot"]) for line in text)
