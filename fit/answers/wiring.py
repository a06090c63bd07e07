"""Which pickups each switch position connects, in which polarity, in series or parallel.

From takes with the coil over each pickup in turn. Well below the resonance a pickup's response is proportional to the frequency;
its factor, over that of the same pickup where it is alone, is the pickup's level at that position, and its sign the polarity.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.answers.joined import Joined, fit_levels
from measure.response import FloatArray, Response

BAND_HZ = (100.0, 500.0)  # [Hz] above most of the noise, below the resonance, where windings are resistances and a little more
PEAK_HZ = (1e3, 18e3)  # [Hz] where resonances lie
LEAST_POINTS = 3
CONNECTED = 0.11  # [1] level above which a pickup counts as connected; the exciter reaches neighbours with a few percent
MUCH_LEAKAGE = 0.07  # [1] level of a pickup that is not connected, from which on it is said
NEVER = 0.15  # [1] of the loudest pickup: one that stays below it everywhere is connected nowhere
MOVED_STD = 0.15  # [1] of a level, where the coil was laid down anew; common practice, no source
HALF_LEVEL = (0.35, 0.68)  # [1] of a humbucker with its coils split or parallel; its halves are seldom equal
LOUDER = 1.3  # [1] level that says that the pickup was not whole where it was alone
SPLIT_PEAK = 1.65  # [1] resonance over that of the whole: about √2 with half the inductance, 2 with a quarter
PEAK_HEIGHT = 1.06  # [1] of a resonance over the level well below it; lower ones are not told
SIGN_RAD = 1.0  # [rad] phase beyond which neither sign is told


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WiringTake:
    """One take with the coil over one pickup.

    Attributes
    ----------
    name : str
        Of the take.
    pickup : str
        That the coil lay over.
    controls : dict of str to str
        As stated.
    placement : int
        Between takes of one placement the coil was not moved.
    response : Response or None
        None where nothing but noise arrived.
    """

    name: str
    pickup: str
    controls: dict[str, str]
    placement: int
    response: Response | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tone:
    """What is left of a take: one complex factor, and where it peaks.

    Attributes
    ----------
    take, pickup, position : str
        Its name, the pickup, the position's label.
    placement : int
        Of the take.
    factor : complex
        Mean of the response over j times the frequency. [1/Hz]
    std : float
        Of `factor`, from the noise. [1/Hz]
    peak_hz : float or None
        Resonance; None where none stands out. [Hz]
    turned : tuple of (str, str)
        Controls that are no switches, and where they stand.
    """

    take: str
    pickup: str
    position: str
    placement: int
    factor: complex
    std: float
    peak_hz: float | None
    turned: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Reading:
    """One pickup at one position.

    Attributes
    ----------
    take : str or None
        None where there is no take.
    is_connected : bool or None
        None where that is not told.
    level, level_std : float or None
        Over the same pickup alone, or where it is loudest. [1]
    sign : int
        +1 or −1, relative to most of the pickups; 0 where it is not told.
    """

    take: str | None = None
    is_connected: bool | None = None
    level: float | None = None
    level_std: float | None = None
    sign: int = 0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Position:
    """One switch position.

    Attributes
    ----------
    label : str
        For example ``"selector=neck"``.
    controls : dict of str to str
        Of its takes.
    readings : dict
        Pickup to what is told of it.
    joined : Joined or None
        None where nothing is connected, or it is not decided.
    possible : tuple of Joined
        All arrangements that the levels allow.
    halves : dict
        Pickup with half its level to "split", "parallel coils" or "" where its resonance does not tell which.
    is_complete : bool
        Every pickup's reading is known here.
    needs : tuple of str
        Takes that would decide, one line each.
    """

    label: str
    controls: dict[str, str]
    readings: dict[str, Reading]
    joined: Joined | None
    possible: tuple[Joined, ...]
    halves: dict[str, str]
    is_complete: bool
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WiringAnswer:
    """All positions.

    Attributes
    ----------
    pickups : tuple of str
        Those of the instrument, or those that the coil lay over.
    positions : tuple of Position
        In the order of the takes.
    leakage : float or None
        Largest level of a pickup that is not connected; None where all are. [1]
    unheard : tuple of str
        Pickups that are connected at none of their takes.
    unmeasured : tuple of str
        Pickups that the coil never lay over.
    """

    pickups: tuple[str, ...]
    positions: tuple[Position, ...]
    leakage: float | None
    unheard: tuple[str, ...]
    unmeasured: tuple[str, ...]


def read_wiring(takes: Sequence[WiringTake], *, pickups: Sequence[str] = (), switches: Iterable[str] = ()) -> WiringAnswer:
    """Find what each position connects.

    Parameters
    ----------
    takes : sequence of WiringTake
        At least one.
    pickups : sequence of str
        Of the instrument, where it is known.
    switches : iterable of str
        Controls that are switches, where that is known; otherwise those set to words, or to different values.

    Returns
    -------
    WiringAnswer
        In the order of the takes.

    Raises
    ------
    ValueError
        If there is no take, or one has too few frequencies between 100 and 500 Hz.
    """
    if not takes:
        msg = "no take is named: wiring needs takes with the coil over each pickup, at each position"
        raise ValueError(msg)
    known = frozenset(switches)
    labels = label_positions([take.controls for take in takes], known)
    tones: dict[tuple[str, str], Tone] = {}
    controls: dict[str, dict[str, str]] = {}
    for take, label in zip(takes, labels, strict=True):
        controls.setdefault(label, take.controls)
        tones.setdefault((take.pickup, label), reduce_take(take, label, switches=known))
    names = tuple(dict.fromkeys([*pickups, *(take.pickup for take in takes)]))
    return judge_tones(names, controls, tones)


def label_positions(controls: Sequence[Mapping[str, str]], switches: Iterable[str] = ()) -> list[str]:
    """Name the position of each take by the controls that make it.

    Parameters
    ----------
    controls : sequence of mapping
        Of each take.
    switches : iterable of str
        Known switches.

    Returns
    -------
    list of str
        For example ``"selector=neck"``; ``"as it is"`` where nothing is stated.
    """
    told = list(dict.fromkeys(name for one in controls for name in one))
    known = set(switches)
    telling = [
        name
        for name in told
        if name in known
        or len({one.get(name, "") for one in controls}) > 1
        or any(_is_word(one.get(name, "0")) for one in controls)
    ]
    return [", ".join(f"{name}={one[name]}" for name in telling if name in one) or "as it is" for one in controls]


def reduce_take(take: WiringTake, label: str, *, switches: frozenset[str] = frozenset()) -> Tone:
    """Reduce a take to one factor.

    Parameters
    ----------
    take : WiringTake
        As it is.
    label : str
        Of its position.
    switches : frozenset of str
        Known switches; those set to words are taken as such too.

    Returns
    -------
    Tone
        Factor 0 where the take is silent.

    Raises
    ------
    ValueError
        If it has too few frequencies between 100 and 500 Hz.
    """
    factor, std, peak = 0j, 0.0, None
    if take.response is not None:
        frequency_hz = take.response.frequency_hz
        inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
        if np.count_nonzero(inside) < LEAST_POINTS:
            low, high = BAND_HZ
            msg = f'the take "{take.name}" has fewer than {LEAST_POINTS} frequencies between {low:g} and {high:g} Hz'
            raise ValueError(msg)
        weight = frequency_hz[inside] / np.sum(frequency_hz[inside])  # a compromise between white noise and hum
        factor = complex(np.sum(weight * take.response.value[inside] / (1j * frequency_hz[inside])))
        variance = np.trace(take.response.covariance[inside], axis1=1, axis2=2) / frequency_hz[inside] ** 2
        std = float(np.sqrt(np.sum(weight**2 * variance)))
        peak = _peak_hz(frequency_hz, np.abs(take.response.value) / frequency_hz, abs(factor))
    return Tone(
        take=take.name,
        pickup=take.pickup,
        position=label,
        placement=take.placement,
        factor=factor,
        std=std,
        peak_hz=peak,
        turned=tuple((name, text) for name, text in sorted(take.controls.items()) if name not in switches and not _is_word(text)),
    )


def judge_tones(
    pickups: Sequence[str], controls: Mapping[str, dict[str, str]], tones: Mapping[tuple[str, str], Tone]
) -> WiringAnswer:
    """Judge all factors together.

    Parameters
    ----------
    pickups : sequence of str
        All of them.
    controls : mapping
        Position to its controls.
    tones : mapping
        Pickup and position to the factor there.

    Returns
    -------
    WiringAnswer
        In the order of `controls`.
    """
    loudest = {name: max((abs(tone.factor) for key, tone in tones.items() if key[0] == name), default=0.0) for name in pickups}
    measured = [name for name in pickups if any(key[0] == name for key in tones)]
    unheard = [name for name in measured if loudest[name] <= NEVER * max(loudest.values())]
    first = {key: _reading(tone, loudest[key[0]], is_unheard=key[0] in unheard) for key, tone in tones.items()}
    references = {}
    for name in measured:
        alone = [
            key for key, one in first.items() if key[0] == name and one.is_connected and _is_alone(name, key[1], first, measured)
        ]
        candidates = alone or [key for key in first if key[0] == name]
        best = max(candidates, key=lambda key: abs(tones[key].factor))
        references[name] = (tones[best], bool(alone))
    readings = {key: _relative(tones[key], one, references[key[0]][0]) for key, one in first.items()}
    readings = _signed(readings, tones, references)
    trusted = {name for name, (_, is_alone) in references.items() if is_alone and _highest(name, readings) < LOUDER}
    halves = _halves(readings, tones, references, measured)
    positions = tuple(
        _position(label, controls[label], readings, pickups=pickups, measured=measured, trusted=trusted, halves=halves)
        for label in controls
    )
    quiet = [one.level for one in readings.values() if one.is_connected is False and one.level is not None]
    return WiringAnswer(
        pickups=tuple(pickups),
        positions=positions,
        leakage=max(quiet) if quiet else None,
        unheard=tuple(unheard),
        unmeasured=tuple(name for name in pickups if name not in measured),
    )


def _is_word(text: str) -> bool:
    return not text.removesuffix("%").replace(".", "", 1).isdigit()


def _peak_hz(frequency_hz: FloatArray, level: FloatArray, low_level: float) -> float | None:
    inside = np.flatnonzero((frequency_hz >= PEAK_HZ[0]) & (frequency_hz <= PEAK_HZ[1]))
    if len(inside) < LEAST_POINTS:
        return None
    best = inside[np.argmax(level[inside])]
    is_inner = inside[0] < best < inside[-1]
    return float(frequency_hz[best]) if is_inner and level[best] > PEAK_HEIGHT * low_level else None


def _reading(tone: Tone, loudest: float, *, is_unheard: bool) -> Reading:
    if loudest == 0 or is_unheard:
        return Reading(take=tone.take, is_connected=False, level=0.0, level_std=0.0)
    level, noise = abs(tone.factor) / loudest, tone.std / loudest
    connected = True if level - 2 * noise > CONNECTED else False if level + 2 * noise < CONNECTED else None
    return Reading(take=tone.take, is_connected=connected, level=level, level_std=noise)


def _is_alone(name: str, label: str, readings: Mapping[tuple[str, str], Reading], measured: Sequence[str]) -> bool:
    others = [readings.get((other, label)) for other in measured if other != name]
    return all(one is not None and one.is_connected is False for one in others)


# Level over that of the reference; a coil laid down anew adds its own uncertainty.
def _relative(tone: Tone, reading: Reading, reference: Tone) -> Reading:
    if reading.level == 0 or reference.factor == 0:
        return reading
    level = abs(tone.factor) / abs(reference.factor)
    moved = MOVED_STD * level if tone.placement != reference.placement else 0.0
    noise = float(np.hypot(tone.std, level * reference.std)) / abs(reference.factor)
    return replace(reading, level=level, level_std=float(np.hypot(moved, noise)))


# Signs relative to the first pickup, then turned so that most pickups, where each is taken as reference, are positive.
def _signed(
    readings: Mapping[tuple[str, str], Reading],
    tones: Mapping[tuple[str, str], Tone],
    references: Mapping[str, tuple[Tone, bool]],
) -> dict[tuple[str, str], Reading]:
    heard = [name for name in references if any(key[0] == name and one.is_connected for key, one in readings.items())]
    if not heard:
        return dict(readings)
    zero = references[heard[0]][0].factor
    own = [_sign(references[name][0].factor / zero) for name in heard]
    turn = -1 if sum(own) < 0 else 1
    return {
        key: replace(one, sign=turn * _sign(tones[key].factor / zero)) if one.is_connected else one
        for key, one in readings.items()
    }


def _sign(ratio: complex) -> int:
    phase = abs(np.angle(ratio))
    return 1 if phase < SIGN_RAD else -1 if phase > np.pi - SIGN_RAD else 0


def _highest(name: str, readings: Mapping[tuple[str, str], Reading]) -> float:
    return max((one.level or 0.0 for key, one in readings.items() if key[0] == name), default=0.0)


# Pickups that are alone with half their level somewhere, and what the resonance there says.
def _halves(
    readings: Mapping[tuple[str, str], Reading],
    tones: Mapping[tuple[str, str], Tone],
    references: Mapping[str, tuple[Tone, bool]],
    measured: Sequence[str],
) -> dict[tuple[str, str], str]:
    found = {}
    for key, one in readings.items():
        is_half = one.level is not None and HALF_LEVEL[0] <= one.level <= HALF_LEVEL[1]
        reference = references[key[0]][0]
        is_half = is_half and tones[key].turned == reference.turned  # a pot turned down takes level too
        if one.is_connected and is_half and _is_alone(key[0], key[1], readings, measured):
            whole, here = reference.peak_hz, tones[key].peak_hz
            found[key] = "" if whole is None or here is None else "split" if here < SPLIT_PEAK * whole else "parallel coils"
    return found


def _position(
    label: str,
    controls: dict[str, str],
    readings: Mapping[tuple[str, str], Reading],
    *,
    pickups: Sequence[str],
    measured: Sequence[str],
    trusted: set[str],
    halves: Mapping[tuple[str, str], str],
) -> Position:
    here = {name: readings.get((name, label), Reading()) for name in pickups}
    heard = {name: one for name, one in here.items() if one.is_connected}
    levels = {name: one.level if name in trusted else None for name, one in heard.items()}
    std = max([one.level_std or 0.0 for one in heard.values()], default=0.0)
    splittable = frozenset(name for name, _ in halves)
    unsettled = [name for name in measured if here[name].is_connected is None]
    fitting = fit_levels(levels, std=std, halves=splittable) if heard else None
    possible = () if fitting is None else fitting.possible
    best = None if fitting is None or unsettled else fitting.best
    if best is None and len(heard) == 1 and not unsettled:
        best = Joined(kind="one", name=next(iter(heard)))  # alone, whatever takes part of its level
    needs = [f"the coil over {name} at {label}" for name in unsettled]
    if len(heard) > 1 and best is None and not unsettled:
        needs += [
            f"the coil over {name} at a position where it is the only one connected" for name in heard if name not in trusted
        ]
    return Position(
        label=label,
        controls=controls,
        readings=here,
        joined=best,
        possible=possible if heard else (),
        halves={name: word for (name, position), word in halves.items() if position == label},
        is_complete=not unsettled,
        needs=tuple(needs),
    )
