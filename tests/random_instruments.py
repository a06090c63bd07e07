"""Instruments drawn at random, as the text of an instrument.toml and as a netlist for a general circuit simulator.

The netlist is made from the drawn parts alone: it shares neither the reading nor the wiring of the code under test.
"""

import numpy as np

INPUT_OHM, INPUT_F = 1e6, 420e-12
AUDIO = [(0, 0.0), (5, 0.12), (10, 1.0)]


class DrawnInstrument:
    """2 to 4 pickups (some with two coupled coils, some with eddy loops), 2 to 5 pots, capacitors, resistors, 0 to 2 switches."""

    def __init__(self, seed):
        self.rng = rng = np.random.default_rng(seed)
        self.pickups = {f"p{i}": self._pickup(i) for i in range(int(rng.integers(2, 5)))}
        hot = [f"h{i}" for i in range(len(self.pickups))]
        self.nodes = ["ground", "tip", "bus", *hot, "x0", "x1"]
        self.pots = {"volume": ("bus", "tip", "ground")}
        self.capacitors, self.resistors = {}, {}
        for i in range(int(rng.integers(1, 5))):
            self._control(i)
        for i in range(int(rng.integers(1, 4))):
            self.capacitors[f"c{i}"] = (*self._two(), float(10 ** rng.uniform(-10, -7.5)))
        for i in range(int(rng.integers(0, 3))):
            self.resistors[f"r{i}"] = (*self._two(), float(10 ** rng.uniform(3.5, 6)))
        self.pot_ohm = {name: float(rng.choice([100e3, 250e3, 500e3, 1e6])) for name in self.pots}
        self.taper = {name: str(rng.choice(["audio", "linear"])) for name in self.pots}
        self.switches = {"selector": self._selector(hot)}
        if rng.random() < 0.6:
            self.switches["extra"] = {"off": [], "on": [self._two() for _ in range(int(rng.integers(1, 3)))]}

    def _two(self):
        return tuple(str(node) for node in self.rng.choice(self.nodes, 2, replace=False))

    def _coil(self):
        rng = self.rng
        loops = [(float(rng.uniform(0.1, 0.5)), float(10 ** rng.uniform(3, 4.3))) for _ in range(int(rng.integers(0, 3)))]
        return {
            "dcr": float(rng.uniform(3e3, 12e3)),
            "inductance": float(rng.uniform(1, 8)),
            "winding_capacitance": float(rng.uniform(40e-12, 200e-12)),
            "eddy_loops": loops,
        }

    def _pickup(self, i):
        rng = self.rng
        ends = (f"h{i}", "ground") if rng.random() < 0.7 else ("ground", f"h{i}")
        pickup = {"coils": [self._coil()], "ends": [ends], "coupling": 0.0, "excitation": 1.0}
        if rng.random() < 0.4:
            pickup["coils"].append(self._coil())
            pickup["ends"] = [(ends[0], f"m{i}"), (f"k{i}", ends[1])]  # four leads, joined by the selector
            pickup["coupling"], pickup["excitation"] = float(rng.uniform(-0.3, 0.5)), float(rng.uniform(0.4, 1.2))
        return pickup

    def _control(self, i):
        kind = self.rng.random()
        top = str(self.rng.choice([node for node in self.nodes if node.startswith(("h", "b", "t"))]))
        if kind < 0.7:
            self.pots[f"tone{i}"] = (None, top, f"t{i}")
            self.capacitors[f"tone{i}"] = (f"t{i}", "ground", float(10 ** self.rng.uniform(-8.3, -7)))
        else:
            lugs = [str(node) for node in self.rng.choice(self.nodes, 3, replace=False)]
            self.pots[f"pot{i}"] = tuple(lugs)

    def _selector(self, hot):
        positions = {}
        for i in range(int(self.rng.integers(2, 6))):
            chosen = [node for node in hot if self.rng.random() < 0.5] or [str(self.rng.choice(hot))]
            positions[f"{i + 1}"] = [(node, "bus") for node in chosen]
        for index, pickup in enumerate(self.pickups.values()):
            if len(pickup["coils"]) == 2:
                (first, inner), (second, last) = pickup["ends"]
                for joins in positions.values():
                    if self.rng.random() < 0.8:
                        joins.append((inner, second))
                on = (hot[index], "bus")
                positions[f"series {index}"] = [on, (inner, second)]
                positions[f"parallel {index}"] = [on, (first, second), (inner, last)]
                positions[f"split {index}"] = [on, (inner, second), (inner, str(self.rng.choice([first, last])))]
                positions[f"one {index}"] = [on, (inner, last)]
        rest = [node for node in hot if not any(node in pair for joins in positions.values() for pair in joins)]
        positions["all"] = [(node, "bus") for node in rest or hot]
        return positions

    def text(self):
        lines = ['output = "tip"']
        for name, pickup in self.pickups.items():
            for index, (coil, ends) in enumerate(zip(pickup["coils"], pickup["ends"], strict=True)):
                lines += [f"[pickup.{name}{'.second' if index else ''}]", f"ends = {list(ends)}"]
                lines += [f'{key} = "{coil[key]!r} {unit}"' for key, unit in UNITS.items()]
                lines.append(f"eddy_loops = {[list(loop) for loop in coil['eddy_loops']]}")
                if index:
                    lines += [f"coupling = {pickup['coupling']!r}", f"excitation = {pickup['excitation']!r}"]
        for name, lugs in self.pots.items():
            lines += [f"[pot.{name}]", f'value = "{self.pot_ohm[name]!r} ohm"', f'taper = "{self.taper[name]}"']
            lines += [f'{lug} = "{node}"' for lug, node in zip(("cw", "wiper", "ccw"), lugs, strict=True) if node]
        for kind, parts, unit in (("capacitor", self.capacitors, "F"), ("resistor", self.resistors, "ohm")):
            for name, (first, second, value) in parts.items():
                lines += [f"[{kind}.{name}]", f'value = "{value!r} {unit}"', f'between = ["{first}", "{second}"]']
        for name, positions in self.switches.items():
            lines.append(f"[switch.{name}.positions]")
            lines += [f'"{position}" = {[list(pair) for pair in joins]}' for position, joins in positions.items()]
        return "\n".join(lines)

    def settings(self):
        """A rotation, an end, or a fraction of each pot, and a position of each switch, as people state them."""
        rng, out = self.rng, {}
        for name in self.pots:
            kind = rng.random()
            out[name] = "0" if kind < 0.15 else "10" if kind < 0.35 else f"{rng.uniform(0.2, 9.8):.2f}"
            if kind > 0.75:
                out[name] = f"{rng.uniform(2, 98):.1f}%"
        return out | {name: str(rng.choice(list(positions))) for name, positions in self.switches.items()}

    def netlist(self, settings, excited):
        """The whole circuit, one pickup driven with 1 V over its coils in proportion to how they are excited."""
        joined = {}

        def root(node):
            while joined.get(node, node) != node:
                node = joined[node]
            return node

        def join(first, second):
            first, second = root(first), root(second)
            if first != second:
                keep, lose = (first, second) if first == "ground" else (second, first)
                joined[lose] = keep

        for name, positions in self.switches.items():
            for pair in positions[settings[name]]:
                join(*pair)
        tracks = []
        for name, (cw, wiper, ccw) in self.pots.items():
            fraction = self._fraction(name, settings[name])
            if fraction in (0.0, 1.0):
                other = ccw if fraction == 0 else cw
                if other:
                    join(other, wiper)
            tracks += [(cw, wiper, self.pot_ohm[name] * (1 - fraction)), (wiper, ccw, self.pot_ohm[name] * fraction)]
        parts = [("R", *track) for track in tracks if track[0] and track[1] and track[2] > 0]
        parts += [("C", *part) for part in self.capacitors.values()] + [("R", *part) for part in self.resistors.values()]
        parts += [("R", "tip", "ground", INPUT_OHM), ("C", "tip", "ground", INPUT_F)]
        lines = []
        for index, (kind, first, second, value) in enumerate(parts):
            if root(first) != root(second):
                lines.append((f"{kind}{index}", root(first), root(second), repr(value)))
        for name, pickup in self.pickups.items():
            lines += self._coil_lines(name, pickup, root, driven=name == excited)
        return self._grounded(lines), root("tip")

    def _coil_lines(self, name, pickup, root, *, driven):
        lines, total = [], 1 + (pickup["excitation"] if len(pickup["coils"]) == 2 else 0)
        for k, (coil, (first, second)) in enumerate(zip(pickup["coils"], pickup["ends"], strict=True)):
            tag, (first, second) = f"{name}_{k}", (root(first), root(second))
            emf = (pickup["excitation"] if k else 1.0) / total if driven else 0.0
            lines.append((f"V{tag}", f"e{tag}", second, f"AC {emf!r}"))
            lines += [
                (f"R{tag}", first, f"a{tag}", repr(coil["dcr"])),
                (f"L{tag}", f"a{tag}", f"e{tag}", repr(coil["inductance"])),
            ]
            if first != second:
                lines.append((f"C{tag}", first, second, repr(coil["winding_capacitance"])))
            for j, (coupling, corner_hz) in enumerate(coil["eddy_loops"]):
                loop = f"{tag}_{j}"
                lines += [
                    (f"L{loop}", f"l{loop}", "ground", "1"),
                    (f"R{loop}", f"l{loop}", "ground", repr(2 * np.pi * corner_hz)),
                ]
                lines.append((f"K{loop}", f"L{tag}", f"L{loop}", repr(coupling)))
        if len(pickup["coils"]) == 2:
            lines.append((f"K{name}", f"L{name}_0", f"L{name}_1", repr(pickup["coupling"])))
        return lines

    def _fraction(self, name, text):
        if text.endswith("%"):
            return float(text[:-1]) / 100
        rotation = float(text)
        if self.taper[name] == "linear":
            return rotation / 10
        return float(np.interp(rotation, *zip(*AUDIO, strict=True)))

    def _grounded(self, lines):
        """One large resistor from each island to ground: it carries no current and keeps the simulator's matrix regular."""
        island = {}

        def top(node):
            while island.setdefault(node, node) != node:
                node = island[node]
            return node

        for name, first, second, _ in lines:
            if name[0] != "K":
                island[top(first)] = top(second)
        heads = {top(node) for node in list(island)} - {top("ground")}
        lines = [*lines, *((f"Risland{index}", head, "ground", "1e9") for index, head in enumerate(sorted(heads)))]
        return [" ".join("0" if word == "ground" else word for word in line) for line in lines]


UNITS = {"dcr": "ohm", "inductance": "H", "winding_capacitance": "F"}


def draw_instrument(seed):
    """The first drawing from this seed on that is sound."""
    from fit.circuit.reading import read_instrument

    for attempt in range(50):
        drawn = DrawnInstrument([seed, attempt])
        try:
            return drawn, read_instrument(drawn.text())
        except ValueError as err:
            if "goes nowhere" not in str(err) and "is joined to itself" not in str(err):
                raise
    msg = f"no sound instrument from seed {seed}"
    raise AssertionError(msg)
