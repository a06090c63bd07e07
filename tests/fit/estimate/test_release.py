"""Priors let go: what that gains in a linear fit, what it costs, and where it went."""

from dataclasses import replace

import numpy as np
import pytest

from fit.estimate.joint import fit_joint, independent_blocks
from fit.estimate.parameters import Parameter
from fit.estimate.release import is_possible, is_reference, penalty, release_gains
from tests.toy_problem import toy_evidence, toy_problem

N = 14
PRIORS = {
    "log_a": {"prior_mean": 0.1, "prior_std": 0.02, "source": "dcr"},
    "log_b": {"prior_mean": -0.2, "prior_std": 0.05, "source": "input"},
    "log_c": {"prior_std": 1.0},
    "clock": {"prior_std": 0.01, "source": "clock"},  # stated, but never let go
}


def fitted(priors=PRIORS, released=()):
    rng = np.random.default_rng(5)
    rows = {name: rng.standard_normal(N) + 1j * rng.standard_normal(N) for name in PRIORS}
    log_data = 0.25 * rows["log_a"] - 0.22 * rows["log_b"] + 0.4 * rows["log_c"] + 0.03 * rng.standard_normal(N)
    problem = toy_problem(toy_evidence(N), rows, priors=priors, log_data=log_data, noise=0.1)
    problem = replace(problem, released=released)
    blocks = independent_blocks(problem, 0.0)
    return problem, blocks, fit_joint(problem, blocks, np.zeros(len(problem.parameters)), tolerance=1e-13)


def test_gain_is_the_fall_of_chi_square_without_the_prior():
    problem, blocks, fit = fitted()
    gains = release_gains(problem, blocks, fit)
    assert set(gains) == {"log_a", "log_b"}
    for name, gain in gains.items():
        _, _, free = fitted(PRIORS | {name: PRIORS[name] | {"prior_std": np.inf}})
        assert gain == pytest.approx(fit.chi_square - free.chi_square, rel=1e-6)
    assert gains["log_a"] > 10 * gains["log_b"]


def test_what_was_let_go_gains_nothing_more():
    assert set(release_gains(*fitted(released=("log_a",)))) == {"log_b"}


def test_what_the_takes_say_nothing_of_gains_nothing():
    problem, blocks, fit = fitted()
    rows = dict(problem.circuit.rows) | {"log_b": np.zeros(N, dtype=complex)}
    blind = replace(problem, circuit=replace(problem.circuit, rows=rows))
    fit = fit_joint(blind, blocks, np.zeros(len(problem.parameters)))
    assert release_gains(blind, blocks, fit)["log_b"] == 0.0


def test_penalty_is_that_of_bic_and_of_the_choice():
    problem, *_ = fitted()
    assert penalty(problem) == pytest.approx(np.log(2 * N) + np.log(2), rel=1e-14)
    nothing = replace(problem, parameters=tuple(replace(each, source="") for each in problem.parameters))
    assert penalty(nothing) == pytest.approx(np.log(2 * N), rel=1e-14)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("log_resistance", True),
        ("log_added_0", True),
        ("log_input_capacitance", True),
        ("delay", False),
        ("highpass", False),
        ("across_capacitor.tone", False),
        ("loss_added_0", False),
    ],
)
def test_references_are_what_a_person_stated(name, expected):
    assert is_reference(name) is expected


@pytest.mark.parametrize(
    ("values", "released", "expected"),
    [
        ({"log_a": 0.15}, ("log_a",), True),  # 2.5 standard uncertainties off
        ({"log_a": 0.05}, ("log_a",), True),
        ({"log_a": 0.139}, ("log_a",), False),  # 1.95
        ({"log_a": 0.061}, ("log_a",), False),
        ({"log_a": 0.0}, (), True),
        ({"log_a": -0.3}, ("log_a",), True),  # a logarithm may be negative
        ({"across_x": 0.5}, ("across_x",), True),
        ({"across_x": -0.5}, ("across_x",), False),
        ({"loss_x": -0.5}, ("loss_x",), False),
        ({"log_a": 0.15, "across_x": -0.5}, ("log_a", "across_x"), False),
    ],
)
def test_a_prior_goes_somewhere_else_and_to_what_can_be(values, released, expected):
    tight = [
        Parameter(name="log_a", start=0.1, prior_mean=0.1, prior_std=0.02),
        Parameter(name="across_x", start=0.0, prior_std=0.1),
        Parameter(name="loss_x", start=0.0, prior_std=0.1),
    ]
    problem, *_ = fitted()
    wide = tuple(replace(each, prior_std=1.0) for each in tight)
    vector = np.array([values.get(each.name, each.prior_mean) for each in tight])
    assert is_possible(replace(problem, parameters=wide, released=released), vector, tight) is expected
