"""Codes, preferred values and bounds against standards and a package that were not written here."""

import math

import eseries
import numpy as np
import pytest

from fit.answers.confirm.marking import SERIES_TOLERANCE, coarsest_series, marking_code, nearest_marking
from measure.marking import read_value
from measure.quantity import (
    COVERAGE_95,
    capacitor_code,
    nearest_preferred,
    parse_capacitor_code,
    parse_quantity,
    preferred_values,
)

SERIES = {
    "E3": eseries.E3,
    "E6": eseries.E6,
    "E12": eseries.E12,
    "E24": eseries.E24,
    "E48": eseries.E48,
    "E96": eseries.E96,
    "E192": eseries.E192,
}


# IEC 60062, letter code. Resistors: examples as a second source quotes them; capacitors: letters so quoted, examples from memory.
@pytest.mark.parametrize(
    ("code", "value"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470.0),
        ("4K7", 4700.0),
        ("47K", 47e3),
        ("47K3", 47.3e3),
        ("470K", 470e3),
        ("4M7", 4.7e6),
        ("4p7", 4.7e-12),
        ("2n2", 2.2e-9),
        ("22n", 22e-9),
        ("n47", 470e-12),
    ],
)
def test_iec_60062_letter_code(code: str, value: float) -> None:
    assert parse_quantity(code).value == value


# IEC 60062, three digits in picofarads and a tolerance letter, as a second source quotes it; D in percent and N from memory.
@pytest.mark.parametrize(
    ("code", "value", "bound"),
    [
        ("223K", 22e-9, 2.2e-9),
        ("473J", 47e-9, 2.35e-9),
        ("104", 100e-9, None),
        ("102", 1e-9, None),
        ("101G", 100e-12, 2e-12),
        ("331F", 330e-12, 3.3e-12),
        ("224M", 220e-9, 44e-9),
        ("479C", 4.7e-12, 0.25e-12),  # below 10 pF the letter means picofarads
        ("109B", 1e-12, 0.1e-12),
        ("829D", 8.2e-12, 0.5e-12),
        ("689F", 6.8e-12, 1e-12),
        ("689G", 6.8e-12, 2e-12),
        ("508", 0.5e-12, None),  # third digit 8 = × 0.01, 9 = × 0.1
        ("100D", 10e-12, 0.05e-12),
        ("222N", 2.2e-9, 0.66e-9),
        ("2n2K", 2.2e-9, 0.22e-9),
        ("4p7C", 4.7e-12, 0.25e-12),
    ],
)
def test_iec_60062_capacitor_code(code: str, value: float, bound: float | None) -> None:
    quantity = parse_capacitor_code(code)
    assert (quantity.value, quantity.bound, quantity.unit) == (value, bound, "F")


# IEC 60062 traps: K is 10³ inside 4K7 and ± 10 % at the end of 223K; M is 10⁶ inside 4M7 and ± 20 % at the end.
def test_iec_60062_k_and_m_mean_two_things() -> None:
    assert parse_quantity("4K7").value == 4700.0
    assert parse_quantity("4M7").value == 4.7e6
    assert parse_capacitor_code("223K").bound == pytest.approx(0.1 * 22e-9, rel=1e-12)
    assert parse_capacitor_code("224M").bound == pytest.approx(0.2 * 220e-9, rel=1e-12)
    for code in ("223K", "224M"):
        with pytest.raises(ValueError, match="K or M may be a prefix or a tolerance"):
            parse_quantity(code)
    assert capacitor_code(22e-9, 0.1) == "223K"
    assert capacitor_code(47e-9, 0.05) == "473J"
    assert capacitor_code(100e-9) == "104"


# IEC 60063, through the package eseries 1.2.1 (MIT), which agrees with the standard's tables.
@pytest.mark.parametrize("name", SERIES)
def test_iec_60063_series_agree_with_eseries(name: str) -> None:
    theirs = np.array(eseries.series(SERIES[name]), dtype=float)
    np.testing.assert_array_equal(np.array(preferred_values(name)), theirs / theirs[0])


# IEC 60063: E6 and what E12 and E24 add, E192's one exception 9.20, and the eight values of E24 that do not follow 10^(i/24).
def test_iec_60063_tables() -> None:
    e6, e12, e24 = ({round(10 * value) for value in preferred_values(name)} for name in ("E6", "E12", "E24"))
    assert e6 == {10, 15, 22, 33, 47, 68}
    assert e12 - e6 == {12, 18, 27, 39, 56, 82}
    assert e24 - e12 == {11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91}
    assert {round(10 * v) for i, v in enumerate(preferred_values("E24")) if round(10 ** (1 + i / 24)) != round(10 * v)} == {
        27, 30, 33, 36, 39, 43, 47, 82,
    }  # fmt: skip
    off_rule = [v for i, v in enumerate(preferred_values("E192")) if round(10 ** (i / 192), 2) != v]
    assert off_rule == [9.2]


# The border between two preferred values is their geometric mean, √(10·15) = 12.247; eseries.find_nearest goes by difference.
def test_iec_60063_nearest_by_ratio() -> None:
    assert nearest_preferred(12.3, "E6") == 15.0
    assert eseries.find_nearest(eseries.E6, 12.3) == 10.0
    border = math.sqrt(10 * 15)
    assert nearest_preferred(border * (1 - 1e-12), "E6") == 10.0
    assert nearest_preferred(border * (1 + 1e-12), "E6") == 15.0
    assert nearest_preferred(9.95, "E6") == 10.0
    assert nearest_preferred(22.4e-9, "E6") == 22e-9


# JCGM 100:2008 (GUM), 4.3.7: u² = a²/3; its example (from memory): copper's expansion 16.52e-6 /K, bound 0.40e-6, u = 0.23e-6.
def test_gum_4_3_7_rectangular_bound() -> None:
    u = parse_quantity("16.52e-6 ± 0.40e-6", "").standard_uncertainty
    assert u is not None
    assert round(u, 8) == 0.23e-6
    assert u**2 == pytest.approx((0.40e-6) ** 2 / 3, rel=1e-12)


# JCGM 101:2008 (GUM Supplement 1), 9.2.2 and 9.2.3: four rectangular quantities of unit variance have a sum with u = 2.0 and
# a 95 % interval of ± 3.88, four Gaussian ones ± 3.92. One rectangular quantity lies within ± 0.95 of its bound, 1.645 u.
def test_gum_supplement_1_9_2_sums_of_bounds() -> None:
    part = parse_quantity(f"{10 * math.sqrt(3)} ± {math.sqrt(3)}", "")
    assert part.standard_uncertainty == pytest.approx(1.0, rel=1e-12)
    assert part.bound is not None
    assert round(COVERAGE_95 * 2.0, 2) == 3.92
    draws = part.bound * np.random.default_rng(92).uniform(-1, 1, (4, 1_000_000))
    total = np.abs(draws.sum(axis=0))
    # the quantile of 10⁶ draws has a standard deviation of √(0.95·0.05/10⁶)/(2·density 0.030) = 0.004
    assert np.quantile(total, 0.95) == pytest.approx(3.88, abs=0.015)
    assert np.std(draws.sum(axis=0)) == pytest.approx(2.0, rel=0.004)
    assert np.quantile(np.abs(draws[0]), 0.95) == pytest.approx(1.645, abs=0.003)


# IEC 60062, resistors: the examples of its letter code as a second source quotes them, written and read; J and M from the same.
@pytest.mark.parametrize(
    ("value", "tolerance", "code"),
    [
        (0.47, None, "R47"),
        (4.7, None, "4R7"),
        (470.0, None, "470R"),
        (4700.0, None, "4K7"),
        (47e3, None, "47K"),
        (47.3e3, None, "47K3"),
        (470e3, None, "470K"),
        (4.7e6, None, "4M7"),
        (4700.0, 0.05, "4K7J"),
        (470e3, 0.10, "470KK"),
        (4.7e6, 0.20, "4M7M"),
    ],
)
def test_iec_60062_resistors_both_ways(value: float, tolerance: float | None, code: str) -> None:
    assert marking_code(value, "Ω", tolerance) == code
    read = read_value(code, "resistor")
    assert read.value == value
    assert read.bound == (None if tolerance is None else pytest.approx(tolerance * value, rel=1e-12))


# IEC 60062, capacitors: three digits and the letter, as a second source quotes them; below 10 pF the letters are picofarads.
@pytest.mark.parametrize(
    ("value", "bound", "code"),
    [
        (22e-9, 2.2e-9, "223K"),
        (47e-9, 2.35e-9, "473J"),
        (100e-9, None, "104"),
        (1e-9, None, "102"),
        (33e-9, 3.3e-9, "333K"),
        (4.7e-12, 0.25e-12, "479C"),
        (1e-12, 0.1e-12, "109B"),
        (8.2e-12, 0.5e-12, "829D"),
        (6.8e-12, 1e-12, "689F"),
        (6.8e-12, 2e-12, "689G"),
        (0.5e-12, None, "508"),
    ],
)
def test_iec_60062_capacitors_both_ways(value: float, bound: float | None, code: str) -> None:
    assert marking_code(value, "F", None if bound is None else bound / value) == code
    read = read_value(code, "capacitor")
    assert (read.value, read.bound) == (value, bound)


def _decade(name: str) -> list[float]:
    theirs = [float(value) for value in eseries.series(SERIES[name])]
    return [100 * value / theirs[0] for value in theirs]


# IEC 60063 through eseries 1.2.1: the coarsest series of a value, and the tolerance that goes with a series.
@pytest.mark.parametrize("name", SERIES_TOLERANCE)
def test_iec_60063_coarsest_series_agrees_with_eseries(name: str) -> None:
    assert SERIES_TOLERANCE[name] == pytest.approx(eseries.tolerance(SERIES[name]), rel=1e-12)
    decades = {one: _decade(one) for one in SERIES_TOLERANCE}
    for value in decades[name]:
        holding = [one for one, decade in decades.items() if value in decade]
        assert coarsest_series(value * 1e-9) == holding[0]


# By ratio: the nearest in a series found by search over three decades of eseries's values, in the logarithm.
@pytest.mark.parametrize("tolerance", SERIES_TOLERANCE.values())
def test_iec_60063_nearest_by_ratio_in_every_series(tolerance: float) -> None:
    name = next(one for one, bound in SERIES_TOLERANCE.items() if bound == tolerance)
    ladder = np.array([value * 10.0**power for power in (1, 2, 3, 4) for value in _decade(name)])
    for value in np.random.default_rng(60063).uniform(2e3, 9e5, 200):
        closest = ladder[np.argmin(np.abs(np.log(ladder / value)))]
        assert nearest_marking(float(value), "Ω", tolerance).value == pytest.approx(closest, rel=1e-9)
