"""Guitars drawn at random, their pickups joined by hand: series and parallel reduced by formula, not by our solver."""

import itertools

import numpy as np

from fit.answers.wiring.arrangement import Joined
from fit.answers.wiring.levels import WiringTake
from measure.response import Response

FREQUENCY_HZ = np.geomspace(30, 20e3, 120)


S = 2j * np.pi * FREQUENCY_HZ


LEAKAGE = 0.05  # [1] at most, of the exciter into a neighbour


class Guitar:
    """Pickups with their windings and signs; an arrangement is a name, "half NAME", or (kind, members)."""

    def __init__(self, rng, names, *, humbuckers=(), signs=None):
        self.rng, self.names = rng, names
        self.resistance = {name: rng.uniform(5e3, 9e3) for name in names}
        self.inductance = {name: rng.uniform(2.0, 4.0) for name in names}
        self.humbuckers = humbuckers
        for name in humbuckers:
            self.resistance[name], self.inductance[name] = rng.uniform(7e3, 1e4), rng.uniform(4.0, 5.5)
        self.signs = signs or dict(zip(names, rng.choice([-1, 1], len(names)), strict=True))
        self.strength = {name: rng.uniform(0.5, 2.0) for name in names}
        self.leakage = {pair: rng.uniform(-LEAKAGE, LEAKAGE) for pair in itertools.permutations(names, 2)}
        self.load_ohm = 1 / (1 / 1e6 + 1 / rng.choice([125e3, 250e3]))
        self.load_f = rng.uniform(300e-12, 800e-12)

    def thevenin(self, joined, emf):
        """Open voltage and source impedance of an arrangement, for the EMF of each whole pickup."""
        if isinstance(joined, str):
            is_half, name = joined.startswith("half "), joined.removeprefix("half ")
            share = 0.5 if is_half else 1.0
            coil = self.resistance[name] * share + S * self.inductance[name] * share
            winding = S * (100e-12 if is_half else 80e-12)
            return share * emf.get(name, 0.0) / (1 + coil * winding), coil / (1 + coil * winding)
        parts = [self.thevenin(member, emf) for member in joined[1]]
        if joined[0] == "series":
            return sum(v for v, _ in parts), sum(z for _, z in parts)
        admittance = sum(1 / z for _, z in parts)
        return sum(v / z for v, z in parts) / admittance, 1 / admittance

    def take(self, pickup, position, joined, *, turned=1.0, placement=0, noise=3e-4, name=""):
        emf = {pickup: self.signs[pickup] * self.strength[pickup]}
        for other in self.names:
            if other != pickup:
                emf[other] = self.leakage[pickup, other] * self.signs[other] * self.strength[other]
        voltage, impedance = self.thevenin(joined, emf) if joined else (0 * S, np.ones(len(S)))
        value = turned * 1e-4 * S * voltage / (1 + impedance * (1 / self.load_ohm + S * self.load_f))
        std = noise * 1e-2 * np.ones(len(S))
        draw = self.rng.standard_normal((2, len(S))) / np.sqrt(2)
        covariance = std[:, None, None] ** 2 / 2 * np.eye(2)
        response = Response(frequency_hz=FREQUENCY_HZ, value=value + std * (draw[0] + 1j * draw[1]), covariance=covariance)
        return WiringTake(
            name=name or f"{pickup}-{position}",
            pickup=pickup,
            controls={"volume": "10", "selector": position},
            placement=placement,
            response=response,
        )

    def takes(self, positions, **options):
        return [self.take(pickup, label, joined, **options) for pickup in self.names for label, joined in positions.items()]


def leaves(joined):
    if isinstance(joined, str):
        return {joined.removeprefix("half ")}
    return set().union(*(leaves(member) for member in joined[1]))


def nested(joined):
    """The same form for what was drawn and what was found."""
    if isinstance(joined, Joined):
        if joined.kind in ("one", "half"):
            return ("half " if joined.kind == "half" else "") + joined.name
        return joined.kind, frozenset(nested(member) for member in joined.members)
    return joined if isinstance(joined, str) else (joined[0], frozenset(nested(member) for member in joined[1]))


def check(answer, positions, signs):
    for position in answer.positions:
        joined = positions[position.label.removeprefix("selector=")]
        heard = leaves(joined) if joined else set()
        assert {name for name, one in position.readings.items() if one.is_connected} == heard, position.label
        assert {name for name, one in position.readings.items() if one.is_connected is False} == set(answer.pickups) - heard
        assert nested(position.joined) == nested(joined) if joined else position.joined is None, position.label
        found = {name: position.readings[name].sign for name in sorted(heard)}
        turn = {signs[name] * sign for name, sign in found.items()}
        assert turn in ({1}, {-1}, set()), position.label


def five_positions():
    return {
        "bridge": "bridge",
        "bridge-middle": ("parallel", ["bridge", "middle"]),
        "middle": "middle",
        "neck-middle": ("parallel", ["neck", "middle"]),
        "neck": "neck",
    }
