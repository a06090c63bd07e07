"""Did hum and noise change? Levels before and after a job, with the uncertainty of their difference."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fit.answers.figures import Estimate
from fit.answers.repeat.scatter import estimate_from_half
from measure.response import FloatArray

Verdict = Literal["changed", "not resolved"]

SUPPLY_BOUND = 0.1  # [1] of the mains voltage, up or down: EN 50160, from memory
SUPPLY_STD_DB = 20 * np.log10(1 + SUPPLY_BOUND) / np.sqrt(3)  # [dB] hum goes with the voltage; rectangular, JCGM 100, 4.3.7
UPPER = 0.975  # [1] of the t distribution: half of a 95 % interval


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NoiseTake:
    """Hum and noise of one take.

    Attributes
    ----------
    hum_dbfs, hum_std_db, hum_freedom : float or None, float, float
        All mains lines together [dBFS], None where none stands out; standard uncertainty [dB] and its degrees of freedom.
    hum_limit_dbfs : float or None
        Where none stands out: a line above would have been found. [dBFS]
    n_lines : int
        Mains lines that stand out.
    noise_dbfs, noise_std_db, noise_freedom : float or None, float, float
        Noise without the lines, likewise. [dBFS], [dB]
    condition : str
        What hum and noise depend on besides the job: controls, added parts. Like is compared with like.
    """

    name: str
    hum_dbfs: float | None
    hum_std_db: float = 0.0
    hum_freedom: float = np.inf
    hum_limit_dbfs: float | None = None
    n_lines: int = 0
    noise_dbfs: float | None = None
    noise_std_db: float = 0.0
    noise_freedom: float = np.inf
    condition: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LevelChange:
    """How a level changed.

    Attributes
    ----------
    change : Estimate or None
        After less before; None where it was heard on one side only, or on neither. [dB]
    bound_db : float or None
        Where it was heard on one side only: it changed by this at least, down where negative. [dB]
    verdict : {"changed", "not resolved"}
        Changed only where 0 lies outside of the 95 % interval.
    before_dbfs, after_dbfs : float or None
        Mean powers of the takes that were compared. [dBFS]
    scatter_db : float or None
        Standard deviation from take to take; None where each side has one take of a condition. [dB]
    n_before, n_after : int
        Takes that were compared.
    notes : tuple of str
        What the figure rests on, one line each.
    """

    change: Estimate | None
    bound_db: float | None
    verdict: Verdict
    before_dbfs: float | None
    after_dbfs: float | None
    scatter_db: float | None
    n_before: int
    n_after: int
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NoiseChange:
    """Change of hum and of the noise without it, with what holds for both."""

    hum: LevelChange
    noise: LevelChange
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Reading:
    """One level of one take."""

    dbfs: float
    std_db: float
    freedom: float
    condition: str
    is_after: bool


def compare_noise(before: Sequence[NoiseTake], after: Sequence[NoiseTake]) -> NoiseChange:
    """Compare hum and noise of takes before a job with those after it.

    Parameters
    ----------
    before, after : sequence of NoiseTake
        At least one each, made with the same input gain.

    Returns
    -------
    NoiseChange
        With standard uncertainty, 95 % interval and verdict.

    Raises
    ------
    ValueError
        If a side has no take, or a take is on both sides.

    Notes
    -----
    Least squares for one change common to all conditions, on levels in decibels: what differs from take to take (mains voltage,
    where the instrument lay) multiplies the power. Uncertainty is the larger of that of the levels (Welch and Satterthwaite,
    JCGM 100, G.4) and of the takes' scatter about the fit, each with its own t distribution; so a chance agreement of few takes
    narrows nothing.
    """
    if not before or not after:
        msg = f"{len(before)} take(s) before and {len(after)} after; at least one each is needed"
        raise ValueError(msg)
    both = sorted({take.name for take in before} & {take.name for take in after})
    if both:
        msg = f'the take "{both[0]}" is named before and after: a take belongs to one side'
        raise ValueError(msg)
    shared = {take.condition for take in before} & {take.condition for take in after}
    notes = ["Levels are relative to the input's full scale: they compare only where its gain was the same before and after."]
    if shared:
        unmatched = [take.name for take in (*before, *after) if take.condition not in shared]
        if unmatched:
            notes.append(f"Not compared, for want of a take with the same settings on the other side: {', '.join(unmatched)}.")
    else:
        notes.append("No take before has the settings of one after: what the settings do to hum and noise is in the change.")
    sides = [[take for take in side if not shared or take.condition in shared] for side in (before, after)]
    if not shared:
        sides = [[replace(take, condition="") for take in side] for side in sides]
    return NoiseChange(
        hum=_hum_change(sides[0], sides[1]),
        noise=_level_change(sides[0], sides[1], read=_read_noise, unknown_std_db=0.0, what="noise"),
        notes=tuple(notes),
    )


def _read_hum(take: NoiseTake, *, is_after: bool) -> _Reading | None:
    if take.hum_dbfs is None:
        return None
    return _Reading(
        dbfs=take.hum_dbfs,
        std_db=take.hum_std_db,
        freedom=take.hum_freedom,
        condition=take.condition,
        is_after=is_after,
    )


def _read_noise(take: NoiseTake, *, is_after: bool) -> _Reading | None:
    if take.noise_dbfs is None:
        return None
    return _Reading(
        dbfs=take.noise_dbfs,
        std_db=take.noise_std_db,
        freedom=take.noise_freedom,
        condition=take.condition,
        is_after=is_after,
    )


def _hum_change(before: list[NoiseTake], after: list[NoiseTake]) -> LevelChange:
    is_heard = [[take.hum_dbfs is not None for take in side] for side in (before, after)]
    if any(is_heard[0]) != any(is_heard[1]):
        return _one_sided(before, after)
    return _level_change(before, after, read=_read_hum, unknown_std_db=SUPPLY_STD_DB, what="hum")


def _one_sided(before: list[NoiseTake], after: list[NoiseTake]) -> LevelChange:
    """Hum that stands out of the noise on one side only: a bound of its change."""
    is_gone = any(take.hum_dbfs is not None for take in before)
    loud, silent = (before, after) if is_gone else (after, before)
    readings = [reading for take in loud if (reading := _read_hum(take, is_after=not is_gone)) is not None]
    level = float(np.mean([reading.dbfs for reading in readings]))
    half_db = max(_half_interval(reading.std_db, reading.freedom) for reading in readings)
    half_db = float(np.hypot(half_db, 1.96 * np.sqrt(2) * SUPPLY_STD_DB))
    limits = [take.hum_limit_dbfs for take in silent]
    side = "after" if is_gone else "before"
    word = "fell" if is_gone else "rose"
    bound_db = None
    text = f"No mains line stands out of the noise {side}"
    if all(limit is not None for limit in limits):
        # each of the lines heard on the other side may lie just below
        most = max(limit for limit in limits if limit is not None) + 10 * np.log10(max(1, *(take.n_lines for take in loud)))
        gap_db = level - half_db - most
        bound_db = None if gap_db <= 0 else float(-gap_db if is_gone else gap_db)
        text += (
            f": hum {word} by {gap_db:.1f} dB at least." if gap_db > 0 else ", and it may have been as loud as on the other side."
        )
    else:
        text += ", and how loud a line would have had to be is not known."
    return LevelChange(
        change=None,
        bound_db=bound_db,
        verdict="not resolved" if bound_db is None else "changed",
        before_dbfs=level if is_gone else None,
        after_dbfs=None if is_gone else level,
        scatter_db=None,
        n_before=len(before),
        n_after=len(after),
        notes=(text,),
    )


def _level_change(
    before: list[NoiseTake],
    after: list[NoiseTake],
    *,
    read: Callable[..., _Reading | None],
    unknown_std_db: float,
    what: str,
) -> LevelChange:
    readings = [reading for take in before if (reading := read(take, is_after=False)) is not None]
    n_before = len(readings)
    readings += [reading for take in after if (reading := read(take, is_after=True)) is not None]
    n_after = len(readings) - n_before
    notes = []
    n_lost = len(before) + len(after) - len(readings)
    shared = {r.condition for r in readings if r.is_after} & {r.condition for r in readings if not r.is_after}
    readings = [reading for reading in readings if reading.condition in shared]
    if not readings:
        text = "No hum was found on either side." if what == "hum" and n_lost else f"No {what} was measured on both sides."
        return _unknown(n_before, n_after, note=text)
    if n_lost:
        notes.append(f"Left out: {n_lost} take(s) in which no {what} could be told.")
    change_db, std_db, half_db, scatter_db = _fit_change(readings, unknown_std_db=unknown_std_db)
    if scatter_db is None:
        notes.append(_unknown_scatter(what))
    return LevelChange(
        change=estimate_from_half(change_db, std=std_db, half=half_db, unit="dB"),
        bound_db=None,
        verdict="changed" if abs(change_db) > half_db else "not resolved",
        before_dbfs=_mean_dbfs([reading for reading in readings if not reading.is_after]),
        after_dbfs=_mean_dbfs([reading for reading in readings if reading.is_after]),
        scatter_db=scatter_db,
        n_before=sum(not reading.is_after for reading in readings),
        n_after=sum(reading.is_after for reading in readings),
        notes=tuple(notes),
    )


def _unknown(n_before: int, n_after: int, *, note: str) -> LevelChange:
    return LevelChange(
        change=None,
        bound_db=None,
        verdict="not resolved",
        before_dbfs=None,
        after_dbfs=None,
        scatter_db=None,
        n_before=n_before,
        n_after=n_after,
        notes=(note,),
    )


def _unknown_scatter(what: str) -> str:
    text = f"One take a side: how much {what} differs from one day to the next is not known"
    if what == "hum":
        text += f", and only the mains voltage (within {100 * SUPPLY_BOUND:.0f} %) is allowed for"
    return f"{text}. Two or three takes before and after would tell."


def _fit_change(readings: list[_Reading], *, unknown_std_db: float) -> tuple[float, float, float, float | None]:
    """Change, its standard uncertainty, half of its 95 % interval, and scatter from take to take, all in dB."""
    conditions = sorted({reading.condition for reading in readings})
    design = np.zeros((len(readings), len(conditions) + 1))
    for row, reading in enumerate(readings):
        design[row, conditions.index(reading.condition)] = 1.0
        design[row, -1] = float(reading.is_after)
    level: FloatArray = np.array([reading.dbfs for reading in readings])
    inverse = np.linalg.pinv(design)
    fitted = inverse @ level
    weight = inverse[-1] ** 2
    parts = weight * np.array([reading.std_db for reading in readings]) ** 2
    std_db = float(np.sqrt(parts.sum()))
    lost = float(np.sum(parts**2 / np.array([reading.freedom for reading in readings])))
    half_db = _half_interval(std_db, parts.sum() ** 2 / lost if lost > 0 else np.inf)
    freedom = len(readings) - design.shape[1]
    if freedom == 0:
        unknown_db = float(unknown_std_db * np.sqrt(weight.sum()))
        std_db = float(np.hypot(std_db, unknown_db))
        return float(fitted[-1]), std_db, float(np.hypot(half_db, _half_interval(unknown_db, np.inf))), None
    scatter_db = float(np.sqrt(np.sum((level - design @ fitted) ** 2) / freedom))
    seen_db = float(scatter_db * np.sqrt(weight.sum()))
    return float(fitted[-1]), max(std_db, seen_db), max(half_db, _half_interval(seen_db, freedom)), scatter_db


def _half_interval(std: float, freedom: float) -> float:
    """Half of a 95 % interval, by the t distribution."""
    from scipy.special import ndtri, stdtrit

    return float(std * (stdtrit(freedom, UPPER) if np.isfinite(freedom) else ndtri(UPPER)))


def _mean_dbfs(readings: list[_Reading]) -> float:
    """Level of the mean power."""
    return float(10 * np.log10(np.mean([10 ** (reading.dbfs / 10) for reading in readings])))
