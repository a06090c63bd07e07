"""Coils of an instrument's network: impedance with eddy losses, and the exact derivatives by what belongs to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import ProfileValues, evaluate_profile
from fit.circuit.excitations import Excited
from fit.circuit.instrument import Instrument, coils_of, eddies_of
from fit.circuit.wiring import Wiring
from measure.response import ComplexArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Loss:
    """One eddy loss of a coil at m points.

    Attributes
    ----------
    key : str
        What the names of its values begin with.
    share : float
        k², of the inductance. [1]
    has_width : bool
        A spread of loops, not a single one.
    """

    key: str
    share: float
    profile: ProfileValues
    has_width: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class StatedCoil:
    """Impedance of a coil at m points, and what its eddy losses add to it.

    Attributes
    ----------
    resistance_ohm, inductance_h : float
        Element values. [Ω], [H]
    impedance : ndarray of complex, shape (m,)
        Without the winding capacitance. [Ω]
    """

    resistance_ohm: float
    inductance_h: float
    impedance: ComplexArray
    losses: tuple[Loss, ...]


def stated_coil(instrument: Instrument, name: str, values: Mapping[str, float], s: ComplexArray) -> StatedCoil:
    """Find the impedance of a coil.

    Parameters
    ----------
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    """
    losses = []
    screened: ComplexArray | float = 1.0
    for key, kind in eddies_of(name, coils_of(instrument)[name]):
        share = values[f"{key}.coupling"] ** 2
        tau_s = 1 / (2 * np.pi * values[f"{key}.corner"])
        width = values[f"{key}.half_width"] if kind == "spread" else 0.0
        profile = evaluate_profile(kind, s, tau_s=tau_s, log_half_width=width)
        screened = screened - share * profile.value
        losses.append(Loss(key=key, share=share, profile=profile, has_width=kind == "spread"))
    resistance_ohm, inductance_h = values[f"{name}.dcr"], values[f"{name}.inductance"]
    return StatedCoil(
        resistance_ohm=resistance_ohm,
        inductance_h=inductance_h,
        impedance=resistance_ohm + (s * inductance_h) * screened,
        losses=tuple(losses),
    )


def mutual_inductance_h(wiring: Wiring, pair: tuple[int, int], coils: Sequence[StatedCoil], values: Mapping[str, float]) -> float:
    """Find the mutual inductance of two coils.

    Parameters
    ----------
    pair : tuple of (int, int)
        Which coils; the first gives the coupling its name.

    Returns
    -------
    float
        k·√(L₁L₂). [H]
    """
    first, second = (coils[index].inductance_h for index in pair)
    return values[f"{wiring.coils[pair[0]]}.coupling"] * float(np.sqrt(first * second))


def coil_rows(
    wiring: Wiring,
    coils: Sequence[StatedCoil],
    mutual_h: Mapping[tuple[int, int], float],
    *,
    s: ComplexArray,
    solved: Excited,
) -> dict[str, ComplexArray]:
    """Differentiate by what belongs to the coils, but for their winding capacitance: dV = −a dZ i.

    Parameters
    ----------
    mutual_h : mapping
        Pair of coils to mutual inductance. [H]
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    solved : Excited
        The network's solution for x excitations.

    Returns
    -------
    dict
        Name of a value to the derivative of the voltage by its logarithm, shape (x, m). [V/V]
    """
    rows: dict[str, ComplexArray] = {}
    for index, (name, coil) in enumerate(zip(wiring.coils, coils, strict=True)):
        product = solved.coil_transfer[index] * solved.coil_current[index]
        rows[f"{name}.dcr"] = product * -coil.resistance_ohm
        rows[f"{name}.inductance"] = product * (coil.resistance_ohm - coil.impedance)
        for loss in coil.losses:
            by_share = product * ((coil.inductance_h * loss.share) * s)
            rows[f"{loss.key}.coupling"] = 2 * by_share * loss.profile.value
            rows[f"{loss.key}.corner"] = -by_share * loss.profile.by_log_tau
            if loss.has_width:
                rows[f"{loss.key}.half_width"] = by_share * loss.profile.by_log_width
    for (i, j), inductance_h in mutual_h.items():
        transfer, current = solved.coil_transfer, solved.coil_current
        by_mutual = (transfer[i] * current[j] + transfer[j] * current[i]) * (-inductance_h * s)
        rows[f"{wiring.coils[i]}.coupling"] = by_mutual
        for index in (i, j):
            rows[f"{wiring.coils[index]}.inductance"] = rows[f"{wiring.coils[index]}.inductance"] + by_mutual / 2
    return rows


def sum_by_frequency(by_log: Mapping[str, ComplexArray], solved: Excited, susceptance: ComplexArray) -> ComplexArray:
    """Differentiate by frequency: it enters as sC, sL and sτ alone, so the derivative is the sum of theirs.

    Parameters
    ----------
    by_log : mapping
        What `coil_rows` returns.
    solved : Excited
        The network's solution for x excitations.
    susceptance : ndarray of complex, shape (b, m)
        sC of each branch. [S]

    Returns
    -------
    ndarray of complex, shape (x, m)
        Derivative of the voltage by the logarithm of the frequency. [V/V]
    """
    out: ComplexArray = (solved.by_admittance * susceptance[:, None]).sum(axis=0)
    for key, row in by_log.items():
        if key.endswith(".inductance"):
            out += row
        elif key.endswith(".corner"):
            out -= row
    return out
