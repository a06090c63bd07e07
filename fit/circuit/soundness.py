"""Whether what is stated of an instrument can be a circuit: no node that goes nowhere, no part joined to itself."""

from collections.abc import Collection, Iterator

from fit.circuit.instrument import MAX_TEXT, MOST_JOINS, MOST_POSITIONS, Ends, Instrument, coils_of, lugs_of
from fit.circuit.network import GROUND


def part_ends(instrument: Instrument) -> dict[str, tuple[str, ...]]:
    """List the nodes that each part touches; switches are no parts here.

    Returns
    -------
    dict
        ``"pickup.bridge"``, ``"pot.volume"`` … to its nodes.
    """
    out: dict[str, tuple[str, ...]] = {f"pickup.{name}": coil.ends for name, coil in coils_of(instrument).items()}
    out |= {f"pot.{name}": tuple(lugs_of(pot).values()) for name, pot in instrument.pot.items()}
    out |= {f"capacitor.{name}": part.between for name, part in instrument.capacitor.items()}
    return out | {f"resistor.{name}": part.between for name, part in instrument.resistor.items()}


def check_wiring(instrument: Instrument, *, loose: Collection[str] = ()) -> None:
    """See that an instrument can be a circuit.

    Parameters
    ----------
    instrument : Instrument
        With names and values already checked.
    loose : collection of str
        Nodes that may go nowhere, since a lead was taken off there.

    Raises
    ------
    ValueError
        If it cannot; one line that names the place.
    """
    ends = part_ends(instrument)
    for place, nodes in ends.items():
        _check_ends(place, nodes)
    _check_switches(instrument)
    _check_node("output", instrument.output)
    if instrument.output == GROUND:
        msg = 'output: the output cannot be "ground", that is the sleeve of the jack'
        raise ValueError(msg)
    _check_dead_ends(instrument, ends, frozenset(loose))
    _check_output(instrument, ends)


def _check_ends(place: str, nodes: tuple[str, ...]) -> None:
    if len(nodes) < 2:
        msg = f"{place}: {len(nodes)} lug is used, expected at least two of cw, wiper and ccw"
        raise ValueError(msg)
    for node in nodes:
        _check_node(place, node)
    if len(set(nodes)) < len(nodes):
        node = next(node for node in nodes if nodes.count(node) > 1)
        cure = "leave one lug out" if place.startswith("pot.") else "give two different points"
        msg = f'{place}: is joined to itself at "{node}", {cure}'
        raise ValueError(msg)


def _check_node(place: str, node: str) -> None:
    if not node or len(node) > MAX_TEXT or not node.isprintable() or node != node.strip():
        msg = f"{place}: a point has a name of at most {MAX_TEXT} printable characters"
        raise ValueError(msg)


def _check_switches(instrument: Instrument) -> None:
    for name, switch in instrument.switch.items():
        place = f"switch.{name}.positions"
        if not 1 <= len(switch.positions) <= MOST_POSITIONS:
            msg = f"{place}: expected 1 to {MOST_POSITIONS} positions, got {len(switch.positions)}"
            raise ValueError(msg)
        for position, joins in switch.positions.items():
            here = f"{place}.{position}"
            _check_node(place, position)
            if "=" in position or len(joins) > MOST_JOINS:
                msg = f"{here}: expected a name without = and at most {MOST_JOINS} pairs of points"
                raise ValueError(msg)
            for first, second in joins:
                _check_node(here, first)
                _check_node(here, second)
                if first == second:
                    msg = f'{here}: "{first}" is joined to itself, give two different points'
                    raise ValueError(msg)


def every_join(instrument: Instrument) -> Iterator[tuple[str, Ends]]:
    """Go through the pairs of points that are joined in any position of any switch."""
    for name, switch in instrument.switch.items():
        for joins in switch.positions.values():
            for pair in joins:
                yield name, pair


# A node is alive where two part ends meet, at the jack, or where a switch leads on to such a place.
def _check_dead_ends(instrument: Instrument, ends: dict[str, tuple[str, ...]], loose: frozenset[str]) -> None:
    touching: dict[str, list[str]] = {}
    for place, nodes in ends.items():
        for node in nodes:
            touching.setdefault(node, []).append(place)
    partners: dict[str, dict[str, str]] = {}
    for switch, (first, second) in every_join(instrument):
        partners.setdefault(first, {})[second] = switch
        partners.setdefault(second, {})[first] = switch
    jack = {instrument.output, GROUND} | loose
    for node, others in partners.items():
        if node not in jack and node not in touching and len(others) < 2:
            near = next(iter(others))
            msg = f'switch.{others[near]}: point "{node}" goes nowhere, only "{near}" is ever joined to it'
            raise ValueError(msg)
    for node, places in touching.items():
        if node in jack or len(places) > 1:
            continue
        group = _reach({node}, [pair for _, pair in every_join(instrument)])
        if not group & jack and sum(len(touching.get(other, ())) for other in group) < 2:
            msg = f'{places[0]}: point "{node}" goes nowhere, no other part touches it in any position'
            raise ValueError(msg)


def _check_output(instrument: Instrument, ends: dict[str, tuple[str, ...]]) -> None:
    joins = [pair for _, pair in every_join(instrument)]
    joins += [(nodes[0], other) for nodes in ends.values() for other in nodes[1:]]
    reached = _reach({instrument.output}, joins)
    if len(reached) == 1:
        msg = f'output: point "{instrument.output}" floats, no part and no switch touches it'
        raise ValueError(msg)
    if GROUND not in reached:
        msg = f'output: point "{instrument.output}" floats, no way leads from it to "{GROUND}" in any position'
        raise ValueError(msg)


def _reach(start: set[str], joins: list[Ends]) -> set[str]:
    reached = set(start)
    while True:
        more = {node for pair in joins if reached & set(pair) for node in pair} - reached
        if not more:
            return reached
        reached |= more
