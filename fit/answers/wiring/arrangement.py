"""How pickups can be joined: every arrangement in series and parallel, and which of them fits the level that each one has left.

The level of a pickup is its output over that of the same pickup alone, well below the resonance. In parallel the levels add up
to 1, whatever the impedances; in series each keeps 1 of its own (less what the pots take). From these two rules follows, for any
nested arrangement, what the levels must be, without knowing any impedance.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["one", "half", "series", "parallel"]
LARGEST = 4  # pickups joined at once; five would have 472 arrangements, and no guitar has them
WHOLE = {  # [1] amplitude of a whole arrangement: pots load pickups in series more than one alone, and those in parallel less
    "one": (0.82, 1.08),
    "half": (0.82, 1.15),
    "series": (0.94, 1.05),
    "parallel": (0.96, 1.14),
}
SERIES_LOSS = 0.05  # [1] that each pickup in series may lose to the pots
HALF_COST = 0.02  # [1] what the assumption of a split costs against one without
UNTOLD = tuple(0.25 + 0.05 * step for step in range(16))  # [1] levels that a pickup without a take may have
FITS = 0.15  # [1] misfit of levels up to which an arrangement is believed
APART = 0.10  # [1] by which the next arrangement must fit worse


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """One pickup, or several joined.

    Attributes
    ----------
    kind : {"one", "half", "series", "parallel"}
        A half is a humbucker with its coils split or parallel.
    name : str
        Of the pickup; empty where several are joined.
    members : tuple of Joined
        At least two, in the order of their names; empty for one pickup.
    """

    kind: Kind
    name: str = ""
    members: tuple["Joined", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """Arrangements that the levels leave possible.

    Attributes
    ----------
    best : Joined or None
        None where no arrangement fits, or more than one does.
    possible : tuple of Joined
        The best first; empty where none fits.
    """

    best: Joined | None
    possible: tuple[Joined, ...]


def arrangements(names: tuple[str, ...]) -> Iterator[Joined]:
    """Go through every arrangement in series and parallel.

    Parameters
    ----------
    names : tuple of str
        Pickups, at least one.

    Yields
    ------
    Joined
        1, 2, 8, 52 of them for one to four pickups.
    """
    if len(names) == 1:
        yield Joined(kind="one", name=names[0])
        return
    kinds: tuple[Kind, ...] = ("parallel", "series")
    for kind in kinds:
        for groups in _partitions(names):
            if len(groups) > 1:
                inner = [[one for one in arrangements(group) if one.kind != kind] for group in groups]
                for members in itertools.product(*inner):
                    yield Joined(kind=kind, members=members)


def fit_levels(
    levels: Mapping[str, float | None], *, std: float, halves: Mapping[str, tuple[float, ...]] | None = None
) -> Fitting:
    """Find the arrangement that fits the levels.

    Parameters
    ----------
    levels : mapping of str to (float or None)
        Pickup to its level; None where it is connected but its level is not known. At least one. [1]
    std : float
        Standard uncertainty of the levels. [1]
    halves : mapping of str to tuple of float, or None
        Pickups that may be split, or have their coils in parallel, to the levels that they may have then, alone. [1]

    Returns
    -------
    Fitting
        What fits.
    """
    names = tuple(sorted(levels))
    if len(names) > LARGEST:
        return Fitting(best=None, possible=())
    splittable = {name: shares for name, shares in (halves or {}).items() if name in levels and shares}
    ways = [(None, *shares) for shares in splittable.values()]
    splits = [
        {name: share for name, share in zip(splittable, way, strict=True) if share is not None}
        for way in itertools.product(*ways)
    ]
    candidates = [(_halve(plain, split), split) for plain in arrangements(names) for split in splits]
    ranked = sorted(
        ((_misfit(joined, levels, split) + HALF_COST * len(split), joined) for joined, split in candidates),
        key=lambda row: row[0],
    )
    least = ranked[0][0]
    if least > FITS + std:
        return Fitting(best=None, possible=())
    possible = tuple(dict.fromkeys(one for misfit, one in ranked if misfit < least + APART + std))
    return Fitting(best=possible[0] if len(possible) == 1 else None, possible=possible)


def joined_text(joined: Joined, *, is_inner: bool = False) -> str:
    """Arrangement in words.

    Parameters
    ----------
    joined : Joined
        What is joined.
    is_inner : bool
        Inside another one.

    Returns
    -------
    str
        For example ``"bridge in series with (middle parallel to neck)"``.

    Examples
    --------
    >>> one, two = Joined(kind="one", name="bridge"), Joined(kind="half", name="neck")
    >>> joined_text(Joined(kind="parallel", members=(one, two)))
    'bridge parallel to half of neck'
    """
    if joined.kind in ("one", "half"):
        return f"half of {joined.name}" if joined.kind == "half" else joined.name
    word = " in series with " if joined.kind == "series" else " parallel to "
    text = word.join(joined_text(member, is_inner=True) for member in joined.members)
    return f"({text})" if is_inner else text


def halved(joined: Joined) -> tuple[str, ...]:
    """List the pickups that are split in an arrangement.

    Parameters
    ----------
    joined : Joined
        What is joined.

    Returns
    -------
    tuple of str
        Those of which a half is joined.
    """
    if joined.kind in ("one", "half"):
        return (joined.name,) if joined.kind == "half" else ()
    return tuple(name for member in joined.members for name in halved(member))


def is_split_alone(possible: Sequence[Joined]) -> bool:
    """Say whether arrangements differ only in which pickups are split.

    Parameters
    ----------
    possible : sequence of Joined
        What the levels leave possible.

    Returns
    -------
    bool
        False where there is none.
    """
    return len({_halve(one, {}) for one in possible}) == 1


# Amplitude of an arrangement, were it alone, and how far its members in series differ from each other.
def _amplitude(joined: Joined, levels: Mapping[str, float], split: Mapping[str, float]) -> tuple[float, float]:
    if joined.kind in ("one", "half"):
        return levels[joined.name] / split.get(joined.name, 1.0), 0.0
    inner = [_amplitude(member, levels, split) for member in joined.members]
    amplitudes, misfit = [one for one, _ in inner], max(spread for _, spread in inner)
    if joined.kind == "parallel":
        return sum(amplitudes), misfit
    return sum(amplitudes) / len(amplitudes), max(misfit, max(amplitudes) - min(amplitudes))


def _misfit(joined: Joined, levels: Mapping[str, float | None], split: Mapping[str, float]) -> float:
    low, high = WHOLE[joined.kind]
    low -= SERIES_LOSS * len(joined.members) if joined.kind == "series" else 0.0
    untold = [name for name, level in levels.items() if level is None]
    least = float("inf")
    for guess in itertools.product(UNTOLD, repeat=len(untold)):
        told = {name: level for name, level in levels.items() if level is not None} | dict(zip(untold, guess, strict=True))
        amplitude, spread = _amplitude(joined, told, split)
        least = min(least, max(spread, low - amplitude, amplitude - high, 0.0))
    return least


def _halve(joined: Joined, split: Mapping[str, float]) -> Joined:
    if joined.kind in ("one", "half"):
        return replace(joined, kind="half" if joined.name in split else "one")
    return replace(joined, members=tuple(_halve(member, split) for member in joined.members))


def _partitions(names: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], ...]]:
    if not names:
        yield ()
        return
    first, rest = names[0], names[1:]
    for size in range(len(rest) + 1):
        for others in itertools.combinations(rest, size):
            left = tuple(name for name in rest if name not in others)
            for groups in _partitions(left):
                yield ((first, *others), *groups)
