"""Levels and signs of pickups at switch positions, what leaks into the neighbours taken out.

Well below the resonance a pickup's response is proportional to the frequency; its factor, over that of the same pickup where it
is alone, is the pickup's level at that position, and its sign the polarity.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.response import Response

BAND_HZ = (100.0, 500.0)  # [Hz] above most of the noise, below the resonance, where windings are resistances and a little more
HIGHEST_HZ = 18e3  # [Hz] up to which a resonance is looked for
LEAST_POINTS = 3
LEAST_PEAK = 1.05  # [1] over the level well below it, that tells a resonance
CONNECTED = 0.11  # [1] level above which a pickup counts as connected, what leaks into its neighbours taken out
ALONE = 0.22  # [1] of its loudest, what the coil over a pickup may leak into another where that one alone is connected
NEVER = 0.15  # [1] of the loudest pickup: one that stays below it everywhere is connected nowhere
MOVED_STD = 0.15  # [1] of a level, where the coil was laid down anew; common practice, no source
SIGN_RAD = 1.0  # [rad] phase beyond which neither sign is told


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WiringTake:
    """One take with the coil over one pickup.

    Attributes
    ----------
    pickup : str
        That the coil lay over.
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
    """What is left of a take: one complex factor, and its resonance.

    Attributes
    ----------
    take, pickup, position : str
        Its name, the pickup, the position's label.
    factor : complex
        Mean of the response over j times the frequency. [1/Hz]
    std : float
        Of `factor`, from the noise. [1/Hz]
    resonance_hz : float or None
        None where it is not reached. [Hz]
    turned : tuple of (str, str)
        Controls that are no switches, and where they stand.
    """

    take: str
    pickup: str
    position: str
    placement: int
    factor: complex
    std: float
    resonance_hz: float | None
    turned: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Reference:
    """What the levels of one pickup are relative to.

    Attributes
    ----------
    is_alone : bool
        No other pickup is connected there.
    column : dict
        Pickup that the coil lies over to the factor at that position, this pickup being the one that is connected. [1/Hz]
    """

    tone: Tone
    is_alone: bool
    column: dict[str, complex]


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


def reduce_take(take: WiringTake, label: str, *, switches: frozenset[str] = frozenset()) -> Tone:
    """Reduce a take to one factor.

    Parameters
    ----------
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
    factor, std, resonance = 0j, 0.0, None
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
        resonance = _resonance_hz(take.response, factor)
    return Tone(
        take=take.name,
        pickup=take.pickup,
        position=label,
        placement=take.placement,
        factor=factor,
        std=std,
        resonance_hz=resonance,
        turned=tuple((name, text) for name, text in sorted(take.controls.items()) if name not in switches and not is_word(text)),
    )


def measure_levels(
    tones: Mapping[tuple[str, str], Tone],
) -> tuple[dict[tuple[str, str], Reading], dict[str, Reference], float | None]:
    """Find levels and signs of all takes together.

    Parameters
    ----------
    tones : mapping
        Pickup and position to what is left of the take there; at least one.

    Returns
    -------
    readings : dict
        Pickup and position to level, sign, and whether it is connected.
    references : dict
        Pickup to what its levels are relative to; pickups that are connected nowhere are left out.
    leakage : float or None
        Largest factor of a pickup that is not connected, over its loudest; None where all are. [1]
    """
    measured = list(dict.fromkeys(name for name, _ in tones))
    loudest = {name: max(abs(tone.factor) for key, tone in tones.items() if key[0] == name) for name in measured}
    heard = [name for name in measured if loudest[name] > NEVER * max(loudest.values())]
    references = {name: _reference(name, tones, loudest, heard) for name in heard}
    readings = {key: Reading(take=tone.take, is_connected=False) for key, tone in tones.items()}
    for label in dict.fromkeys(label for _, label in tones):
        readings |= _without_leakage(label, tones, references)
    quiet = [
        abs(tones[key].factor) / loudest[key[0]]
        for key, one in readings.items()
        if one.is_connected is False and key[0] in references
    ]
    return _signed(readings, references), references, max(quiet) if quiet else None


def is_word(text: str) -> bool:
    """Say whether a setting is a word, as switches have, and not a rotation or a fraction.

    Parameters
    ----------
    text : str
        For example ``"neck"``, ``"7"``, ``"35%"``.

    Returns
    -------
    bool
        True for ``"neck"``.
    """
    return not text.removesuffix("%").replace(".", "", 1).isdigit()


# From place and height M of the peak, with those of a second-order low-pass: M² = Q²/(1 − 1/(4Q²)), fpeak² = f0²·(1 − 1/(2Q²)).
def _resonance_hz(response: Response, factor: complex) -> float | None:
    frequency_hz = response.frequency_hz
    inside = np.flatnonzero((frequency_hz >= BAND_HZ[1]) & (frequency_hz <= HIGHEST_HZ))
    if factor == 0 or len(inside) < LEAST_POINTS:
        return None
    height = np.abs(response.value[inside]) / (frequency_hz[inside] * abs(factor))
    best = int(np.argmax(height))
    if not 0 < best < len(inside) - 1 or height[best] < LEAST_PEAK:
        return None
    square = height[best] ** 2
    quality_square = (square + np.sqrt(square**2 - square)) / 2
    return float(frequency_hz[inside[best]] / np.sqrt(1 - 1 / (2 * quality_square)))


def _reference(name: str, tones: Mapping[tuple[str, str], Tone], loudest: Mapping[str, float], heard: Sequence[str]) -> Reference:
    """Take with a pickup alone, or its loudest: at the position where it stands out most from the others."""

    def others(label: str) -> list[float]:
        rows = [tones.get((other, label)) for other in heard if other != name]
        return [float("inf") if row is None else (abs(row.factor) + 2 * row.std) / loudest[row.pickup] for row in rows]

    own = {key[1]: tone for key, tone in tones.items() if key[0] == name}
    alone = {
        label: tone for label, tone in own.items() if max(others(label), default=0.0) < ALONE and _is_told(tone, loudest[name])
    }
    candidates = alone or own
    best = max(candidates.values(), key=lambda tone: abs(tone.factor))
    column = {key[0]: tone.factor for key, tone in tones.items() if key[1] == best.position} if alone else {name: best.factor}
    return Reference(tone=best, is_alone=bool(alone), column=column)


def _is_told(tone: Tone, loudest: float) -> bool:
    return abs(tone.factor) - 2 * tone.std > ALONE * loudest


# The coil over one pickup reaches all: the factors at a position are a mixture of those where each pickup is alone, and the
# shares are the levels, whatever the leakage. Without a take where it is alone, a pickup's own factor is all that is known.
def _without_leakage(
    label: str, tones: Mapping[tuple[str, str], Tone], references: Mapping[str, Reference]
) -> dict[tuple[str, str], Reading]:
    here = [name for name in references if (name, label) in tones]
    if not here:
        return {}
    mixture = np.array([[references[column].column.get(row, 0j) for column in here] for row in here])
    shares = np.linalg.solve(mixture, np.array([tones[name, label].factor for name in here]))
    found = {}
    for name, share in zip(here, shares, strict=True):
        tone, reference = tones[name, label], references[name].tone
        if tone.factor == 0:  # silent
            found[name, label] = Reading(take=tone.take, is_connected=False)
            continue
        level = float(abs(share))
        noise = float(np.hypot(tone.std, level * reference.std)) / abs(reference.factor)
        moved = MOVED_STD * level if tone.placement != reference.placement else 0.0
        connected = True if level - 2 * noise > CONNECTED else False if level + 2 * noise < CONNECTED else None
        found[name, label] = Reading(
            take=tone.take,
            is_connected=connected,
            level=level,
            level_std=float(np.hypot(moved, noise)),
            sign=_sign(share) if connected else 0,
        )
    return found


# Signs relative to the first pickup, then turned so that most pickups, where each is taken as reference, are positive.
def _signed(readings: Mapping[tuple[str, str], Reading], references: Mapping[str, Reference]) -> dict[tuple[str, str], Reading]:
    if not references:
        return dict(readings)
    zero = next(iter(references.values())).tone.factor
    own = {name: _sign(one.tone.factor / zero) for name, one in references.items()}
    turn = -1 if sum(own.values()) < 0 else 1
    return {key: replace(one, sign=turn * own[key[0]] * one.sign) if one.sign else one for key, one in readings.items()}


def _sign(ratio: complex) -> int:
    phase = abs(np.angle(ratio))
    return 1 if phase < SIGN_RAD else -1 if phase > np.pi - SIGN_RAD else 0
