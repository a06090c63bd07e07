"""From a fitted parameter vector to the quantities people ask for, with their gradients."""

from dataclasses import dataclass

import numpy as np

from fit.estimate.ladder import Choice
from fit.estimate.coils import coil_values, coupling_of
from fit.estimate.model import name_values
from fit.estimate.resonance import loaded_peak, pole_of
from measure.response import FloatArray

COVERAGE = 1.96  # [1] half-width of a 95 % interval over its standard uncertainty


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Derived:
    """A quantity with its derivative by the parameter vector.

    Attributes
    ----------
    value : float
        In `unit`.
    unit : str
        SI, without prefix; "dB" for levels, "1" for pure numbers.
    gradient : ndarray, shape (p,)
        Of ln(value) where `is_log`, of the value otherwise.
    is_log : bool
        The interval is symmetric in the logarithm.
    """

    value: float
    unit: str
    gradient: FloatArray
    is_log: bool = True


def derive_quantities(choice: Choice) -> dict[str, Derived]:
    """Find every quantity that the model has, whether the takes tell it or not.

    Parameters
    ----------
    choice : Choice
        The fit.

    Returns
    -------
    dict
        Name to quantity; two coils have no winding capacitance and no unloaded resonance of their own.
    """
    names = [parameter.name for parameter in choice.problem.parameters]
    p = name_values(choice.problem, choice.fit.vector)

    def gradient(rows: dict[str, float]) -> FloatArray:
        return np.array([rows.get(name, 0.0) for name in names])

    out = {"inductance": _inductance(choice, p, names)}
    if len(choice.problem.model.eddies) == 1:
        capacitance = float(np.exp(p["log_winding_capacitance"]))
        out["winding_capacitance"] = Derived(value=capacitance, unit="F", gradient=gradient({"log_winding_capacitance": 1.0}))
    resistance = float(np.exp(p["log_resistance"]))
    out["dc_resistance"] = Derived(value=resistance, unit="Ω", gradient=gradient({"log_resistance": 1.0}))
    for key, is_loaded in (("unloaded", False), ("loaded", True)):
        pole = pole_of(choice.problem, choice.fit.vector, is_loaded=is_loaded)
        if pole is not None:
            if not is_loaded:
                by_frequency = gradient(pole.by_log_frequency)
                out["resonance_unloaded"] = Derived(value=pole.frequency_hz, unit="Hz", gradient=by_frequency)
            out[f"q_{key}"] = Derived(value=pole.quality, unit="1", gradient=gradient(pole.by_log_quality))
    peak = loaded_peak(choice.problem, choice.fit.vector)
    if peak is not None:
        out["resonance_loaded"] = Derived(value=peak.frequency_hz, unit="Hz", gradient=peak.by_log_frequency)
        out["peak_loaded"] = Derived(value=peak.gain_db, unit="dB", gradient=peak.by_gain_db, is_log=False)
    return out | _losses(choice, p, names)


def _inductance(choice: Choice, p: dict[str, float], names: list[str]) -> Derived:
    """Total inductance: of one coil, or La + Lb + 2M."""
    coils = coil_values(choice.problem.model, p)
    rows = {"log_inductance": 1.0}
    total = coils[0].inductance_h
    if len(coils) == 2:
        k = coupling_of(p)
        mutual = k * float(np.sqrt(coils[0].inductance_h * coils[1].inductance_h))
        total = coils[0].inductance_h + coils[1].inductance_h + 2 * mutual
        rows["log_second_inductance"] = (coils[1].inductance_h + mutual) / total
        rows["log_coupling"] = 2 * mutual * (1 - k) / total
    return Derived(value=float(total), unit="H", gradient=np.array([rows.get(name, 0.0) for name in names]))


def _losses(choice: Choice, p: dict[str, float], names: list[str]) -> dict[str, Derived]:
    """Coupling k and corner frequency of each eddy loss of a pickup of one coil, by falling share."""
    coils = coil_values(choice.problem.model, p)
    if len(coils) != 1:
        return {}
    out: dict[str, Derived] = {}
    shares = [eddy[0] for eddy in coils[0].eddies]
    for rank, index in enumerate(np.argsort(shares)[::-1]):
        share, tau_s, _, _, profile = coils[0].eddies[index]
        name = f"eddy_{profile}_{rank + 1}"
        rows = {}
        for earlier in range(index):
            rows[f"share_0_{earlier}"] = -0.5 / (1 + float(np.exp(-p[f"share_0_{earlier}"])))
        rows[f"share_0_{index}"] = 0.5 / (1 + float(np.exp(p[f"share_0_{index}"])))
        by_share = np.array([rows.get(parameter, 0.0) for parameter in names])
        out[f"{name}.coupling"] = Derived(value=float(np.sqrt(share)), unit="1", gradient=by_share)
        by_tau = np.array([-1.0 if parameter == f"log_tau_0_{index}" else 0.0 for parameter in names])
        out[f"{name}.corner"] = Derived(value=1 / (2 * np.pi * tau_s), unit="Hz", gradient=by_tau)
    return out
