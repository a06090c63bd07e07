"""Where the controls of an instrument stand so that one pickup reaches the output, alone if that can be."""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence

from fit.circuit.controls import Settings, read_settings
from fit.circuit.instrument import Instrument
from fit.circuit.network import GROUND
from fit.circuit.wiring import heard_coils, joined_nodes

FULL, DOWN = "10", "0"
MOST_WAYS = 1000


def alone_controls(instrument: Instrument, pickup: str) -> dict[str, str]:
    """Find where the controls stand while one pickup is measured.

    Pots are at 10, but a blend pot that takes the others away is at 0; switches as they let the fewest others through.

    Returns
    -------
    dict of str to str
        Every control of the instrument to its position.
    """
    pots = dict.fromkeys(instrument.pot, FULL)
    ways: list[dict[str, str]] = []
    for switches in switch_ways({name: tuple(switch.positions) for name, switch in instrument.switch.items()}):
        ways += [pots | down | switches for down in ({}, *({name: DOWN} for name in instrument.pot))]
    return min(ways, key=lambda way: _disturbance(instrument, pickup, way))


def switch_ways(switches: Mapping[str, Sequence[str]]) -> Iterator[dict[str, str]]:
    """Go through the positions of several switches together, the last one the fastest.

    Parameters
    ----------
    switches : mapping of str to sequence of str
        Switch to its positions.

    Raises
    ------
    ValueError
        If there are more of them together than anybody goes through.
    """
    count = math.prod(len(positions) for positions in switches.values())
    if count > MOST_WAYS:
        msg = (
            f"{len(switches)} switches have {count} positions together, more than {MOST_WAYS}: leave out of instrument.toml "
            "those that this measurement leaves alone, or make the takes one by one, coilsweep take NAME --set CONTROL=VALUE"
        )
        raise ValueError(msg)
    return (dict(zip(switches, positions, strict=True)) for positions in itertools.product(*switches.values()))


def turned_down(instrument: Instrument, base: Mapping[str, str]) -> tuple[str, ...]:
    """List the pots that, turned to 0, put a capacitor across the output: tone controls, whatever they are called."""
    before = _across(instrument, read_settings(instrument, base))
    out = []
    for name in instrument.pot:
        if base[name] == FULL:
            settings = read_settings(instrument, {**base, name: DOWN})
            if heard_coils(instrument, settings) and _across(instrument, settings) - before:
                out.append(name)
    return tuple(out)


def pickups_heard(instrument: Instrument, controls: Mapping[str, str]) -> tuple[str, ...]:
    """List the pickups that reach the output."""
    coils = heard_coils(instrument, read_settings(instrument, controls))
    return tuple(dict.fromkeys(coil.removesuffix(".second") for coil in coils))


def _disturbance(instrument: Instrument, pickup: str, way: Mapping[str, str]) -> tuple[bool, int, int, int]:
    settings = read_settings(instrument, way)
    joined = joined_nodes(instrument, settings)
    tip = joined.get(instrument.output, instrument.output)
    direct = set()
    if tip != GROUND:
        direct = {name for name in instrument.pickup if tip in {joined.get(end, end) for end in _ends(instrument, name)}}
    heard = pickups_heard(instrument, way)
    n_down = sum(text == DOWN for name, text in way.items() if name in instrument.pot)
    return pickup not in direct or pickup not in heard, len(direct - {pickup}), len(heard), n_down


def _ends(instrument: Instrument, pickup: str) -> tuple[str, ...]:
    one = instrument.pickup[pickup]
    return (*one.ends, *(() if one.second is None else one.second.ends))


# Capacitors with one end at the output and the other at ground, as far as closed contacts join them.
def _across(instrument: Instrument, settings: Settings) -> set[str]:
    joined = joined_nodes(instrument, settings)
    tip = joined.get(instrument.output, instrument.output)
    return {
        name
        for name, one in instrument.capacitor.items()
        if {joined.get(end, end) for end in one.between} == {tip, joined.get(GROUND, GROUND)} and tip != GROUND
    }
