"""Guitar circuits solved by node equations with coupled windings: eddy loops are shorted turns, the exciter a known current.

Shares no code with the packages under test; checked against a general circuit simulator in test_guitar_cases.py.
"""

from dataclasses import dataclass, field

import numpy as np

GROUND = "ground"
TIP = "tip"
EXCITER_H = 1e-3  # [H] of the exciter coil
LOOP_H = 1e-6  # [H] of every shorted turn; only its time constant and its couplings count
STATED_AT_HZ = 1e3  # where a capacitor that loses has its stated value


@dataclass(slots=True, kw_only=True)
class Winding:
    """An inductance with its resistance in series; a shorted turn where `ends` is empty.

    A current into `ends[0]` and the exciter's current add where the coupling is positive.
    """

    name: str
    henry: float
    ohm: float
    to_exciter: float = 0.0  # [1] coupling k to the exciter
    ends: tuple[str, str] | tuple[()] = ()


@dataclass(slots=True, kw_only=True)
class Circuit:
    """Parts between named nodes; driven by 1 A in the exciter, or by 1 V behind a resistor or a capacitor at a node."""

    resistors: list[tuple[str, str, float]] = field(default_factory=list)
    capacitors: list[tuple[str, str, float]] = field(default_factory=list)
    windings: list[Winding] = field(default_factory=list)
    couplings: dict[tuple[str, str], float] = field(default_factory=dict)  # [1] k of two windings, by name
    joins: list[tuple[str, str]] = field(default_factory=list)
    source: tuple[str, str, float] | None = None  # node, "R" or "C", ohms or farads
    lossy: list[tuple[str, str, float, float]] = field(default_factory=list)  # capacitors: farads at 1 kHz, loss tangent

    def add_pot(
        self, lugs: tuple[str, str, str], ohm: float, fraction: float, *, counter_ohm: float = 0.0, clockwise_ohm: float = 0.0
    ) -> None:
        """Three lugs cw, wiper, ccw; an unused one is empty; the fraction is from ccw to wiper.

        Ohms beyond the track's share are those of the wiper and of the lug's contact, left where the wiper stops.
        """
        clockwise, wiper, counter = lugs
        to_counter, to_clockwise = (wiper, counter, fraction, counter_ohm), (clockwise, wiper, 1 - fraction, clockwise_ohm)
        for first, second, share, left in (to_counter, to_clockwise):
            if first and second:
                if share == 0 and left == 0:
                    self.joins.append((first, second))
                else:
                    self.resistors.append((first, second, ohm * share + left))

    def add_capacitor(self, first: str, second: str, farad: float, *, tangent: float = 0.0, leak_ohm: float = np.inf) -> None:
        """A capacitor, with a constant loss tangent and with a resistance across it where it has them."""
        if tangent:
            self.lossy.append((first, second, farad, tangent))
        else:
            self.capacitors.append((first, second, farad))
        if np.isfinite(leak_ohm):
            self.resistors.append((first, second, leak_ohm))


def lossy_admittance(s, farad, tangent):
    """Admittance of a capacitor whose loss tangent is the same at all frequencies: s·C·(s/ω0)^(-2δ/π), shape of s.

    The current is a fractional derivative of the voltage, so causal (S. Westerlund, L. Ekstam, IEEE Transactions on
    Dielectrics and Electrical Insulation 1, 1994, 826); capacitance falls by a share of 2δ/π for each e-fold of frequency.
    """
    return s * farad * (s / (2 * np.pi * STATED_AT_HZ)) ** (-2 / np.pi * np.arctan(tangent))


def merged_nodes(circuit):
    """Node to the one that stands for it, ground first among those joined."""
    ends = [part[:2] for part in (*circuit.resistors, *circuit.capacitors, *circuit.lossy)]
    ends += [w.ends for w in circuit.windings if w.ends]
    stands = {node: node for pair in (*ends, *circuit.joins, (GROUND, TIP)) for node in pair}
    for first, second in circuit.joins:
        old, new = stands[first], stands[second]
        if old == GROUND:
            old, new = new, old
        stands = {node: new if top == old else top for node, top in stands.items()}
    return stands


def _stamp(matrix, at, elements, weight):
    """Add elements to a matrix (..., size, size)."""
    for first, second, *values in elements:
        a, b = at[first], at[second]
        for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            if row >= 0 and column >= 0:
                matrix[..., row, column] += sign * weight(*values)


def _wound(circuit, s):
    """Impedance (m, c, c) and EMF (m, c) of the coils for 1 A in the exciter, the currents of the shorted turns eliminated.

    0 = Zl·il + Zlc·ic + s·ml for the turns, in v = Zc·ic + Zcl·il + s·mc of the coils.
    """
    coils = [w for w in circuit.windings if w.ends]
    loops = [w for w in circuit.windings if not w.ends]
    order = {w.name: index for index, w in enumerate((*coils, *loops))}
    henry = np.array([w.henry for w in (*coils, *loops)])
    ohm = np.array([w.ohm for w in (*coils, *loops)])
    k = np.eye(len(order))
    for (first, second), value in circuit.couplings.items():
        k[order[first], order[second]] = k[order[second], order[first]] = value
    inductance = k * np.sqrt(np.outer(henry, henry))
    to_exciter = np.array([w.to_exciter for w in (*coils, *loops)]) * np.sqrt(EXCITER_H * henry)
    n = len(coils)
    impedance = np.diag(ohm[:n]) + s[:, None, None] * inductance[:n, :n]
    emf = s[:, None] * to_exciter[:n]
    if loops:
        across = inductance[:n, n:]
        right = np.column_stack([across.T, to_exciter[n:]])
        if np.any(inductance[n:, n:] != np.diag(henry[n:])):
            turns = np.diag(ohm[n:]) + s[:, None, None] * inductance[n:, n:]
            through = np.linalg.solve(turns, np.broadcast_to(right, (len(s), *right.shape)))
        else:
            through = right / (ohm[n:] + s[:, None] * henry[n:])[:, :, None]
        back = s[:, None, None] ** 2 * (across @ through)
        impedance = impedance - back[:, :, :n]
        emf = emf - back[:, :, n]
    return impedance, emf


def solve_tip(circuit, frequency_hz):
    """Voltage at the tip, shape (m,), for 1 A in the exciter or 1 V of the source."""
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
    stands = merged_nodes(circuit)
    nodes = [node for node in dict.fromkeys(stands.values()) if node != GROUND]
    place = {node: index for index, node in enumerate(nodes)} | {GROUND: -1}
    at = {node: place[top] for node, top in stands.items()}
    n, coils = len(nodes), [w for w in circuit.windings if w.ends]
    size = n + len(coils)
    conductance, capacitance = np.zeros((size, size)), np.zeros((size, size))
    _stamp(conductance, at, circuit.resistors, lambda ohm: 1 / ohm)
    _stamp(capacitance, at, circuit.capacitors, lambda farad: farad)
    right = np.zeros((len(s), size, 1), dtype=complex)
    if circuit.source is not None:
        node, kind, value = circuit.source
        if kind == "R":
            conductance[at[node], at[node]] += 1 / value
            right[:, at[node], 0] = 1 / value
        else:
            capacitance[at[node], at[node]] += value
            right[:, at[node], 0] = s * value
    impedance, emf = _wound(circuit, s)
    for index, winding in enumerate(coils):
        for node, sign in zip(winding.ends, (1, -1), strict=True):
            if at[node] >= 0:
                conductance[at[node], n + index] += sign
                conductance[n + index, at[node]] += sign
    matrix = conductance + s[:, None, None] * capacitance
    _stamp(matrix, at, circuit.lossy, lambda farad, tangent: lossy_admittance(s, farad, tangent))
    matrix[:, n:, n:] -= impedance
    if circuit.source is None:
        right[:, n:, 0] = emf
    if at[TIP] < 0:
        return np.zeros(len(s), dtype=complex)
    return np.linalg.solve(matrix, right)[:, at[TIP], 0]


def spice_lines(circuit, *, at_hz=None):
    """The same circuit in a circuit simulator's words, and the vector of the tip.

    A capacitor that loses is written as the resistance and the capacitance in parallel that it is at one frequency.
    """
    stands = merged_nodes(circuit)
    names = {node: "0" if top == GROUND else "n" + top.replace(" ", "_").replace("-", "_") for node, top in stands.items()}
    lines = ["I1 0 x AC 1", f"Lx x 0 {EXCITER_H!r}"]
    if circuit.source is not None:
        node, kind, value = circuit.source
        lines = ["V1 driven 0 AC 1", f"{kind}source driven {names[node]} {float(value)!r}", f"Lx x 0 {EXCITER_H!r}", "Rx x 0 1e3"]
    resistors, capacitors = [*circuit.resistors], [*circuit.capacitors]
    for first, second, farad, tangent in circuit.lossy:
        # written out by its parts: C falls as f^(-2δ/π) from 1 kHz on, the conductance is tan δ of ωC
        angle, omega = np.arctan(tangent), 2 * np.pi * at_hz
        capacitors.append((first, second, farad * np.cos(angle) * (at_hz / STATED_AT_HZ) ** (-2 * angle / np.pi)))
        resistors.append((first, second, 1 / (omega * capacitors[-1][2] * tangent)))
    for letter, parts in (("R", resistors), ("C", capacitors)):
        for index, (first, second, value) in enumerate(parts):
            if names[first] != names[second]:
                lines.append(f"{letter}{index} {names[first]} {names[second]} {float(value)!r}")
    number = {w.name: index for index, w in enumerate(circuit.windings)}
    for index, w in enumerate(circuit.windings):
        top, bottom = (names[w.ends[0]], names[w.ends[1]]) if w.ends else ("0", "0")
        lines += [f"Lw{index} {top} m{index} {float(w.henry)!r}", f"Rw{index} m{index} {bottom} {float(w.ohm)!r}"]
        if w.to_exciter and circuit.source is None:
            lines.append(f"Kx{index} Lx Lw{index} {float(w.to_exciter)!r}")
    for first, second in circuit.couplings:
        a, b = number[first], number[second]
        lines.append(f"K{a}_{b} Lw{a} Lw{b} {float(circuit.couplings[first, second])!r}")
    return lines, f"v({names[TIP]})"
