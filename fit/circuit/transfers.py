"""What each pickup of an instrument gives at the output, with the exact derivative by every value."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np

from fit.circuit.controls import Settings
from fit.circuit.dielectric import capacitor_admittance, log_turn
from fit.circuit.excitations import Excited, solve_excitations
from fit.circuit.harness import Case, Group, Harness, build_harness, needed_values
from fit.circuit.instrument import Instrument
from fit.circuit.realparts import capacitor_leaks, capacitor_tangents, leak_key, loss_key, segment_ohm, stops_among
from fit.circuit.winding import coil_rows, mutual_inductance_h, stated_coil, sum_by_frequency
from fit.circuit.wiring import Passive
from measure.response import ComplexArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Transfer:
    """Volts at the output for each of x excitations at m frequencies.

    Attributes
    ----------
    voltage : ndarray of complex, shape (x, m)
        Per volt of EMF; of a pickup with two coils a volt is the sum of both. [V/V]
    by_log : dict
        Name of a value to the derivative of `voltage` by its logarithm, by the value itself where that may be 0
        (`fit.circuit.realparts.is_linear`), shape (x, m); values that the output cannot feel are left out. ``"pot.volume@7"`` is
        the electrical fraction of a pot at 7. [V/V]
    by_log_frequency : ndarray of complex, shape (x, m)
        Derivative of `voltage` by the logarithm of the frequency. [V/V]
    """

    voltage: ComplexArray
    by_log: dict[str, ComplexArray]
    by_log_frequency: ComplexArray


def solve_instrument(
    instrument: Instrument,
    cases: Sequence[Case],
    *,
    values: Mapping[str, float],
    excite: Sequence[Mapping[str, float]] | None = None,
) -> tuple[Transfer, ...]:
    """Lay out and solve at once.

    Parameters
    ----------
    values : mapping
        Name to value, see `solve_harness`.
    excite : sequence of mapping or None
        Coil to EMF for each excitation; None for each pickup alone.

    Returns
    -------
    tuple of Transfer
        One for each case.
    """
    return solve_harness(build_harness(instrument, cases, has_stops=stops_among(values)), values=values, excite=excite)


def solve_harness(
    harness: Harness, *, values: Mapping[str, float], excite: Sequence[Mapping[str, float]] | None = None
) -> tuple[Transfer, ...]:
    """Solve every case for a set of values.

    Parameters
    ----------
    values : mapping
        Name of each value that the output can feel to its value in SI units: those of
        `fit.circuit.instrument.stated_values`, and of the load. A pot's electrical fraction may stand there too, such as
        ``"pot.volume@7"``; where it does not, that of the settings counts. What is known of a capacitor's loss tangent, at
        all frequencies, and of the leak across it counts (`fit.circuit.realparts`); ohms left at a stop only where the harness
        was laid out for them.
    excite : sequence of mapping or None
        Coil (``"bridge"``, ``"bridge.second"``) to EMF, the others 0, for each of x excitations; None for each pickup alone, in
        the order of the file, 1 V over its coils. [V]

    Returns
    -------
    tuple of Transfer
        One for each case.

    Raises
    ------
    ValueError
        If a value is missing; the message names all that are.
    """
    needed = {key for group in harness.groups for key in needed_values(harness.instrument, group)}
    absent = sorted(needed - set(values))
    if absent:
        msg = f"no value is known of {', '.join(absent)}"
        raise ValueError(msg)
    excitations = each_pickup_alone(harness.instrument) if excite is None else excite
    given = _Given(values=values, tangents=capacitor_tangents(values), leaks_ohm=capacitor_leaks(values))
    out: dict[int, Transfer] = {}
    for group in harness.groups:
        out |= _solve_group(harness, group, given, excitations)
    return tuple(out[index] for index in range(len(harness.cases)))


def each_pickup_alone(instrument: Instrument) -> tuple[dict[str, float], ...]:
    """EMFs of the coils where one pickup after the other has 1 V, shared between its coils as they are excited.

    Returns
    -------
    tuple of dict
        Coil to EMF, one dict for each pickup. [V]
    """
    out = []
    for name, pickup in instrument.pickup.items():
        second = 0.0 if pickup.second is None else pickup.second.excitation
        emf = {name: 1 / (1 + second)}
        out.append(emf | ({f"{name}.second": second / (1 + second)} if second else {}))
    return tuple(out)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Given:
    """Values by their names; loss tangents and leaks by their capacitors'."""

    values: Mapping[str, float]
    tangents: Mapping[str, float]
    leaks_ohm: Mapping[str, float]


def _solve_group(
    harness: Harness, group: Group, given: _Given, excitations: Sequence[Mapping[str, float]]
) -> dict[int, Transfer]:
    wiring, s, values = group.wiring, group.s, given.values
    if wiring.network is None:
        silence = np.zeros((len(excitations), len(s)), dtype=complex)
        return _per_case(group, Transfer(voltage=silence, by_log={}, by_log_frequency=silence), [{} for _ in group.cases])
    conductance, capacitance = _branch_sums(harness, group, given)
    susceptance = capacitance[:, group.case_of_point] * s
    admittance = conductance[:, group.case_of_point] + susceptance
    lossy = _lossy_capacitors(harness, group, given)
    for one in lossy:
        admittance[one.branch, one.points] += one.admittance
        susceptance[one.branch, one.points] += one.admittance * (1 - 2 / np.pi * given.tangents[one.key])
    coils = [stated_coil(harness.instrument, name, values, s) for name in wiring.coils]
    mutual_h = {(i, j): mutual_inductance_h(wiring, (i, j), coils, values) for i, j in wiring.pairs}
    solved = solve_excitations(
        wiring.network,
        admittance=admittance,
        impedance=np.array([coil.impedance for coil in coils]),
        mutual={pair: s * inductance for pair, inductance in mutual_h.items()},
        emf=np.array([[emf.get(name, 0.0) for name in wiring.coils] for emf in excitations]),
    )
    by_log = coil_rows(wiring, coils, mutual_h, s=s, solved=solved)
    by_frequency = sum_by_frequency(by_log, solved, susceptance)
    whole = Transfer(voltage=solved.voltage, by_log=by_log, by_log_frequency=by_frequency)
    return _per_case(group, whole, _passive_rows(harness, group, given, solved, lossy))


def _per_case(group: Group, whole: Transfer, own: Sequence[dict[str, ComplexArray]]) -> dict[int, Transfer]:
    out, start = {}, 0
    sizes = np.bincount(group.case_of_point, minlength=len(group.cases))
    for case, size, rows in zip(group.cases, sizes, own, strict=True):
        part = slice(start, start := start + int(size))
        out[case] = Transfer(
            voltage=whole.voltage[:, part],
            by_log={key: row[:, part] for key, row in whole.by_log.items()} | rows,
            by_log_frequency=whole.by_log_frequency[:, part],
        )
    return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Lossy:
    """A capacitor with a loss tangent, in one case."""

    key: str
    column: int  # of the case among its group's
    branch: int
    points: slice  # among its group's
    admittance: ComplexArray


def _points_of(harness: Harness, group: Group) -> list[slice]:
    ends = accumulate((len(harness.cases[case].frequency_hz) for case in group.cases), initial=0)
    return [slice(first, last) for first, last in pairwise(ends)]


def _lossy_capacitors(harness: Harness, group: Group, given: _Given) -> list[_Lossy]:
    if not given.tangents:
        return []
    return [
        _Lossy(
            key=part.key,
            column=column,
            branch=row,
            points=points,
            admittance=capacitor_admittance(
                harness.cases[group.cases[column]].frequency_hz,
                capacitance_f=given.values[part.key],
                loss_tangent=given.tangents[part.key],
            ),
        )
        for column, (wiring, points) in enumerate(zip(group.wirings, _points_of(harness, group), strict=True))
        for row, branch in enumerate(wiring.branches)
        for part in branch
        if part.key in given.tangents
    ]


def _fraction_key(settings: Settings, part: Passive) -> str:
    name = part.key.removeprefix("pot.")
    return f"{part.key}@{settings.pots[name].label}"


def _fraction(settings: Settings, part: Passive, values: Mapping[str, float]) -> float:
    """Electrical, of the pot that a resistor is a segment of; 1 for other resistors."""
    if not part.side:
        return 1.0
    return values.get(_fraction_key(settings, part), settings.pots[part.key.removeprefix("pot.")].fraction)


def _branch_sums(harness: Harness, group: Group, given: _Given) -> tuple[FloatArray, FloatArray]:
    """Conductance and capacitance of each branch in each case, shape (b, cases); capacitors with a loss tangent left out."""
    conductance = np.zeros((len(group.wiring.branches), len(group.cases)))
    capacitance = np.zeros_like(conductance)
    for column, (case, wiring) in enumerate(zip(group.cases, group.wirings, strict=True)):
        settings = harness.cases[case].settings
        for row, branch in enumerate(wiring.branches):
            for part in branch:
                if not part.is_capacitor:
                    fraction = _fraction(settings, part, given.values)
                    conductance[row, column] += 1 / segment_ohm(part, given.values, fraction=fraction)
                    continue
                if part.key not in given.tangents:
                    capacitance[row, column] += given.values[part.key]
                if part.key in given.leaks_ohm:
                    conductance[row, column] += 1 / given.leaks_ohm[part.key]
    return conductance, capacitance


def _passive_rows(
    harness: Harness, group: Group, given: _Given, solved: Excited, lossy: Sequence[_Lossy]
) -> list[dict[str, ComplexArray]]:
    """Differentiate by the values of the passive parts, for each case; a pot's two segments count together."""
    admittances = {(one.column, one.key): one.admittance for one in lossy}
    out = []
    for column, points in enumerate(_points_of(harness, group)):
        settings, s = harness.cases[group.cases[column]].settings, group.s[points]
        rows: dict[str, ComplexArray] = {}
        for branch, by_admittance in zip(group.wirings[column].branches, solved.by_admittance[:, :, points], strict=True):
            for part in branch:
                if not part.is_capacitor:
                    _add_resistor_rows(rows, part, by_admittance, settings, given.values)
                    continue
                if part.key in given.tangents:
                    rows[part.key] = by_admittance * admittances[column, part.key]
                    rows[loss_key(part.key)] = rows[part.key] * (-2 / np.pi * log_turn(s))
                else:
                    rows[part.key] = by_admittance * (s * given.values[part.key])
                if part.key in given.leaks_ohm:
                    rows[leak_key(part.key)] = by_admittance * (-1 / given.leaks_ohm[part.key])
        out.append(rows)
    return out


def _add_resistor_rows(
    rows: dict[str, ComplexArray], part: Passive, by_admittance: ComplexArray, settings: Settings, values: Mapping[str, float]
) -> None:
    fraction = _fraction(settings, part, values)
    ohm = segment_ohm(part, values, fraction=fraction)
    row = by_admittance * (-1 / ohm)  # by the logarithm of what lies in this branch
    if part.stop:
        is_left = part.side == "stop"
        _add(rows, part.stop, row * ((1 if is_left else -1) / ohm))
        if is_left:
            return
        row = row * (values[part.key] / ohm)
    _add(rows, part.key, row)
    if part.side in ("ccw", "cw"):
        _add(rows, _fraction_key(settings, part), row if part.side == "ccw" else row * (1 - 1 / (1 - fraction)))


def _add(rows: dict[str, ComplexArray], key: str, row: ComplexArray) -> None:
    rows[key] = rows[key] + row if key in rows else row
