"""From a fitted parameter vector to the quantities people ask for, with their gradients."""

from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import CoilValues
from fit.circuit.realparts import leak_key, loss_key
from fit.estimate.coils import coil_values, coupling_of
from fit.estimate.ladder import Choice
from fit.estimate.model import name_values, suffixes_of
from fit.estimate.parameters import ACROSS_UNIT_S, STOP_UNIT_OHM
from fit.estimate.resonance import loaded_peak, pole_of
from measure.response import FloatArray

PART_UNITS = {"pot.": "Ω", "capacitor.": "F", "resistor.": "Ω"}


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
    """

    value: float
    unit: str
    gradient: FloatArray
    is_log: bool = True


def derive_quantities(choice: Choice) -> dict[str, Derived]:
    """Find every quantity that the model has, whether the takes tell it or not.

    Returns
    -------
    dict
        Name to quantity. Of several pickups each name begins with the pickup's, ``"bridge.inductance"``; parts are called
        ``"pot.volume"``, ``"capacitor.tone"``, ``"resistor.bleed"``, a pot's electrical fraction ``"pot.volume@6"``, the ohms
        left at an end of its travel ``"pot.tone.stop_0"``, ``"capacitor.tone.loss_tangent"``, ``"capacitor.tone.leak"``. Two
        coils have no winding capacitance and no unloaded resonance of their own.
    """
    out: dict[str, Derived] = {}
    for pickup, suffix in suffixes_of(choice.problem).items():
        prefix = f"{pickup}." if suffix else ""
        out |= {f"{prefix}{name}": quantity for name, quantity in _of_pickup(choice, pickup, suffix).items()}
    return out | _parts(choice)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Pickup:
    """One pickup's parameters by their names without suffix, and how to lay out a gradient by them."""

    coils: tuple[CoilValues, ...]
    p: dict[str, float]
    suffix: str
    names: tuple[str, ...]

    def gradient(self, rows: dict[str, float]) -> FloatArray:
        named = {f"{name}{self.suffix}": value for name, value in rows.items()}
        return np.array([named.get(name, 0.0) for name in self.names])


def _of_pickup(choice: Choice, pickup: str, suffix: str) -> dict[str, Derived]:
    problem, vector = choice.problem, choice.fit.vector
    p = name_values(problem, vector)
    own = {name.removesuffix(suffix): value for name, value in p.items() if name.endswith(suffix)}
    coils = coil_values(problem.models[pickup], own)
    names = tuple(parameter.name for parameter in problem.parameters)
    view = _Pickup(coils=coils, p=own, suffix=suffix, names=names)
    out = {"inductance": _inductance(view)}
    if len(coils) == 1:
        out["winding_capacitance"] = _log_value(view, "log_winding_capacitance", "F")
    out["dc_resistance"] = _log_value(view, "log_resistance", "Ω")
    for key, is_loaded in (("unloaded", False), ("loaded", True)):
        pole = pole_of(problem, vector, is_loaded=is_loaded, pickup=pickup)
        if pole is not None:
            by_frequency = np.array([pole.by_log_frequency.get(name, 0.0) for name in names])
            by_quality = np.array([pole.by_log_quality.get(name, 0.0) for name in names])
            if not is_loaded:
                out["resonance_unloaded"] = Derived(value=pole.frequency_hz, unit="Hz", gradient=by_frequency)
            out[f"q_{key}"] = Derived(value=pole.quality, unit="1", gradient=by_quality)
    peak = loaded_peak(problem, vector, pickup=pickup)
    if peak is not None:
        out["resonance_loaded"] = Derived(value=peak.frequency_hz, unit="Hz", gradient=peak.by_log_frequency)
        out["peak_loaded"] = Derived(value=peak.gain_db, unit="dB", gradient=peak.by_gain_db, is_log=False)
    is_led_out = len(coils) == 2 and _is_led_out(choice, pickup)
    return out | (_each_coil(view) if is_led_out else _losses(view))


def _is_led_out(choice: Choice, pickup: str) -> bool:
    """See whether the middle of a pickup of two coils is wired, so that its coils can be told apart."""
    instrument = choice.problem.evidence.instrument
    return instrument is not None and instrument.pickup[pickup].second is not None


def _each_coil(view: _Pickup) -> dict[str, Derived]:
    """Inductance, resistance and winding capacitance of each of two coils that are led out, and their coupling."""
    resistance_ohm = [float(coil.resistance_ohm) for coil in view.coils]
    share = resistance_ohm[1] / sum(resistance_ohm)
    resistances = (
        {"log_resistance": 1.0, "log_second_resistance": -share},
        {"log_resistance": 1.0, "log_second_resistance": 1 - share},
    )
    out: dict[str, Derived] = {}
    for number, (coil, by_resistance) in enumerate(zip(view.coils, resistances, strict=True), start=1):
        step = {"log_second_inductance": 1.0} if number == 2 else {}
        by_inductance = view.gradient({"log_inductance": 1.0} | step)
        step = {"log_second_winding_capacitance": 1.0} if number == 2 else {}
        by_capacitance = view.gradient({"log_winding_capacitance": 1.0} | step)
        out[f"coil_{number}.inductance"] = Derived(value=coil.inductance_h, unit="H", gradient=by_inductance)
        out[f"coil_{number}.winding_capacitance"] = Derived(value=coil.winding_capacitance_f, unit="F", gradient=by_capacitance)
        gradient = view.gradient(by_resistance)
        out[f"coil_{number}.dc_resistance"] = Derived(value=resistance_ohm[number - 1], unit="Ω", gradient=gradient)
    k = coupling_of(view.p)
    out["coil_coupling"] = Derived(value=k, unit="1", gradient=view.gradient({"log_coupling": 1 - k}))
    return out


def _log_value(view: _Pickup, name: str, unit: str) -> Derived:
    return Derived(value=float(np.exp(view.p[name])), unit=unit, gradient=view.gradient({name: 1.0}))


def _inductance(view: _Pickup) -> Derived:
    """Total inductance: of one coil, or La + Lb + 2M."""
    coils = view.coils
    rows = {"log_inductance": 1.0}
    total = coils[0].inductance_h
    if len(coils) == 2:
        k = coupling_of(view.p)
        mutual = k * float(np.sqrt(coils[0].inductance_h * coils[1].inductance_h))
        total = coils[0].inductance_h + coils[1].inductance_h + 2 * mutual
        rows["log_second_inductance"] = (coils[1].inductance_h + mutual) / total
        rows["log_coupling"] = 2 * mutual * (1 - k) / total
    return Derived(value=float(total), unit="H", gradient=view.gradient(rows))


def _losses(view: _Pickup) -> dict[str, Derived]:
    """Coupling k and corner frequency of each eddy loss of a pickup of one coil, by falling share."""
    if len(view.coils) != 1:
        return {}
    out: dict[str, Derived] = {}
    eddies = view.coils[0].eddies
    for rank, index in enumerate(np.argsort([eddy[0] for eddy in eddies])[::-1]):
        share, tau_s, _, _, profile = eddies[index]
        name = f"eddy_{profile}_{rank + 1}"
        rows = {f"share_0_{earlier}": -0.5 / (1 + float(np.exp(-view.p[f"share_0_{earlier}"]))) for earlier in range(index)}
        rows[f"share_0_{index}"] = 0.5 / (1 + float(np.exp(view.p[f"share_0_{index}"])))
        out[f"{name}.coupling"] = Derived(value=float(np.sqrt(share)), unit="1", gradient=view.gradient(rows))
        by_tau = view.gradient({f"log_tau_0_{index}": -1.0})
        out[f"{name}.corner"] = Derived(value=1 / (2 * np.pi * tau_s), unit="Hz", gradient=by_tau)
    return out


def _parts(choice: Choice) -> dict[str, Derived]:
    """Values of pots, capacitors and resistors, and where pots stand electrically."""
    out: dict[str, Derived] = {}
    for index, (parameter, value) in enumerate(zip(choice.problem.parameters, choice.fit.vector.tolist(), strict=True)):
        kind, name = parameter.name.partition("_")[::2]
        by_itself = np.zeros(len(choice.problem.parameters))
        if kind == "log" and name.startswith(tuple(PART_UNITS)):
            by_itself[index] = 1.0
            unit = PART_UNITS[name.partition(".")[0] + "."]
            out[name] = Derived(value=float(np.exp(value)), unit=unit, gradient=by_itself)
        elif kind == "logit":
            fraction = float(1 / (1 + np.exp(-value)))
            by_itself[index] = 1 - fraction
            out[name] = Derived(value=fraction, unit="1", gradient=by_itself)
        elif parameter.name.startswith("stop."):
            by_itself[index] = STOP_UNIT_OHM
            pot, _, end = parameter.name.removeprefix("stop.").partition("@")
            out[f"pot.{pot}.stop_{end}"] = Derived(value=STOP_UNIT_OHM * value, unit="Ω", gradient=by_itself, is_log=False)
        elif parameter.name.startswith("loss_capacitor."):
            by_itself[index] = 1.0
            capacitor = parameter.name.removeprefix("loss_")
            out[loss_key(capacitor)] = Derived(value=value, unit="1", gradient=by_itself, is_log=False)
        elif parameter.name in choice.problem.released and parameter.name.startswith("across_") and value > 0:
            by_itself[index] = -1 / value
            capacitor = parameter.name.removeprefix("across_")
            out[leak_key(capacitor)] = Derived(value=1 / (ACROSS_UNIT_S * value), unit="Ω", gradient=by_itself)
    return out
