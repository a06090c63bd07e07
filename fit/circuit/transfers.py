"""What each pickup of an instrument gives at the output, with the exact derivative by every value."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import ProfileValues, evaluate_profile
from fit.circuit.controls import Settings
from fit.circuit.excitations import Excited, solve_excitations
from fit.circuit.harness import Case, Group, Harness, build_harness, needed_values
from fit.circuit.instrument import Instrument, coils_of
from fit.circuit.wiring import Passive, Wiring
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


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Coil:
    """Impedance of a coil, and what its eddy loops add to it."""

    resistance_ohm: float
    inductance_h: float
    impedance: ComplexArray
    loops: tuple[tuple[float, ProfileValues], ...]


def _solve_group(
    harness: Harness, group: Group, values: Mapping[str, float], excitations: Sequence[Mapping[str, float]]
) -> dict[int, Transfer]:
    wiring, s = group.wiring, group.s
    if wiring.network is None:
        silence = np.zeros((len(excitations), len(s)), dtype=complex)
        return _per_case(group, Transfer(voltage=silence, by_log={}, by_log_frequency=silence), [{} for _ in group.cases])
    conductance, capacitance = _branch_sums(harness, group, values)
    admittance = conductance[:, group.case_of_point] + capacitance[:, group.case_of_point] * s
    coils = [_coil(harness.instrument, name, values, s) for name in wiring.coils]
    mutual_h = {(i, j): _mutual_h(wiring, (i, j), coils, values) for i, j in wiring.pairs}
    solved = solve_excitations(
        wiring.network,
        admittance=admittance,
        impedance=np.array([coil.impedance for coil in coils]),
        mutual={pair: s * inductance for pair, inductance in mutual_h.items()},
        emf=np.array([[emf.get(name, 0.0) for name in wiring.coils] for emf in excitations]),
    )
    by_log = _coil_rows(wiring, coils, mutual_h, s=s, solved=solved)
    by_frequency = _by_frequency(by_log, solved, capacitance[:, group.case_of_point] * s)
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


def _coil(instrument: Instrument, name: str, values: Mapping[str, float], s: ComplexArray) -> _Coil:
    loops = []
    screened: ComplexArray | float = 1.0
    for index in range(1, len(coils_of(instrument)[name].eddy_loops) + 1):
        key = f"{name}.eddy_loop_{index}"
        share = values[f"{key}.coupling"] ** 2
        profile = evaluate_profile("loop", s, tau_s=1 / (2 * np.pi * values[f"{key}.corner"]))
        screened = screened - share * profile.value
        loops.append((share, profile))
    resistance_ohm, inductance_h = values[f"{name}.dcr"], values[f"{name}.inductance"]
    return _Coil(
        resistance_ohm=resistance_ohm,
        inductance_h=inductance_h,
        impedance=resistance_ohm + (s * inductance_h) * screened,
        loops=tuple(loops),
    )


def _mutual_h(wiring: Wiring, pair: tuple[int, int], coils: Sequence[_Coil], values: Mapping[str, float]) -> float:
    first, second = (coils[index].inductance_h for index in pair)
    return values[f"{wiring.coils[pair[0]]}.coupling"] * float(np.sqrt(first * second))


def _coil_rows(
    wiring: Wiring,
    coils: Sequence[_Coil],
    mutual_h: Mapping[tuple[int, int], float],
    *,
    s: ComplexArray,
    solved: Excited,
) -> dict[str, ComplexArray]:
    """Differentiate by what belongs to the coils, but for their winding capacitance: dV = −a dZ i."""
    rows: dict[str, ComplexArray] = {}
    for index, (name, coil) in enumerate(zip(wiring.coils, coils, strict=True)):
        product = solved.coil_transfer[index] * solved.coil_current[index]
        rows[f"{name}.dcr"] = product * -coil.resistance_ohm
        rows[f"{name}.inductance"] = product * (coil.resistance_ohm - coil.impedance)
        for number, (share, profile) in enumerate(coil.loops, start=1):
            by_share = product * ((coil.inductance_h * share) * s)
            rows[f"{name}.eddy_loop_{number}.coupling"] = 2 * by_share * profile.value
            rows[f"{name}.eddy_loop_{number}.corner"] = -by_share * profile.by_log_tau
    for (i, j), inductance_h in mutual_h.items():
        transfer, current = solved.coil_transfer, solved.coil_current
        by_mutual = (transfer[i] * current[j] + transfer[j] * current[i]) * (-inductance_h * s)
        rows[f"{wiring.coils[i]}.coupling"] = by_mutual
        for index in (i, j):
            rows[f"{wiring.coils[index]}.inductance"] = rows[f"{wiring.coils[index]}.inductance"] + by_mutual / 2
    return rows


def _by_frequency(by_log: Mapping[str, ComplexArray], solved: Excited, susceptance: ComplexArray) -> ComplexArray:
    """Frequency enters as sC, sL and sτ alone, so its derivative is the sum of theirs."""
    out: ComplexArray = (solved.by_admittance * susceptance[:, None]).sum(axis=0)
    for key, row in by_log.items():
        if key.endswith(".inductance"):
            out += row
        elif key.endswith(".corner"):
            out -= row
    return out
