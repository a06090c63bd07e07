"""What each method calls for, at its limits, on responses written by hand."""

from dataclasses import replace

import numpy as np
import pytest

from measure.checks.method import judge_impedance, judge_plate, judge_response, judge_signal
from measure.response import Finding, Response

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-72, 65) / 16)  # 44 Hz to 16 kHz


def response(value, *, noise=1e-6, frequency_hz=GRID_HZ):
    """Noise relative to the value, that of both parts together."""
    value = np.broadcast_to(np.asarray(value, dtype=complex), frequency_hz.shape)
    variance = (np.broadcast_to(noise, frequency_hz.shape) * np.abs(value)) ** 2 / 2
    return Response(frequency_hz=frequency_hz, value=value, covariance=variance[:, None, None] * np.eye(2))


def codes(findings):
    return {finding.code: finding for finding in findings}


@pytest.mark.parametrize(("noise", "is_silent"), [(0.49, False), (0.51, True)])
def test_silence_is_where_noise_is_half_of_the_response_at_half_of_the_frequencies(noise, is_silent):
    spread = np.where(np.arange(len(GRID_HZ)) % 2, noise, noise + (0.2 if is_silent else -0.2))
    found = judge_signal(response(1.0, noise=spread))
    assert [(one.code, one.severity) for one in found] == ([("no-signal", "reject")] if is_silent else [])
    assert judge_signal(response(1e-9, noise=0.3)) == ()  # faint is not silent


@pytest.mark.parametrize(("power", "decibel", "severity"), [(0.0, 0.0, "warn"), (0.45, 2.71, "warn"), (0.55, 3.31, "pass"),
                                                            (1.0, 6.02, "pass"), (2.0, 12.04, "pass")])  # fmt: skip
def test_a_plate_rises_as_through_a_capacitance(power, decibel, severity):
    found = codes(judge_plate(response((GRID_HZ / 1000) ** power)))["plate-coupling"]
    assert (found.severity, found.unit) == (severity, "dB/octave")
    assert found.figure == pytest.approx(decibel, abs=0.01)


def test_a_slope_that_the_noise_may_make_is_no_fault():
    rng = np.random.default_rng(1)
    turn = (rng.standard_normal((2, len(GRID_HZ))) / np.sqrt(2)).T @ [1, 1j]
    flat = judge_plate(response(1 + 0.02 * turn, noise=0.02))
    assert codes(flat)["plate-coupling"].severity == "warn"  # 37 notes: the slope is known to 0.006
    few = GRID_HZ[(GRID_HZ > 100) & (GRID_HZ < 145)]  # 8 notes over half an octave: known to 0.3 only
    assert len(few) >= 8
    assert codes(judge_plate(response(np.ones(len(few)), noise=0.29, frequency_hz=few)))["plate-coupling"].severity == "pass"
    assert codes(judge_plate(response(1.0, noise=0.31)))["plate-coupling"].figure is None


@pytest.mark.parametrize(("n_clear", "severity"), [(0.49, "warn"), (0.51, "pass")])
def test_half_of_a_plates_band_has_to_be_clear(n_clear, severity):
    inside = np.flatnonzero((GRID_HZ >= 300) & (GRID_HZ <= 10e3))
    noise = np.full(len(GRID_HZ), 0.2)
    noise[inside[: round(n_clear * len(inside))]] = 0.09
    found = codes(judge_plate(response(GRID_HZ, noise=noise)))["plate-level"]
    assert (found.severity, found.unit) == (severity, "%")
    assert found.figure == pytest.approx(100 * n_clear, abs=1.0)


def test_a_plate_that_is_not_heard_at_all_has_its_own_cure():
    assert "shielding keeps it out" in codes(judge_plate(response(GRID_HZ, noise=0.51)))["plate-level"].text
    assert "raise its voltage" in codes(judge_plate(response(GRID_HZ, noise=0.49)))["plate-level"].text


@pytest.mark.parametrize("impedance", [47.0, 1e6, 3j * GRID_HZ, 1 / (1e-7j * GRID_HZ), 7e3 + 20j * GRID_HZ])
def test_a_passive_impedance_is_never_outside_of_its_circle(impedance):
    for resistor_ohm in (1e3, 1e5):
        found = codes(judge_impedance(response(impedance / (resistor_ohm + np.asarray(impedance)))))
        assert (found["passive"].severity, found["passive"].figure) == ("pass", pytest.approx(0.0, abs=1e-5))


@pytest.mark.parametrize(
    ("ratio", "severity", "beyond"),
    [
        (1.029, "pass", 0.029),
        (1.031, "warn", 0.031),
        (1.099, "warn", 0.099),
        (1.101, "reject", 0.101),
        (-0.031, "warn", 0.031),
        (0.5 + 0.61j, "reject", 0.11),
        (0.5 - 0.54j, "warn", 0.04),
    ],
)
def test_limits_of_what_no_instrument_can_give(ratio, severity, beyond):
    value = np.where(np.abs(GRID_HZ - 1000) < 1, ratio, 0.5 + 0j)
    found = codes(judge_impedance(response(value)))
    assert (found["passive"].severity, found["passive"].figure) == (severity, pytest.approx(beyond, abs=1e-4))
    assert ("at 1000 Hz" in found["passive"].text) == (severity != "pass")
    assert found["series-resistor"].text.startswith("not judged") == (severity == "reject")


def test_outside_of_the_band_and_within_the_noise_the_circle_may_be_left():
    outside = np.where((GRID_HZ < 50) | (GRID_HZ > 5000), 2.0, 0.5)
    assert codes(judge_impedance(response(outside)))["passive"].severity == "pass"
    # 4 sigma of 0.03 are 0.12
    assert codes(judge_impedance(response(1.14, noise=0.03 / 1.14)))["passive"].severity == "pass"
    assert codes(judge_impedance(response(1.16, noise=0.03 / 1.16)))["passive"].severity == "warn"


@pytest.mark.parametrize(
    ("ratio", "severity", "words"),
    [(0.019, "warn", "too large"), (0.021, "pass", ""), (0.979, "pass", ""), (0.981, "warn", "too small")],
)
def test_limits_of_the_resistor(ratio, severity, words):
    found = codes(judge_impedance(response(ratio)))["series-resistor"]
    assert (found.severity, found.figure) == (severity, pytest.approx(ratio))
    assert words in found.text


@pytest.mark.parametrize(
    ("method", "own"),
    [("plate", {"plate-coupling", "plate-level"}), ("impedance", {"noisy-response"}), ("exciter", {"noisy-response"})],
)
def test_each_method_has_checks_of_its_own(method, own):
    """A plate is faint at low notes by its nature, so that its noise is judged by its own check alone."""
    noisy = Finding(code="noisy-response", severity="warn", text="noise")
    made = replace(response(GRID_HZ * 1j / 1e3), findings=(noisy,))
    found = {finding.code for finding in judge_response(made, method=method)}
    assert found & {"plate-coupling", "plate-level", "noisy-response"} == own
