"""How far a kept coil has drifted, in words."""

from fit.desk.show.sheets.drift import MOST_TOLD, change_text, drift_size, drift_text
from measure.logbook.drifts import CheckedCoil, DriftRecord


def test_changes_are_written_with_their_sign():
    assert change_text(-59.0, 5900.0, "Hz") == "−1 %"
    assert change_text(0.12, 13.4, "dB") == "+0.12 dB"


def record(size, centre=5900.0, *, since="2026-07-06", is_lasting=True, unit="Hz"):
    return DriftRecord(
        centre=centre,
        size=size,
        unit=unit,
        since_take=f"drawer-{since[-2:]}",
        since_utc=f"{since}T17:00:00.000Z",
        good_until_utc="",
        is_lasting=is_lasting,
    )


def coil(simulated=False, **drifts):
    return CheckedCoil(judged_utc="2026-07-20T17:00:00.000Z", n_measurements=12, simulated=simulated, drifts=drifts)


def test_the_largest_drifts_are_told_from_the_earliest_take_on():
    checked = coil(
        inductance=record(0.01, 2.0, unit="H"),
        winding_capacitance=record(6e-12, 100e-12, since="2026-06-22", unit="F"),
        resonance_loaded=record(-118.0),
        q_loaded=record(0.001, 4.0, unit="1"),
    )
    assert len(checked.drifts) > MOST_TOLD
    text = drift_size(checked)
    assert text == (
        "winding capacitance by +6 %, resonance, cable and input on by −2 %, inductance by +0.5 %, "
        "since take drawer-22 of 2026-06-22"
    )


def test_what_lasts_is_a_drift_and_one_slip_asks_for_another_look():
    assert drift_text("drawer", coil(resonance_loaded=record(-59.0))).startswith("the kept coil drawer has drifted: ")
    slip = drift_text("drawer", coil(resonance_loaded=record(-59.0, is_lasting=False)))
    assert "lay outside of its limits when it was last measured" in slip
    assert slip.endswith("measure it again: coilsweep check drawer")


def test_what_is_simulated_says_so():
    assert "drawer (simulated) has drifted" in drift_text("drawer", coil(simulated=True, resonance_loaded=record(-59.0)))
