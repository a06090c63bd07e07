"""Impedances against other packages: measured ones read and judged, coils written and fitted as another package does it.

The package impedance (MIT) carries a measured battery cell, fits circuits and tests data by the Kramers-Kronig relations
(M. Schönleber, D. Klotz, E. Ivers-Tiffée, Electrochimica Acta 131, 20-27, 2014, as its manual cites); scikit-rf (BSD) carries
measured one-ports as Touchstone files. Where one of them is missing its tests are skipped.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from fit.desk.command.main import main
from measure.checks.method import judge_impedance
from measure.checks.table import judge_table
from measure.response import Origin, Response
from measure.tables.files import format_csv, format_touchstone, parse_csv, parse_touchstone
from tests.plain_coil import coil_impedance

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-80, 64) / 16)
SHUNT_OHM = 0.05  # [Ω] through which the cell is thought to be driven


def battery_cell():
    """Frequencies (66,) and measured impedance (66,) of a battery cell, rising, 3 mHz to 10 kHz."""
    source = pytest.importorskip("impedance.tests.test_preprocessing", reason="package impedance is not installed")
    order = np.argsort(source.frequencies)
    return source.frequencies[order], source.Z_correct[order]


def a_response(frequency_hz, value, *, unit="V/V", relative=1e-3):
    covariance = (relative * np.abs(value))[:, None, None] ** 2 / 2 * np.eye(2)
    return Response(frequency_hz=frequency_hz, value=value, covariance=covariance, unit=unit, origin=Origin(rate_hz=48000.0))


def severities(findings):
    return {finding.code: finding.severity for finding in findings}


def test_measured_cell_is_written_and_read_exactly_and_read_by_the_package_itself(tmp_path):
    frequency_hz, measured = battery_cell()
    preprocessing = pytest.importorskip("impedance.preprocessing")
    read = parse_csv(format_csv(a_response(frequency_hz, measured, unit="Ω")))
    assert read.unit == "Ω"
    assert np.array_equal(read.value, measured)
    assert np.array_equal(read.frequency_hz, frequency_hz)
    port = parse_touchstone(format_touchstone(frequency_hz, measured, reference_ohm=SHUNT_OHM))
    np.testing.assert_allclose(port.value, measured, rtol=1e-11)
    # the package's own table: three columns without names, which here get a line that names them
    rows = [f"{f!r},{z.real!r},{z.imag!r}" for f, z in zip(frequency_hz.tolist(), measured.tolist(), strict=True)]
    (tmp_path / "cell.csv").write_text("\n".join(rows))
    theirs_hz, theirs = preprocessing.readCSV(str(tmp_path / "cell.csv"))
    ours = parse_csv("\n".join(["frequency_hz,real_ohm,imaginary_ohm", *rows]))
    assert np.array_equal(ours.frequency_hz, theirs_hz)
    assert np.array_equal(ours.value, theirs)


def test_measured_cell_is_judged_passive_and_its_opposite_is_not():
    frequency_hz, measured = battery_cell()
    ratio = measured / (SHUNT_OHM + measured)
    assert severities(judge_impedance(a_response(frequency_hz, ratio))) == {"passive": "pass", "series-resistor": "pass"}
    assert severities(judge_impedance(a_response(frequency_hz, -ratio)))["passive"] == "reject"
    exchanged = severities(judge_impedance(a_response(frequency_hz, 1 / ratio)))
    assert exchanged["passive"] == "reject"
    for sign, expected in ((1, "pass"), (-1, "warn")):
        table = parse_csv(format_csv(a_response(frequency_hz, sign * measured, unit="Ω")))
        assert severities(judge_table(table, is_impedance=True))["passive"] == expected


@pytest.mark.long
@pytest.mark.parametrize("dcr", [(), ("--dcr", "7.9k ± 1%")])
def test_measured_cell_gives_no_pickup(tmp_path, capsys, dcr):
    """A real measurement of what is no pickup: a verdict, never values as if they were good."""
    frequency_hz, measured = battery_cell()
    (tmp_path / "cell.csv").write_text(format_csv(a_response(frequency_hz, measured, unit="Ω")))
    logbook = ["--logbook", str(tmp_path)]
    assert main(["rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", *logbook]) == 0
    assert main(["import", "cell", str(tmp_path / "cell.csv"), "--method", "impedance", *logbook]) == 0
    capsys.readouterr()
    code = main(["fit", "cell", *dcr, "--json", *logbook])
    printed = capsys.readouterr()
    assert code == 0
    assert json.loads(printed.out)["outcome"] == "misfit"


def one_ports():
    skrf = pytest.importorskip("skrf", reason="package scikit-rf is not installed")
    return skrf, sorted((Path(skrf.__file__).parent / "data").glob("*.s1p"))


def test_one_ports_that_another_package_carries_are_read_as_it_reads_them():
    skrf, paths = one_ports()
    assert {"ring slot measured.s1p", "ro,1.s1p"} <= {path.name for path in paths}
    for path in paths:
        theirs = skrf.Network(str(path))
        ours = parse_touchstone(path.read_text(encoding="latin-1"))
        np.testing.assert_allclose(ours.frequency_hz, theirs.f, rtol=1e-12)
        # of a reflection near ±1 the impedance loses digits; compared is the reflection itself
        reference_ohm = theirs.z0[:, 0]
        ours_reflected = (ours.value - reference_ohm) / (ours.value + reference_ohm)
        np.testing.assert_allclose(ours_reflected, theirs.s[:, 0, 0], rtol=1e-9, atol=1e-12, err_msg=path.name)


# A turn of k and τ on a coil is, seen from its ends, L(1 − Σk²) in series with k²L parallel to k²L/τ (R. M. Foster, 1924).
LOOPS = [(0.45, 2.5e-5), (0.3, 1.2e-4)]
COIL_H, COIL_OHM, WINDING_F = 3.1, 7600.0, 120e-12


def foster_values(loops, *, inductance_h, resistance_ohm):
    """R, L, then R and L of each parallel pair."""
    left = inductance_h * (1 - sum(k**2 for k, _ in loops))
    pairs = [value for k, tau_s in loops for value in (k**2 * inductance_h / tau_s, k**2 * inductance_h)]
    return [resistance_ohm, left, *pairs]


def custom_circuit(text, guess):
    circuits = pytest.importorskip("impedance.models.circuits", reason="package impedance is not installed")
    return circuits.CustomCircuit(text, initial_guess=guess)


def test_coil_with_two_turns_in_the_form_of_another_package():
    values = foster_values(LOOPS, inductance_h=COIL_H, resistance_ohm=COIL_OHM)
    with pytest.warns(UserWarning, match="based on initial parameters"):
        theirs = custom_circuit("R0-L0-p(R1,L1)-p(R2,L2)", values).predict(GRID_HZ, use_initial=True)
    ours = coil_impedance(GRID_HZ, inductance_h=COIL_H, resistance_ohm=COIL_OHM, eddy_loops=LOOPS)
    np.testing.assert_allclose(ours, theirs, rtol=1e-12)


def test_coil_keeps_the_kramers_kronig_relations_and_a_wrong_sign_does_not(monkeypatch):
    validation = pytest.importorskip("impedance.validation", reason="package impedance is not installed")
    # it evaluates its circuit as text, where numpy 2 writes a number as np.float64(…)
    monkeypatch.setitem(validation.circuit_elements, "np", np)

    def worst_residual(impedance):
        # fitted to the real part alone, which then foretells the imaginary part up to an inductance
        _, _, _, real, imaginary = validation.linKK(GRID_HZ, impedance, c=None, max_M=20, fit_type="real")
        return max(np.max(np.abs(real)), np.max(np.abs(imaginary)))

    coil = coil_impedance(GRID_HZ, inductance_h=COIL_H, resistance_ohm=COIL_OHM, eddy_loops=LOOPS)
    s = 2j * np.pi * GRID_HZ
    ideal = COIL_OHM + s * COIL_H
    assert worst_residual(coil) < 1e-4
    # losses that come before their cause: the poles in the right half plane
    assert worst_residual(ideal + np.conj(coil - ideal)) > 1e-2


NOISE = 1e-3  # [1] of the impedance, √(var Re + var Im)
TRUE = {"inductance": COIL_H, "winding_capacitance": WINDING_F, "dc_resistance": COIL_OHM}


def measured_coil(seed):
    winding = coil_impedance(GRID_HZ, inductance_h=COIL_H, resistance_ohm=COIL_OHM, eddy_loops=LOOPS[:1])
    impedance = 1 / (1 / winding + 2j * np.pi * GRID_HZ * WINDING_F)
    rng = np.random.default_rng(seed)
    return impedance * (1 + NOISE / np.sqrt(2) * (rng.standard_normal(len(GRID_HZ)) + 1j * rng.standard_normal(len(GRID_HZ))))


def fitted_by_the_package(impedance):
    """Values from 20 % off, weighted by the modulus; the package's steps are scaled to what it begins with."""
    guess = [1.2 * value for value in (WINDING_F, *foster_values(LOOPS[:1], inductance_h=COIL_H, resistance_ohm=COIL_OHM))]
    circuit = custom_circuit("p(C0,R0-L0-p(R1,L1))", guess)
    circuit.fit(GRID_HZ, impedance, weight_by_modulus=True, x_scale=guess, ftol=1e-15, xtol=1e-15, gtol=1e-15)
    c0, r0, l0, _, l1 = circuit.parameters_
    return {"inductance": l0 + l1, "winding_capacitance": c0, "dc_resistance": r0}


def least_errors(impedance):
    """Standard errors by the noise alone, of L, C, R, from the slopes of ln Z by finite differences (Cramér-Rao)."""

    def logarithm(steps):
        inductance_h, farad, ohm, k, tau_s = np.array([COIL_H, WINDING_F, COIL_OHM, *LOOPS[0]]) * (1 + steps)
        winding = coil_impedance(GRID_HZ, inductance_h=inductance_h, resistance_ohm=ohm, eddy_loops=[(k, tau_s)])
        return np.log(1 / (1 / winding + 2j * np.pi * GRID_HZ * farad))

    step = 1e-5
    slopes = np.array([(logarithm(step * row) - logarithm(-step * row)) / (2 * step) for row in np.eye(5)])
    assert slopes.shape == (5, len(impedance))
    std = np.sqrt(np.diag(np.linalg.inv(2 / NOISE**2 * (slopes @ slopes.conj().T).real)))
    return {name: std[place] * value for place, (name, value) in enumerate(TRUE.items())}


@pytest.mark.long
def test_imported_impedance_is_fitted_as_another_package_fits_it(tmp_path, capsys):
    impedance = measured_coil(5)
    theirs, least = fitted_by_the_package(impedance), least_errors(impedance)
    (tmp_path / "coil.csv").write_text(format_csv(a_response(GRID_HZ, impedance, unit="Ω", relative=NOISE)))
    logbook = ["--logbook", str(tmp_path)]
    assert main(["rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", *logbook]) == 0
    assert main(["import", "coil", str(tmp_path / "coil.csv"), "--method", "impedance", *logbook]) == 0
    capsys.readouterr()
    assert main(["fit", "coil", "--json", *logbook]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["outcome"] == "good"
    assert document["model"]["eddy_loops"] == 1
    for name, value in theirs.items():
        told = document["quantities"][name]
        # the same data, but the package has no delay and stops a little before the minimum: alike to 0.03 %
        assert abs(told["value"] - value) < 2 * least[name] < 3e-4 * value, name
        assert abs(told["value"] - TRUE[name]) < 3 * told["standard_uncertainty"], name
        shares = {share["source"]: share["contribution"] for share in document["budget"][name]}
        # delay and scale, which a bare least-squares fit has not, leave the noise a little more room
        assert 0.95 * least[name] < shares["noise"] < 1.3 * least[name], name
        # nothing but the meter tells ohms: its scale, not stated, is what limits every value
        assert max(shares, key=shares.get) == "scale of the impedance in coil", name
