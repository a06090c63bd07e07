"""Which pickups each switch position connects, in which polarity, in series or parallel.

From takes with the coil over each pickup in turn: the level that each pickup has left at a position tells how it is joined.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fit.answers.wiring.arrangement import Fitting, Joined, fit_levels, halved, is_split_alone
from fit.answers.wiring.levels import Reading, Reference, Tone, WiringTake, is_word, measure_levels, reduce_take

MUCH_LEAKAGE = 0.07  # [1] level of a pickup that is not connected, from which on it is said
LESS = 0.88  # [1] level of a pickup alone, below which coils seem to be missing, where no resonance is told
USUAL_HALF = 0.5  # [1] level of a split that no take shows alone
LOUDER = 1.3  # [1] level that says that the pickup was not whole where it was alone
HALF_RESONANCE = 1.2  # [1] over that of the whole, from which on coils are missing; other pickups and pots do less
PARALLEL_SPREAD = 0.12  # [1] of the level that coils in parallel leave, from one half
AS_IT_IS = "as it is"  # label of a position where nothing is stated
UNTURNED = "10"  # where a pot stands that a take does not state


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Position:
    """One switch position.

    Attributes
    ----------
    label : str
        For example ``"selector=neck"``.
    joined : Joined or None
        None where nothing is connected, or it is not decided.
    possible : tuple of Joined
        All arrangements that the levels allow.
    halves : dict
        Pickup that is alone with less than all of its coils to "split", "perhaps" where only the level says so, or ""
        where its coils may also be in parallel.
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
    switches : iterable of str
        Controls that are switches, where that is known; otherwise those set to words, or to different values.

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
        ", ".join(f"{name}={one[name]}" for name in row if name in one) or AS_IT_IS
        for row, one in zip(shown, controls, strict=True)
    ]


def judge_tones(
    pickups: Sequence[str], controls: Mapping[str, dict[str, str]], tones: Mapping[tuple[str, str], Tone]
) -> WiringAnswer:
    """Judge all factors together.

    Parameters
    ----------
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


# Pickups that are alone with less than the whole of their coils: the resonance tells, or else the level.
def _halves(
    readings: Mapping[tuple[str, str], Reading],
    tones: Mapping[tuple[str, str], Tone],
    references: Mapping[str, Reference],
    measured: Sequence[str],
) -> dict[tuple[str, str], str]:
    found = {}
    for key, one in readings.items():
        reference = references[key[0]].tone if key[0] in references else None
        if reference is None or not one.is_connected or not _is_alone(key[0], key[1], readings, measured):
            continue
        if tones[key].turned != reference.turned:  # a pot turned down takes level too
            continue
        whole, here, level = reference.resonance_hz, tones[key].resonance_hz, one.level or 0.0
        # coils in parallel leave half the level, however unequally they are driven; a single one need not
        word = "split" if abs(level - USUAL_HALF) > PARALLEL_SPREAD else ""
        if whole is not None and here is not None:
            if here > HALF_RESONANCE * whole:
                found[key] = word
        elif level + 2 * (one.level_std or 0.0) < LESS:
            found[key] = word and "perhaps"
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
    unsettled = [name for name in measured if here[name].is_connected is None]
    fitting = _fit(levels, std, readings, halves) if heard else Fitting(best=None, possible=())
    best = None if unsettled else fitting.best
    if len(heard) == 1 and not unsettled:
        name = next(iter(heard))
        best = Joined(kind="half" if (name, label) in halves else "one", name=name)
        fitting = Fitting(best=best, possible=(best,))
    needs = [f"the coil over {name} at {label}" for name in unsettled]
    if len(heard) > 1 and best is None and not unsettled and is_split_alone(fitting.possible):
        split = {one for joined in fitting.possible for one in halved(joined)}
        needs += [f"the coil over the middle of {name}, so that both of its coils take part alike" for name in sorted(split)]
    elif len(heard) > 1 and best is None and not unsettled:
        needs += [
            f"the coil over {name} at a position where it is the only one connected" for name in heard if name not in trusted
        ]
    return Position(
        label=label,
        controls=controls,
        readings=here,
        joined=best,
        possible=fitting.possible,
        halves={name: word for (name, position), word in halves.items() if position == label},
        is_complete=not unsettled,
        needs=tuple(needs),
    )


# With the levels that splits have where they are alone; where nothing fits, with half levels of any pickup.
def _fit(
    levels: Mapping[str, float | None],
    std: float,
    readings: Mapping[tuple[str, str], Reading],
    halves: Mapping[tuple[str, str], str],
) -> Fitting:
    known: dict[str, tuple[float, ...]] = {}
    for key in halves:
        known[key[0]] = (*known.get(key[0], ()), readings[key].level or USUAL_HALF)
    fitting = fit_levels(levels, std=std, halves=known)
    return fitting if fitting.possible else fit_levels(levels, std=std, halves=dict.fromkeys(levels, (USUAL_HALF,)) | known)
