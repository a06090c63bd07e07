"""From the parameter vector to the coils of a pickup, and from the network's solution back to the parameters' derivatives."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import CoilElements, CoilValues, ProfileValues
from fit.circuit.network import Solution
from fit.estimate.parameters import PickupModel
from measure.response import ComplexArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Circumstances:
    """What the takes differ in at one pickup, at m points.

    Attributes
    ----------
    placed : tuple of (str, ndarray)
        Placement of the exciter after this pickup's first one, and 1 where it counts, shape (m,).
    warmth : ndarray, shape (m,), or float
        Winding resistance over that of the parameter: copper is as warm as it was in each take. [1]
    """

    placed: tuple[tuple[str, FloatArray], ...] = ()
    warmth: FloatArray | float = 1.0


ALIKE = Circumstances()


def placed_name(field: str, placement: str) -> str:
    """Name the step of an eddy loss's share g of the exciting field, from a pickup's first placement to a later one.

    Returns
    -------
    str
        ``"field_0_0#2"``.
    """
    return f"{field}#{placement}"


def coil_values(model: PickupModel, p: dict[str, float], circumstances: Circumstances = ALIKE) -> tuple[CoilValues, ...]:
    """Element values of each coil.

    Parameters
    ----------
    circumstances : Circumstances
        Of the takes; at the first placement and the parameter's own temperature where none are given.
    """
    coils = []
    for coil, profiles in enumerate(model.eddies):
        factors = [p[f"log_second_{name}"] if coil else 0.0 for name in ("inductance", "resistance", "winding_capacitance")]
        if len(model.eddies) == 2:
            # dcr is measured over both coils: the shares add up to it
            factors[1] -= float(np.log1p(np.exp(p["log_second_resistance"])))
        left, eddies = 1.0, []
        for index, profile in enumerate(profiles):
            key = f"{coil}_{index}"
            share = left / (1 + np.exp(-p[f"share_{key}"]))
            left -= share
            width = float(np.exp(p[f"log_width_{key}"])) if profile == "spread" else 0.0
            field: FloatArray | float = p[f"field_{key}"]
            for placement, mask in circumstances.placed:
                field = field + p[placed_name(f"field_{key}", placement)] * mask
            eddies.append((share, float(np.exp(p[f"log_tau_{key}"])), width, field, profile))
        coils.append(
            CoilValues(
                inductance_h=float(np.exp(p["log_inductance"] + factors[0])),
                resistance_ohm=float(np.exp(p["log_resistance"] + factors[1])) * circumstances.warmth,
                winding_capacitance_f=float(np.exp(p["log_winding_capacitance"] + factors[2])),
                excitation=float(np.exp(p["log_second_excitation"])) if coil else 1.0,
                eddies=tuple(eddies),
            )
        )
    return tuple(coils)


def coupling_of(p: dict[str, float]) -> float:
    """Coupling between the two coils; 0 where there is one.

    Returns
    -------
    float
        k, between 0 and 1.
    """
    return float(1 / (1 + np.exp(-p["log_coupling"]))) if "log_coupling" in p else 0.0


def coil_rows(
    p: dict[str, float],
    coils: Sequence[CoilValues],
    *,
    elements: CoilElements,
    solution: Solution,
    s: ComplexArray,
    rows: dict[str, ComplexArray],
    drive: FloatArray | float = 1.0,
    circumstances: Circumstances = ALIKE,
) -> None:
    """Fill `rows` with the logarithmic derivatives of the voltage by what belongs to the coils.

    Parameters
    ----------
    coils : sequence of CoilValues
        Element values at `p`.
    elements : CoilElements
        Impedances and EMFs at `p`.
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    rows : dict
        Parameter name to derivative of ln V, shape (m,); filled in place.
    drive : ndarray, shape (m,), or float
        Exciting field at this pickup over that at the one under the exciter. [1]
    circumstances : Circumstances
        As `coils` were made with.
    """
    transfer, current = solution.coil_transfer / solution.voltage, solution.coil_current
    by_inductance, by_resistance, by_capacitance = [], [], []
    for index, coil in enumerate(coils):
        product = transfer[index] * current[index]
        by_resistance.append(-product * coil.resistance_ohm)
        by_inductance.append(-product * (elements.impedance[index, index] - coil.resistance_ohm))
        by_capacitance.append(solution.by_admittance[index] / solution.voltage * (s * coil.winding_capacitance_f))
        by_share = product * (s * coil.inductance_h)
        _eddy_rows(f"{index}", p, coil, elements.profiles[index], by_share, transfer[index] * drive, rows)
    for placement, mask in circumstances.placed:
        rows |= {
            placed_name(name, placement): row * mask
            for name, row in rows.items()
            if name.startswith("field_") and "#" not in name
        }
    if len(coils) == 2:
        by_mutual = -(transfer[0] * current[1] + transfer[1] * current[0]) * (s * elements.mutual_h)
        by_inductance = [row + by_mutual / 2 for row in by_inductance]
        first_share = coils[0].resistance_ohm / (coils[0].resistance_ohm + coils[1].resistance_ohm)
        rows["log_second_inductance"] = by_inductance[1]
        rows["log_second_resistance"] = first_share * by_resistance[1] - (1 - first_share) * by_resistance[0]
        rows["log_second_winding_capacitance"] = by_capacitance[1]
        rows["log_second_excitation"] = transfer[1] * elements.emf[1] * drive
        rows["log_coupling"] = by_mutual * (1 - coupling_of(p))
    rows["log_inductance"] = sum(by_inductance)
    rows["log_resistance"] = sum(by_resistance)
    rows["log_winding_capacitance"] = sum(by_capacitance)


def _eddy_rows(
    coil_key: str,
    p: dict[str, float],
    coil: CoilValues,
    profiles: Sequence[ProfileValues],
    by_share: ComplexArray,
    transfer: ComplexArray,
    rows: dict[str, ComplexArray],
) -> None:
    """Fill `rows` for the eddy losses of one coil; `by_share` is the derivative by share over profile, `transfer` by EMF."""
    for index, (share, _, _, strength, profile) in enumerate(coil.eddies):
        key, values = f"{coil_key}_{index}", profiles[index]
        field = -coil.excitation * transfer
        sigmoid = 1 / (1 + np.exp(-p[f"share_{key}"]))
        later = sum((coil.eddies[k][0] * profiles[k].value for k in range(index + 1, len(profiles))), np.zeros_like(transfer))
        # what this share takes, the later ones lose in proportion
        rows[f"share_{key}"] = by_share * (share * (1 - sigmoid) * values.value - sigmoid * later)
        rows[f"field_{key}"] = field * values.value
        rows[f"log_tau_{key}"] = by_share * share * values.by_log_tau + field * strength * values.by_log_tau
        if profile == "spread":
            rows[f"log_width_{key}"] = (by_share * share + field * strength) * values.by_log_width
