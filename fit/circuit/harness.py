"""An instrument at several settings, laid out so that settings with the same network are solved together."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.circuit.controls import Settings
from fit.circuit.instrument import Instrument, coils_of, eddies_of
from fit.circuit.network import GROUND
from fit.circuit.wiring import Passive, Wiring, wire_instrument
from measure.response import ComplexArray, FloatArray

INPUT_LOAD = (("input.resistance", False), ("input.capacitance", True))  # name of the value; is it a capacitor


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Case:
    """Settings to be solved for, and what hangs at the jack.

    Attributes
    ----------
    frequency_hz : ndarray, shape (m,)
        All > 0. [Hz]
    load : tuple of (str, bool)
        Name of the value of each part across the jack (cable and input, an added part), and whether it is a capacitor.
    """

    settings: Settings
    frequency_hz: FloatArray
    load: tuple[tuple[str, bool], ...] = INPUT_LOAD


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Group:
    """Cases with the same network; m points over all of them.

    Attributes
    ----------
    wirings : tuple of Wiring
        Of each case: the same network, each with its own load.
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    case_of_point : ndarray of int, shape (m,)
        Position in `cases`.
    """

    wiring: Wiring
    cases: tuple[int, ...]
    wirings: tuple[Wiring, ...]
    s: ComplexArray
    case_of_point: np.ndarray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Harness:
    """An instrument and cases, ready to be solved for any values.

    Attributes
    ----------
    groups : tuple of Group
        Cases that are solved together.
    """

    instrument: Instrument
    cases: tuple[Case, ...]
    groups: tuple[Group, ...]


def build_harness(instrument: Instrument, cases: Sequence[Case], *, has_stops: bool | Collection[str] = False) -> Harness:
    """Find the network of each case, and which cases share one.

    Parameters
    ----------
    has_stops : bool or collection of str
        Ohms are left at the ends of all pots' travel, or at the stops named (`fit.circuit.wiring.wire_instrument`).

    Returns
    -------
    Harness
        For `solve_harness`.
    """
    wirings = []
    for case in cases:
        load = [Passive(key=key, is_capacitor=is_c, ends=(instrument.output, GROUND)) for key, is_c in case.load]
        wirings.append(wire_instrument(instrument, case.settings, load=load, has_stops=has_stops))
    together: dict[tuple[object, ...], list[int]] = {}
    for index, wiring in enumerate(wirings):
        together.setdefault(wiring.signature, []).append(index)
    groups = []
    for indices in together.values():
        sizes = [len(cases[index].frequency_hz) for index in indices]
        groups.append(
            Group(
                wiring=wirings[indices[0]],
                cases=tuple(indices),
                wirings=tuple(wirings[index] for index in indices),
                s=2j * np.pi * np.concatenate([cases[index].frequency_hz for index in indices]),
                case_of_point=np.repeat(np.arange(len(indices)), sizes),
            )
        )
    return Harness(instrument=instrument, cases=tuple(cases), groups=tuple(groups))


def at_frequencies(harness: Harness, frequency_hz: FloatArray) -> Harness:
    """Lay out the same cases for other frequencies, without finding their networks anew.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        Of every case, all > 0. [Hz]
    """
    m = len(frequency_hz)
    groups = tuple(
        replace(
            group,
            s=2j * np.pi * np.tile(frequency_hz, len(group.cases)),
            case_of_point=np.repeat(np.arange(len(group.cases)), m),
        )
        for group in harness.groups
    )
    cases = tuple(replace(case, frequency_hz=frequency_hz) for case in harness.cases)
    return replace(harness, cases=cases, groups=groups)


def needed_values(instrument: Instrument, group: Group) -> set[str]:
    """Names of the values that a network rests on.

    Returns
    -------
    set of str
        Names; loss tangents and leaks of capacitors may be left out, and are not among them.
    """
    parts = [part for wiring in group.wirings for branch in wiring.branches for part in branch]
    needed = {part.key for part in parts if part.side != "stop"} | {part.stop for part in parts if part.stop}
    coils = coils_of(instrument)
    for name in group.wiring.coils:
        needed |= {f"{name}.dcr", f"{name}.inductance"}
        for key, profile in eddies_of(name, coils[name]):
            needed |= {f"{key}.coupling", f"{key}.corner"} | ({f"{key}.half_width"} if profile == "spread" else set())
    return needed | {f"{group.wiring.coils[first]}.coupling" for first, _ in group.wiring.pairs}
