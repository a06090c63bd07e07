"""A pickup, or an instrument at some settings, as the netlist of a circuit simulator (SPICE).

An eddy loop becomes a small inductor with a resistor across it, coupled to the coil: k and τ alone count, its inductance is free.
A spread of loops becomes several loops, at the nodes of a Gauss-Legendre quadrature in ln τ; how far that is off is measured. A
capacitor with a loss tangent, which no simulator has, becomes resistors and capacitors that have it from 20 Hz to 20 kHz.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.answers.netlist.oneport import NetPickup, emf_shares
from fit.circuit.coil import CoilValues, Profile, coil_elements, evaluate_profile
from fit.circuit.controls import Settings
from fit.circuit.dielectric import loss_network
from fit.circuit.instrument import Instrument, coils_of, eddies_of
from fit.circuit.network import GROUND
from fit.circuit.realparts import INPUT_F, leak_key, loss_key, segment_ohm, stops_among
from fit.circuit.transfers import each_pickup_alone
from fit.circuit.wiring import Passive, joined_nodes, passives_of

LOOP_H = 1e-3  # [H] of every loop's inductor; any value does
BAND_HZ = (20.0, 20e3)  # [Hz] where the loops that stand for a spread are compared with it
MOST_LOOPS = 12
SPREAD_ERROR = 1e-4  # [1] of the coil's impedance; more loops are taken until it is reached
FLOAT_OHM = 1e9  # [Ω] from a part that hangs on nothing to ground: no current runs, but a simulator needs a path
SPELLED = {"Ω": "ohm", "±": "+-", "\N{MICRO SIGN}": "u", "\N{MINUS SIGN}": "-", "°": " deg", "…": "to", "σ": "sigma", "δ": "d"}
ANALYSIS = (".options noopac", ".ac dec 100 20 20k")  # linear: no operating point is needed


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Netlist:
    """A netlist, and how far it is from what it stands for.

    Attributes
    ----------
    spread_error : float
        Largest relative error of a coil's impedance from loops that stand for a spread, 20 Hz to 20 kHz; 0 where there is none.
    """

    lines: tuple[str, ...]
    spread_error: float


def pickup_netlist(
    pickups: Sequence[NetPickup], *, input_ohm: float, input_f: float, input_tangent: float = 0.0, comments: Sequence[str] = ()
) -> Netlist:
    """Write pickups as subcircuits, and the first of them behind cable and input with an analysis.

    Parameters
    ----------
    input_ohm, input_f : float
        Cable and input. [Ω], [F]
    input_tangent : float
        Loss tangent of the cable. [1]
    comments : sequence of str
        For the head; the first is the title.

    Returns
    -------
    Netlist
        Subcircuits with the nodes hot, cold and emf: a voltage at emf is the pickup's EMF, positive at hot.
    """
    lines, errors = [], [0.0]
    for pickup in pickups:
        lines += ["", f".subckt {_word(pickup.name)} hot cold emf"]
        middle = ["hot", *(f"middle{index}" for index in range(1, len(pickup.coils))), "cold"]
        names = [f"coil{index}" for index in range(1, len(pickup.coils) + 1)]
        for index, (name, coil) in enumerate(zip(names, pickup.coils, strict=True)):
            share = emf_shares(pickup)[index]
            part, error = _coil_lines(name, (middle[index], middle[index + 1]), coil, emf="emf", share=share)
            lines += part
            errors.append(error)
        if len(names) == 2 and pickup.coupling:
            lines.append(f"Kcoils L{names[0]} L{names[1]} {_number(pickup.coupling)}")
        lines.append(f".ends {_word(pickup.name)}")
    lines += ["", "* one volt of EMF, cable and input on", "Vemf emf 0 AC 1", f"Xpickup tip 0 emf {_word(pickups[0].name)}"]
    lines.append(f"Rinput tip 0 {_number(input_ohm)}")
    lines += _capacitor_lines("input", ("tip", "0"), input_f, tangent=input_tangent)
    return _finished(lines, "tip", comments, max(errors))


def instrument_netlist(
    instrument: Instrument,
    settings: Settings,
    values: Mapping[str, float],
    *,
    excite: str = "",
    comments: Sequence[str] = (),
) -> Netlist:
    """Write an instrument at some settings, every part as it stands.

    Parameters
    ----------
    settings : Settings
        Of every control; a pot becomes up to two resistors.
    values : mapping
        Name to value in SI units, input.resistance and input.capacitance included; a pot's electrical fraction may stand there,
        such as ``"pot.volume@7"``, else that of the settings counts, and what parts have beside their values
        (`fit.circuit.realparts`).
    excite : str
        Pickup whose EMF is 1 V; empty for the first. The others have 0 V.
    comments : sequence of str
        For the head; the first is the title.

    Returns
    -------
    Netlist
        Parts without a value are left out, with a comment that says so.

    Raises
    ------
    ValueError
        If the output is joined to ground at these settings, or two names become one in the simulator's letters.
    """
    stops = stops_among(values)
    joined = joined_nodes(instrument, settings, has_stops=stops)
    if joined.get(instrument.output, instrument.output) == GROUND:
        msg = "the output is joined to ground at these settings: nothing would be heard; choose others with --set"
        raise ValueError(msg)
    nodes = _Nodes(joined, output=instrument.output)
    lines = ["", *_joined_lines(joined)]
    for passive in passives_of(instrument, settings, has_stops=stops):
        lines += _passive_lines(passive, settings, values, nodes)
    tip = nodes.word(instrument.output)
    lines += ["", "* cable and input", f"Rinput {tip} 0 {_number(values['input.resistance'])}"]
    lines += _capacitor_lines("input", (tip, "0"), values[INPUT_F], tangent=values.get(loss_key(INPUT_F), 0.0))
    excited = excite or next(iter(instrument.pickup), "")
    errors = [0.0]
    for (pickup, stated), emf in zip(instrument.pickup.items(), each_pickup_alone(instrument), strict=True):
        node = f"emf_{_word(pickup)}"
        lines += ["", f"* {ascii_text(pickup)}", f"V{node} {node} 0 AC {1 if pickup == excited else 0}"]
        names = [pickup, *([f"{pickup}.second"] if stated.second is not None else [])]
        for name in names:
            part, error = _stated_coil(instrument, name, values, nodes, emf=node, share=emf.get(name, 0.0))
            lines += part
            errors.append(error)
        if len(names) == 2 and values.get(f"{pickup}.coupling"):
            ends = " ".join(f"L{_word(name)}" for name in names)
            lines.append(f"K{_word(pickup)} {ends} {_number(values[f'{pickup}.coupling'])}")
    _require_own_names(lines)
    lines += _floating_lines(lines)
    return _finished(lines, tip, comments, max(errors))


def loops_of(coil: CoilValues) -> tuple[list[tuple[float, float]], float]:
    """Single loops that stand for a coil's losses.

    Returns
    -------
    loops : list of (float, float)
        Coupling k and time constant of each. [1], [s]
    error : float
        Largest relative error of the coil's impedance, 20 Hz to 20 kHz; 0 without a spread.
    """
    exact = [(share, tau_s) for share, tau_s, _, _, profile in coil.eddies if profile == "loop"]
    spreads = [(share, tau_s, width) for share, tau_s, width, _, profile in coil.eddies if profile == "spread"]
    s = 2j * np.pi * np.geomspace(*BAND_HZ, 200)
    wanted = coil_elements([coil], s).impedance[0, 0]
    loops, error = exact, 0.0
    for n in range(1, MOST_LOOPS + 1) if spreads else ():
        place, weight = np.polynomial.legendre.leggauss(n)
        loops = exact + [
            (share * float(w) / 2, tau_s * float(np.exp(width * x)))
            for share, tau_s, width in spreads
            for x, w in zip(place, weight, strict=True)
        ]
        lost = sum((share * evaluate_profile("loop", s, tau_s=tau_s).value for share, tau_s in loops), np.zeros_like(s))
        found = coil.resistance_ohm + s * coil.inductance_h * (1 - lost)
        error = float(np.max(np.abs(found / wanted - 1)))
        if error < SPREAD_ERROR:
            break
    return [(float(np.sqrt(share)), tau_s) for share, tau_s in loops], error


def _coil_lines(name: str, ends: tuple[str, str], coil: CoilValues, *, emf: str, share: float) -> tuple[list[str], float]:
    """EMF, inductor and resistor in series, the winding capacitance across all, and the loops."""
    loops, error = loops_of(coil)
    lines = [
        f"E{name} {ends[0]} {name}_e {emf} 0 {_number(share)}",
        f"L{name} {name}_e {name}_r {_number(coil.inductance_h)}",
        f"R{name} {name}_r {ends[1]} {_number(float(coil.resistance_ohm))}",
        f"C{name} {ends[0]} {ends[1]} {_number(coil.winding_capacitance_f)}",
    ]
    if any(profile == "spread" for *_, profile in coil.eddies):
        lines.append(f"* the {len(loops)} loops stand for a spread of eddy loops too, impedance within {100 * error:.2g} %")
    for index, (coupling, tau_s) in enumerate(loops, start=1):
        loop = f"{name}_loop{index}"
        lines.append(f"L{loop} {loop} 0 {_number(LOOP_H)}")
        lines.append(f"R{loop} {loop} 0 {_number(LOOP_H / tau_s)}")
        lines.append(f"K{loop} L{name} L{loop} {_number(coupling)}")
    return lines, error


def _stated_coil(
    instrument: Instrument, name: str, values: Mapping[str, float], nodes: "_Nodes", *, emf: str, share: float
) -> tuple[list[str], float]:
    stated = coils_of(instrument)[name]
    absent = [key for key in ("dcr", "inductance", "winding_capacitance") if f"{name}.{key}" not in values]
    if absent:
        return [f"* {ascii_text(name)} left out: nothing is known of its {', '.join(absent)}"], 0.0
    eddies: list[tuple[float, float, float, float, Profile]] = [
        (
            values[f"{eddy}.coupling"] ** 2,
            1 / (2 * np.pi * values[f"{eddy}.corner"]),
            values[f"{eddy}.half_width"] if profile == "spread" else 0.0,
            0.0,
            profile,
        )
        for eddy, profile in eddies_of(name, stated)
    ]
    coil = CoilValues(
        inductance_h=values[f"{name}.inductance"],
        resistance_ohm=values[f"{name}.dcr"],
        winding_capacitance_f=values[f"{name}.winding_capacitance"],
        excitation=1.0,
        eddies=tuple(eddies),
    )
    ends = (nodes.word(stated.ends[0]), nodes.word(stated.ends[1]))
    return _coil_lines(_word(name), ends, coil, emf=emf, share=share)


class _Nodes:
    """Names for a simulator: ASCII, each its own, ground 0."""

    def __init__(self, joined: Mapping[str, str], *, output: str) -> None:
        """Begin with ground and the output, which keeps its name whatever it is joined to."""
        self.joined = joined
        self.words = {GROUND: "0", joined.get(output, output): _word(output)}

    def word(self, node: str) -> str:
        """Name of a node, or of the one that it is joined to."""
        node = self.joined.get(node, node)
        if node not in self.words:
            plain = _word(node)
            taken = set(self.words.values()) | {"gnd"}
            self.words[node] = next(w for w in (plain, *(f"{plain}_{i}" for i in range(2, 10_000))) if w not in taken)
        return self.words[node]


def _passive_lines(part: Passive, settings: Settings, values: Mapping[str, float], nodes: _Nodes) -> list[str]:
    name = ascii_text(f"{part.key} {part.side}".strip())
    first, second = (nodes.word(end) for end in part.ends)
    if part.key not in values:
        return [f"* {name} left out: its value is not known"]
    if first == second:
        return [f"* {name} is shorted at these settings"]
    word = _word(part.key)
    if part.is_capacitor:
        lines = _capacitor_lines(word, (first, second), values[part.key], tangent=values.get(loss_key(part.key), 0.0))
        leak_ohm = values.get(leak_key(part.key))
        return lines if leak_ohm is None else [*lines, f"R{word}_leak {first} {second} {_number(leak_ohm)}"]
    fraction = 1.0
    if part.side:
        stand = settings.pots[part.key.removeprefix("pot.")]
        fraction = values.get(f"{part.key}@{stand.label}", stand.fraction)
    ohm = segment_ohm(part, values, fraction=fraction)
    return [f"R{word}{'_' + part.side if part.side else ''} {first} {second} {_number(ohm)}"]


def _capacitor_lines(word: str, ends: tuple[str, str], farad: float, *, tangent: float) -> list[str]:
    between = " ".join(ends)
    if tangent <= 0:
        return [f"C{word} {between} {_number(farad)}"]
    network = loss_network(capacitance_f=farad, loss_tangent=tangent)
    lines = [
        f"* {word} is {_number(farad)} F at 1 kHz and loses tan d = {_number(tangent)} at all frequencies: these resistors and",
        f"* capacitors together do so from 20 Hz to 20 kHz, admittance within {100 * network.error:.2g} %",
        f"C{word} {between} {_number(network.capacitance_f)}",
        f"R{word}_loss {between} {_number(network.resistance_ohm)}",
    ]
    for index, (ohm, own_f) in enumerate(network.branches, start=1):
        lines.append(f"C{word}_loss{index} {ends[0]} {word}_loss{index} {_number(own_f)}")
        lines.append(f"R{word}_loss{index} {word}_loss{index} {ends[1]} {_number(ohm)}")
    return lines


def _joined_lines(joined: Mapping[str, str]) -> list[str]:
    groups: dict[str, list[str]] = {}
    for node, root in joined.items():
        groups.setdefault(root, []).append(node)
    return [f"* one node here: {ascii_text(', '.join(nodes))}" for nodes in groups.values() if len(nodes) > 1]


def _require_own_names(lines: Sequence[str]) -> None:
    """See that no two parts have one name.

    Raises
    ------
    ValueError
        If two have.
    """
    names = [line.split()[0].lower() for line in lines if line and line[0] not in "*."]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        msg = f"two parts would both be called {twice} in a netlist, which knows letters, digits and _ alone: rename one of them"
        raise ValueError(msg)


def _floating_lines(lines: Sequence[str]) -> list[str]:
    """Tie every part of the circuit that hangs on nothing to ground: a simulator cannot solve it otherwise."""
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        while parent.setdefault(node, node) != node:
            node = parent[node]
        return node

    for line in lines:
        if line and line[0] in "CELRV":
            first, second = line.split()[1:3]
            parent[root(first)] = root(second)
    islands = sorted({root(node) for node in list(parent)} - {root("0")})
    return [f"Rfloat{index} {node} 0 {_number(FLOAT_OHM)}" for index, node in enumerate(islands, start=1)]


def _finished(lines: Sequence[str], tip: str, comments: Sequence[str], error: float) -> Netlist:
    head = [f"* {ascii_text(line)}" for line in comments or ("netlist",)]
    return Netlist(lines=(*head, *lines, "", *ANALYSIS, f".print ac vdb({tip}) vp({tip})", ".end"), spread_error=error)


def _number(value: float) -> str:
    return f"{value:.12g}"


def _word(text: str) -> str:
    word = re.sub(r"\W", "_", text.lower(), flags=re.ASCII)
    return word if re.match(r"[a-z]", word) else f"n_{word}"


def ascii_text(text: str) -> str:
    """Put a comment for programs that know ASCII alone.

    Returns
    -------
    str
        One line; signs that occur in values spelled out, what else is not ASCII as ``?``.

    Examples
    --------
    >>> ascii_text("Tone capacitor, loss angle (tan δ): 0.40 %, uncertain by 76 % (1 σ)")
    'Tone capacitor, loss angle (tan d): 0.40 %, uncertain by 76 % (1 sigma)'
    """
    for sign, word in SPELLED.items():
        text = text.replace(sign, word)
    return " ".join(text.encode("ascii", "replace").decode().split())
