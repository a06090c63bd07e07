"""Which pickups each switch position connects, in which polarity, in series or parallel.

From takes with the coil over each pickup in turn: the level that each pickup has left at a position tells how it is joined.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fit.answers.joined import Joined, fit_levels
from fit.answers.levels import Reading, Reference, Tone, WiringTake, is_word, measure_levels, reduce_take

MUCH_LEAKAGE = 0.07  # [1] level of a pickup that is not connected, from which on it is said
HALF_LEVEL = (0.35, 0.68)  # [1] of a humbucker with its coils split or parallel; its halves are seldom equal
LOUDER = 1.3  # [1] level that says that the pickup was not whole where it was alone
SPLIT_RESONANCE = 1.65  # [1] resonance over that of the whole: about √2 with half the inductance, 2 with a quarter
UNTURNED = "10"  # where a pot stands that a take does not state


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
    left_out : tuple of str
        Takes that add nothing: a second one of the same, or with a pot turned and fewer pickups measured.
    """

    pickups: tuple[str, ...]
    positions: tuple[Position, ...]
    leakage: float | None
    unheard: tuple[str, ...]
    unmeasured: tuple[str, ...]
    left_out: tuple[str, ...] = ()


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
    controls = [take.controls for take in takes]
    labels = label_positions(controls, known)
    needless = _needless(takes, labels, known)
    tones: dict[tuple[str, str], Tone] = {}
    stated: dict[str, dict[str, str]] = {}
    left_out = []
    for take, label in zip(takes, labels, strict=True):
        if label in needless or (take.pickup, label) in tones:
            left_out.append(take.name)
            continue
        stated.setdefault(label, take.controls)
        tones[take.pickup, label] = reduce_take(take, label, switches=known)
    names = tuple(dict.fromkeys([*pickups, *(take.pickup for take in takes)]))
    return replace(judge_tones(names, stated, tones), left_out=tuple(left_out))


# With a pot turned but fewer pickups measured than at the same position without, nothing is to be learned about the wiring.
def _needless(takes: Sequence[WiringTake], labels: Sequence[str], switches: frozenset[str]) -> set[str]:
    measured: dict[str, set[str]] = {}
    place: dict[str, tuple[tuple[str, str], ...]] = {}
    for take, label in zip(takes, labels, strict=True):
        measured.setdefault(label, set()).add(take.pickup)
        place[label] = tuple((name, text) for name, text in sorted(take.controls.items()) if name in switches or is_word(text))
    return {one for one in place for other in place if place[one] == place[other] and measured[one] < measured[other]}


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
    known, telling = set(switches), []
    for name in dict.fromkeys(name for one in controls for name in one):
        texts = {one.get(name, UNTURNED) for one in controls}
        if name in known or len(texts) > 1 or any(is_word(text) for text in texts):
            telling.append(name)
    shown = [[name for name in telling if name in known or one.get(name, UNTURNED) != UNTURNED] for one in controls]
    return [
        ", ".join(f"{name}={one[name]}" for name in row if name in one) or "as it is"
        for row, one in zip(shown, controls, strict=True)
    ]


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
    readings, references, leakage = measure_levels(tones)
    measured = [name for name in pickups if any(key[0] == name for key in tones)]
    trusted = {name for name, one in references.items() if one.is_alone and _highest(name, readings) < LOUDER}
    halves = _halves(readings, tones, references, measured)
    positions = tuple(
        _position(label, controls[label], readings, pickups=pickups, measured=measured, trusted=trusted, halves=halves)
        for label in controls
    )
    return WiringAnswer(
        pickups=tuple(pickups),
        positions=positions,
        leakage=leakage,
        unheard=tuple(name for name in measured if name not in references),
        unmeasured=tuple(name for name in pickups if name not in measured),
    )


def _is_alone(name: str, label: str, readings: Mapping[tuple[str, str], Reading], measured: Sequence[str]) -> bool:
    others = [readings.get((other, label)) for other in measured if other != name]
    return all(one is not None and one.is_connected is False for one in others)


def _highest(name: str, readings: Mapping[tuple[str, str], Reading]) -> float:
    return max((one.level or 0.0 for key, one in readings.items() if key[0] == name), default=0.0)


# Pickups that are alone with half their level somewhere, and what the resonance there says.
def _halves(
    readings: Mapping[tuple[str, str], Reading],
    tones: Mapping[tuple[str, str], Tone],
    references: Mapping[str, Reference],
    measured: Sequence[str],
) -> dict[tuple[str, str], str]:
    found = {}
    for key, one in readings.items():
        is_half = one.level is not None and HALF_LEVEL[0] <= one.level <= HALF_LEVEL[1]
        if not (one.is_connected and is_half):
            continue
        reference = references[key[0]].tone
        is_same = tones[key].turned == reference.turned  # a pot turned down takes level too
        if is_same and _is_alone(key[0], key[1], readings, measured):
            whole, here = reference.resonance_hz, tones[key].resonance_hz
            found[key] = "" if whole is None or here is None else "split" if here < SPLIT_RESONANCE * whole else "parallel coils"
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
