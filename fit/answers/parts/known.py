"""What a prediction rests on: values with where each comes from, and how sure they are together.

A measured value stands in for a stated or marked one (a fit has already used what was stated); a changed one stands in for all
of them and knows nothing of the others: what the part in its place had beside its value went with it. A marking is a claim: its
tolerance counts only where that is asked for.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fit.answers.parts.fitted import MeasuredParts, is_coupling, keep_parts, not_below_nothing
from fit.circuit.controls import Settings, taper_fraction
from fit.circuit.instrument import Instrument, stated_values
from fit.circuit.realparts import INPUT_F, LEAK, STOPS, is_beside, is_linear, loss_key, owner_of
from fit.estimate.parameters import STATED_LOSS_STD
from measure.kinds import PRINTED, assume_tolerance, kind_of
from measure.quantity import Quantity
from measure.response import FloatArray

Origin = Literal["measured", "changed", "stated", "marked", "taper"]
# An audio pot has 10 to 15 % of its track at half rotation (common practice, no source), about the 12 % that is taken: as a
# bound on the logarithm of fraction/(1 − fraction), half of ln(0.15/0.85) − ln(0.10/0.90).
TAPER_BOUND = 0.231
ASSUMED_OF = (*PRINTED, "input resistance", "input capacitance")  # a pickup's figures may be anything where they state no bound


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Basis:
    """One value that a prediction rests on.

    Attributes
    ----------
    unit : str
        Ω, F, H, Hz, or empty for a pure number.
    origin : {"measured", "changed", "stated", "marked", "taper"}
        Where it comes from; a taper gives the electrical fraction of a pot.
    relative_std : float or None
        Standard uncertainty over the value, as far as it counts in the prediction; None where it is taken as exact. [1]
    std : float or None
        The same in `unit`, in place of `relative_std`, of what may be 0: the ohms left at a stop, a loss tangent.
    is_assumed : bool
        Its tolerance was left out, so that of its kind counts.
    """

    value: float
    unit: str
    origin: Origin
    relative_std: float | None
    std: float | None = None
    is_assumed: bool = False

    @property
    def is_exact(self) -> bool:
        """No uncertainty counts."""
        return self.relative_std is None and self.std is None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Known:
    """Every value that is known.

    Attributes
    ----------
    basis : dict
        Name to value; pots' electrical fractions among them as far as they are measured, ``"pot.volume@7"``, and what parts have
        beside their values, as far as that is known (`fit.circuit.realparts`).
    log_covariance : ndarray, shape (p, p)
        Of their logarithms; of what may be 0 of itself (`fit.circuit.realparts.is_linear`).
    """

    basis: dict[str, Basis]
    names: tuple[str, ...]
    log_covariance: FloatArray

    @property
    def values(self) -> dict[str, float]:
        """Name to value in SI units."""
        return {key: one.value for key, one in self.basis.items()}


def gather_known(
    instrument: Instrument,
    *,
    load: Mapping[str, Quantity],
    changes: Mapping[str, Quantity],
    measured: MeasuredParts | None,
    with_tolerance: bool,
    settings: Settings,
) -> Known:
    """Gather what is known.

    Parameters
    ----------
    instrument : Instrument
        With the losses that were measured, where any were.
    load : mapping
        Name to value of cable and input.
    changes : mapping
        Name of a value to what it is changed to.
    with_tolerance : bool
        The tolerances of marked values count as bounds, and so does what is usual of an audio taper.
    """
    basis: dict[str, Basis] = {}
    for key, stated in stated_values(instrument).items():
        if stated.quantity is not None:
            counts = with_tolerance or not stated.is_marked
            origin: Origin = "marked" if stated.is_marked else "stated"
            basis |= _bases(key, stated.quantity, origin, counts=counts, may_assume=with_tolerance)
    for key, quantity in load.items():
        basis |= _bases(key, quantity, "stated", may_assume=with_tolerance)
    if with_tolerance:
        basis |= _tapers(instrument, settings)
    kept = None if measured is None else _unchanged(measured, changes)
    if kept is not None:
        basis |= _measured_bases(kept)
    basis = {key: one for key, one in basis.items() if not (is_beside(key) and owner_of(key) in changes)}
    for key, quantity in changes.items():
        basis |= _bases(key, quantity, "changed", may_assume=with_tolerance)
    names, covariance = _covariance(basis, kept)
    return Known(basis=basis, names=names, log_covariance=covariance)


def spread_of(known: Known, slopes: Mapping[str, FloatArray]) -> FloatArray:
    """Propagate the covariance of all values to n figures.

    Parameters
    ----------
    known : Known
        What they rest on.
    slopes : mapping
        Name of a value to the derivative of each figure by its logarithm, or by itself (`fit.circuit.transfers.Transfer`), shape
        (n,); at least one.

    Returns
    -------
    ndarray, shape (n,)
        Standard uncertainties.
    """
    size = len(next(iter(slopes.values())))
    rows = np.array([slopes.get(name, np.zeros(size)) for name in known.names]).reshape(len(known.names), size)
    variance = np.sum(rows * (known.log_covariance @ rows), axis=0)
    return np.sqrt(np.maximum(variance, 0.0))  # rounding of a covariance that cancels


def std_of(known: Known, slopes: Mapping[str, float]) -> float:
    """Propagate the covariance of all values to one figure.

    Parameters
    ----------
    slopes : mapping
        Name of a value to the derivative of the figure by its logarithm, or by itself.
    """
    return float(spread_of(known, {key: np.array([slope]) for key, slope in slopes.items()})[0]) if slopes else 0.0


def _bases(key: str, quantity: Quantity, origin: Origin, *, counts: bool = True, may_assume: bool = False) -> dict[str, Basis]:
    """Put a value, and the loss tangent that is said of it; of parts and input a tolerance that is left out may be assumed."""
    kind = kind_of(key)
    is_assumed = may_assume and quantity.bound is None and kind in ASSUMED_OF
    std = assume_tolerance(quantity, kind).standard_uncertainty if is_assumed and kind else quantity.standard_uncertainty
    std = std if counts else None
    relative = None if std is None or quantity.value == 0 else std / abs(quantity.value)
    out = {key: Basis(value=quantity.value, unit=quantity.unit, origin=origin, relative_std=relative, is_assumed=is_assumed)}
    tangent = quantity.loss_tangent
    if tangent is not None and (key == INPUT_F or key.startswith("capacitor.")):
        std = STATED_LOSS_STD * tangent if counts else None
        out[loss_key(key)] = Basis(value=tangent, unit="", origin=origin, relative_std=None, std=std)
    return out


# Another pot has another track: what was measured of the old one's fractions and stops goes with it, as a capacitor's losses do.
# A coupling of 0 has no logarithm.
def _unchanged(measured: MeasuredParts, changes: Mapping[str, Quantity]) -> MeasuredParts:
    kept = [name for name in measured.names if owner_of(name) not in changes and (measured.values[name] != 0 or is_linear(name))]
    return not_below_nothing(keep_parts(measured, kept))


def _measured_bases(parts: MeasuredParts) -> dict[str, Basis]:
    out: dict[str, Basis] = {}
    for name, std in zip(parts.names, np.sqrt(np.diag(parts.log_covariance)).tolist(), strict=True):
        value, unit = parts.values[name], _unit(name)
        if is_linear(name):
            out[name] = Basis(value=value, unit=unit, origin="measured", relative_std=None, std=std)
        else:
            relative = std / abs(value) if is_coupling(name) else std
            out[name] = Basis(value=value, unit=unit, origin="measured", relative_std=relative)
    return out


# Of the tone controls' sweep too, so of every whole rotation.
def _tapers(instrument: Instrument, settings: Settings) -> dict[str, Basis]:
    out: dict[str, Basis] = {}
    for name, setting in settings.pots.items():
        if instrument.pot[name].taper != "audio":
            continue
        fractions = {str(rotation): taper_fraction("audio", rotation) for rotation in range(1, 10)}
        if not setting.label.endswith("%") and 0 < setting.fraction < 1:
            fractions[setting.label] = setting.fraction
        for label, fraction in fractions.items():
            relative = (1 - fraction) * TAPER_BOUND / float(np.sqrt(3))
            out[f"pot.{name}@{label}"] = Basis(value=fraction, unit="", origin="taper", relative_std=relative)
    return out


def _covariance(basis: Mapping[str, Basis], measured: MeasuredParts | None) -> tuple[tuple[str, ...], FloatArray]:
    names = () if measured is None else measured.names
    single = tuple(key for key, one in basis.items() if not one.is_exact and key not in names)
    total = np.zeros((len(names) + len(single),) * 2)
    if measured is not None:
        scale = np.array([1 / measured.values[name] if is_coupling(name) else 1.0 for name in names])
        total[: len(names), : len(names)] = measured.log_covariance * np.outer(scale, scale)
    for place, key in enumerate(single, start=len(names)):
        total[place, place] = (basis[key].std or basis[key].relative_std or 0.0) ** 2
    return (*names, *single), total


def _unit(name: str) -> str:
    if is_beside(name):
        return "Ω" if name.endswith((*STOPS, LEAK)) else ""
    if name.endswith((".inductance",)):
        return "H"
    if name.endswith(("capacitance",)) or (name.startswith("capacitor.") and "@" not in name):
        return "F"
    if name.endswith((".dcr", ".resistance")) or (name.startswith(("pot.", "resistor.")) and "@" not in name):
        return "Ω"
    return "Hz" if name.endswith(".corner") else ""
