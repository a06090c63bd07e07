"""The linear Kramers-Kronig test against another implementation of it, on a battery cell that was measured by others.

The package impedance (MIT) carries the data and `linKK`, after M. Schönleber, D. Klotz, E. Ivers-Tiffée, Electrochimica Acta
131, 20-27, 2014. Where it is missing these tests are skipped.
"""

import numpy as np
import pytest

from measure.checks.causality import fit_grid, judge_causal
from measure.response import Origin, Response


@pytest.fixture
def validation(monkeypatch):
    module = pytest.importorskip("impedance.validation", reason="package impedance is not installed")
    # it evaluates its circuit as text, where numpy 2 writes a number as np.float64(…)
    monkeypatch.setitem(module.circuit_elements, "np", np)
    return module


@pytest.fixture
def cell():
    """Frequencies (66,) and measured impedance (66,), rising, 3 mHz to 10 kHz."""
    source = pytest.importorskip("impedance.tests.test_preprocessing", reason="package impedance is not installed")
    order = np.argsort(source.frequencies)
    return source.frequencies[order], source.Z_correct[order]


# One linear system, by orthogonal transformation here and by the inverse of its normal equations there, whose condition is the
# square of it: residuals, in units of abs(Z), agree to 1e-9 and μ to 1e-8.
@pytest.mark.parametrize("cutoff", [0.95, 0.9, 0.85])
def test_elements_mu_and_residuals_are_those_of_another_implementation(validation, cell, cutoff):
    frequency_hz, impedance = cell
    ours = fit_grid(frequency_hz, impedance, cutoff=cutoff)
    n, mu, _, real, imaginary = validation.linKK(frequency_hz, impedance, c=cutoff, max_M=50, fit_type="complex", add_cap=True)
    assert ours.n_elements == n
    assert ours.mu == pytest.approx(mu, abs=1e-8)
    residual = (impedance - ours.value) / np.abs(impedance)
    np.testing.assert_allclose(residual, real + 1j * imaginary, atol=1e-9)


def test_the_published_cutoff_takes_22_elements_for_the_cell(cell):
    frequency_hz, impedance = cell
    fit = fit_grid(frequency_hz, impedance)
    assert fit.n_elements == 22
    assert np.max(np.abs(fit.value - impedance) / np.abs(impedance)) < 0.004


@pytest.mark.parametrize("n", [1, 2, 5, 10, 15, 20])
def test_any_number_of_elements_gives_the_same_network(validation, cell, n):
    frequency_hz, impedance = cell
    ours = fit_grid(frequency_hz, impedance, cutoff=-np.inf, most_elements=n)
    _, mu, theirs, _, _ = validation.linKK(frequency_hz, impedance, c=None, max_M=n, fit_type="complex", add_cap=True)
    assert ours.n_elements == n
    assert ours.mu == pytest.approx(mu, abs=1e-8)
    np.testing.assert_allclose(ours.value, theirs, rtol=1e-8)


# In another unit of time the cell lies in the audio band; the relations know no unit of time.
@pytest.mark.parametrize("faster", [30.0, 1000.0])
def test_the_cell_is_causal_and_spoilt_it_is_not(cell, faster):
    frequency_hz, impedance = faster * cell[0], cell[1]
    stepped = impedance * np.where(frequency_hz > 700, 1.05, 1.0)  # as by a change of range on the way

    def judged(value):
        covariance = (1e-3 * np.abs(value))[:, None, None] ** 2 / 2 * np.eye(2)
        response = Response(frequency_hz=frequency_hz, value=value, covariance=covariance, unit="Ω", origin=Origin())
        return judge_causal(response)

    assert judged(impedance).severity == "pass"
    assert judged(impedance).figure is not None
    turned = judged(impedance.conj())
    assert turned.severity != "pass"
    assert turned.figure > 5
    assert "with the opposite sign of the phase they do" in turned.text
    assert judged(stepped).severity != "pass"
