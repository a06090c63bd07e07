"""The decision rule of `confirm` against JCGM 106, ILAC-G8 and normal distributions that were not written here.

Figures of JCGM 106:2012 and ILAC-G8:09/2019 are quoted from memory where it is said; the formulas are worked out again by scipy,
and by counting draws.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.confirm.conformity import conformance, decide_conformity, is_logarithmic
from fit.answers.figures import Estimate
from measure.quantity import parse_quantity

K95 = 1.96  # as the intervals are made


def linear(value, std, *, k=K95):
    return Estimate(value=value, unit="F", standard_uncertainty=std, low=value - k * std, high=value + k * std)


def by_factor(value, relative, *, k=K95):
    low, high = value * math.exp(-k * relative), value * math.exp(k * relative)
    return Estimate(value=value, unit="F", standard_uncertainty=value * relative, low=low, high=high)


# JCGM 106:2012, 7.3, from memory: a diode's breakdown voltage, at most −5.40 V, measured −5.47 V with u = 0.05 V: 0.92; a
# vessel's burst pressure, at least 490 kPa, measured 509.7 kPa with u = 8.6 kPa: 0.99.
@pytest.mark.parametrize(
    ("value", "std", "low", "high", "published"),
    [(-5.47, 0.05, -math.inf, -5.40, 0.92), (509.7, 8.6, 490.0, math.inf, 0.99)],
)
def test_one_sided_worked_examples(value, std, low, high, published):
    conforming, nonconforming = conformance(linear(value, std), low=low, high=high)
    assert round(conforming, 2) == published
    assert conforming == pytest.approx(norm.cdf(high, value, std) - norm.cdf(low, value, std), rel=1e-12)
    assert conforming + nonconforming == pytest.approx(1.0, rel=1e-12)


# JCGM 106:2012, 7.4 (from memory): with the tolerance T, the capability index Cm = T/(4u) and ỹ = (y − T_L)/T the probability is
# Φ(4·Cm·(1 − ỹ)) − Φ(−4·Cm·ỹ). Its curves of equal probability are symmetric about ỹ = 1/2.
@pytest.mark.parametrize("index", [0.25, 0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("place", [-0.2, 0.0, 0.1, 0.5, 0.9, 1.0, 1.2])
def test_two_sided_by_the_capability_index(index, place):
    low, width = 12.5, 3.8
    std = width / (4 * index)
    conforming, _ = conformance(linear(low + place * width, std), low=low, high=low + width)
    assert conforming == pytest.approx(norm.cdf(4 * index * (1 - place)) - norm.cdf(-4 * index * place), rel=1e-9)
    mirrored, _ = conformance(linear(low + (1 - place) * width, std), low=low, high=low + width)
    assert mirrored == pytest.approx(conforming, rel=1e-9)


# ILAC-G8:09/2019, table 1, from memory: guard band over U = 2u, and the specific risk of a part that just passes one limit.
@pytest.mark.parametrize(("multiple", "most"), [(3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.50)])
def test_risk_at_the_edge_of_acceptance_by_its_guard_band(multiple, most):
    low, std = 100.0, 1.0
    _, risk = conformance(linear(low + multiple * 2 * std, std), low=low, high=math.inf)
    assert risk == pytest.approx(norm.sf(2 * multiple), rel=1e-12)
    assert most / 1200 < risk <= most


# The worst part that is accepted lies on an acceptance limit. Over the tolerance's half-width in units of U its probability is
# 0.975 from 1.5 on, 0.972 at 1.2, 0.9595 at 1.05 and 0.95 at 1: two tails instead of one.
@pytest.mark.parametrize(("ratio", "probability"), [(4.0, 0.9750), (1.5, 0.9750), (1.2, 0.9720), (1.05, 0.9595), (1.0, 0.9500)])
def test_the_worst_part_that_is_accepted(ratio, probability):
    half = ratio * K95
    value = 100.0 - half + K95 * (1 + 1e-9)  # just inside
    decision = decide_conformity(linear(min(value, 100.0), 1.0), low=100.0 - half * (1 + 1e-9), high=100.0 + half * (1 + 1e-9))
    assert decision.side == "inside"
    assert decision.conforming == pytest.approx(probability, abs=6e-5)
    assert decision.specific_risk == pytest.approx(1 - probability, abs=6e-5)


# JCGM 106:2012, 8.3.2 and 8.3.3 as they stand: A_L = T_L + w, A_U = T_U − w, in the logarithm for an interval that is a factor.
@given(
    value=st.floats(0.5, 2.0),
    relative=st.floats(1e-4, 0.3),
    tolerance=st.floats(0.01, 0.5),
    form=st.sampled_from([linear, by_factor]),
)
def test_accepted_and_rejected_as_the_guard_band_says(value, relative, tolerance, form):
    low, high = 1 - tolerance, 1 + tolerance
    measured = form(value, relative * value) if form is linear else form(value, relative)
    decision = decide_conformity(measured, low=low, high=high)
    scale = math.log if form is by_factor else float
    assert decision.is_logarithmic == (form is by_factor)
    y, w = scale(value), K95 * (relative if form is by_factor else relative * value)
    if min(abs(y - edge) for limit in (low, high) for edge in (scale(limit) - w, scale(limit), scale(limit) + w)) < 1e-9:
        return  # on an edge rounding decides
    if scale(low) + w <= y <= scale(high) - w:
        expected = {"inside"}
    elif y < scale(low) - w or y > scale(high) + w:
        expected = {"below", "above"}
    else:
        expected = {f"{'inside' if low <= value <= high else 'outside'} near {which}" for which in ("lower limit", "upper limit")}
        expected.add("inside near both limits")
    assert decision.side in expected
    if decision.acceptance is not None:
        assert [scale(limit) for limit in decision.acceptance] == pytest.approx([scale(low) + w, scale(high) - w], abs=1e-9)
        assert (decision.acceptance[0] <= value <= decision.acceptance[1]) == (decision.side == "inside")
    else:
        assert scale(high) - scale(low) < 2 * w
    # what is accepted is wrong in at most 1 of 20, with both tails; what is rejected in at most 1 of 40
    if decision.specific_risk is not None:
        assert decision.specific_risk <= (0.05 if decision.side == "inside" else 0.025) * (1 + 1e-9)


# Counted: true values drawn about the measured one, as factors, against the limits of 33 nF ± 10 %.
@pytest.mark.parametrize("value", [29.5e-9, 30.1e-9, 33e-9, 36.0e-9, 37.2e-9])
def test_probability_counted_by_draws(value):
    relative, n = 0.01, 400_000
    draws = value * np.exp(relative * np.random.default_rng(4).normal(size=n))
    counted = np.mean((draws >= 29.7e-9) & (draws <= 36.3e-9))
    answer = confirm_part("capacitor.tone", marked=parse_quantity("33n ± 10%", "F"), measured=by_factor(value, relative))
    spread = math.sqrt(counted * (1 - counted) / n)
    assert answer.decision.conforming == pytest.approx(counted, abs=4.5 * spread + 1e-5)


# With a rectangular part: R. Bounds of a reference whose share of the standard uncertainty is `share`, the rest normal; by
# numerical integration, and by the edge: what is just accepted or just rejected at one limit is wrong in 1 of 40.
@pytest.mark.parametrize("share", [0.5, 0.8, 0.95, 1.0])
def test_a_rectangular_part_counts_as_one(share):
    half, rest = math.sqrt(3) * share, math.sqrt(1 - share**2)

    def tail(z):
        if rest == 0:
            return float(np.clip((half - z) / (2 * half), 0, 1))
        return quad(lambda t: norm.sf((z - t) / rest) / (2 * half), -half, half, epsabs=1e-13)[0]

    factor = brentq(lambda k: tail(k) - 0.025, 1.5, 2.05)
    for distance in (0.0, 0.3, 1.0, 1.5, factor, 2.2):
        std = 0.01
        low, high = math.exp(-factor * std), math.exp(factor * std)
        measured = Estimate(
            value=1.0, unit="F", standard_uncertainty=std, low=low, high=high, coverage_factor=factor, distribution="mixed"
        )
        _, nonconforming = conformance(measured, low=math.exp(-distance * std), high=math.inf)
        assert nonconforming == pytest.approx(tail(distance), abs=2e-4)
    decision = decide_conformity(measured, low=low * (1 - 1e-12), high=10.0)
    assert decision.side == "inside"
    assert decision.specific_risk == pytest.approx(0.025, abs=1e-6)


# An interval that was walked has two sides of unlike length: each is 1.96 on its own.
def test_sides_of_unlike_length_have_their_own_scale():
    measured = Estimate(
        value=10.0, unit="F", standard_uncertainty=1.2, low=8.0, high=13.0, coverage_factor=2.08, distribution="profile"
    )
    _, below = conformance(measured, low=8.0, high=math.inf)
    _, above = conformance(measured, low=0.0, high=13.0)
    assert (below, above) == (pytest.approx(norm.sf(1.96)), pytest.approx(norm.sf(1.96)))


# A small probability keeps its digits on either side: no difference of two numbers near 1.
def test_tails_keep_their_digits():
    conforming, nonconforming = conformance(linear(100.0, 1.0), low=110.0, high=112.0)
    assert conforming == pytest.approx(norm.sf(10.0) - norm.sf(12.0), rel=1e-9)
    assert nonconforming == pytest.approx(1.0, rel=1e-12)
    conforming, nonconforming = conformance(linear(100.0, 1.0), low=90.0, high=111.0)
    assert nonconforming == pytest.approx(norm.sf(10.0) + norm.sf(11.0), rel=1e-9)
    assert conforming == pytest.approx(1.0, rel=1e-12)


def test_a_value_without_uncertainty_is_in_or_out():
    assert conformance(linear(1.0, 0.0), low=0.9, high=1.1) == (1.0, 0.0)
    assert conformance(linear(1.2, 0.0), low=0.9, high=1.1) == (0.0, 1.0)
    with pytest.raises(ValueError, match="not below the upper limit"):
        decide_conformity(linear(1.0, 0.1), low=1.1, high=0.9)


def test_the_scale_of_an_interval_is_seen():
    assert is_logarithmic(by_factor(3.0, 0.01))
    assert not is_logarithmic(linear(3.0, 0.03))
    assert not is_logarithmic(linear(3.0, 2.0))  # reaches below zero
