"""Intervals along the likelihood: of a linear fit its own, of a curved one those solved by hand."""

from dataclasses import replace

import numpy as np
import pytest

from fit.estimate.joint import independent_blocks, search_joint
from fit.estimate.profile import profile_halves
from tests.toy_problem import toy_choice, toy_evidence, toy_problem

N, NOISE = 8, 0.02


def choice_of(curve=None, *, prior_std=np.inf, second=False, truth=0.0, noise=NOISE):
    rows = {"a": np.ones(N, dtype=complex)}
    if second:
        rows["b"] = np.linspace(0.2, 1.5, N) * (1 + 0.3j)
    priors = {"a": {"prior_std": prior_std, "prior_mean": truth, "start": truth}}
    value = truth if curve is None else curve(truth)[0]
    problem = toy_problem(toy_evidence(N), rows, priors=priors, log_data=value * rows["a"], noise=noise, curve=curve)
    return toy_choice(problem, independent_blocks(problem, 0.0))


@pytest.mark.parametrize("second", [False, True])
@pytest.mark.parametrize("prior_std", [np.inf, 0.005])
@pytest.mark.parametrize("factor", [1.96, 1.0])
def test_a_linear_fit_keeps_its_own_interval(second, prior_std, factor):
    choice = choice_of(second=second, prior_std=prior_std)
    std = np.sqrt(choice.covariance[0, 0])
    assert profile_halves(choice, 0, factor) == pytest.approx((factor * std, factor * std), rel=2e-3)


# χ² = 2 N (e^p - 1)²/σ²: it has risen by f² where e^p = 1 ± f σ/√(2N).
def test_a_curved_fit_is_followed_to_either_side():
    choice = choice_of(lambda p: (np.exp(p) - 1, np.exp(p)), noise=0.5)
    shift = 1.96 * 0.5 / np.sqrt(2 * N)
    below, above = profile_halves(choice, 0, 1.96)
    # two steps with a parabola end within a few per cent of where the rise is what it should be
    assert below == pytest.approx(-np.log(1 - shift), rel=0.04)
    assert above == pytest.approx(np.log(1 + shift), rel=0.04)
    assert below > 1.2 * above


# 5 % of noise-free change at most: χ² cannot rise as far as it should, whatever the parameter.
def test_a_valley_without_end_is_told_four_times_as_far_at_most():
    choice = choice_of(lambda p: (np.tanh(20 * p) / 20, 1 / np.cosh(20 * p) ** 2), noise=1.0)
    std = 1.0 / np.sqrt(2 * N)
    assert profile_halves(choice, 0, 1.96) == pytest.approx((1.96 * std * 4, 1.96 * std * 4), rel=1e-6)


def test_where_nothing_rises_the_linear_half_is_kept():
    choice = choice_of()
    elsewhere = replace(choice, fit=replace(choice.fit, chi_square=choice.fit.chi_square + 100.0))
    std = NOISE / np.sqrt(2 * N)
    assert profile_halves(elsewhere, 0, 1.96) == pytest.approx((1.96 * std, 1.96 * std), rel=1e-6)


@pytest.mark.parametrize(
    ("curve", "n_searches"),
    [
        (None, 2),  # a linear fit is right at once, to either side
        (lambda p: (p + 0.15 * p * abs(p) / 0.0098, 1 + 0.3 * abs(p) / 0.0098), 4),  # rises by 1.3² at its linear end
        (lambda p: (p + 0.08 * p * abs(p) / 0.0098, 1 + 0.16 * abs(p) / 0.0098), 2),  # by 1.16²: within a quarter
    ],
)
def test_a_second_search_only_where_the_first_ended_far_off(curve, n_searches, monkeypatch):
    choice, calls = choice_of(curve), []

    def counted(*args, **more):
        calls.append(more)
        return search_joint(*args, **more)

    monkeypatch.setattr("fit.estimate.profile.search_joint", counted)
    profile_halves(choice, 0, 1.96)
    assert len(calls) == n_searches
