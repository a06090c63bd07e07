"""What an instrument.toml says that each switch position connects, and where takes say otherwise."""

import itertools
from collections.abc import Mapping

import numpy as np

from fit.answers.wiring.arrangement import joined_text
from fit.answers.wiring.levels import BAND_HZ, HIGHEST_HZ, Reading, WiringTake, reduce_take
from fit.answers.wiring.survey import Position, WiringAnswer, judge_tones
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.instrument import Instrument, stated_values
from fit.circuit.transfers import solve_instrument
from measure.response import Response

USUAL = {"dcr": 7e3, "inductance": 3.0, "winding_capacitance": 100e-12, "pot": 250e3, "capacitor": 22e-9, "resistor": 100e3}
USUAL_LOAD = {"input.resistance": 1e6, "input.capacitance": 500e-12}  # where nothing is stated; common practice, no source
MOST_POSITIONS = 64  # of all switches together, that are looked through for one where a pickup is alone
GRID_HZ = np.concatenate([np.linspace(*BAND_HZ, 9), np.geomspace(2 * BAND_HZ[1], HIGHEST_HZ, 80)])


def expect_wiring(
    instrument: Instrument, controls: Mapping[str, dict[str, str]], *, load: Mapping[str, float] | None = None
) -> WiringAnswer:
    """Work out what takes at these positions should show.

    Parameters
    ----------
    instrument : Instrument
        As read; values that it does not state are usual ones.
    load : mapping or None
        ``"input.resistance"`` and ``"input.capacitance"``.

    Raises
    ------
    ValueError
        If the instrument has no such control or position.
    """
    everywhere = dict(controls)
    ways = [[(name, position) for position in switch.positions] for name, switch in instrument.switch.items()]
    for index, way in enumerate(itertools.islice(itertools.product(*ways), MOST_POSITIONS)):
        everywhere[f"also {index}"] = dict(way)  # levels are relative to the pickup alone, wherever that is
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=GRID_HZ) for one in everywhere.values()]
    values = _usual_values(instrument) | USUAL_LOAD | dict(load or {})
    tones = {}
    for label, transfer in zip(everywhere, solve_instrument(instrument, cases, values=values), strict=True):
        for row, name in enumerate(instrument.pickup):
            response = Response(
                frequency_hz=GRID_HZ,
                value=1j * GRID_HZ * transfer.voltage[row],
                covariance=np.zeros((len(GRID_HZ), 2, 2)),
            )
            take = WiringTake(name=label, pickup=name, controls=everywhere[label], placement=0, response=response)
            tones[name, label] = reduce_take(take, label, switches=frozenset(instrument.switch))
    return judge_tones(tuple(instrument.pickup), controls, tones)


def find_differences(answer: WiringAnswer, expected: WiringAnswer) -> dict[str, tuple[str, ...]]:
    """Say where takes and instrument.toml differ.

    Parameters
    ----------
    expected : WiringAnswer
        From the instrument, at the same positions.

    Returns
    -------
    dict
        Position to what differs there, one line each; positions without a difference are left out.
    """
    out = {}
    stated = {position.label: position for position in expected.positions}
    for position in answer.positions:
        lines = _differences(position, stated[position.label])
        if lines:
            out[position.label] = tuple(lines)
    return out


def out_of_phase(readings: Mapping[str, Reading]) -> tuple[str, ...]:
    """List the connected pickups that are out of phase with most of the pickups, where others connected are not.

    Parameters
    ----------
    readings : mapping
        Pickup to its reading at one position.

    Returns
    -------
    tuple of str
        Pickups; empty where all are in phase.
    """
    signs = {name: one.sign for name, one in readings.items() if one.is_connected and one.sign}
    return tuple(name for name, sign in signs.items() if sign < 0) if len(set(signs.values())) > 1 else ()


# Signs relative to the first pickup: which sign most pickups have may be counted differently on the two sides.
def _relations(readings: Mapping[str, Reading], names: list[str]) -> tuple[int, ...]:
    return tuple(readings[name].sign * readings[names[0]].sign for name in names)


def _differences(found: Position, stated: Position) -> list[str]:
    lines = []
    for name, one in found.readings.items():
        other = stated.readings.get(name)
        if other is None:
            lines.append(f"{name} is not in instrument.toml")
        elif one.is_connected is not None and other.is_connected is not None and one.is_connected != other.is_connected:
            here, there = ("connected", "not") if one.is_connected else ("not connected", "connected")
            lines.append(f"{name} is {here}, by instrument.toml it is {there}")
    if lines:
        return lines
    shared = [name for name, one in found.readings.items() if one.is_connected and one.sign and stated.readings[name].sign]
    if shared and _relations(found.readings, shared) != _relations(stated.readings, shared):
        odd = out_of_phase({name: found.readings[name] for name in shared})
        stated_odd = out_of_phase({name: stated.readings[name] for name in shared})
        lines.append(f"polarity: {_phase_text(odd)}, by instrument.toml {_phase_text(stated_odd)}")
    if found.joined is not None and stated.joined is not None and found.joined != stated.joined:
        lines.append(f"{joined_text(found.joined)}, by instrument.toml {joined_text(stated.joined)}")
    return lines


def _phase_text(names: tuple[str, ...]) -> str:
    return f"{' and '.join(names)} out of phase" if names else "all in phase"


def _usual_values(instrument: Instrument) -> dict[str, float]:
    values = {}
    for key, stated in stated_values(instrument).items():
        usual = USUAL.get(key.rpartition(".")[2], USUAL.get(key.partition(".")[0], 1.0))
        values[key] = usual if stated.quantity is None else stated.quantity.value
    return values
