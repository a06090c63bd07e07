"""An instrument at the settings of its takes: what the exciter, a foil or a resistor at the jack gives there.

One physical part is one parameter in all takes. Takes with the same network are solved together; `fit.estimate.lay_out` lays them
out.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fit.circuit.coil import CoilElements, CoilValues, coil_elements
from fit.circuit.excitations import Excited, solve_excitations
from fit.circuit.network import Network, Solution
from fit.circuit.wiring import Wiring
from fit.estimate.coils import Circumstances, coil_rows, coil_values, coupling_of
from fit.estimate.parameters import ACROSS_UNIT_S, CHANGE, SHUNT_UNIT_F, STOP_UNIT_OHM, WARMER, PickupModel
from measure.response import ComplexArray, FloatArray

SOURCE = "(source)"  # no name in an instrument.toml has brackets
LEAST_STOP_OHM = 1e-2  # [Ω] keeps the conductance finite; no effect at audio frequencies
LEAST_TRACK = 1e-3  # [1] of a track is left beside its stop, whatever a search tries
FOIL_OHM = 1e13  # [Ω] far above anything at the jack: a foil drives a current


Points = slice | np.ndarray  # indices; a slice where they follow each other


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Term:
    """A passive part in one branch, at some of a set's points."""

    name: str  # of its parameter; of the coil where `is_winding`
    branch: int
    points: Points  # among the set's points
    at: Points  # the same among all points
    is_capacitor: bool
    is_winding: bool = False
    side: str = ""
    fraction: str = ""  # name of its parameter
    stop: str = ""  # name of the parameter of what is left at an end of a pot's travel
    loss: str = ""  # name of the parameter of a capacitor's loss tangent

    is_stop_hidden: bool = field(init=False)  # what is left lies in no branch itself; its parameter is a share of the track
    unit: float = field(init=False)  # of a part that may be negative and is fitted as it is; 0 for one fitted as its logarithm

    def __post_init__(self) -> None:
        """Read the names once: a search asks thousands of times."""
        unit = ACROSS_UNIT_S if self.name.startswith("across_") else 0.0
        object.__setattr__(self, "unit", SHUNT_UNIT_F if self.name.startswith("shunt") else unit)
        object.__setattr__(self, "is_stop_hidden", self.stop.startswith("reach."))


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
    points: Points  # m of them, among all points
    s: ComplexArray
    turn: ComplexArray  # ln(s/ω0), for the capacitors' losses
    is_after: bool
    source: str  # parameter of the source's impedance; empty for a foil
    terms: tuple[Term, ...]
    drives: tuple[Drive, ...]
    by_farad: tuple[ComplexArray, ...] = field(init=False)  # admittance of each term, were it a capacitor without loss
    by_loss: tuple[ComplexArray, ...] = field(init=False)  # derivative of its logarithm by its loss tangent

    def __post_init__(self) -> None:
        """Take each term's points once."""
        object.__setattr__(self, "by_farad", tuple(self.s[term.points] for term in self.terms))
        object.__setattr__(self, "by_loss", tuple(-2 / np.pi * self.turn[term.points] for term in self.terms))


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
class _PickupState:
    """One pickup at a parameter vector, and what its coils do at all m points; 0 where it is not connected."""

    suffix: str
    p: dict[str, float]
    coils: tuple[CoilValues, ...]
    circumstances: Circumstances
    elements: CoilElements
    transfer: ComplexArray  # (c, m)
    current: ComplexArray  # (c, m)
    by_winding: ComplexArray  # (c, m) derivative of the voltage by the admittance across each coil
    drive: FloatArray  # (m,)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wired:
    """An instrument's takes at m points.

    Attributes
    ----------
    models : dict
        Pickup that some take feels to its circuit.
    suffixes : dict
        Pickup to what stands behind its parameters' names.
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    field : ndarray of complex, shape (m,)
        What the voltage per unit of EMF is multiplied by: s under the exciter, 1 otherwise.
    names : tuple of str
        Parameters of the parts that some take feels.
    sets : tuple of TakeSet
        Takes that are solved together.
    circumstances : dict
        Pickup to what the takes differ in there.
    """

    models: dict[str, PickupModel]
    suffixes: dict[str, str]
    s: ComplexArray
    field: ComplexArray
    names: tuple[str, ...]
    sets: tuple[TakeSet, ...]
    circumstances: dict[str, Circumstances]

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        """Response for a unit gain, and its logarithmic derivatives.

        Returns
        -------
        tuple
            Voltage at the jack, shape (m,): s times that per unit of exciting field, or per volt of the source; name to the
            derivative of its logarithm.
        """
        voltage = np.ones(len(self.s), dtype=complex)
        rows: dict[str, ComplexArray] = {}
        for is_after in sorted({group.is_after for group in self.sets}):
            at_side = _after(p) if is_after else p
            states = {name: self._state(name, at_side) for name in self.models}
            own: dict[str, ComplexArray] = {}
            for group in self.sets:
                if group.is_after == is_after:
                    _solve(group, states, at_side, voltage, own)
            for state in states.values():
                own |= _pickup_rows(self.s, state, voltage)
            if not is_after:
                rows = own
                continue
            if WARMER in p:
                own[WARMER] = sum((row for name, row in own.items() if name.startswith("log_resistance")), 0 * voltage)
            for name, row in own.items():
                for target in (name, CHANGE + name):
                    if target in p:
                        rows[target] = rows[target] + row if target in rows else row
        return self.field * voltage, rows

    def _state(self, name: str, p: dict[str, float]) -> _PickupState:
        suffix = self.suffixes[name]
        own = {key.removesuffix(suffix): value for key, value in p.items() if key.endswith(suffix)} if suffix else p
        circumstances = self.circumstances[name]
        coils = coil_values(self.models[name], own, circumstances)
        shape = (len(coils), len(self.s))
        return _PickupState(
            suffix=suffix,
            p=own,
            coils=coils,
            circumstances=circumstances,
            elements=coil_elements(coils, self.s, coupling_of(own)),
            transfer=np.zeros(shape, dtype=complex),
            current=np.zeros(shape, dtype=complex),
            by_winding=np.zeros(shape, dtype=complex),
            drive=np.zeros(shape[1]),
        )


def _after(p: dict[str, float]) -> dict[str, float]:
    changes = {name.removeprefix(CHANGE): value for name, value in p.items() if name.startswith(CHANGE)}
    warmer = p.get(WARMER, 0.0)
    return {
        name: value + changes.get(name, 0.0) + (warmer if name.startswith("log_resistance") else 0.0) for name, value in p.items()
    }


def _solve(
    group: TakeSet,
    states: Mapping[str, _PickupState],
    p: dict[str, float],
    voltage: ComplexArray,
    rows: dict[str, ComplexArray],
) -> None:
    """Solve one set; fill its points of `voltage`, of the pickups' states, and of the rows of parts and leakage."""
    coils, points = group.wiring.coils, group.points
    impedance = np.empty((len(coils), len(group.s)), dtype=complex)
    emf = np.zeros((1, len(coils), len(group.s)), dtype=complex)
    mutual: dict[tuple[int, int], ComplexArray] = {}
    for place, name in enumerate(coils):
        if name != SOURCE:
            state, index = states[pickup_of(name)], _index(name)
            impedance[place] = state.elements.impedance[index, index, points]
            if index == 1:
                mutual[coils.index(pickup_of(name)), place] = state.elements.impedance[0, 1, points]
    for drive in group.drives:
        at_points = _drive_at(drive, p)
        state = states[drive.pickup]
        state.drive[points] = at_points
        for index in range(len(state.coils)):
            place = coils.index(drive.pickup if index == 0 else f"{drive.pickup}.second")
            emf[0, place] = at_points * state.elements.emf[index, points]
    if not group.drives:
        source = coils.index(SOURCE)
        # a foil's current is s·Cc·1 V whatever hangs at the jack; the gain stands for Cc
        impedance[source] = np.exp(p[group.source]) if group.source else FOIL_OHM
        emf[0, source] = 1.0 if group.source else group.s * FOIL_OHM
    admittance, own = _admittances(group, states, p)
    solved = solve_excitations(group.network, admittance=admittance, impedance=impedance, mutual=mutual, emf=emf)
    voltage[points] = solved.voltage[0]
    _keep_part_rows(group, own, p, solved, rows, len(voltage))
    for place, name in enumerate(coils):
        if name != SOURCE:
            state, index = states[pickup_of(name)], _index(name)
            state.transfer[index, points] = solved.coil_transfer[place]
            state.current[index, points] = solved.coil_current[place, 0]
    for term in group.terms:
        if term.is_winding:
            states[pickup_of(term.name)].by_winding[_index(term.name), points] = solved.by_admittance[term.branch, 0]
    for drive in group.drives:
        state = states[drive.pickup]
        driven = (state.transfer[:, points] * state.elements.emf[:, points]).sum(axis=0) / solved.voltage[0]
        for name, mask in drive.leaks:
            _add(rows, name, points, driven * mask, len(voltage))
    if group.source:
        place = coils.index(SOURCE)
        row = -solved.coil_transfer[place] * solved.coil_current[place, 0] * impedance[place] / solved.voltage[0]
        _add(rows, group.source, points, row, len(voltage))


def _index(coil: str) -> int:
    return int(coil.endswith(".second"))


def _drive_at(drive: Drive, p: dict[str, float]) -> FloatArray:
    total = drive.is_under
    for name, mask in drive.leaks:
        total = total + p[name] * mask
    return total


def _admittances(
    group: TakeSet, states: Mapping[str, _PickupState], p: dict[str, float]
) -> tuple[ComplexArray, list[ComplexArray | float]]:
    """Admittance of each branch, shape (b, m), and that of each term at its points."""
    admittance = np.zeros((len(group.wiring.branches), len(group.s)), dtype=complex)
    own: list[ComplexArray | float] = []
    for term, by_farad, by_loss in zip(group.terms, group.by_farad, group.by_loss, strict=True):
        if term.is_winding:
            value = states[pickup_of(term.name)].coils[_index(term.name)].winding_capacitance_f
        else:
            value = term.unit * p[term.name] if term.unit else math.exp(p[term.name])
        part: ComplexArray | float
        if term.is_capacitor:
            part = by_farad * value
            if term.loss:
                part = part * np.exp(p[term.loss] * by_loss)
        else:
            part = value if term.unit else 1 / _segment_ohm(term, value, p)
        admittance[term.branch, term.points] += part
        own.append(part)
    return admittance, own


def _segment_ohm(term: Term, whole_ohm: float, p: dict[str, float]) -> float:
    """Resistance of a resistor, or of the segment of a pot's track that lies in a branch."""
    if term.stop:
        left = _left_at_stop(term, whole_ohm, p)
        return left if term.side == "stop" else max(whole_ohm - left, LEAST_TRACK * whole_ohm)
    if not term.fraction:
        return whole_ohm
    fraction = 1 / (1 + math.exp(-p[term.fraction]))
    return whole_ohm * (fraction if term.side == "ccw" else 1 - fraction)


def _left_at_stop(term: Term, whole_ohm: float, p: dict[str, float]) -> float:
    """Resistance between wiper and lug at an end of the travel; a search may try less than nothing, but not nothing. [Ω]."""
    left = whole_ohm * p[term.stop] if term.is_stop_hidden else STOP_UNIT_OHM * p[term.stop]
    return left if abs(left) > LEAST_STOP_OHM else math.copysign(LEAST_STOP_OHM, left)


def _keep_part_rows(
    group: TakeSet,
    own: Sequence[ComplexArray | float],
    p: dict[str, float],
    solved: Excited,
    rows: dict[str, ComplexArray],
    size: int,
) -> None:
    by_admittance = solved.by_admittance[:, 0] / solved.voltage[0]
    for term, part, by_farad, by_loss in zip(group.terms, own, group.by_farad, group.by_loss, strict=True):
        if term.is_winding:
            continue
        here = by_admittance[term.branch, term.points]
        if isinstance(part, float):
            for name, factor in _by_conductance(term, part, p):
                _add(rows, name, term.at, here * factor, size)
            continue
        row = here * (term.unit * by_farad if term.unit else part)
        _add(rows, term.name, term.at, row, size)
        if term.loss:
            _add(rows, term.loss, term.at, row * by_loss, size)


def _by_conductance(term: Term, conductance: float, p: dict[str, float]) -> tuple[tuple[str, float], ...]:
    """Differentiate a term's conductance by each parameter that it depends on."""
    if term.unit:
        return ((term.name, term.unit),)
    if term.fraction:
        fraction = 1 / (1 + math.exp(-p[term.fraction]))
        by_logit = -(1 - fraction) if term.side == "ccw" else fraction
        return (term.name, -conductance), (term.fraction, conductance * by_logit)
    if not term.stop:
        return ((term.name, -conductance),)
    by_ohm = -(conductance**2)
    if term.side == "stop":
        return ((term.stop, by_ohm * STOP_UNIT_OHM),)
    whole_ohm = math.exp(p[term.name])
    if not term.is_stop_hidden:
        return (term.stop, -by_ohm * STOP_UNIT_OHM), (term.name, by_ohm * whole_ohm)
    left_ohm = _left_at_stop(term, whole_ohm, p)
    return (term.stop, -by_ohm * whole_ohm), (term.name, by_ohm * (whole_ohm - left_ohm))


def _add(rows: dict[str, ComplexArray], name: str, points: Points, values: ComplexArray, size: int) -> None:
    row = rows.get(name)
    if row is None:
        row = rows[name] = np.zeros(size, dtype=complex)
    row[points] += values


def _pickup_rows(s: ComplexArray, state: _PickupState, voltage: ComplexArray) -> dict[str, ComplexArray]:
    solution = Solution(voltage=voltage, by_admittance=state.by_winding, coil_transfer=state.transfer, coil_current=state.current)
    own: dict[str, ComplexArray] = {}
    coil_rows(
        state.p,
        state.coils,
        elements=state.elements,
        solution=solution,
        s=s,
        rows=own,
        drive=state.drive,
        circumstances=state.circumstances,
    )
    return {f"{name}{state.suffix}": row for name, row in own.items()} if state.suffix else own
