"""What is wrong with a response that was measured elsewhere."""

import re

import numpy as np
import pytest

from measure.checks.table import judge_table, used_points
from measure.tables.files import ResponseTable

GRID_HZ = 1000 * 2.0 ** (np.arange(-80, 70) / 16)  # as other instruments have them too: rising, some 16 an octave


def table_of(frequency_hz, value, std=None):
    return ResponseTable(
        frequency_hz=np.asarray(frequency_hz, dtype=float),
        value=np.asarray(value, dtype=complex),
        std=std,
        lines=tuple(range(2, 2 + len(frequency_hz))),
    )


def found(table, *, is_impedance=False):
    return {finding.code: finding for finding in judge_table(table, is_impedance=is_impedance)}


def test_each_check_fires_on_its_fault_alone():
    good = table_of(GRID_HZ, np.ones(len(GRID_HZ)), np.full(len(GRID_HZ), 0.01))
    assert {finding.severity for finding in found(good, is_impedance=True).values()} == {"pass"}
    twice = np.append(GRID_HZ[:-1], GRID_HZ[-2])
    assert found(table_of(twice, good.value))["order"].severity == "reject"
    hole = np.where(np.arange(len(GRID_HZ)) == 5, np.nan, 1.0)
    finite = found(table_of(GRID_HZ, hole))["finite"]
    assert (finite.severity, finite.figure) == ("reject", 1.0)
    assert "first line 7" in finite.text
    few = np.geomspace(100, 10e3, 9)
    assert found(table_of(few, np.ones(9)))["points"].severity == "reject"
    assert found(table_of(np.geomspace(100, 10e3, 10), np.ones(10)))["points"].severity == "warn"
    outside = np.append(np.geomspace(21e3, 1e6, 50), 2e6)
    assert found(table_of(outside, np.ones(51)))["points"].severity == "reject"
    narrow = found(table_of(np.geomspace(300, 10e3, 50), np.ones(50)))
    assert [code for code, finding in narrow.items() if finding.severity == "warn"] == ["band", "noise"]
    assert found(table_of(np.geomspace(100, 7e3, 50), np.ones(50)))["band"].severity == "warn"
    gap = np.append(np.geomspace(50, 1000, 30), np.geomspace(2100, 15e3, 30))
    assert found(table_of(gap, np.ones(60)))["gaps"].severity == "warn"
    assert found(table_of(gap, np.ones(60)))["gaps"].figure == pytest.approx(np.log2(2.1))
    noisy = table_of(GRID_HZ, np.ones(len(GRID_HZ)), np.full(len(GRID_HZ), 0.6))
    assert found(noisy)["noise"].severity == "reject"
    active = np.where(GRID_HZ > 5e3, -0.1 + 1j, 1.0)
    assert found(table_of(GRID_HZ, active), is_impedance=True)["passive"].severity == "warn"
    assert "passive" not in found(table_of(GRID_HZ, active))


def resonant(frequency_hz, *, q=9.0, seed=1, noise=3e-3):
    """A voltage behind a resonance at 5 kHz, as sharp as pickups have it, with noise."""
    x = frequency_hz / 5e3
    value = 1 / (1 - x**2 + 1j * x / q)
    rng = np.random.default_rng(seed)
    return value * (1 + noise * (rng.standard_normal(len(x)) + 1j * rng.standard_normal(len(x))) / np.sqrt(2))


@pytest.mark.parametrize("factor", [0.0, 0.05, 10.0, 1e20])
@pytest.mark.parametrize("place", [0, 1, 40, 75, 149])
def test_an_absurd_value_among_sound_ones_is_found_with_its_place(factor, place):
    value = resonant(GRID_HZ)
    value[place] *= factor
    spike = found(table_of(GRID_HZ, value))["spike"]
    assert spike.severity == ("warn" if 0.01 < factor < 100 else "reject")
    assert f"line {place + 2}, {GRID_HZ[place]:.5g} Hz" in spike.text
    assert spike.figure == pytest.approx(factor, rel=1.0) or factor in (0.0, 1e20)
    assert "so do lines" not in spike.text


def test_several_absurd_values_are_all_named():
    value = resonant(GRID_HZ)
    value[[30, 31, 90]] *= [1e20, 1e19, 50]
    text = found(table_of(GRID_HZ, value))["spike"].text
    assert {"32", "33", "92"} <= set(re.findall(r"\b\d+\b", text))
    assert text.endswith("Leave them out, or measure again.")


@pytest.mark.parametrize("n", [10, 20, 50, 150, 3000])
@pytest.mark.parametrize("grid", [np.geomspace, np.linspace])
def test_a_sharp_resonance_noise_and_sparse_points_are_no_spike(n, grid):
    frequency_hz = grid(20.0, 20e3, n)
    for seed, noise in enumerate((1e-5, 1e-3, 0.03, 0.3)):
        value = resonant(frequency_hz, noise=noise, seed=seed)
        assert "spike" not in found(table_of(frequency_hz, value))
        assert "spike" not in found(table_of(frequency_hz, 1e4j * frequency_hz * value), is_impedance=True)
    deviation = np.where(frequency_hz > 3e3, 0.5, 1e-3)
    rough = resonant(frequency_hz, noise=deviation)
    assert "spike" not in found(table_of(frequency_hz, rough, deviation * np.abs(rough)))


def test_a_frequency_that_is_a_slip_is_named():
    value = np.ones(len(GRID_HZ))
    negative = np.where(np.arange(len(GRID_HZ)) == 7, -GRID_HZ, GRID_HZ)
    order = found(table_of(negative, value))["order"]
    assert (order.severity, order.figure) == ("reject", 1.0)
    assert f"Line 9 has a frequency of {negative[7]:g} Hz" in order.text
    far = np.append(GRID_HZ[:-1], 1e20)
    assert "The frequency in line 151 is" in found(table_of(far, value))["spike"].text
    low = np.append(1e-9, GRID_HZ[1:])
    assert "The frequency in line 2 is" in found(table_of(low, value))["spike"].text


@pytest.mark.parametrize(
    ("std", "ways"), [(1e20, "1e[+]22 times"), (1e-20, "1/1e[+]18 of"), (0.0, "0 against"), (1e300, r"1e\+302 times")]
)
@pytest.mark.parametrize("place", [1, 40, len(GRID_HZ) - 2])
def test_an_absurd_standard_deviation_is_found_with_its_place(std, ways, place):
    stated = np.full(len(GRID_HZ), 0.01)
    stated[place] = std
    noise = found(table_of(GRID_HZ, np.ones(len(GRID_HZ)), stated))["noise"]
    assert noise.severity == "warn"
    assert re.search(rf"in line {place + 2} is {ways} what the lines beside it state: a slip. Correct that line", noise.text)


def test_noise_that_is_far_higher_at_the_mains_is_no_slip():
    stated = np.geomspace(1e-4, 1e-2, len(GRID_HZ))
    stated[30] *= 1e5
    assert found(table_of(GRID_HZ, np.ones(len(GRID_HZ)), stated))["noise"].severity == "pass"


def test_a_value_of_nothing_is_told_as_nothing():
    value = np.where(np.arange(len(GRID_HZ)) == 30, 0.0, 5000.0)
    assert "is 0 against what its neighbours say" in found(table_of(GRID_HZ, value), is_impedance=True)["spike"].text


@pytest.mark.parametrize(("n", "is_thinned"), [(400, False), (401, True)])
def test_of_more_than_four_hundred_frequencies_sixteen_an_octave_are_used(n, is_thinned):
    frequency_hz = np.geomspace(100.0, 10e3, n)
    kept = used_points(frequency_hz)
    if not is_thinned:
        assert kept.all()
        return
    places = 16 * np.log2(frequency_hz[kept] / 1000)
    assert len(set(np.round(places))) == np.count_nonzero(kept)  # each place once, by the nearest that was measured
    assert np.max(np.abs(places - np.round(places))) < 0.5 * 16 * np.log2(frequency_hz[1] / frequency_hz[0]) + 1e-9
    np.testing.assert_array_equal(np.unique(np.round(places)), np.arange(-53, 54))  # ± 16·log2(10) = ± 53.15
