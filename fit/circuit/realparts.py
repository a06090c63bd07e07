"""What a part has beside its value: the ohms left at a pot's stops, a capacitor's loss tangent and the leak across it.

Their names stand behind the part's, ``"pot.tone.stop_0"``, ``"capacitor.tone.loss_tangent"``, ``"capacitor.tone.leak"``; of cable
and input ``"input.loss_tangent"``. All of them may be left out: then a pot reaches its ends and a capacitor loses nothing.
"""

import math
from collections.abc import Collection, Mapping

from fit.circuit.wiring import Passive

STOPS, LOSS, LEAK = (".stop_0", ".stop_10"), ".loss_tangent", ".leak"
INPUT_F = "input.capacitance"
LEAST_STOP_OHM = 1e-2  # [Ω] keeps the conductance finite; no effect at audio frequencies
LEAST_TRACK = 1e-3  # [1] of a track is left beside its stop, whatever the ohms there are said to be


def loss_key(capacitor: str) -> str:
    """Name the loss tangent of a capacitor.

    Parameters
    ----------
    capacitor : str
        ``"capacitor.tone"`` or ``"input.capacitance"``.

    Returns
    -------
    str
        ``"capacitor.tone.loss_tangent"`` or ``"input.loss_tangent"``.
    """
    return ("input" if capacitor == INPUT_F else capacitor) + LOSS


def leak_key(capacitor: str) -> str:
    """Name the resistance across a capacitor.

    Parameters
    ----------
    capacitor : str
        ``"capacitor.tone"``.

    Returns
    -------
    str
        ``"capacitor.tone.leak"``.
    """
    return capacitor + LEAK


def is_linear(name: str) -> bool:
    """Whether a value may be 0, so that derivatives and covariance are of itself and not of its logarithm.

    Returns
    -------
    bool
        True for the ohms left at a stop and for loss tangents.
    """
    return name.endswith((*STOPS, LOSS))


def owner_of(name: str) -> str:
    """Find the part that a value belongs to.

    Returns
    -------
    str
        ``"pot.tone"`` of ``"pot.tone.stop_0"`` and of the electrical fraction ``"pot.tone@7"``, ``"input.capacitance"`` of
        ``"input.loss_tangent"``; other names as they are.
    """
    if name == loss_key(INPUT_F):
        return INPUT_F
    name = name.partition("@")[0]
    return next((name.removesuffix(end) for end in (*STOPS, LOSS, LEAK) if name.endswith(end)), name)


def is_beside(name: str) -> bool:
    """Whether a value is what a part has beside its own.

    Returns
    -------
    bool
        True for stops, loss tangents and leaks.
    """
    return name.endswith((*STOPS, LOSS, LEAK))


def stops_among(values: Collection[str]) -> frozenset[str]:
    """Find the stops that are known.

    Returns
    -------
    frozenset of str
        For `fit.circuit.harness.build_harness`.
    """
    return frozenset(name for name in values if name.endswith(STOPS))


def capacitor_tangents(values: Mapping[str, float]) -> dict[str, float]:
    """Loss tangents by their capacitors.

    Returns
    -------
    dict
        ``"capacitor.tone"``, ``"input.capacitance"`` to the loss tangent. [1]
    """
    return {owner_of(name): value for name, value in values.items() if name.endswith(LOSS)}


def capacitor_leaks(values: Mapping[str, float]) -> dict[str, float]:
    """Leaks by their capacitors.

    Returns
    -------
    dict
        ``"capacitor.tone"`` to the resistance across it. [Ω]
    """
    return {owner_of(name): value for name, value in values.items() if name.endswith(LEAK)}


def segment_ohm(part: Passive, values: Mapping[str, float], *, fraction: float) -> float:
    """Resistance of a resistor, or of what lies between a pot's wiper and one of its lugs.

    Parameters
    ----------
    values : mapping
        Name to value in SI units.
    fraction : float
        Electrical, from ccw to wiper; of no effect on a part that is whole, or at an end where ohms are left. [1]

    Returns
    -------
    float
        Not 0; what is left at a stop may come out of a fit as less than nothing. [Ω]
    """
    left = values[part.stop] if part.stop else 0.0
    if part.side == "stop":
        return left if abs(left) > LEAST_STOP_OHM else math.copysign(LEAST_STOP_OHM, left)
    whole = values[part.key]
    if part.side == "rest":
        return max(whole - left, LEAST_TRACK * whole)
    if not part.side:
        return whole
    return whole * (fraction if part.side == "ccw" else 1 - fraction)
