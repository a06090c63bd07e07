"""What is wrong with a recording: one finding a check, with its figure and what to do.

The findings of `check_recording` always come in the order of `NAMES`, one for each. A check that could not be made, for want of a
stimulus, a reference channel or a signal, passes with the figure None, and its text begins with "not judged". A sweep that nobody
gave is recognised from the recording; what else was played is judged by its silences alone. The limits are set by what the fault
does to the response and by the room that good recordings leave.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from measure.checks import clock, linearity, sweep
from measure.checks.contrast import Contrast, judge_level, judge_slope, measure_contrast, signal_rms
from measure.checks.ends import judge_ends
from measure.checks.waveform import find_repeats
from measure.response import Finding, FloatArray, Severity, percentile
from measure.signal.arrival import BEFORE_S, Arrival, find_latency, follow_stimulus
from measure.signal.mains import find_silences, fit_hum, hum_samples, line_levels, near_stimulus
from measure.signal.recording import Recording, Samples
from measure.signal.timetable import Timetable, read_timetable

NAMES = (
    "truncated",
    "silent",
    "dead-channel",
    "swapped",
    "clipped",
    "rate-mismatch",
    "clock-drift",
    "dropouts",
    "automatic-gain",
    "buried-in-hum",
    "low-level",
    "overdriven",
    "nonlinear-input",
    "dc-offset",
)

PRESENT = 3.0  # [1] gain over noise of a block in which the stimulus is heard
N_AT_ONCE = 1 << 16  # [samples] summed at once
N_PRESENT = 4  # [blocks] that must be heard
SURE_CONTRAST = 30.0  # [1] of the correlation: the stimulus is there, whatever the blocks say
HEARD_FROM_HZ = 100.0  # [Hz] below, a block holds too few independent values
FLAT_DB, STEEP_DB = 6.0, 12.0  # [dB] span of a reference's gain at most, and of a pickup's at least, over `SPAN_HZ`
SPAN_HZ = (40.0, 2000.0)  # [Hz]
OWN_DELAY = 0.03  # [1] stretch of a sweep that a pickup's resonance can imitate
MISSING_REJECT_S = 0.01  # [s] of the stimulus outside the recording
SILENCE_LEAST_S = 0.08  # [s] mains lines cannot be told from one another in less
RING_S = 0.06  # [s] for the pickup to ring down after the stimulus
HUM_WARN_DB, HUM_REJECT_DB = 6.0, 30.0  # [dB] hum over the pickup's highest level
HUM_ALONE_DBFS = -40.0  # [dBFS] hum that explains why nothing else is heard
LOW_WARN_DB, LOW_REJECT_DB = (
    20.0,
    6.0,
)  # [dB] of the pickup's best sixth of its blocks over the noise that is left in the response
OFFSET_WARN, OFFSET_REJECT = 0.01, 0.3  # [1] of full scale


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Heard:
    """What the known stimulus became; None where it is not known or not heard."""

    timetable: Timetable | None = None
    pickup: Arrival | None = None
    reference: Arrival | None = None
    pickup_is_heard: bool = False
    reference_is_heard: bool = False
    pace: float | None = None
    is_swapped: bool = False
    recognised: sweep.Recognised | None = None
    contrasts: dict[str, Contrast | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Judged:
    """Channels that the finer checks can use: the stimulus whole, heard, not clipped, at the right rate."""

    pickup: Arrival | None = None
    reference: Arrival | None = None
    is_sweep: bool = False
    jumps: tuple[clock.Burst, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Examined:
    """What the checks of a recording found.

    Attributes
    ----------
    findings : tuple of Finding
        One for each name in `NAMES`, in that order.
    latency : int or None
        From the start of what was played to its arrival; None where it is not heard in a reference channel. [samples]
    """

    findings: tuple[Finding, ...]
    latency: int | None


def check_recording(recording: Recording, *, stimulus: FloatArray | None = None) -> tuple[Finding, ...]:
    """Look for every fault that a recording can show.

    Parameters
    ----------
    stimulus : ndarray, shape (m,), optional
        What was played, at the same sample rate. Without it an exponential sweep is recognised from the recording.

    Returns
    -------
    tuple of Finding
        One for each name in `NAMES`, in that order.
    """
    return examine_recording(recording, stimulus=stimulus).findings


def examine_recording(recording: Recording, *, stimulus: FloatArray | None = None) -> Examined:
    """Do the same as `check_recording`, and tell where the stimulus was found: for checks that need it as well."""
    channels = _channels(recording)
    timing = channels["reference"] if "reference" in channels else channels["pickup"]
    recognised = sweep.recognise_best(channels, recording.rate_hz) if stimulus is None else None
    played = stimulus if recognised is None else sweep.played_samples(recognised)
    heard = _listen(channels, played, rate_hz=recording.rate_hz, is_recognised=recognised is not None)
    del played  # as long as the recording
    heard = replace(heard, recognised=recognised)
    silences = _silences(heard, timing, rate_hz=recording.rate_hz)
    noise = _summarise_noise(recording, silences)
    if heard.timetable is None:
        contrasts = {name: measure_contrast(samples, silences, recording.rate_hz) for name, samples in channels.items()}
        heard = replace(heard, contrasts=contrasts)
    quiet = {name: _quiet_peak(samples, silences) for name, samples in channels.items()}
    findings = [
        _judge_length(heard, timing, rate_hz=recording.rate_hz),
        _judge_silence(heard, channels),
        _judge_channels(heard, channels, recording, noise),
        _judge_roles(heard),
        linearity.judge_clipping(channels, n_bits=recording.n_bits, quiet_peaks=quiet, rate_hz=recording.rate_hz),
    ]
    is_whole = findings[0].severity != "reject" and findings[-1].severity != "reject" and not _is_stretched(heard)
    reference = heard.reference if heard.reference_is_heard and is_whole else None
    is_sweep = heard.timetable is not None and heard.timetable.is_sweep
    judged = _Judged(
        pickup=heard.pickup if heard.pickup_is_heard and is_whole else None,
        reference=reference,
        is_sweep=is_sweep,
        jumps=clock.find_jumps(reference) if reference is not None and is_sweep else (),
    )
    swept = judged if is_sweep and not judged.jumps else _Judged()
    harmonics = [linearity.judge_generator(swept.reference), linearity.judge_input(swept.pickup, swept.reference)]
    most = max(finding.figure or 0.0 for finding in harmonics) / 100
    proofs = _prove_breaks(channels, recording, is_silent=findings[1].severity == "reject")
    findings += _judge_time(heard, proofs, judged=judged, harmonics=most, rate_hz=recording.rate_hz)
    findings += [_judge_hum(heard, noise), _judge_level(heard), *harmonics, _judge_offset(channels)]
    latency = heard.reference.latency if heard.reference is not None and heard.reference_is_heard else None
    return Examined(findings=tuple(findings), latency=latency)


def noise_summary(recording: Recording) -> dict[str, float | None]:
    """Hum and noise floor of the pickup's channel, from the silences before and after the sweep.

    Returns
    -------
    dict
        hum_hz: mains frequency [Hz], None where no line stands out. hum_dbfs: all its lines together, None likewise. floor_dbfs:
        what is left without them, None where there is no silence. A full-scale sine is 0 dBFS (AES17).
    """
    reference = recording.reference_channel or recording.pickup_channel
    return _summarise_noise(recording, find_silences(recording.samples[:, reference - 1], recording.rate_hz))


def _summarise_noise(recording: Recording, silences: tuple[slice, slice]) -> dict[str, float | None]:
    """Hum and noise floor in given silences, beside the stimulus; see `noise_summary`."""
    silences = near_stimulus(silences, recording.rate_hz)
    channel = _channels(recording)["pickup"]
    summary: dict[str, float | None] = {"hum_hz": None, "hum_dbfs": None, "floor_dbfs": None}
    parts = [part for part in silences if part.stop - part.start > 1]
    if not parts:
        return summary
    hum = fit_hum(recording, silences)
    squares, count = 0.0, 0
    for part in parts:
        quiet = channel[part].astype(float)
        if hum is not None:
            quiet -= hum_samples(hum, part.start, part.stop, column=0)
        squares, count = squares + float(np.sum((quiet - quiet.mean()) ** 2)), count + len(quiet)
    if hum is not None:
        summary |= {"hum_hz": hum.frequency_hz, "hum_dbfs": _dbfs(float(np.sum(line_levels(hum)[:, 0] ** 2)))}
    return summary | {"floor_dbfs": _dbfs(squares / count)}


def _silences(heard: _Heard, timing: Samples, *, rate_hz: int) -> tuple[slice, slice]:
    """Where nothing is played: by the arrival of the stimulus where it is known, by level otherwise."""
    arrival = heard.reference if heard.reference is not None else heard.pickup
    if heard.timetable is None or arrival is None or not (heard.pickup_is_heard or heard.reference_is_heard):
        return find_silences(timing, rate_hz)
    before = heard.timetable.start + arrival.latency - round(BEFORE_S * rate_hz)
    after = heard.timetable.stop + arrival.latency + round(RING_S * rate_hz)
    return slice(0, max(before, 0)), slice(min(after, len(timing)), len(timing))


def _dbfs(power: float) -> float:
    """Level of a mean square; a full-scale sine is 0 dBFS."""
    return float(10 * np.log10(max(2 * power, 1e-20)))


def _mean_square(samples: Samples) -> float:
    """Mean of the squares, a piece at a time."""
    pieces = range(0, len(samples), N_AT_ONCE)
    return sum(float(np.sum(np.square(samples[first : first + N_AT_ONCE], dtype=np.float64))) for first in pieces) / max(
        len(samples), 1
    )


def _channels(recording: Recording) -> dict[str, Samples]:
    """Name the channels by their role; views, no copies."""
    channels: dict[str, Samples] = {"pickup": recording.samples[:, recording.pickup_channel - 1]}
    if recording.reference_channel is not None:
        channels["reference"] = recording.samples[:, recording.reference_channel - 1]
    return channels


def _quiet_peak(samples: Samples, silences: tuple[slice, slice]) -> float:
    """Peak while nothing is played."""
    parts = [samples[part] for part in silences if part.stop > part.start]
    return max((max(float(np.max(part)), -float(np.min(part))) for part in parts), default=0.0)


def _listen(channels: dict[str, Samples], stimulus: FloatArray | None, *, rate_hz: int, is_recognised: bool = False) -> _Heard:
    """Find the stimulus in each channel."""
    if stimulus is None:
        return _Heard()
    timetable = read_timetable(stimulus, rate_hz=rate_hz)
    found: dict[str, tuple[int, float]] = {}
    for name in sorted(channels, reverse=True):  # the reference first: it is the clearer one, and mostly enough
        found[name] = find_latency(channels[name], stimulus, timetable, rate_hz=rate_hz)
        if found[name][1] > SURE_CONTRAST and name == "reference":
            break
    best = (
        "reference"
        if "reference" in found and found["reference"][1] > SURE_CONTRAST
        else max(channels, key=lambda name: found[name][1])
    )
    followed = follow_stimulus(list(channels.values()), stimulus, timetable, rate_hz=rate_hz, latency=found[best][0])
    arrivals = dict(zip(channels, followed, strict=True))
    if is_recognised:
        arrivals = {name: sweep.without_ends(arrival) for name, arrival in arrivals.items()}
    pace = clock.crude_pace(arrivals[best]) if timetable.is_sweep else None
    is_stretched = pace is not None and abs(pace) > clock.MISMATCH
    is_heard = {name: _is_heard(arrival) or (is_stretched and name == best) for name, arrival in arrivals.items()}
    reference = arrivals.get("reference")
    # A pickup taken for the reference has a delay of its own, which can look like a slight stretch.
    is_far_off = pace is not None and abs(pace) > OWN_DELAY
    is_swapped = (
        reference is not None and all(is_heard.values()) and not is_far_off and _is_swapped(arrivals["pickup"], reference)
    )
    if is_swapped and reference is not None:
        arrivals = {"pickup": reference, "reference": arrivals["pickup"]}
        pace = clock.crude_pace(arrivals["reference"]) if timetable.is_sweep else None
    return _Heard(
        timetable=timetable,
        pickup=arrivals["pickup"],
        reference=arrivals.get("reference"),
        pickup_is_heard=is_heard["pickup"],
        reference_is_heard=is_heard.get("reference", False),
        pace=pace,
        is_swapped=is_swapped,
    )


def _prove_breaks(channels: dict[str, Samples], recording: Recording, *, is_silent: bool) -> tuple[clock.Burst, ...]:
    """Find breaks that the samples alone prove, whatever was played."""
    if is_silent:
        return ()
    places = [at for samples in channels.values() for at in find_repeats(samples, n_bits=recording.n_bits)]
    bursts: list[clock.Burst] = []
    for at in sorted(places):
        if not bursts or at / recording.rate_hz > bursts[-1].time_s + clock.SAME_S:
            bursts.append(clock.Burst(time_s=at / recording.rate_hz, size=1.0))
    return tuple(bursts)


def _is_heard(arrival: Arrival) -> bool:
    """Tell whether enough blocks stand out of the noise."""
    stands_out = (arrival.gain > PRESENT * arrival.noise) & (arrival.frequency_hz > HEARD_FROM_HZ)
    return int(np.count_nonzero(stands_out)) >= N_PRESENT


def _is_stretched(heard: _Heard) -> bool:
    """Tell whether the sweep ran at another rate, so that its response is smeared."""
    return heard.pace is not None and abs(heard.pace) > clock.MISMATCH * (1 if heard.reference_is_heard else 5)


def _is_swapped(pickup: Arrival, reference: Arrival) -> bool:
    """Tell whether the pickup's channel is flat and the reference's not: a coil's voltage rises with frequency."""
    inside = (pickup.frequency_hz > SPAN_HZ[0]) & (pickup.frequency_hz < SPAN_HZ[1])
    inside &= np.isfinite(pickup.gain) & (pickup.gain > 0) & (reference.gain > 0)
    if np.count_nonzero(inside) < N_PRESENT:
        return False
    spans_db = [float(np.ptp(20 * np.log10(arrival.gain[inside]))) for arrival in (pickup, reference)]
    return spans_db[0] < FLAT_DB and spans_db[1] > STEEP_DB


def _judge_length(heard: _Heard, timing: Samples, *, rate_hz: int) -> Finding:
    """Judge whether the recording holds all of the stimulus, and a silence to measure the noise in."""
    code = "truncated"
    arrival, n_samples = heard.reference if heard.reference is not None else heard.pickup, len(timing)
    is_known = heard.timetable is not None and (heard.recognised is None or sweep.is_own(heard.recognised.sweep))
    broken_off = None if is_known else judge_ends(timing, rate_hz)
    if broken_off is not None:
        return broken_off
    if heard.timetable is None or arrival is None or not (heard.pickup_is_heard or heard.reference_is_heard):
        return Finding(code=code, severity="pass", text="not judged: no sweep that is known and heard")
    start, stop = heard.timetable.start + arrival.latency, heard.timetable.stop + arrival.latency
    missing_s = (max(0, -start) + max(0, stop - n_samples)) / rate_hz
    if missing_s > MISSING_REJECT_S and not _is_stretched(heard):
        end = "start" if start < 0 else "end"
        text = f"{missing_s:.3f} s of the sweep are missing at the {end} (limit {MISSING_REJECT_S:g} s); record for longer"
        return Finding(code=code, severity="reject", text=text, figure=missing_s, unit="s")
    silence_s = max(start, n_samples - stop) / rate_hz
    if silence_s < SILENCE_LEAST_S and not _is_stretched(heard):
        text = f"only {max(silence_s, 0):.3f} s of silence for the noise (least {SILENCE_LEAST_S:g} s); leave 0.5 s on each side"
        return Finding(code=code, severity="warn", text=text, figure=missing_s, unit="s")
    note = "" if heard.recognised is None else f"; {sweep.describe_sweep(heard.recognised.sweep)}"
    return Finding(code=code, severity="pass", text=f"all of the sweep was recorded{note}", figure=missing_s, unit="s")


def _judge_silence(heard: _Heard, channels: dict[str, Samples]) -> Finding:
    """Judge whether anything of the stimulus is there at all."""
    code = "silent"
    peak = max(max(float(np.max(samples)), -float(np.min(samples))) for samples in channels.values())
    peak_db = 20 * np.log10(max(peak, 1e-10))
    cure = "check the exciter's plug, the output level, and which inputs were recorded"
    is_silent = peak == 0.0 or (heard.timetable is not None and not (heard.pickup_is_heard or heard.reference_is_heard))
    if is_silent:
        text = f"no sweep in any channel (highest peak {peak_db:.0f} dBFS); {cure}"
        return Finding(code=code, severity="reject", text=text, figure=peak_db, unit="dBFS")
    return Finding(code=code, severity="pass", text=f"highest peak {peak_db:.1f} dBFS", figure=peak_db, unit="dBFS")


def _judge_channels(heard: _Heard, channels: dict[str, Samples], recording: Recording, noise: dict[str, float | None]) -> Finding:
    """Judge whether one channel lacks what the other has."""
    code = "dead-channel"
    powers = {name: _mean_square(samples) for name, samples in channels.items()}
    is_heard = {"pickup": heard.pickup_is_heard, "reference": heard.reference_is_heard}
    dead = [name for name, power in powers.items() if power == 0.0]
    if heard.timetable is not None and any(is_heard.values()) and not _is_stretched(heard):
        dead += [name for name in channels if not is_heard[name] and name not in dead]
    if len(dead) != 1 or len(channels) == 1 or (dead == ["pickup"] and _hum_explains(noise)):
        return Finding(code=code, severity="pass", text="no channel is dead while the other plays", figure=0.0, unit="channels")
    number = recording.pickup_channel if dead == ["pickup"] else recording.reference_channel
    text = f"{dead[0]} channel ({number}) holds {_dbfs(powers[dead[0]]):.0f} dBFS and no sweep; check its cable, input and gain"
    return Finding(code=code, severity="reject", text=text, figure=1.0, unit="channels")


def _hum_explains(noise: dict[str, float | None]) -> bool:
    """Tell whether the pickup's hum is strong enough to hide a signal."""
    hum_dbfs = noise["hum_dbfs"]
    return hum_dbfs is not None and hum_dbfs > HUM_ALONE_DBFS


def _judge_roles(heard: _Heard) -> Finding:
    """Judge whether pickup and reference are exchanged."""
    code = "swapped"
    if heard.timetable is None:
        return judge_slope(heard.contrasts.get("pickup"), heard.contrasts.get("reference"))
    if heard.reference is None or heard.pickup is None or not (heard.pickup_is_heard and heard.reference_is_heard):
        return Finding(code=code, severity="pass", text="not judged: needs the sweep and both channels clear")
    if heard.is_swapped:
        text = (
            f"pickup and reference are exchanged: between {SPAN_HZ[0]:g} and {SPAN_HZ[1]:g} Hz the pickup's channel is flat "
            f"within {FLAT_DB:g} dB and the reference's is not; exchange the channels and import again"
        )
        return Finding(code=code, severity="reject", text=text, figure=1.0)
    return Finding(
        code=code, severity="pass", text="the pickup's channel rises with frequency, the reference's is flat", figure=0.0
    )


def _judge_time(
    heard: _Heard, proofs: tuple[clock.Burst, ...], *, judged: _Judged, harmonics: float, rate_hz: int
) -> list[Finding]:
    """Judge rate, drift, breaks and gain, which need one another."""
    is_heard = heard.reference_is_heard or heard.pickup_is_heard
    limit = clock.MISMATCH * (1 if heard.reference_is_heard else 5)
    rate = clock.judge_rate(heard.pace if is_heard else None, rate_hz=rate_hz, limit=limit)
    reference, pickup = judged.reference, judged.pickup
    in_reference = () if reference is None else clock.find_bursts(reference, relative_to_peak=False, harmonics=harmonics)
    in_pickup = () if pickup is None else clock.find_bursts(pickup, relative_to_peak=True, harmonics=harmonics)
    pace = None
    if judged.jumps:
        pace = clock.Pace(rate=None, steps_s=tuple(jump.size for jump in judged.jumps))
    elif reference is not None and judged.is_sweep:
        pace = clock.fit_pace(reference, in_reference)
    steps = clock.steps_of(in_reference, pace, rate_hz=rate_hz)
    breaks, soft = clock.sort_bursts(in_reference, in_pickup, (*judged.jumps, *steps, *proofs))
    offset_s = None
    if pickup is not None and reference is not None and judged.is_sweep:
        offset_s = clock.channel_offset(pickup, reference)
    if reference is None and pickup is None and not breaks:
        dropouts = Finding(code="dropouts", severity="pass", text="not judged: needs the sweep, whole and clear")
    else:
        dropouts = clock.judge_stream(breaks, soft, pace=pace, offset_s=offset_s, rate_hz=rate_hz)
    whole = None if breaks else reference
    drift = clock.judge_drift(whole, pace)
    if heard.recognised is not None and not sweep.is_own(heard.recognised.sweep):
        text = f"not judged: {sweep.describe_sweep(heard.recognised.sweep)}, and only what was played tells its true pace"
        rate, drift = (Finding(code=finding.code, severity="pass", text=text) for finding in (rate, drift))
    return [rate, drift, dropouts, linearity.judge_gain(whole, pace)]


def _signal_level(heard: _Heard) -> float | None:
    """Rms of the pickup's signal where it is highest, from its gain; None where it is not heard."""
    contrast = heard.contrasts.get("pickup")
    if contrast is not None:
        return signal_rms(contrast)
    if heard.pickup is None or heard.timetable is None or not heard.pickup_is_heard:
        return None
    clear = heard.pickup.gain > PRESENT * heard.pickup.noise
    return float(np.max(heard.pickup.gain[clear])) * heard.timetable.level / np.sqrt(2)


def _judge_hum(heard: _Heard, noise: dict[str, float | None]) -> Finding:
    """Judge the mains hum against the pickup's highest level."""
    code = "buried-in-hum"
    signal = _signal_level(heard)
    cure = "turn the pickup away from transformers, close the shielding, ground the strings, raise the drive"
    hum_dbfs = noise["hum_dbfs"]
    if hum_dbfs is None:
        return Finding(code=code, severity="pass", text="no mains hum found")
    if signal is None:
        beside = heard.contrasts.get("reference")
        is_played = heard.reference_is_heard or (beside is not None and signal_rms(beside) is not None)
        is_cause = hum_dbfs > HUM_ALONE_DBFS and is_played
        severity: Severity = "reject" if is_cause else "pass"
        text = (
            f"hum at {hum_dbfs:.0f} dBFS and no signal heard; {cure}" if is_cause else "not judged: no signal is known and heard"
        )
        return Finding(
            code=code, severity=severity, text=text, figure=hum_dbfs if is_cause else None, unit="dBFS" if is_cause else ""
        )
    figure = hum_dbfs - _dbfs(signal**2)
    where = (
        f"hum at {hum_dbfs:.0f} dBFS lies {abs(figure):.0f} dB {'above' if figure > 0 else 'below'} the pickup's highest level"
    )
    if figure <= HUM_WARN_DB:
        return Finding(code=code, severity="pass", text=f"{where} (limit {HUM_WARN_DB:g} dB)", figure=figure, unit="dB")
    severity = "reject" if figure > HUM_REJECT_DB else "warn"
    limit_db = HUM_REJECT_DB if severity == "reject" else HUM_WARN_DB
    return Finding(code=code, severity=severity, text=f"{where} (limit {limit_db:g} dB); {cure}", figure=figure, unit="dB")


def _judge_level(heard: _Heard) -> Finding:
    """Judge the pickup's signal over the noise that is left in the response."""
    code = "low-level"
    contrast = heard.contrasts.get("pickup")
    if contrast is not None and signal_rms(contrast) is not None:
        return judge_level(contrast)
    if heard.pickup is None or not heard.pickup_is_heard or _is_stretched(heard):
        return Finding(code=code, severity="pass", text="not judged: no signal is known and heard")
    known = np.isfinite(heard.pickup.gain) & (heard.pickup.noise > 0) & (heard.pickup.gain > 0)
    ratios_db = 20 * np.log10(heard.pickup.gain[known] / heard.pickup.noise[known])
    figure = percentile(ratios_db, 83) if len(ratios_db) else 0.0
    text = f"signal {figure:.0f} dB over the noise in the best sixth of the band"
    if figure >= LOW_WARN_DB:
        return Finding(code=code, severity="pass", text=f"{text} (least {LOW_WARN_DB:g} dB)", figure=figure, unit="dB")
    severity: Severity = "reject" if figure < LOW_REJECT_DB else "warn"
    least_db = LOW_REJECT_DB if severity == "reject" else LOW_WARN_DB
    text = f"{text} (least {least_db:g} dB); raise the drive or the input gain, or bring the exciter closer"
    return Finding(code=code, severity=severity, text=text, figure=figure, unit="dB")


def _judge_offset(channels: dict[str, Samples]) -> Finding:
    """Judge the mean of each channel."""
    code = "dc-offset"
    offsets = {name: float(np.mean(samples, dtype=np.float64)) for name, samples in channels.items()}
    worst = max(offsets, key=lambda name: abs(offsets[name]))
    figure = offsets[worst]
    text = f"{worst} channel has a constant offset of {figure:+.2g} of full scale (limit {OFFSET_WARN:g})"
    if abs(figure) <= OFFSET_WARN:
        return Finding(code=code, severity="pass", text=text, figure=figure)
    severity: Severity = "reject" if abs(figure) > OFFSET_REJECT else "warn"
    return Finding(code=code, severity=severity, text=f"{text}; the input is faulty or coupled at DC: use another", figure=figure)
