"""Takes of drawn guitars: responses through the controls with noise, smooth error, delay and gain steps, and every true value.

One-pickup guitars, three pickups on a five-position switch, two pickups with four pots, pairs before and after a job, takes
through a series resistor or from a foil, pickups straight at the jack; of ideal parts, or of such as people have. Circuits:
guitar_parts.py, solved by guitar_circuit.py, which share no code with the packages under test.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from measure.response import Origin, Response
from tests import guitar_parts as gp
from tests.guitar_circuit import GROUND, TIP, Circuit, solve_tip

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-90, 70) / 16)  # 20.3 Hz to 19.9 kHz
RATE_HZ = 48000.0
ADDED, SERIES = "1n ± 1%", "220k ± 1%"
NOMINAL_F = {ADDED: 1e-9, "2n2 ± 1%": 2.2e-9, "470p ± 1%": 470e-12, "22n ± 1%": 22e-9}
GUITARS_OWN = ("pot.", "capacitor.")  # how the names of its parts begin
READ_AT_C = (16.0, 26.0)  # [°C] of the room where a winding's resistance is read


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """How well the bench does; every draw of it is seeded with the case.

    references: "gaussian" (standard deviation bound/√3) or "rectangular". noise: relative to the response near the resonance,
    ten times that at 50 Hz. real: what parts and benches have beside their values; None for ideal ones. misfit: size of the
    smooth relative error of kind "common" (to the takes of a placement) or "per take" (Matérn 5/2 over so many octaves), or
    "points" (independent). gain_step_std between takes of one placement.
    """

    references: str = "gaussian"
    noise: float = 1e-4
    misfit: float = 0.0
    misfit_kind: str = "common"
    misfit_octaves: float = 1.0
    delay_samples: float = 0.0
    gain_step_std: float = 0.0014
    has_dcr: bool = True
    real: gp.RealParts | None = None


USUAL = Conditions()
REAL = Conditions(real=gp.RealParts())


@dataclass(frozen=True, slots=True, kw_only=True)
class GuitarTake:
    """One take; settings as CONTROL to VALUE, what is not named stands at 10 or in the first position."""

    name: str
    circuit: Circuit
    gain: float  # voltage at the jack per s·e(s)·H(s); 1 for methods other than the exciter
    delay_s: float
    response: Response
    settings: dict[str, str]
    added: str = ""
    coil_over: str = ""
    coil_moved: bool = False
    method: str = "exciter"
    series_resistor: str = ""
    is_after: bool = False
    is_heard: bool = True  # the pickup under the exciter is connected
    temperature_c: float = 20.0  # of the windings
    pickups: dict[str, gp.Pickup]  # as they were in this take: winding as warm, shares of the field as the exciter stood
    high_pass_hz: tuple[float, float] = (0.0, 0.0)  # first order, of the pickup's channel and of the reference's
    clock_ppm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GuitarCase:
    """Takes in the order they were made; truths by the names of stated_values, fractions as "pot.volume@6"."""

    seed: int
    takes: dict[str, GuitarTake]
    truths: dict[str, float]
    marked: dict[str, str]
    dcr: dict[str, str]  # what the multimeter showed of each pickup; instrument.toml says it too
    instrument_toml: str
    leaks: dict[tuple[str, str], float]  # (coil over, other pickup): field there over the field under the coil
    guitar: gp.Guitar
    input_resistance: str = gp.INPUT_OHM
    input_capacitance: str = gp.INPUT_F
    dcr_temperature_c: float = 20.0  # of the windings when their resistance was read
    wrong: str = ""  # name of the one reference that is not what is stated
    wrong_by: float = 0.0  # what is there over what is stated, less 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What a take is to be, before it is made."""

    name: str
    settings: dict[str, str]
    added: str = ""
    coil_over: str = ""
    coil_moved: bool = False
    method: str = "exciter"
    is_after: bool = False


def _ratio(circuit, method, frequency_hz):
    """s·e(s)·H(s) of the pickup under the exciter, or the voltage at the tip per volt of the source."""
    return solve_tip(circuit, frequency_hz) / (gp.MUTUAL_H if method == "exciter" else 1.0)


def true_response(take, frequency_hz):
    """Response of a take without noise and misfit, at any frequencies as the card counts them."""
    late = np.exp(-2j * np.pi * frequency_hz * take.delay_s)
    real_hz = frequency_hz * (1 + take.clock_ppm * 1e-6)
    value = take.gain * _ratio(take.circuit, take.method, real_hz) * late
    if any(take.high_pass_hz):
        pickup_hz, reference_hz = take.high_pass_hz
        value = value * (reference_hz + 1j * real_hz) / (pickup_hz + 1j * real_hz)
    return value


@cache
def _matern_root(octaves):
    """Root of the covariance (C. E. Rasmussen, C. K. I. Williams, 2006, eq. 4.17) on the grid."""
    a = np.sqrt(5) / octaves * np.abs(np.subtract.outer(np.log2(GRID_HZ), np.log2(GRID_HZ)))
    return np.linalg.cholesky((1 + a + a**2 / 3) * np.exp(-a) + 1e-10 * np.eye(len(GRID_HZ)))


class _Bench:
    """Makes planned takes one after the other; keeps what a placement shares."""

    def __init__(self, streams, conditions):
        self.gains, self.noise, self.errors = streams
        self.conditions = conditions
        self.delay_s = conditions.delay_samples / RATE_HZ
        self.level = self.gains.choice([-1.0, 1.0]) * float(np.exp(self.gains.uniform(np.log(0.05), np.log(0.5)))) / 5e4
        self.own, self.shared, self.loudest = 0.0, np.zeros(len(GRID_HZ)), 0.0

    def _misfit(self):
        if self.conditions.misfit == 0.0:
            return np.zeros(len(GRID_HZ))
        parts = self.errors.standard_normal((2, len(GRID_HZ))) * self.conditions.misfit / np.sqrt(2)
        if self.conditions.misfit_kind != "points":
            parts = parts @ _matern_root(self.conditions.misfit_octaves).T
        return parts[0] + 1j * parts[1]

    def _gain(self, plan):
        """Of this take; a new placement gets one of its own."""
        if plan.method != "exciter":
            self.shared, self.loudest = self._misfit(), 0.0
            return 1.0
        if self.own == 0.0 or plan.coil_moved:
            self.own, self.shared, self.loudest = self.level * float(np.exp(self.gains.uniform(-0.3, 0.3))), self._misfit(), 0.0
            return self.own
        return self.own * float(np.exp(self.conditions.gain_step_std * self.gains.standard_normal()))

    def measure(self, plan, take):
        """The take with its gain and response."""
        take = replace(take, gain=self._gain(plan), delay_s=self.delay_s)
        value = true_response(take, GRID_HZ)
        self.loudest = max(self.loudest, float(np.max(np.abs(value))))
        value = value * (1 + (self.shared if self.conditions.misfit_kind == "common" else self._misfit()))
        # what lies below the signal does not depend on it, and rises below 300 Hz
        std = self.conditions.noise * (np.abs(value) + 7e-3 * self.loudest * np.sqrt(1 + (300 / GRID_HZ) ** 2))
        parts = self.noise.standard_normal((2, len(GRID_HZ)))
        response = Response(
            frequency_hz=GRID_HZ,
            value=value + std / np.sqrt(2) * (parts[0] + 1j * parts[1]),
            covariance=std[:, None, None] ** 2 / 2 * np.eye(2),
            origin=Origin(rate_hz=RATE_HZ, simulated=True),
        )
        return replace(take, response=response)


class _Windings:
    """The pickups as they are from take to take: how warm, how far off the stated resistance, how the field reaches the loops."""

    def __init__(self, rng, guitar, real, *, wrong_by=0.0):
        self.rng, self.guitar, self.real, self.wrong_by = rng, guitar, real, wrong_by
        self.read_c = rng.uniform(*READ_AT_C) if real else 20.0
        self.before_c = self.read_c + (rng.uniform(*real.kelvin) if real else 0.0)
        self.after_c = self.before_c + (rng.uniform(*real.kelvin_between) if real else 0.0)
        self.shares, self.seen = None, set()

    def _draw_shares(self, over):
        shares = {}
        for name, pickup in self.guitar.pickups.items():
            spread = self.real.beside_spread if name != over else self.real.share_spread if over in self.seen else 0.0
            shares[name] = [1 + spread * self.rng.uniform(-1, 1, len(coil.turns)) for coil in pickup.coils]
        self.seen.add(over)
        return shares

    def temperature_c(self, plan):
        return self.after_c if plan.is_after else self.before_c

    def pickups(self, plan):
        """Pickups in a planned take; a new placement draws the shares anew."""
        if self.real and (plan.coil_moved or self.shares is None):
            self.shares = self._draw_shares(plan.coil_over or next(iter(self.guitar.pickups)))
        ratio = (1 + self.wrong_by) * gp.copper_ratio(self.temperature_c(plan), self.read_c)
        return {
            name: gp.pickup_at(pickup, ratio=ratio, shares=self.shares[name] if self.shares else None)
            for name, pickup in self.guitar.pickups.items()
        }


def _fractions(guitar, settings):
    """Electrical fraction of each pot: 0 and 1 at the ends of its travel, drawn in between."""
    ends = {"0": 0.0, "10": 1.0}
    pots = [key.removeprefix("pot.") for key in guitar.marked if key.startswith("pot.")]
    at = {pot: settings.get(pot, "10") for pot in pots}
    return {pot: ends[label] if label in ends else guitar.parts[f"pot.{pot}@{label}"] for pot, label in at.items()}


def _circuit(guitar, plan, truths, leaks):
    """Circuit of a planned take."""
    over = plan.coil_over or next(iter(guitar.pickups))
    load = [("R", truths["input.resistance"])]
    load.append(("C", truths["input.capacitance"], truths.get("input.loss_tangent", 0.0)))
    if plan.added:
        key = added_key(plan.added)
        load.append(("C", truths[key], truths.get(f"{key}.loss_tangent", 0.0)))
    hot = next(iter(guitar.ends.values()))[0]
    side = "after" if plan.is_after else "before"
    circuit = gp.guitar_circuit(
        guitar,
        _fractions(guitar, plan.settings),
        position=_position(guitar, plan),
        drives={name: 1.0 if name == over else leaks.get((over, name), 0.0) for name in guitar.pickups},
        load=load,
        source={
            "exciter": None,
            "impedance": (TIP, "R", truths.get("series_resistor")),
            "plate": (hot, "C", truths.get(f"foil.{side}")),
        }[plan.method],
    )
    if plan.is_after and truths["added_to_hot"]:
        circuit.capacitors.append((hot, GROUND, truths["added_to_hot"]))
    return circuit


def added_key(text):
    """Name of the truth of a part clipped on: "added" for the usual one, "added.2n2" for another."""
    return "added" if text == ADDED else f"added.{text.split()[0]}"


def _position(guitar, plan):
    return plan.settings.get("selector", next(iter(guitar.heard), ""))


def _real_truths(rng, guitar, plans, real):
    """What parts and clips have beside their values, by name."""
    added = {added_key(plan.added): None for plan in plans if plan.added}
    return gp.draw_real_parts(rng, guitar.parts, real) | {
        "input.loss_tangent": rng.uniform(*real.cable_tangent),
        **{f"{key}.loss_tangent": rng.uniform(*real.added_tangent) for key in added},
    }


def _realise(seed, streams, guitar, plans, *, conditions, job=None, leaks=None, wrong="", wrong_by=0.0):
    """Draw the references and make every take; job holds what else there is to know, added_to_hot among it."""
    rng, kind, real = streams[0], conditions.references, conditions.real
    truths = {key: value for pickup in guitar.pickups.values() for key, value in pickup.truths.items()} | guitar.parts
    truths |= {
        "input.resistance": 1e6 * (1 + gp.scatter(rng, 0.01, kind)),
        "input.capacitance": 185e-12 + gp.scatter(rng, 3e-12, kind),
        "added": 1e-9 * (1 + gp.scatter(rng, 0.01, kind)),
        "series_resistor": 220e3 * (1 + gp.scatter(rng, 0.01, kind)),
        "added_to_hot": 0.0,
    }
    for text in dict.fromkeys(plan.added for plan in plans if plan.added not in ("", ADDED)):
        truths[added_key(text)] = NOMINAL_F[text] * (1 + gp.scatter(rng, 0.01, kind))
    truths |= job or {}
    if real:
        drawn = _real_truths(streams[4], guitar, plans, real)
        truths |= drawn
        guitar = replace(guitar, parts=guitar.parts | {key: value for key, value in drawn.items() if key.startswith(GUITARS_OWN)})
    if wrong and wrong != "dcr":
        truths[wrong] *= 1 + wrong_by
    windings = _Windings(streams[5], guitar, real, wrong_by=wrong_by if wrong == "dcr" else 0.0)
    bench, takes, leaks = _Bench(streams[1:4], conditions), {}, leaks or {}
    for plan in plans:
        pickups = windings.pickups(plan)
        as_it_is = replace(guitar, pickups=pickups)
        if plan.is_after and real and real.is_exchanged:
            as_it_is = replace(as_it_is, ends={name: ends[::-1] for name, ends in guitar.ends.items()})
        take = GuitarTake(
            name=plan.name,
            circuit=_circuit(as_it_is, plan, truths, leaks),
            gain=1.0,
            delay_s=0.0,
            response=None,
            settings=plan.settings,
            added=plan.added,
            coil_over=plan.coil_over,
            coil_moved=plan.coil_moved,
            method=plan.method,
            series_resistor=SERIES if plan.method == "impedance" else "",
            is_after=plan.is_after,
            is_heard=plan.coil_over in ("", *guitar.heard.get(_position(guitar, plan), ())),
            temperature_c=windings.temperature_c(plan),
            pickups=pickups,
            high_pass_hz=real.high_pass_hz if real else (0.0, 0.0),
            clock_ppm=real.clock_ppm if real else 0.0,
        )
        takes[plan.name] = bench.measure(plan, take)
    if real or wrong == "dcr":
        truths |= _winding_truths(takes, windings)
    return GuitarCase(
        seed=seed,
        takes=takes,
        truths=truths,
        marked=guitar.marked,
        dcr=guitar.dcr,
        instrument_toml=guitar.toml,
        leaks=leaks,
        guitar=guitar,
        dcr_temperature_c=windings.read_c,
        wrong=wrong,
        wrong_by=wrong_by,
    )


def _winding_truths(takes, windings):
    """Resistances as they were in the takes, and how much warmer than when they were read."""
    truths = {}
    for side, is_after in (("", False), (".after", True)):
        take = next((one for one in takes.values() if one.is_after is is_after), None)
        for name, pickup in take.pickups.items() if take else ():
            truths |= {f"{name}.dcr{side}": pickup.ohm, f"{name}.kelvin{side}": take.temperature_c - windings.read_c}
    return truths


def _streams(seed):
    """Guitar; references, gains, noise, misfit, what real parts have, windings, wrong references.

    They are drawn apart: other conditions leave the rest as it was.
    """
    guitar, *rest = np.random.default_rng(seed).spawn(8)
    return guitar, rest


def _reading(conditions):
    return {"references": conditions.references, "has_dcr": conditions.has_dcr}


UP, DOWN = {"volume": "10", "tone": "10"}, {"volume": "10", "tone": "0"}
ONE_PICKUP_TAKES = {
    "tone-up": _Plan(name="tone-up", settings=UP),
    "tone-up-plus-1n": _Plan(name="tone-up-plus-1n", settings=UP, added=ADDED),
    "tone-down": _Plan(name="tone-down", settings=DOWN),
    "tone-5": _Plan(name="tone-5", settings={"volume": "10", "tone": "5"}),
    "volume-6": _Plan(name="volume-6", settings={"volume": "6", "tone": "10"}),
    "volume-6-plus-22n": _Plan(name="volume-6-plus-22n", settings={"volume": "6", "tone": "10"}, added="22n ± 1%"),
    "volume-6-tone-down": _Plan(name="volume-6-tone-down", settings={"volume": "6", "tone": "0"}),
}
THREE_TAKES = ("tone-up", "tone-up-plus-1n", "tone-down")


def draw_one_pickup(seed, *, kind="loops", takes=THREE_TAKES, conditions=USUAL):
    """One pickup, volume, tone; kind of its losses as in `guitar_parts.draw_pickup`, takes from `ONE_PICKUP_TAKES`."""
    rng, streams = _streams(seed)
    guitar = gp.draw_one_pickup_guitar(rng, kind=kind, **_reading(conditions))
    return _realise(seed, streams, guitar, [ONE_PICKUP_TAKES[name] for name in takes], conditions=conditions)


def _draw_leaks(rng, names):
    """Field at the neighbours: 0.3 to 3 % of that under the coil, of either sign."""
    pairs = [(over, other) for over in names for other in names if over != other]
    return {pair: float(np.exp(rng.uniform(np.log(3e-3), np.log(3e-2)))) * float(rng.choice([-1.0, 1.0])) for pair in pairs}


def _placement(over, positions, *, tone, is_first):
    """Takes with the coil over one pickup: at all positions, with a part added and, where there is a tone pot, with it at 0."""
    plans = [_Plan(name=f"{over}-at-{position}", settings={"selector": position}, coil_over=over) for position in positions]
    plans.append(_Plan(name=f"{over}-plus-1n", settings={"selector": over}, added=ADDED, coil_over=over))
    if tone:
        plans.append(_Plan(name=f"{over}-tone-down", settings={"selector": over, tone: "0"}, coil_over=over))
    # its own position comes first: the gain of a placement is that of its first take
    plans.sort(key=lambda plan: plan.settings["selector"] != over)
    return [plans[0] if is_first else replace(plans[0], coil_moved=True), *plans[1:]]


def draw_three_pickups(seed, *, kind="one loop", out_of_phase="middle", is_stated=True, conditions=USUAL):
    """Three pickups, five positions; the coil over each in turn.

    out_of_phase: the pickup whose ends are swapped, or "" for none; is_stated: instrument.toml says so.
    """
    rng, streams = _streams(seed)
    reading = _reading(conditions)
    guitar = gp.draw_three_pickup_guitar(rng, kind=kind, out_of_phase=out_of_phase, is_stated=is_stated, **reading)
    plans = [
        plan
        for name in guitar.pickups
        for plan in _placement(name, gp.FIVE_POSITIONS, tone=gp.TONE_OF.get(name, ""), is_first=name == "bridge")
    ]
    return _realise(seed, streams, guitar, plans, conditions=conditions, leaks=_draw_leaks(rng, guitar.pickups))


def draw_four_pots(seed, *, kind="one loop", is_tone_before=True, conditions=USUAL):
    """Two pickups with a volume and a tone each, three positions; the coil over each in turn."""
    rng, streams = _streams(seed)
    guitar = gp.draw_four_pot_guitar(rng, kind=kind, is_tone_before=is_tone_before, **_reading(conditions))
    plans = [
        plan for name in guitar.pickups for plan in _placement(name, guitar.heard, tone=f"{name}-tone", is_first=name == "bridge")
    ]
    return _realise(seed, streams, guitar, plans, conditions=conditions, leaks=_draw_leaks(rng, guitar.pickups))


def draw_shielding(seed, *, kind="loops", added_f=None, conditions=USUAL):
    """Takes before and after a job that added a capacitance from hot node to ground (20 to 150 pF, or `added_f`; 0: nothing)."""
    rng, streams = _streams(seed)
    guitar = gp.draw_one_pickup_guitar(rng, kind=kind, **_reading(conditions))
    drawn = rng.uniform(20e-12, 150e-12)
    plans = []
    for side in ("before", "after"):
        plan = _Plan(name=side, settings=UP, is_after=side == "after", coil_moved=side == "after")
        plans += [plan, replace(plan, name=f"{side}-plus-1n", added=ADDED, coil_moved=False)]
    job = {"added_to_hot": drawn if added_f is None else added_f}
    return _realise(seed, streams, guitar, plans, conditions=conditions, job=job)


def draw_pair(seed, *, kind="loops", added_f=0.0, takes=THREE_TAKES, conditions=REAL):
    """The same takes before and after a job that added a capacitance across the pickup, or 0; the coil is put back between.

    Names are those of the takes behind "before-" and "after-".
    """
    rng, streams = _streams(seed)
    guitar = gp.draw_one_pickup_guitar(rng, kind=kind, **_reading(conditions))
    plans = []
    for side in ("before", "after"):
        for index, name in enumerate(takes):
            is_after = side == "after"
            plan = replace(ONE_PICKUP_TAKES[name], name=f"{side}-{name}", is_after=is_after)
            plans.append(replace(plan, coil_moved=is_after and index == 0))
    return _realise(seed, streams, guitar, plans, conditions=conditions, job={"added_to_hot": added_f})


def _bare_plans(added, repeats):
    """One take without and one with each part, so many times."""
    suffixes = [f"-{index + 1}" for index in range(repeats)] if repeats > 1 else [""]
    names = {"": "open", **{text: f"plus-{text.split()[0]}" for text in added}}
    return [_Plan(name=names[text] + suffix, settings={}, added=text) for suffix in suffixes for text in ("", *added)]


def draw_bare(seed, *, kind="loops", added=(ADDED,), repeats=1, conditions=USUAL):
    """A pickup straight at the jack, open and with each of the parts `added`, all of it `repeats` times."""
    rng, streams = _streams(seed)
    guitar = gp.draw_bare_pickup(rng, kind=kind, **_reading(conditions))
    return _realise(seed, streams, guitar, _bare_plans(added, repeats), conditions=conditions)


WRONG = ("dcr", "added", "input.resistance", "input.capacitance")


def draw_wrong_reference(
    seed, which, size=None, *, is_guitar=False, kind="loops", added=(ADDED,), takes=THREE_TAKES, conditions=USUAL
):
    """One reference really is (1 + size) of what is stated, beside the usual error; size 3 to 20 %, of either sign, where None.

    which: one of `WRONG`, or "added.2n2" where that part is clipped on. A pickup straight at the jack, or the one-pickup guitar.
    """
    rng, streams = _streams(seed)
    drawn = streams[6].uniform(0.03, 0.2) * streams[6].choice([-1.0, 1.0])
    draw = gp.draw_one_pickup_guitar if is_guitar else gp.draw_bare_pickup
    guitar = draw(rng, kind=kind, **_reading(conditions))
    plans = [ONE_PICKUP_TAKES[name] for name in takes] if is_guitar else _bare_plans(added, 1)
    by = float(drawn if size is None else size)
    return _realise(seed, streams, guitar, plans, conditions=conditions, wrong=which, wrong_by=by)


def draw_impedance(seed, *, kind="loops", is_with_exciter=False, conditions=USUAL):
    """Takes through a series resistor at the jack, tone up and down; the usual three takes before them, or none."""
    rng, streams = _streams(seed)
    guitar = gp.draw_one_pickup_guitar(rng, kind=kind, **_reading(conditions))
    plans = [ONE_PICKUP_TAKES[name] for name in THREE_TAKES] if is_with_exciter else []
    for name, settings in (("impedance-up", UP), ("impedance-down", DOWN)):
        plans.append(_Plan(name=name, settings=settings, method="impedance"))
    return _realise(seed, streams, guitar, plans, conditions=conditions)


def draw_plate(seed, *, kind="loops", conditions=USUAL):
    """The usual three takes, then a foil near the hot wiring before and after it was shielded."""
    rng, streams = _streams(seed)
    guitar = gp.draw_one_pickup_guitar(rng, kind=kind, **_reading(conditions))
    foil_f, kept = rng.uniform(0.1e-12, 1e-12), float(np.exp(rng.uniform(np.log(0.01), np.log(0.3))))
    plans = [ONE_PICKUP_TAKES[name] for name in THREE_TAKES]
    plans += [_Plan(name=f"plate-{side}", settings=UP, method="plate", is_after=side == "after") for side in ("before", "after")]
    job = {"foil.before": foil_f, "foil.after": foil_f * kept}
    return _realise(seed, streams, guitar, plans, conditions=conditions, job=job)
