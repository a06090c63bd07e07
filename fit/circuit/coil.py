r"""A coil with eddy-current losses, and the exciting field that the same eddy currents weaken.

:math:`Z = R + sL(1 - \sum_i \kappa_i P_i(s))`, :math:`e = 1 - \sum_i g_i P_i(s)`, with a profile P for each loss:
a single shorted turn coupled to the coil, or a log-uniform spread of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from measure.response import ComplexArray, FloatArray

Profile = Literal["loop", "spread"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ProfileValues:
    """A loss profile at m points, with its derivatives.

    Attributes
    ----------
    value : ndarray of complex, shape (m,)
        P, between 0 at low and 1 at high frequencies. [1]
    by_log_tau : ndarray of complex, shape (m,)
        ∂P/∂ln τ. [1]
    by_log_width : ndarray of complex, shape (m,)
        ∂P/∂ln w; 0 for a loop. [1]
    """

    value: ComplexArray
    by_log_tau: ComplexArray
    by_log_width: ComplexArray


def evaluate_profile(profile: Profile, s: ComplexArray, *, tau_s: float, log_half_width: float = 0.0) -> ProfileValues:
    """Loss profile of one eddy loop or of a spread of them.

    Parameters
    ----------
    profile : {"loop", "spread"}
        One shorted turn, P = sτ/(1 + sτ); or a log-uniform spread about τ with half-width w,
        P = ln[(1 + sτe^w)/(1 + sτe^−w)]/(2w).
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    tau_s : float
        Time constant, > 0. [s]
    log_half_width : float
        w; only for a spread, > 0. [ln s]

    Raises
    ------
    ValueError
        If τ is not positive, or a spread has no width.
    """
    if tau_s <= 0 or (profile == "spread" and log_half_width <= 0):
        msg = f"time constant {tau_s} s and half-width {log_half_width} of a {profile} must be positive"
        raise ValueError(msg)
    if profile == "loop":
        inverse = 1.0 / (1.0 + s * tau_s)
        value = 1.0 - inverse
        return ProfileValues(value=value, by_log_tau=value * inverse, by_log_width=np.zeros_like(s))
    fast, slow = s * (tau_s * np.exp(log_half_width)), s * (tau_s * np.exp(-log_half_width))
    high, low = fast / (1.0 + fast), slow / (1.0 + slow)
    value = (np.log1p(fast) - np.log1p(slow)) / (2 * log_half_width)
    return ProfileValues(
        value=value,
        by_log_tau=(high - low) / (2 * log_half_width),
        by_log_width=(high + low) / 2 - value,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CoilValues:
    """One coil of the pickup: element values and eddy losses (share, τ, ln half-width, field, profile)."""

    inductance_h: float
    resistance_ohm: float | FloatArray  # the same at all m points, or of each
    winding_capacitance_f: float
    excitation: float
    eddies: tuple[tuple[float, float, float, float | FloatArray, Profile], ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CoilElements:
    """Impedances and EMFs of the coils at m points, with the loss profiles they were made from."""

    impedance: ComplexArray  # (c, c, m) [Ω]
    emf: ComplexArray  # (c, m) per unit of exciting field
    mutual_h: float
    profiles: tuple[tuple[ProfileValues, ...], ...]


def coil_elements(coils: Sequence[CoilValues], s: ComplexArray, coupling: float = 0.0) -> CoilElements:
    """Impedances and EMFs of coils in series.

    Parameters
    ----------
    s : ndarray of complex, shape (m,)
        2πj times the frequency, or any complex frequency. [rad/s]
    coupling : float
        k between two coils, wound so that their inductances add. [1]

    Returns
    -------
    CoilElements
        For `fit.circuit.network.solve_network`.
    """
    impedance = np.zeros((len(coils), len(coils), len(s)), dtype=complex)
    emf = np.empty((len(coils), len(s)), dtype=complex)
    all_profiles = []
    for index, coil in enumerate(coils):
        screened, field = np.ones_like(s), np.ones_like(s)
        profiles = []
        for share, tau_s, width, strength, profile in coil.eddies:
            values = evaluate_profile(profile, s, tau_s=tau_s, log_half_width=width)
            screened -= share * values.value
            field -= strength * values.value
            profiles.append(values)
        impedance[index, index] = coil.resistance_ohm + s * coil.inductance_h * screened
        emf[index] = coil.excitation * field
        all_profiles.append(tuple(profiles))
    mutual_h = 0.0
    if len(coils) == 2:
        mutual_h = coupling * float(np.sqrt(coils[0].inductance_h * coils[1].inductance_h))
        impedance[0, 1] = impedance[1, 0] = s * mutual_h
    return CoilElements(impedance=impedance, emf=emf, mutual_h=mutual_h, profiles=tuple(all_profiles))
