"""Whether the stream of samples kept time: stretched, drifting, or broken."""

from dataclasses import dataclass

import numpy as np

from measure.response import Finding, FloatArray, Severity, median
from measure.signal.arrival import STEP_S, Arrival

MISMATCH = 2e-3  # [1] a stretch of the sweep above it is not a clock's tolerance but another sample rate
DRIFT_WARN_PPM = 20.0  # [1e-6] two clocks; crystals on one card share theirs
DRIFT_REJECT_PPM = 300.0  # [1e-6] the sweep is smeared by more than a sample within a response
DRIFT_LEAST_S = 3e-5  # [s] over the whole sweep: what the interface's own filters can imitate
CLEAR = 30.0  # [1] gain over noise of a block whose delay can be trusted
CRUDE_FROM_HZ = 100.0  # [Hz] below, coupling capacitors delay too
CRUDE_LAG = 8  # [blocks] over which a slope is taken
CRUDE_SCATTER = 0.02  # [1] of those slopes; noise scatters by more than 1
JUMP_S = 5e-3  # [s] in the arrival; no response changes its delay by as much from one block to the next
JUMP_SPANS = (1, 3, 6)  # [blocks]
COMMON_RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
BLOCKS_HIT = 1.7  # [blocks] on each side of a burst that do not tell the delay
BURST = 6.0  # [1] the unpredicted over its surroundings; noise alone reaches 1.6
BURST_REJECT = 0.01  # [1] of the predicted level there, reference channel
BURST_WARN = 0.001  # [1]
PICKUP_REJECT = 0.03  # [1] of the pickup's highest predicted level: smaller ones may be clicks from outside
PICKUP_WARN = 0.01  # [1]
HARMONICS_ROOM = 3.0  # [1] times the harmonics that a burst has to exceed
NEAR_STEPS, FAR_STEPS = 6, 20  # [1] steps of `STEP_S` whose median is a burst's surroundings
LEAST_STEP = 0.7  # [samples] in the arrival that make a break of a disturbance
STEP_OVER_SCATTER = 8.0  # [1]
SAME_S = 0.1  # [s] what lies closer is one event
EARLY_S = 2e-4  # [s] by which no physics lets the pickup come before the reference
LATE_S = 3e-3  # [s] by which no pickup lags at its highest notes


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Burst:
    """A moment that the response does not explain.

    Attributes
    ----------
    time_s : float
        In the recording. [s]
    size : float
        Rms over `STEP_S`, over the level it is compared with.
    """

    time_s: float
    size: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pace:
    """How the arrival of the stimulus moves with time.

    Attributes
    ----------
    rate : float or None
        Seconds of delay gained in a second; None where too little of the stimulus is clear.
    gain_corner_hz, low_corner_hz : float
        Of the first-order corners that magnitude and delay of the reference show. [Hz]
    steps_s : tuple of float
        By how much later each burst leaves what follows it. [s]
    scatter_s : float
        Median of what the fit leaves of the delays. [s]
    """

    rate: float | None
    gain_corner_hz: float = np.inf
    low_corner_hz: float = 0.0
    steps_s: tuple[float, ...] = ()
    scatter_s: float = 0.0


def crude_pace(arrival: Arrival) -> float | None:
    """Stretch of a sweep, however large, from its delay block by block; a few steps in between do not matter.

    Returns
    -------
    float or None
        Seconds of delay gained in a second; None where the delays do not lie on a line.
    """
    good = np.isfinite(arrival.delay_s) & (arrival.frequency_hz > CRUDE_FROM_HZ)
    time_s, delay_s = arrival.time_s[good], arrival.delay_s[good]
    if len(time_s) < 3 * CRUDE_LAG:
        return None
    slopes = (delay_s[CRUDE_LAG:] - delay_s[:-CRUDE_LAG]) / (time_s[CRUDE_LAG:] - time_s[:-CRUDE_LAG])
    slope = float(median(slopes))
    return slope if median(np.abs(slopes - slope)) < CRUDE_SCATTER else None


def find_jumps(arrival: Arrival) -> tuple[Burst, ...]:
    """Find places where the arrival jumps by more than the response is kept for.

    Returns
    -------
    tuple of Burst
        Size is the jump. [s]
    """
    good = np.isfinite(arrival.delay_s) & (arrival.frequency_hz > CRUDE_FROM_HZ)
    time_s, delay_s = arrival.time_s[good], arrival.delay_s[good]
    found: list[Burst] = []
    apart_s = 2 * JUMP_SPANS[-1] * (time_s[1] - time_s[0]) if len(time_s) > 1 else 0.0
    for span in JUMP_SPANS:  # blocks that were lost altogether lie between the two sides
        for index in range(3, len(time_s) - span - 2):
            left, right = np.sort(delay_s[index - 3 : index]), np.sort(delay_s[index + span : index + span + 3])
            jump = float(right[1] - left[1])
            is_clean = max(left[2] - left[0], right[2] - right[0]) < 0.05 * abs(jump)
            if is_clean and abs(jump) > JUMP_S and all(abs(time_s[index] - known.time_s) > apart_s for known in found):
                found.append(Burst(time_s=float(time_s[index]), size=jump))
    found.sort(key=lambda burst: burst.time_s)
    return tuple(found)


def judge_rate(pace: float | None, *, rate_hz: int, limit: float = MISMATCH) -> Finding:
    """Judge whether the recording was made at another sample rate than the stimulus.

    Parameters
    ----------
    pace : float or None
        From `crude_pace`.
    rate_hz : int
        What the recording claims. [Hz]
    limit : float
        Without a reference channel the pickup's own delay is in the figure, and more has to be let pass.

    Returns
    -------
    Finding
        ``"rate-mismatch"``, figure in percent.
    """
    if pace is None:
        return Finding(code="rate-mismatch", severity="pass", text="not judged: no sweep that is known and clear enough")
    figure = 100 * pace
    where = f"the sweep arrives {figure:+.2f} % stretched (limit {100 * limit:g} %)"
    if abs(pace) <= limit:
        return Finding(code="rate-mismatch", severity="pass", text=where, figure=figure, unit="%")
    pairs = [(a, b) for a in COMMON_RATES_HZ for b in COMMON_RATES_HZ if a != b and abs(a / b / (1 + pace) - 1) < 0.005]
    guess = f", as {pairs[0][0]} against {pairs[0][1]} Hz would make it" if pairs else ""
    cure = "set player and recorder to the same sample rate and record again"
    text = f"{where}{guess}: the recording, which claims {rate_hz} Hz, ran at another rate than the sweep; {cure}"
    return Finding(code="rate-mismatch", severity="reject", text=text, figure=figure, unit="%")


def fit_pace(arrival: Arrival, bursts: tuple[Burst, ...]) -> Pace:
    """Fit delay against time beside what the reference's own corners do to it.

    A first-order low-pass at fc delays by τ/(1 + (f/fc)²), τ = 1/(2π·fc), and its magnitude shows fc; a first-order high-pass at
    fl delays by fl/(2π·f²) well above it.

    Parameters
    ----------
    bursts : tuple of Burst
        After each the delay may differ by a step.

    Returns
    -------
    Pace
        Rate None where fewer than 15 blocks are clear.
    """
    good = np.isfinite(arrival.group_delay_s) & (arrival.gain > CLEAR * arrival.noise) & (arrival.frequency_hz > 15)
    frequency_hz, time_s = arrival.frequency_hz[good], arrival.time_s[good]
    if len(time_s) < 15:
        return Pace(rate=None)
    corner_hz = _low_pass_corner(frequency_hz, arrival.gain[good])
    delay_s = arrival.group_delay_s[good] - 1 / (2 * np.pi * corner_hz) / (1 + (frequency_hz / corner_hz) ** 2)
    columns = [np.ones_like(time_s), time_s - time_s.mean(), (50.0 / frequency_hz) ** 2]
    times_s = [burst.time_s for burst in bursts]
    columns += [(time_s > at).astype(float) for at in times_s]
    matrix = np.stack(columns, axis=1)
    # A block that holds a burst, and its neighbours, have delays of both sides.
    half_s = (time_s[1] - time_s[0]) * BLOCKS_HIT
    weight = np.all([np.abs(time_s - at) > half_s for at in times_s], axis=0).astype(float) if times_s else np.ones_like(time_s)
    weight = weight / (1 + (40.0 / frequency_hz) ** 4)
    solution = np.linalg.lstsq(matrix * weight[:, None], delay_s * weight, rcond=None)[0]
    rest = np.abs(delay_s - matrix @ solution) * weight
    scatter_s = float(median(rest))
    weight[rest > 4 * scatter_s] = 0.0
    solution = np.linalg.lstsq(matrix * weight[:, None], delay_s * weight, rcond=None)[0]
    low_corner_hz = max(float(solution[2]) * 2 * np.pi * 50.0**2, 0.0)
    return Pace(
        rate=float(solution[1]),
        gain_corner_hz=corner_hz,
        low_corner_hz=low_corner_hz,
        steps_s=tuple(float(x) for x in solution[3:]),
        scatter_s=scatter_s,
    )


def _low_pass_corner(frequency_hz: FloatArray, gain: FloatArray) -> float:
    """Corner of the first-order low-pass that a magnitude shows above 100 Hz [Hz]."""
    use = frequency_hz > 100
    level = np.log(gain[use])
    corners_hz = np.geomspace(300.0, 1e7, 400)
    model = -0.5 * np.log1p((frequency_hz[use] / corners_hz[:, None]) ** 2)
    rest = level - model
    spread = np.std(rest, axis=1)
    return float(corners_hz[np.argmin(spread)])


def judge_drift(arrival: Arrival | None, pace: Pace | None) -> Finding:
    """Judge whether player and recorder ran on the same clock.

    Parameters
    ----------
    pace : Pace or None
        From `fit_pace`.

    Returns
    -------
    Finding
        ``"clock-drift"``, figure in parts per million.
    """
    code = "clock-drift"
    if arrival is None or pace is None or pace.rate is None:
        return Finding(code=code, severity="pass", text="not judged: needs the played sweep and a clear reference channel")
    ppm = 1e6 * pace.rate
    limit = max(DRIFT_WARN_PPM, 1e6 * DRIFT_LEAST_S / float(arrival.time_s[-1] - arrival.time_s[0]))
    where = f"player and recorder differ by {ppm:+.1f} ppm (limit {limit:.0f} ppm)"
    if abs(ppm) <= limit:
        return Finding(code=code, severity="pass", text=where, figure=ppm, unit="ppm")
    severity: Severity = "reject" if abs(ppm) > DRIFT_REJECT_PPM else "warn"
    text = f"{where}; play and record on the same interface, or let both run on one clock"
    return Finding(code=code, severity=severity, text=text, figure=ppm, unit="ppm")


def channel_offset(pickup: Arrival, reference: Arrival) -> float | None:
    """Tell how much later the pickup's highest notes arrive than the reference's, where its own delay is least.

    Returns
    -------
    float or None
        None where fewer than 3 blocks above 1 kHz are clear. [s]
    """
    clear = (pickup.gain > CLEAR * pickup.noise) & (reference.gain > CLEAR * reference.noise) & (pickup.frequency_hz > 1000)
    if np.count_nonzero(clear) < 3:
        return None
    later_s = (pickup.group_delay_s - reference.group_delay_s)[clear][np.argsort(pickup.frequency_hz[clear])]
    return float(median(later_s[-5:]))


def find_bursts(arrival: Arrival, *, relative_to_peak: bool, harmonics: float = 0.0) -> tuple[Burst, ...]:
    """Find moments that stand out of what the response leaves unexplained around them, the largest of each group.

    Parameters
    ----------
    relative_to_peak : bool
        Compare with the highest predicted level; otherwise with the level at that moment.
    harmonics : float
        The generator's, over the fundamental: they are unpredicted too, and move through the resonance.
    """
    unpredicted, predicted = arrival.unpredicted, arrival.predicted
    if not np.any(np.isfinite(unpredicted)):
        return ()
    around = _surroundings(unpredicted)
    level = np.full_like(predicted, np.nanmax(predicted)) if relative_to_peak else _neighbours_greatest(predicted)
    with np.errstate(invalid="ignore", divide="ignore"):
        size = unpredicted / level
        least = max(PICKUP_WARN if relative_to_peak else BURST_WARN, HARMONICS_ROOM * harmonics)
        stands_out = np.flatnonzero((unpredicted > BURST * around) & (size > least))
    groups = np.split(stands_out, np.flatnonzero(np.diff(stands_out) > NEAR_STEPS) + 1) if len(stands_out) else []
    peaks = [group[np.argmax(size[group])] for group in groups]
    return tuple(Burst(time_s=float(arrival.step_time_s[peak]), size=float(size[peak])) for peak in peaks)


def _surroundings(values: FloatArray) -> FloatArray:
    """Greater of the medians a little before and a little after each step, shape (m,); steps without either are infinite."""
    width = FAR_STEPS - NEAR_STEPS + 1
    padded = np.pad(values, FAR_STEPS, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    known = np.count_nonzero(np.isfinite(windows), axis=1)
    filled = np.sort(np.where(np.isfinite(windows), windows, np.inf), axis=1)
    median = np.where(known >= width // 3, filled[np.arange(len(filled)), np.maximum(known - 1, 0) // 2], np.nan)
    before, after = median[: len(values)], median[2 * FAR_STEPS - width + 1 :][: len(values)]
    greater: FloatArray = np.fmax(before, after)
    return np.where(np.isfinite(greater), greater, np.inf)


def _neighbours_greatest(values: FloatArray) -> FloatArray:
    """Greatest of each value and its two neighbours on each side, shape (m,)."""
    padded = np.pad(values, 2, mode="edge")
    return np.max(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)


def judge_stream(breaks: list[Burst], soft: list[Burst], *, pace: Pace | None, offset_s: float | None, rate_hz: int) -> Finding:
    """Judge whether samples are missing, repeated, zeroed or inserted.

    Parameters
    ----------
    breaks : list of Burst
        Places where the stream is broken, in order of time.
    pace : Pace or None
        From `fit_pace`.
    offset_s : float or None
        How much later the pickup's highest notes arrive than the reference's. [s]
    rate_hz : int
        Of the recording. [Hz]

    Returns
    -------
    Finding
        ``"dropouts"``; the figure is the number of places.
    """
    code = "dropouts"
    cure = "close other programs, take a larger buffer or a lower sample rate, and record again"
    if breaks:
        steps = [round(step * rate_hz) for step in (pace.steps_s if pace is not None else ())[:3]]
        moved = ", ".join(f"about {abs(step)} samples {'missing' if step < 0 else 'too many'}" for step in steps if step)
        where = f"{len(breaks)} place{'s' if len(breaks) > 1 else ''}, first at {breaks[0].time_s:.3f} s"
        text = f"stream of samples broken at {where}{f' ({moved})' if moved else ''} (limit 0); {cure}"
        return Finding(code=code, severity="reject", text=text, figure=float(len(breaks)), unit="places")
    if offset_s is not None and not -EARLY_S <= offset_s <= LATE_S:
        side = "before" if offset_s < 0 else "after"
        limits = f"limit {EARLY_S * rate_hz:.0f} before, {LATE_S * rate_hz:.0f} after"
        text = f"the pickup arrives {abs(offset_s) * rate_hz:.0f} samples {side} the reference ({limits}); {cure}"
        return Finding(code=code, severity="reject", text=text, figure=1.0, unit="places")
    if soft:
        what = f"{len(soft)} short disturbance{'s' if len(soft) > 1 else ''}, first at {soft[0].time_s:.3f} s"
        text = f"{what}, {100 * soft[0].size:.2g} % of the signal: a click from outside, or a sample lost; better record again"
        return Finding(code=code, severity="warn", text=text, figure=float(len(soft)), unit="places")
    return Finding(code=code, severity="pass", text=f"no break in steps of {STEP_S * 1e3:g} ms", figure=0.0, unit="places")


def steps_of(bursts: tuple[Burst, ...], pace: Pace | None, *, rate_hz: int) -> tuple[Burst, ...]:
    """Pick those bursts after which the stimulus arrives earlier or later: whatever their size, samples are missing or too many.

    Parameters
    ----------
    bursts : tuple of Burst
        Those that `pace` was fitted with.
    pace : Pace or None
        From `fit_pace`.
    rate_hz : int
        Of the recording. [Hz]

    Returns
    -------
    tuple of Burst
        Some of `bursts`.
    """
    if pace is None or len(pace.steps_s) != len(bursts):
        return ()
    least_s = max(LEAST_STEP / rate_hz, STEP_OVER_SCATTER * pace.scatter_s)
    return tuple(burst for burst, step_s in zip(bursts, pace.steps_s, strict=True) if abs(step_s) > least_s)


def sort_bursts(
    reference: tuple[Burst, ...], pickup: tuple[Burst, ...], certain: tuple[Burst, ...]
) -> tuple[list[Burst], list[Burst]]:
    """Sort what was found into breaks of the stream and lesser disturbances, each in order of time and named once.

    Parameters
    ----------
    reference, pickup : tuple of Burst
        From `find_bursts`.
    certain : tuple of Burst
        From `find_jumps` and `steps_of`, and what the samples alone prove.
    """
    breaks = list(certain)
    breaks += [burst for burst in reference if burst.size > BURST_REJECT and _is_new(burst, breaks)]
    breaks += [burst for burst in pickup if burst.size > PICKUP_REJECT and _is_new(burst, breaks)]
    soft = [burst for burst in (*reference, *pickup) if _is_new(burst, breaks)]
    return sorted(breaks, key=lambda burst: burst.time_s), sorted(soft, key=lambda burst: burst.time_s)


def _is_new(burst: Burst, known: list[Burst]) -> bool:
    """Tell whether no known burst lies within `SAME_S`."""
    return all(abs(burst.time_s - other.time_s) > SAME_S for other in known)
