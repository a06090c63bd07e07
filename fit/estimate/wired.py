"""An instrument at the settings of its takes: what the exciter, a foil or a resistor at the jack gives there.

One physical part is one parameter in all takes. Takes with the same network are solved together; `fit.estimate.wire` lays them
out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import CoilElements, CoilValues, coil_elements
from fit.circuit.excitations import Excited, solve_excitations
from fit.circuit.network import Network, Solution
from fit.circuit.wiring import Wiring
from fit.estimate.coils import coil_rows, coil_values, coupling_of
from fit.estimate.parameters import CHANGE, SHUNT_UNIT_F, PickupModel
from measure.response import ComplexArray, FloatArray

SOURCE = "(source)"  # no name in an instrument.toml has brackets
FOIL_OHM = 1e13  # [Ω] far above anything at the jack: a foil drives a current


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Term:
    """A passive part in one branch, at some of a set's points."""

    name: str  # of its parameter; of the coil where `is_winding`
    branch: int
    points: np.ndarray  # indices among the set's points
    is_capacitor: bool
    is_winding: bool = False
    side: str = ""
    fraction: str = ""  # name of its parameter

    @property
    def is_shunt(self) -> bool:
        """A capacitance that a job added, which may be negative."""
        return self.name.startswith("shunt")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Drive:
    """How far one pickup's coils are driven: 1 under the exciter, a parameter beside it."""

    pickup: str
    is_under: FloatArray  # (m,) 1 where the exciter stands over it
    leaks: tuple[tuple[str, FloatArray], ...]  # parameter, and 1 where it counts


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeSet:
    """Takes with the same network, on the same side of a job."""

    wiring: Wiring
    network: Network
    points: np.ndarray  # (m,) indices among all points
    s: ComplexArray
    is_after: bool
    method: str
    source: str  # parameter of the source's impedance
    terms: tuple[Term, ...]
    drives: tuple[Drive, ...]


def pickup_of(coil: str) -> str:
    """Name the pickup that a coil belongs to.

    Parameters
    ----------
    coil : str
        ``"bridge"`` or ``"bridge.second"``.

    Returns
    -------
    str
        ``"bridge"``.
    """
    return coil.removesuffix(".second")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wired:
    """An instrument's takes at m points.

    Attributes
    ----------
    models : dict
        Pickup to its circuit.
    suffixes : dict
        Pickup to what stands behind its parameters' names.
    n_points : int
        m.
    names : tuple of str
        Parameters of the parts that some take feels.
    sets : tuple of TakeSet
        Takes that are solved together.
    """

    models: dict[str, PickupModel]
    suffixes: dict[str, str]
    n_points: int
    names: tuple[str, ...]
    sets: tuple[TakeSet, ...]

    @property
    def felt(self) -> set[str]:
        """Pickups that some take feels."""
        return {pickup_of(coil) for group in self.sets for coil in group.wiring.coils}

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        """Response for a unit gain, and its logarithmic derivatives.

        Parameters
        ----------
        p : dict
            Parameter names to values.

        Returns
        -------
        tuple
            Voltage at the jack, shape (m,): s times that per unit of exciting field, or per volt of the source; name to the
            derivative of its logarithm.
        """
        voltage = np.empty(self.n_points, dtype=complex)
        rows: dict[str, ComplexArray] = {}
        for group in self.sets:
            at_side = _after(p) if group.is_after else p
            voltage[group.points], own = _solve(group, self, at_side)
            for name, row in own.items():
                for target in (name, CHANGE + name) if group.is_after else (name,):
                    if target in p:
                        if target not in rows:
                            rows[target] = np.zeros(self.n_points, dtype=complex)
                        rows[target][group.points] += row
        return voltage, rows


def _after(p: dict[str, float]) -> dict[str, float]:
    changes = {name.removeprefix(CHANGE): value for name, value in p.items() if name.startswith(CHANGE)}
    return {name: value + changes.get(name, 0.0) for name, value in p.items()}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _PickupAt:
    """One pickup's values at a parameter vector, and where its coils stand among the network's."""

    suffix: str
    p: dict[str, float]
    coils: tuple[CoilValues, ...]
    elements: CoilElements
    places: tuple[int, ...]


def _solve(group: TakeSet, wired: Wired, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
    wiring, s = group.wiring, group.s
    pickups = {name: _pickup_at(name, wired, p, wiring=wiring, s=s) for name in wired.models if name in wiring.coils}
    impedance = np.empty((len(wiring.coils), len(s)), dtype=complex)
    emf = np.zeros((1, len(wiring.coils), len(s)), dtype=complex)
    mutual: dict[tuple[int, int], ComplexArray] = {}
    for pickup in pickups.values():
        for index, place in enumerate(pickup.places):
            impedance[place] = pickup.elements.impedance[index, index]
        if len(pickup.places) == 2:
            mutual[pickup.places[0], pickup.places[1]] = pickup.elements.impedance[0, 1]
    drive_of = {drive.pickup: _drive_at(drive, p) for drive in group.drives}
    for name, drive in drive_of.items():
        for index, place in enumerate(pickups[name].places):
            emf[0, place] = drive * pickups[name].elements.emf[index]
    source = wiring.coils.index(SOURCE) if SOURCE in wiring.coils else -1
    if source >= 0:
        # a foil's current is s·Cc·1 V whatever hangs at the jack; the gain stands for Cc
        impedance[source] = np.exp(p[group.source]) if group.source else FOIL_OHM
        emf[0, source] = 1.0 if group.source else s * FOIL_OHM
    admittance, own = _admittances(group, pickups, p)
    solved = solve_excitations(group.network, admittance=admittance, impedance=impedance, mutual=mutual, emf=emf)
    voltage = solved.voltage[0]
    rows = _part_rows(group, own, p, solved)
    for name, pickup in pickups.items():
        _pickup_rows(group, pickup, solved, drive_of.get(name, np.zeros(len(s))), rows)
    for each in group.drives:
        pickup = pickups[each.pickup]
        driven = sum(solved.coil_transfer[place] * pickup.elements.emf[index] for index, place in enumerate(pickup.places))
        for name, mask in each.leaks:
            rows[name] = driven * mask / voltage
    if group.source:
        current = solved.coil_current[source, 0]
        rows[group.source] = -solved.coil_transfer[source] * current * impedance[source] / voltage
    return (s * voltage if group.method == "exciter" else voltage), rows


def _pickup_at(name: str, wired: "Wired", p: dict[str, float], *, wiring: Wiring, s: ComplexArray) -> _PickupAt:
    suffix = wired.suffixes[name]
    own = {key.removesuffix(suffix): value for key, value in p.items() if key.endswith(suffix)} if suffix else p
    coils = coil_values(wired.models[name], own)
    places = [wiring.coils.index(name)] + ([wiring.coils.index(f"{name}.second")] if len(coils) == 2 else [])
    return _PickupAt(suffix=suffix, p=own, coils=coils, elements=coil_elements(coils, s, coupling_of(own)), places=tuple(places))


def _drive_at(drive: Drive, p: dict[str, float]) -> FloatArray:
    total = drive.is_under
    for name, mask in drive.leaks:
        total = total + p[name] * mask
    return total


def _admittances(
    group: TakeSet, pickups: Mapping[str, _PickupAt], p: dict[str, float]
) -> tuple[ComplexArray, list[ComplexArray]]:
    """Admittance of each branch, shape (b, m), and that of each term at its points."""
    admittance = np.zeros((len(group.wiring.branches), len(group.s)), dtype=complex)
    own = []
    for term in group.terms:
        if term.is_winding:
            pickup = pickups[pickup_of(term.name)]
            value = pickup.coils[int(term.name.endswith(".second"))].winding_capacitance_f
        elif term.is_shunt:
            value = SHUNT_UNIT_F * p[term.name]
        else:
            value = float(np.exp(p[term.name]))
        if term.is_capacitor:
            part: ComplexArray = group.s[term.points] * value
        else:
            part = np.full(len(term.points), 1 / (value * _share(term, p)), dtype=complex)
        admittance[term.branch, term.points] += part
        own.append(part)
    return admittance, own


def _share(term: Term, p: dict[str, float]) -> float:
    """Resistance of a segment over that of the whole track."""
    if not term.fraction:
        return 1.0
    fraction = 1 / (1 + np.exp(-p[term.fraction]))
    return float(fraction if term.side == "ccw" else 1 - fraction)


def _part_rows(group: TakeSet, own: Sequence[ComplexArray], p: dict[str, float], solved: Excited) -> dict[str, ComplexArray]:
    rows: dict[str, ComplexArray] = {}
    by_admittance = solved.by_admittance[:, 0] / solved.voltage[0]
    for term, part in zip(group.terms, own, strict=True):
        if term.is_winding:
            continue
        if term.is_shunt:  # may be negative, and is fitted as it is
            by_value = by_admittance[term.branch, term.points] * (SHUNT_UNIT_F * group.s[term.points])
            _add(rows, term.name, term.points, by_value, len(group.s))
            continue
        by_log = by_admittance[term.branch, term.points] * part
        _add(rows, term.name, term.points, by_log if term.is_capacitor else -by_log, len(group.s))
        if term.fraction:
            fraction = 1 / (1 + np.exp(-p[term.fraction]))
            by_logit = -(1 - fraction) if term.side == "ccw" else fraction
            _add(rows, term.fraction, term.points, by_log * by_logit, len(group.s))
    return rows


def _add(rows: dict[str, ComplexArray], name: str, points: np.ndarray, values: ComplexArray, size: int) -> None:
    if name not in rows:
        rows[name] = np.zeros(size, dtype=complex)
    rows[name][points] += values


def _pickup_rows(group: TakeSet, pickup: _PickupAt, solved: Excited, drive: FloatArray, rows: dict[str, ComplexArray]) -> None:
    places = list(pickup.places)
    names = [group.wiring.coils[place] for place in places]
    by_winding = np.zeros((len(places), len(group.s)), dtype=complex)
    for term in group.terms:
        if term.is_winding and term.name in names:
            by_winding[names.index(term.name)] = solved.by_admittance[term.branch, 0]
    view = Solution(
        voltage=solved.voltage[0],
        by_admittance=by_winding,
        coil_transfer=solved.coil_transfer[places],
        coil_current=solved.coil_current[places, 0],
    )
    own: dict[str, ComplexArray] = {}
    coil_rows(pickup.p, pickup.coils, elements=pickup.elements, solution=view, s=group.s, rows=own, drive=drive)
    rows |= {f"{name}{pickup.suffix}": row for name, row in own.items()}
