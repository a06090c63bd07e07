"""Drawn parts of guitars for the tests: pickups with shorted turns, pots, capacitors, references; and their instrument.toml.

The ranges are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.guitar_circuit import EXCITER_H, GROUND, LOOP_H, TIP, Circuit, Winding

MUTUAL_H = 6e-4  # [H] between the exciter and the first coil of the pickup that it stands over
INPUT_OHM, INPUT_F = "1M ± 1%", "185p ± 3p"
N_SPREAD = 16  # shorted turns that stand for a spread: points of Gauss-Legendre quadrature over ln τ


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A shorted turn: coupling to its coil, corner, and g, its part in weakening the field."""

    k: float
    corner_hz: float
    g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """One winding with its shorted turns; excitation is its EMF over that of the first coil."""

    henry: float
    ohm: float
    farad: float
    turns: tuple[Turn, ...]
    excitation: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pickup:
    """One coil, or two in series that add; what the fit can tell of it by name."""

    coils: tuple[Coil, ...]
    truths: dict[str, float]
    coupling: float = 0.0

    @property
    def henry(self):
        """Inductance between the ends."""
        each = [coil.henry for coil in self.coils]
        return sum(each) + (2 * self.coupling * np.sqrt(each[0] * each[1]) if len(each) == 2 else 0.0)

    @property
    def ohm(self):
        """Resistance between the ends."""
        return sum(coil.ohm for coil in self.coils)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guitar:
    """True parts by their names in instrument.toml, and how settings wire them.

    ``wire(circuit, parts, fractions, position)`` adds all but pickups and load; ends are those of each pickup, its EMF
    positive from the second to the first.
    """

    pickups: dict[str, Pickup]
    ends: dict[str, tuple[str, str]]
    parts: dict[str, float]
    marked: dict[str, str]
    dcr: dict[str, str]
    toml: str
    wire: Callable[..., None]
    heard: dict[str, tuple[str, ...]] = field(default_factory=dict)  # pickups that each position of the switch connects


@dataclass(frozen=True, slots=True, kw_only=True)
class RealParts:
    """Ranges from which it is drawn what parts and benches have beside their values; a single value is a range of no width.

    Logarithmically uniform: stop_ohm (each end of each pot), tone_tangent, leak_ohm (across tone capacitors; None: no leak).
    Uniform: tangents of the parts clipped on and of the cable, travel (of the track, at 10), kelvin (winding warmer in the
    takes than when its resistance was read), kelvin_between (winding after a job over before it). share_spread: each loop's
    share of the field at every further placement over its pickup, over that at the first; beside_spread: over that same one,
    where the exciter stands over another pickup. is_exchanged: the leads of the pickups, after the job. high_pass_hz: of the
    pickup's channel and of the reference's. clock_ppm: how much faster the card's clock runs.
    """

    stop_ohm: tuple[float, float] = (0.5, 80.0)
    travel: tuple[float, float] = (0.97, 1.0)
    tone_tangent: tuple[float, float] = (5e-4, 2e-2)
    added_tangent: tuple[float, float] = (0.0, 1e-3)
    cable_tangent: tuple[float, float] = (0.0, 2e-2)
    kelvin: tuple[float, float] = (0.0, 15.0)
    kelvin_between: tuple[float, float] = (-2.0, 2.0)
    share_spread: float = 0.15
    beside_spread: float = 0.15
    leak_ohm: tuple[float, float] | None = None
    is_exchanged: bool = False
    high_pass_hz: tuple[float, float] = (0.0, 0.0)
    clock_ppm: float = 0.0


IDEAL = RealParts(
    stop_ohm=(0.0, 0.0),
    travel=(1.0, 1.0),
    tone_tangent=(0.0, 0.0),
    added_tangent=(0.0, 0.0),
    cable_tangent=(0.0, 0.0),
    kelvin=(0.0, 0.0),
    kelvin_between=(0.0, 0.0),
    share_spread=0.0,
    beside_spread=0.0,
)
COPPER_PER_K = 0.00393  # [1/K] of the resistance at 20 °C (IEC 60028)


def copper_ratio(to_c, from_c):
    """Resistance of a copper winding at one temperature over that at another."""
    return (1 + COPPER_PER_K * (to_c - 20)) / (1 + COPPER_PER_K * (from_c - 20))


def draw_log(rng, ends):
    """Logarithmically uniform; the draw is made even where the range has no width."""
    low, high = ends
    drawn = rng.uniform()
    return low if low == high else low * (high / low) ** drawn


def draw_real_parts(rng, parts, real):
    """What the pots and capacitors of a guitar have beside their values, by the names of instrument.toml."""
    drawn = {}
    for key, value in parts.items():
        if key.startswith("pot.") and "@" not in key:
            counter, clockwise = (draw_log(rng, real.stop_ohm) for _ in range(2))
            travel = rng.uniform(*real.travel)
            drawn |= {f"{key}.stop@0": counter, f"{key}.stop@10": (1 - travel) * value + clockwise, f"{key}.travel": travel}
        elif key.startswith("capacitor."):
            drawn[f"{key}.loss_tangent"] = draw_log(rng, real.tone_tangent)
            if real.leak_ohm:
                drawn[f"{key}.leak"] = draw_log(rng, real.leak_ohm)
    return drawn


def pickup_at(pickup, *, ratio, shares=None):
    """The same pickup with its wire's resistance changed and each loop's share of the field (by coil, by loop)."""
    coils = []
    for index, coil in enumerate(pickup.coils):
        own = np.ones(len(coil.turns)) if shares is None else shares[index]
        turns = tuple(replace(turn, g=turn.g * share) for turn, share in zip(coil.turns, own, strict=True))
        coils.append(replace(coil, ohm=coil.ohm * ratio, turns=turns))
    return replace(pickup, coils=tuple(coils))


def add_pot(circuit, parts, name, lugs, fraction):
    """A pot of a guitar, with what is left at the stop where it stands at one."""
    key, ohm = f"pot.{name}", parts[f"pot.{name}"]
    if fraction == 0:
        circuit.add_pot(lugs, ohm, 0.0, counter_ohm=parts.get(f"{key}.stop@0", 0.0))
    elif fraction == 1:
        travel = parts.get(f"{key}.travel", 1.0)
        circuit.add_pot(lugs, ohm, travel, clockwise_ohm=parts.get(f"{key}.stop@10", 0.0) - (1 - travel) * ohm)
    else:
        circuit.add_pot(lugs, ohm, fraction)


def add_capacitor(circuit, parts, name, node):
    """A capacitor of a guitar to ground, with its losses."""
    key = f"capacitor.{name}"
    tangent, leak_ohm = parts.get(f"{key}.loss_tangent", 0.0), parts.get(f"{key}.leak", np.inf)
    circuit.add_capacitor(node, GROUND, parts[key], tangent=tangent, leak_ohm=leak_ohm)


def scatter(rng, bound, kind):
    """Error within a bound: rectangular, or Gaussian of the same standard deviation (JCGM 100:2008, 4.3.7)."""
    return bound * rng.uniform(-1, 1) if kind == "rectangular" else bound / 3**0.5 * rng.standard_normal()


def draw_turns(rng, n):
    """One or two turns, the one coupled closest first."""
    k, corner_hz = rng.uniform(0.15, 0.5), float(np.exp(rng.uniform(np.log(2e3), np.log(12e3))))
    first = Turn(k=k, corner_hz=corner_hz, g=rng.uniform(0.1, 1.2))
    corner_hz = first.corner_hz * (5.0 if rng.integers(2) else 0.2)
    turns = (first, Turn(k=rng.uniform(0.2, 0.4), corner_hz=corner_hz, g=rng.uniform(0.1, 0.8)))[:n]
    return tuple(sorted(turns, key=lambda turn: -turn.k))


def spread_turns(*, k, corner_hz, half_width, g):
    """Many turns for P = ln[(1 + sτe^w)/(1 + sτe^−w)]/(2w): the mean of sτ/(1 + sτ) over ln τ."""
    at, weight = np.polynomial.legendre.leggauss(N_SPREAD)
    shares = weight / 2
    return tuple(
        Turn(k=k * float(share) ** 0.5, corner_hz=corner_hz * float(np.exp(half_width * x)), g=g * float(share))
        for x, share in zip(at, shares, strict=True)
    )


def draw_pickup(rng, name, *, kind="loops", henry=(2.2, 6.0)):
    """A pickup of kind "loops" (one or two), "one loop", "two loops", "spread" or "humbucker" (two unequal coils)."""
    total_h = float(np.exp(rng.uniform(*np.log(henry))))
    ohm, farad = rng.uniform(5e3, 13e3), rng.uniform(70e-12, 200e-12)
    if kind == "humbucker":
        return _draw_humbucker(rng, name, total_h=total_h, ohm=ohm)
    truths = {f"{name}.inductance": total_h, f"{name}.dcr": ohm, f"{name}.winding_capacitance": farad}
    if kind == "spread":
        k, corner_hz, width = rng.uniform(0.2, 0.5), float(np.exp(rng.uniform(np.log(3e3), np.log(12e3)))), rng.uniform(0.7, 2.0)
        turns = spread_turns(k=k, corner_hz=corner_hz, half_width=width, g=rng.uniform(0.1, 1.0))
        loss = f"{name}.eddy_spread_1"
        truths |= {f"{loss}.coupling": k, f"{loss}.corner": corner_hz, f"{loss}.half_width": width}
    else:
        n = {"one loop": 1, "two loops": 2}.get(kind) or int(rng.integers(1, 3))
        turns = draw_turns(rng, n)
        for number, turn in enumerate(turns, start=1):
            truths |= {f"{name}.eddy_loop_{number}.coupling": turn.k, f"{name}.eddy_loop_{number}.corner": turn.corner_hz}
    return Pickup(coils=(Coil(henry=total_h, ohm=ohm, farad=farad, turns=turns),), truths=truths)


def _draw_humbucker(rng, name, *, total_h, ohm):
    share, k, excited = rng.uniform(0.77, 1.3), rng.uniform(0.05, 0.35), float(np.exp(rng.uniform(np.log(0.1), 0.0)))
    first_h = total_h / (1 + share + 2 * k * np.sqrt(share))
    farad = rng.uniform(60e-12, 200e-12, 2)
    first = Coil(henry=first_h, ohm=ohm / (1 + share), farad=farad[0], turns=draw_turns(rng, 1))
    second = Coil(
        henry=first_h * share, ohm=ohm * share / (1 + share), farad=farad[1], turns=draw_turns(rng, 1), excitation=excited
    )
    truths = {f"{name}.inductance": total_h, f"{name}.dcr": ohm}
    return Pickup(coils=(first, second), coupling=k, truths=truths)


def add_pickup(circuit, name, pickup, ends, *, drive):
    """Wind a pickup between its ends; drive is how far the exciter reaches it, 1 for the one under it."""
    nodes = [ends[0], *([f"{name} middle"] if len(pickup.coils) == 2 else []), ends[1]]
    for index, coil in enumerate(pickup.coils):
        own = f"{name} {index}"
        to_coil = MUTUAL_H * coil.excitation * drive / np.sqrt(EXCITER_H * coil.henry)
        between = (nodes[index], nodes[index + 1])
        circuit.windings.append(Winding(name=own, henry=coil.henry, ohm=coil.ohm, to_exciter=to_coil, ends=between))
        circuit.capacitors.append((*between, coil.farad))
        for number, turn in enumerate(coil.turns):
            ohm, to_turn = 2 * np.pi * turn.corner_hz * LOOP_H, turn.g * to_coil / turn.k
            loop = f"{own} turn {number}"
            circuit.windings.append(Winding(name=loop, henry=LOOP_H, ohm=ohm, to_exciter=to_turn))
            circuit.couplings[own, loop] = turn.k
    if len(pickup.coils) == 2:
        circuit.couplings[f"{name} 0", f"{name} 1"] = pickup.coupling


def _pot_text(name, marked, taper, lugs):
    wires = "".join(f'{lug} = "{node}"\n' for lug, node in lugs.items())
    return f'[pot.{name}]\nmarked = "{marked}"\ntaper = "{taper}"\n{wires}'


def _capacitor_text(name, marked, node):
    return f'[capacitor.{name}]\nmarked = "{marked}"\nbetween = ["{node}", "ground"]\n'


def _pickup_text(name, ends, dcr):
    known = f'dcr = "{dcr}"\n' if dcr else ""
    return f'[pickup.{name}]\nends = ["{ends[0]}", "{ends[1]}"]\n{known}'


class _Builder:
    """Collects the parts of one guitar while they are drawn."""

    def __init__(self, rng, *, references, has_dcr):
        self.rng, self.references, self.has_dcr = rng, references, has_dcr
        self.pickups, self.ends, self.parts, self.marked, self.dcr = {}, {}, {}, {}, {}
        self.texts = ['name = "drawn"\noutput = "tip"\n']

    def pickup(self, name, *, kind, ends, henry=(2.2, 6.0), stated=None):
        pickup = draw_pickup(self.rng, name, kind=kind, henry=henry)
        read = pickup.ohm * (1 + scatter(self.rng, 0.01, self.references))
        self.pickups[name], self.ends[name] = pickup, ends
        self.dcr[name] = f"{read:.1f} ± 1%" if self.has_dcr else ""
        self.texts.append(_pickup_text(name, stated or ends, self.dcr[name]))

    def pot(self, name, ohm, lugs, *, taper="audio"):
        key, marked = f"pot.{name}", f"{ohm} ± 20%"
        self.parts[key] = float(ohm.removesuffix("k")) * 1e3 * (1 + self.rng.uniform(-0.2, 0.2))
        self.marked[key] = marked
        # what the middle of an audio track gives differs from make to make
        low, high = ((0.08, 0.18), (0.2, 0.4)) if taper == "audio" else ((0.45, 0.55), (0.55, 0.65))
        self.parts[f"{key}@5"], self.parts[f"{key}@6"] = self.rng.uniform(*low), self.rng.uniform(*high)
        self.texts.append(_pot_text(name, marked, taper, lugs))

    def capacitor(self, name, node):
        nano = self.rng.choice([10, 22, 33, 47])
        self.parts[f"capacitor.{name}"] = float(nano) * 1e-9 * (1 + self.rng.uniform(-0.1, 0.1))
        self.marked[f"capacitor.{name}"] = f"{nano}n ± 10%"
        self.texts.append(_capacitor_text(name, f"{nano}n ± 10%", node))

    def switch(self, positions):
        lines = ["[switch.selector.positions]"]
        for name, joins in positions.items():
            pairs = ", ".join(f'["{first}", "{second}"]' for first, second in joins)
            lines.append(f"{name} = [{pairs}]")
        self.texts.append("\n".join(lines) + "\n")

    def guitar(self, wire, heard=None):
        return Guitar(
            pickups=self.pickups,
            ends=self.ends,
            parts=self.parts,
            marked=self.marked,
            dcr=self.dcr,
            toml="\n".join(self.texts),
            wire=wire,
            heard=heard or {},
        )


def draw_one_pickup_guitar(rng, *, kind="loops", references="gaussian", has_dcr=True):
    """Volume at the pickup's hot end, tone from there over the capacitor to ground."""
    build = _Builder(rng, references=references, has_dcr=has_dcr)
    build.pickup("bridge", kind=kind, ends=("bridge hot", GROUND))
    ohm = str(rng.choice(["250k", "500k"]))
    build.pot("volume", ohm, {"cw": "bridge hot", "wiper": TIP, "ccw": GROUND})
    build.pot("tone", ohm, {"wiper": "bridge hot", "ccw": "tone link"}, taper=str(rng.choice(["audio", "linear"])))
    build.capacitor("tone", "tone link")

    def wire(circuit, parts, fractions, position):
        assert position == ""
        add_pot(circuit, parts, "volume", ("bridge hot", TIP, GROUND), fractions["volume"])
        add_pot(circuit, parts, "tone", ("", "bridge hot", "tone link"), fractions["tone"])
        add_capacitor(circuit, parts, "tone", "tone link")

    return build.guitar(wire)


def draw_bare_pickup(rng, *, kind="loops", references="gaussian", has_dcr=True):
    """A pickup straight at the jack; there is no instrument.toml."""
    build = _Builder(rng, references=references, has_dcr=has_dcr)
    build.pickup("bridge", kind=kind, ends=(TIP, GROUND))

    return replace(build.guitar(lambda *_: None), toml="")


FIVE_POSITIONS = {
    "bridge": ("bridge",),
    "bridge-middle": ("bridge", "middle"),
    "middle": ("middle",),
    "neck-middle": ("neck", "middle"),
    "neck": ("neck",),
}
TONE_OF = {"middle": "tone-2", "neck": "tone-1"}  # the bridge has none


def draw_three_pickup_guitar(rng, *, kind="one loop", out_of_phase="middle", is_stated=True, references="gaussian", has_dcr=True):
    """Five positions; neck and middle have a tone pot each, both on one capacitor; is_stated: instrument.toml tells the phase."""
    build = _Builder(rng, references=references, has_dcr=has_dcr)
    for name in ("bridge", "middle", "neck"):
        ends = (f"{name} hot", GROUND)
        real = ends[::-1] if name == out_of_phase else ends
        build.pickup(name, kind=kind, ends=real, henry=(2.0, 3.6), stated=real if is_stated else ends)
    build.pot("volume", "250k", {"cw": "bus", "wiper": TIP, "ccw": GROUND})
    for name in ("tone-1", "tone-2"):
        build.pot(name, "250k", {"wiper": f"{name} top", "ccw": "tone link"})
    build.capacitor("tone", "tone link")
    joins = {}
    for position, heard in FIVE_POSITIONS.items():
        joins[position] = [(f"{name} hot", "bus") for name in heard]
        joins[position] += [(f"{TONE_OF[name]} top", "bus") for name in heard if name in TONE_OF]
    build.switch(joins)

    def wire(circuit, parts, fractions, position):
        add_pot(circuit, parts, "volume", ("bus", TIP, GROUND), fractions["volume"])
        for name in ("tone-1", "tone-2"):
            add_pot(circuit, parts, name, ("", f"{name} top", "tone link"), fractions[name])
        add_capacitor(circuit, parts, "tone", "tone link")
        circuit.joins.extend(joins[position])

    return build.guitar(wire, FIVE_POSITIONS)


def draw_four_pot_guitar(rng, *, kind="one loop", references="gaussian", has_dcr=True, is_tone_before=True):
    """Each pickup with a volume and a tone of its own, the tone on the pickup's side of the volume or on the switch's."""
    build = _Builder(rng, references=references, has_dcr=has_dcr)
    joins = {}
    for name in ("bridge", "neck"):
        hot, out, node = f"{name} hot", f"{name} out", f"{name} tone link"
        build.pickup(name, kind=kind, ends=(hot, GROUND), henry=(3.0, 6.0))
        build.pot(f"{name}-volume", "500k", {"cw": hot, "wiper": out, "ccw": GROUND})
        build.pot(f"{name}-tone", "500k", {"wiper": hot if is_tone_before else out, "ccw": node})
        build.capacitor(f"{name}-tone", node)
        joins[name] = (out, TIP)
    heard = {"bridge": ("bridge",), "both": ("bridge", "neck"), "neck": ("neck",)}
    build.switch({position: [joins[name] for name in names] for position, names in heard.items()})

    def wire(circuit, parts, fractions, position):
        for name in ("bridge", "neck"):
            hot, out, node = f"{name} hot", f"{name} out", f"{name} tone link"
            add_pot(circuit, parts, f"{name}-volume", (hot, out, GROUND), fractions[f"{name}-volume"])
            tone_lugs = ("", hot if is_tone_before else out, node)
            add_pot(circuit, parts, f"{name}-tone", tone_lugs, fractions[f"{name}-tone"])
            add_capacitor(circuit, parts, f"{name}-tone", node)
        circuit.joins.extend(joins[name] for name in heard[position])

    return build.guitar(wire, heard)


def guitar_circuit(guitar, fractions, *, position="", drives=None, load=(), source=None):
    """Circuit of a guitar at settings; load as (kind "R" or "C", value, loss tangent) across the jack; drives by pickup."""
    circuit = Circuit(source=source)
    for name, pickup in guitar.pickups.items():
        add_pickup(circuit, name, pickup, guitar.ends[name], drive=(drives or {}).get(name, 0.0))
    guitar.wire(circuit, guitar.parts, fractions, position)
    for kind, value, *tangent in load:
        if kind == "R":
            circuit.resistors.append((TIP, GROUND, value))
        else:
            circuit.add_capacitor(TIP, GROUND, value, tangent=tangent[0] if tangent else 0.0)
    return circuit
