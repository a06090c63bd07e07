"""What each pickup of an instrument gives at the output, with the exact derivative by every value."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.controls import Settings
from fit.circuit.excitations import Excited, solve_excitations
from fit.circuit.harness import Case, Group, Harness, build_harness, needed_values
from fit.circuit.instrument import Instrument
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
        Name of a value to the derivative of `voltage` by its logarithm, shape (x, m); values that the output cannot feel are
        left out. ``"pot.volume@7"`` is the electrical fraction of a pot at 7. [V/V]
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
    instrument : Instrument
        As read.
    cases : sequence of Case
        Settings and frequencies.
    values : mapping
        Name to value, see `solve_harness`.
    excite : sequence of mapping or None
        Coil to EMF for each excitation; None for each pickup alone.

    Returns
    -------
    tuple of Transfer
        One for each case.
    """
    return solve_harness(build_harness(instrument, cases), values=values, excite=excite)


def solve_harness(
    harness: Harness, *, values: Mapping[str, float], excite: Sequence[Mapping[str, float]] | None = None
) -> tuple[Transfer, ...]:
    """Solve every case for a set of values.

    Parameters
    ----------
    harness : Harness
        Instrument and cases.
    values : mapping
        Name of each value that the output can feel to its value in SI units: those of
        `fit.circuit.instrument.stated_values`, and of the load. A pot's electrical fraction may stand there too, such as
        ``"pot.volume@7"``; where it does not, that of the settings counts.
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
    out: dict[int, Transfer] = {}
    for group in harness.groups:
        out |= _solve_group(harness, group, values, excitations)
    return tuple(out[index] for index in range(len(harness.cases)))


def each_pickup_alone(instrument: Instrument) -> tuple[dict[str, float], ...]:
    """EMFs of the coils where one pickup after the other has 1 V, shared between its coils as they are excited.

    Parameters
    ----------
    instrument : Instrument
        As read.

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


def _solve_group(
    harness: Harness, group: Group, values: Mapping[str, float], excitations: Sequence[Mapping[str, float]]
) -> dict[int, Transfer]:
    wiring, s = group.wiring, group.s
    if wiring.network is None:
        silence = np.zeros((len(excitations), len(s)), dtype=complex)
        return _per_case(group, Transfer(voltage=silence, by_log={}, by_log_frequency=silence), [{} for _ in group.cases])
    conductance, capacitance = _branch_sums(harness, group, values)
    admittance = conductance[:, group.case_of_point] + capacitance[:, group.case_of_point] * s
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
    by_frequency = sum_by_frequency(by_log, solved, capacitance[:, group.case_of_point] * s)
    whole = Transfer(voltage=solved.voltage, by_log=by_log, by_log_frequency=by_frequency)
    return _per_case(group, whole, _passive_rows(harness, group, values, solved))


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


def _fraction_key(settings: Settings, part: Passive) -> str:
    name = part.key.removeprefix("pot.")
    return f"{part.key}@{settings.pots[name].label}"


def _track_share(settings: Settings, part: Passive, values: Mapping[str, float]) -> float:
    """Resistance of a segment over that of the whole track."""
    if not part.side:
        return 1.0
    fraction = settings.pots[part.key.removeprefix("pot.")].fraction
    fraction = values.get(_fraction_key(settings, part), fraction)
    return fraction if part.side == "ccw" else 1 - fraction


def _branch_sums(harness: Harness, group: Group, values: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
    """Conductance and capacitance of each branch in each case, shape (b, cases)."""
    conductance = np.zeros((len(group.wiring.branches), len(group.cases)))
    capacitance = np.zeros_like(conductance)
    for column, (case, wiring) in enumerate(zip(group.cases, group.wirings, strict=True)):
        settings = harness.cases[case].settings
        for row, branch in enumerate(wiring.branches):
            for part in branch:
                if part.is_capacitor:
                    capacitance[row, column] += values[part.key]
                else:
                    conductance[row, column] += 1 / (values[part.key] * _track_share(settings, part, values))
    return conductance, capacitance


def _passive_rows(harness: Harness, group: Group, values: Mapping[str, float], solved: Excited) -> list[dict[str, ComplexArray]]:
    """Differentiate by the values of the passive parts, for each case; a pot's two segments count together."""
    out, start = [], 0
    for case, wiring in zip(group.cases, group.wirings, strict=True):
        size = len(harness.cases[case].frequency_hz)
        part_of, start = slice(start, start + size), start + size
        settings, s = harness.cases[case].settings, group.s[part_of]
        rows: dict[str, ComplexArray] = {}
        for branch, by_admittance in zip(wiring.branches, solved.by_admittance[:, :, part_of], strict=True):
            for part in branch:
                if part.is_capacitor:
                    rows[part.key] = by_admittance * (s * values[part.key])
                    continue
                share = _track_share(settings, part, values)
                row = by_admittance * (-1 / (values[part.key] * share))
                rows[part.key] = rows[part.key] + row if part.key in rows else row
                if part.side:
                    key = _fraction_key(settings, part)
                    by_fraction = row if part.side == "ccw" else row * (1 - 1 / share)
                    rows[key] = rows[key] + by_fraction if key in rows else by_fraction
        out.append(rows)
    return out
