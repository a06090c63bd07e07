"""Repeats of one take agree while the coil stays, and show it where it moved."""

from dataclasses import replace

import numpy as np
import pytest

from measure.checks.repeats import check_repeats
from measure.signal.recording import Recording
from tests.faulty_takes import BENCH, RATE_HZ, coil, take


@pytest.mark.parametrize(("change", "severity"), [(1.0, "pass"), (1.0005, "pass"), (0.99, "warn"), (1.06, "reject")])
def test_repeats_show_that_the_coil_moved(change: float, severity: str) -> None:
    first = take()
    second = take(replace(BENCH, seed=2, pickup=lambda f: coil()(f) * change))
    finding = check_repeats([first, second])
    assert finding.severity == severity
    assert finding.figure == pytest.approx(100 * abs(np.log(change)), abs=0.05)
    with pytest.raises(ValueError, match="two or more"):
        check_repeats([first])


NOISE = np.random.default_rng(4).normal(size=48000) * 0.1


def repeat(gain, *, seed=0, noise=0.0, **fields):
    pickup = gain * NOISE + noise * np.random.default_rng(seed).normal(size=len(NOISE))
    samples = np.stack([pickup, NOISE], axis=1)
    return Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, **fields)


@pytest.mark.parametrize(
    ("gain", "severity"),
    [
        (1.0029, "pass"),
        (0.9971, "pass"),
        (1.0031, "warn"),
        (0.9969, "warn"),
        (1.030, "warn"),
        (1.031, "reject"),
        (0.97, "reject"),
    ],
)
def test_limits_of_a_change_are_those_of_its_logarithm(gain, severity):
    found = check_repeats([repeat(0.5), repeat(0.5 * gain)])
    assert (found.code, found.severity, found.unit) == ("coil-moved", severity, "%")
    assert found.figure == pytest.approx(100 * abs(np.log(gain)), abs=1e-3)


def test_the_worst_repeat_is_named_and_compared_with_the_first():
    found = check_repeats([repeat(1.0), repeat(1.01), repeat(0.95), repeat(1.0)])
    assert found.text.startswith("repeat 3 differs from the first by -5.1 % (limit 0.3 %)")  # ln 0.95


def test_what_noise_makes_of_repeats_is_no_move():
    """Forty bands of about 340 values each: at a noise as large as the signal the median of the bands scatters by 1 %."""
    found = check_repeats([repeat(1.0), repeat(1.0, seed=1, noise=0.1)])
    assert found.figure > 0.3
    assert found.severity == "pass"


def test_channels_are_taken_by_their_numbers():
    turned = Recording(samples=repeat(1.0).samples[:, ::-1].copy(), rate_hz=RATE_HZ, pickup_channel=2, reference_channel=1)
    assert check_repeats([repeat(1.0), turned]).figure == pytest.approx(0.0, abs=1e-3)
    alone = repeat(1.0, reference_channel=None)
    with pytest.raises(ValueError, match="each with a reference channel"):
        check_repeats([repeat(1.0), alone])


def test_a_dead_pickup_is_a_change_and_no_error():
    assert check_repeats([repeat(1.0), repeat(0.0)]).severity == "reject"
    assert check_repeats([repeat(0.0), repeat(0.0)]).severity == "pass"
