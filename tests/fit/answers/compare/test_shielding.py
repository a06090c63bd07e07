import numpy as np
import pytest

from fit.answers.compare.shielding import common_frequencies, compare_shielding
from measure.response import Origin, Response
from measure.signal.recording import Recording
from measure.transfer.response import estimate_response
from tests.driven_takes import Instrument, record, through_plate

OPEN = Instrument()
SHIELDED = Instrument(load_f=185e-12 + 86e-12)  # a job adds capacitance too
GRID_HZ = 1000 * 2.0 ** (np.arange(-90, 70) / 16)
CC_F = 1.2e-12


def drawn(rng, coupling_f, *, instrument=OPEN, std=1e-7, grid_hz=GRID_HZ, simulated=False):
    """A plate's response with white noise of that standard deviation in each part."""
    n = len(grid_hz)
    noise = std * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    value = through_plate(instrument, coupling_f)(grid_hz) + noise
    covariance = np.tile(np.eye(2) * std**2, (n, 1, 1))
    return Response(frequency_hz=grid_hz, value=value, covariance=covariance, origin=Origin(simulated=simulated))


def recorded(seed, coupling_f, *, instrument=OPEN):
    samples = record(seed, through_plate(instrument, coupling_f))
    return estimate_response([Recording(samples=samples, rate_hz=48000, n_bits=24)])


def band_at(answer, frequency_hz):
    return min(answer.bands, key=lambda band: abs(np.log(band.frequency_hz / frequency_hz)))


def true_change_db(frequency_hz, before_f, after_f, *, after=OPEN):
    old, new = through_plate(OPEN, before_f)(frequency_hz), through_plate(after, after_f)(frequency_hz)
    return 20 * np.log10(np.abs(new) / np.abs(old))


def test_recordings_before_and_after():
    after_f = CC_F * 10 ** (-22.3 / 20)
    answer = compare_shielding([recorded(1, CC_F)], [recorded(2, after_f)])
    expected = true_change_db(answer.frequency_hz, CC_F, after_f)
    pulls = (answer.ratio_db - expected)[answer.is_clear] / answer.std_db[answer.is_clear]
    assert np.count_nonzero(answer.is_clear) > 60
    assert 0.8 < np.mean(pulls**2) < 1.3
    band = band_at(answer, 1000.0)
    assert band.frequency_hz == pytest.approx(1000.0)
    assert band.verdict == "fell"
    assert band.change.value == pytest.approx(-22.3, abs=4 * band.change.standard_uncertainty)
    assert answer.text.startswith(f"at 1 kHz the plate's signal fell by {-band.change.value:.1f} dB ± ")


def test_third_octaves_have_honest_errors():
    pulls = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        before, after = drawn(rng, CC_F), drawn(rng, 0.1 * CC_F, instrument=SHIELDED)
        answer = compare_shielding([before], [after])
        for band in answer.bands:
            if band.change is None or band.frequency_hz < 200:
                continue
            inside = np.abs(np.log10(GRID_HZ / band.frequency_hz)) < 0.05
            power = [
                np.mean(np.abs(through_plate(i, c)(GRID_HZ[inside])) ** 2) for i, c in ((OPEN, CC_F), (SHIELDED, 0.1 * CC_F))
            ]
            pulls.append((band.change.value - 10 * np.log10(power[1] / power[0])) / band.change.standard_uncertainty)
    assert len(pulls) > 400
    assert abs(np.mean(pulls)) < 0.2
    assert 0.85 < np.std(pulls) < 1.15


def test_nothing_done_is_not_resolved():
    n_changed = n_bands = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        answer = compare_shielding([drawn(rng, CC_F)], [drawn(rng, CC_F)])
        judged = [band for band in answer.bands if band.change is not None]
        n_bands += len(judged)
        n_changed += sum(band.verdict != "not resolved" for band in judged)
    assert n_bands > 400
    assert n_changed / n_bands < 0.08
    assert (
        "no change of the plate's signal is resolved"
        in compare_shielding([drawn(np.random.default_rng(0), CC_F)], [drawn(np.random.default_rng(1), CC_F)]).text
    )


@pytest.mark.long
def test_signal_that_vanishes_has_a_bound():
    answer = compare_shielding([recorded(3, CC_F)], [recorded(4, 1e-18)])
    band = band_at(answer, 1000.0)
    assert (band.change, band.verdict) == (None, "at least")
    assert -70 < band.bound_db < -20
    assert "at least" in answer.text
    after_f = CC_F * 10 ** (band.bound_db / 20)
    assert band_at(compare_shielding([recorded(3, CC_F)], [recorded(5, 6 * after_f)]), 1000.0).change is not None


@pytest.mark.parametrize("share", [1e-5, 1e-3, 3e-3])
def test_bounds_hold_in_19_of_20(share):
    broken, n_bounds = 0, 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        answer = compare_shielding([drawn(rng, CC_F)], [drawn(rng, share * CC_F)])
        bounds = [band.bound_db for band in answer.bands if band.bound_db is not None]
        n_bounds += len(bounds)
        broken += sum(bound_db < 20 * np.log10(share) for bound_db in bounds)
    assert n_bounds > 300
    assert broken / n_bounds < 0.08


def test_signal_that_was_never_there_is_not_judged():
    answer = compare_shielding([recorded(6, 1e-18)], [recorded(7, 1e-18)])
    assert {band.verdict for band in answer.bands} == {"not resolved"}
    assert all(band.change is None and band.bound_db is None for band in answer.bands)
    assert "does not stand out" in answer.text


def test_signal_that_rose_is_said_to_rise():
    rng = np.random.default_rng(8)
    answer = compare_shielding([drawn(rng, 0.1 * CC_F)], [drawn(rng, CC_F)])
    assert band_at(answer, 1000.0).verdict == "rose"
    assert "rose by 20.0 dB" in answer.text


def test_takes_that_scatter_widen_the_interval():
    rng = np.random.default_rng(9)
    before = [drawn(rng, CC_F * scale) for scale in (1.0, 1.1, 0.9)]
    after = [drawn(rng, 0.5 * CC_F * scale) for scale in (1.0, 0.95, 1.05)]
    band = band_at(compare_shielding(before, after), 1000.0)
    logs = [20 * np.log10(np.array(scales)) for scales in ((1.0, 1.1, 0.9), (1.0, 0.95, 1.05))]
    std = np.sqrt(sum(np.sum((log - log.mean()) ** 2) for log in logs) / 4 * (1 / 3 + 1 / 3))
    assert band.change.standard_uncertainty == pytest.approx(std, rel=0.05)
    assert (band.change.high - band.change.low) / 2 == pytest.approx(2.776 * std, rel=0.05)  # t 0.975 of 4, handbook table


def test_capacitance_in_farads_where_the_impedance_is_known():
    after_f = 0.08 * CC_F
    before, after = [recorded(10, CC_F)], [recorded(11, after_f, instrument=SHIELDED)]
    frequency_hz = common_frequencies(before, after)
    answer = compare_shielding(
        before, after, impedance_before=OPEN.impedance(frequency_hz), impedance_after=SHIELDED.impedance(frequency_hz)
    )
    for coupling, true in ((answer.coupling_before, CC_F), (answer.coupling_after, after_f)):
        # s·Cc·Z leaves out that the foil's capacitance loads the jack too: |s·Cc·Z| at 2 kHz, which is 0.1 % here.
        assert coupling.mean.value == pytest.approx(true, abs=4 * coupling.mean.standard_uncertainty + 2e-3 * true)
        assert coupling.mean.low < true * 1.002
        clear = coupling.std_f < 0.1 * true
        assert np.count_nonzero(clear) > 60
        np.testing.assert_allclose(coupling.capacitance_f[clear], true, rtol=0.5)
    wide = compare_shielding(
        before,
        after,
        impedance_before=OPEN.impedance(frequency_hz),
        impedance_after=SHIELDED.impedance(frequency_hz),
        impedance_relative_std=0.05,
    )
    assert wide.coupling_before.mean.standard_uncertainty == pytest.approx(0.05 * CC_F, rel=0.05)


def test_grids_are_cut_to_what_they_share():
    rng = np.random.default_rng(12)
    answer = compare_shielding([drawn(rng, CC_F, grid_hz=GRID_HZ[10:])], [drawn(rng, CC_F, grid_hz=GRID_HZ[:-20])])
    np.testing.assert_array_equal(answer.frequency_hz, GRID_HZ[10:-20])
    exact = through_plate(OPEN, CC_F)(answer.frequency_hz)
    assert np.all(np.abs(answer.ratio_db) < 60 * answer.std_db)
    assert np.all(answer.std_db[:-1] * np.abs(exact[:-1]) > 0)


def test_simulated_is_carried_along():
    rng = np.random.default_rng(13)
    assert compare_shielding([drawn(rng, CC_F)], [drawn(rng, CC_F, simulated=True)]).simulated
    assert not compare_shielding([drawn(rng, CC_F)], [drawn(rng, CC_F)]).simulated


def test_wrong_calls():
    rng = np.random.default_rng(14)
    one = drawn(rng, CC_F)
    with pytest.raises(ValueError, match=r"1 response\(s\) before and 0 after"):
        compare_shielding([one], [])
    with pytest.raises(ValueError, match="no frequency in common"):
        compare_shielding([one], [drawn(rng, CC_F, grid_hz=GRID_HZ * 1.01)])
    with pytest.raises(ValueError, match=r"impedance has shape \(3,\), expected \(160,\)"):
        compare_shielding([one], [one], impedance_before=np.ones(3, dtype=complex))


@pytest.mark.parametrize("scatter", [0.0, 0.05])
def test_takes_of_one_side_that_scatter_are_as_uncertain_as_they_do(scatter):
    """s²/n of n takes by their scatter, never less than what each states of itself: both by hand."""
    n, std = len(GRID_HZ), 1e-4
    value = through_plate(OPEN, CC_F)(GRID_HZ)
    size = np.abs(value)
    covariance = np.tile(np.eye(2), (n, 1, 1)) * (std * size)[:, None, None] ** 2 / 2

    def take(factor):
        return Response(frequency_hz=GRID_HZ, value=factor * value, covariance=covariance)

    answer = compare_shielding([take(1 - scatter), take(1.0), take(1 + scatter)], [take(0.5)])
    of_before = max(std / np.sqrt(3), scatter * np.sqrt(2 / 2 / 3))  # deviations ± scatter: s² = 2·scatter²/(3 − 1)
    of_after = std / 0.5
    by_hand = 20 / np.log(10) * np.hypot(of_before, of_after) / np.sqrt(2)  # half of a complex variance lies along the value
    np.testing.assert_allclose(answer.std_db, by_hand, rtol=0.02)
