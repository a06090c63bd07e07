"""A signal against its silences, band by band, whatever was played: for recordings whose stimulus nobody knows."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from measure.response import Finding, FloatArray, percentile
from measure.signal.recording import Samples

FRAME_S = 0.2  # [s] lines of the mains stand apart in it
N_FRAMES = 200  # [1] at most
LOWEST_HZ, TOP = 40.0, 0.4  # [Hz], [1] of the sample rate
BANDS_PER_OCTAVE = 3
SEEN = 10.0  # [1] power over that of the silence in a band that tells something
LOW_NOTES_HZ = (50.0, 300.0)  # [Hz] where a coil's voltage rises with frequency, whatever hangs on it
N_SEEN = 5  # [bands] of them that must be seen
EXCHANGED_DB = (-8.5, -4.0)  # [dB/octave] of pickup over reference: −6 where the channels are exchanged, +6 where not
LEVEL_WARN_DB = 6.0  # [dB]
STRAIGHT_DB = 2.0  # [dB] from the line


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Contrast:
    """Power of one channel in bands.

    Attributes
    ----------
    frequency_hz : ndarray, shape (k,)
        Middle of each band. [Hz]
    width_hz : ndarray, shape (k,)
        [Hz]
    signal : ndarray, shape (k,)
        Density of power while it sounds beyond that of the silence, at least 0; lines left out. [1/Hz]
    silence : ndarray, shape (k,)
        Density of power in the silences. [1/Hz]
    """

    frequency_hz: FloatArray
    width_hz: FloatArray
    signal: FloatArray
    silence: FloatArray


def measure_contrast(samples: Samples, silences: tuple[slice, slice], rate_hz: int) -> Contrast | None:
    """Compare what sounds with the silences.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    silences : tuple of two slices
        Before and after what sounds.
    rate_hz : int
        Sample rate. [Hz]

    Returns
    -------
    Contrast or None
        None where no silence or no sound is as long as `FRAME_S`.
    """
    n_frame = round(FRAME_S * rate_hz)
    sounding = slice(silences[0].stop, silences[1].start)
    quiet = [_mean_power(samples, part, n_frame) for part in silences]
    known = [power for power in quiet if power is not None]
    loud = _mean_power(samples, sounding, n_frame)
    if not known or loud is None:
        return None
    edges_hz = LOWEST_HZ * 2.0 ** (
        np.arange(np.floor(np.log2(TOP * rate_hz / LOWEST_HZ) * BANDS_PER_OCTAVE) + 1) / BANDS_PER_OCTAVE
    )
    edges = np.round(edges_hz * n_frame / rate_hz).astype(int)
    bands = [slice(low, max(high, low + 3)) for low, high in pairwise(edges)]
    # The median of a band's bins leaves lines of the mains out.
    silence = np.array([min(float(np.median(power[band])) for power in known) for band in bands])
    signal = np.array([float(np.median(loud[band])) for band in bands])
    return Contrast(
        frequency_hz=np.sqrt(edges_hz[:-1] * edges_hz[1:]),
        width_hz=np.diff(edges_hz),
        signal=np.maximum(signal - silence, 0.0) / rate_hz,
        silence=silence / rate_hz,
    )


def _mean_power(samples: Samples, part: slice, n_frame: int) -> FloatArray | None:
    """Two-sided power by frequency, mean over frames, shape (n_frame // 2 + 1,); None where the part holds no frame."""
    n_room = part.stop - part.start - n_frame
    if n_room < 0:
        return None
    window = np.hanning(n_frame)
    starts = np.unique(np.linspace(part.start, part.start + n_room, min(2 * n_room // n_frame + 1, N_FRAMES)).astype(int))
    power = np.zeros(n_frame // 2 + 1)
    for start in starts:
        frame = samples[start : start + n_frame].astype(float)
        power += np.abs(np.fft.rfft((frame - np.mean(frame)) * window)) ** 2
    return power / (len(starts) * np.sum(window**2))


def signal_rms(contrast: Contrast) -> float | None:
    """Rms of what sounds, over full scale.

    Returns
    -------
    float or None
        None where fewer than 3 bands are seen.
    """
    seen = contrast.signal > SEEN * contrast.silence
    if np.count_nonzero(seen) < 3:
        return None
    return float(np.sqrt(2 * np.sum((contrast.signal * contrast.width_hz)[seen])))


def judge_level(contrast: Contrast) -> Finding:
    """Judge the pickup's signal over its silence, in the best sixth of the bands.

    Returns
    -------
    Finding
        ``"low-level"``, figure in dB; a warning at most, since the response that is yet to come averages.
    """
    ratio = contrast.signal / np.maximum(contrast.silence, 1e-30)
    figure = float(10 * np.log10(max(percentile(ratio, 83), 1e-10)))
    text = f"signal {figure:.0f} dB over the silence in the best sixth of the bands (least {LEVEL_WARN_DB:g} dB)"
    if figure >= LEVEL_WARN_DB:
        return Finding(code="low-level", severity="pass", text=text, figure=figure, unit="dB")
    text = f"{text}; raise the drive or the input gain, or bring the exciter closer"
    return Finding(code="low-level", severity="warn", text=text, figure=figure, unit="dB")


def judge_slope(pickup: Contrast | None, reference: Contrast | None) -> Finding:
    """Judge whether pickup and reference are exchanged.

    Returns
    -------
    Finding
        ``"swapped"``.
    """
    code = "swapped"
    exchanged = None if pickup is None or reference is None else is_exchanged(pickup, reference)
    if exchanged is None:
        return Finding(code=code, severity="pass", text="not judged: needs low notes clear of the silence in both channels")
    if not exchanged:
        text = "the pickup's low notes do not fall with frequency against the reference's"
        return Finding(code=code, severity="pass", text=text, figure=0.0)
    text = (
        "pickup and reference are exchanged: the low notes of the pickup's channel fall by 6 dB an octave against the "
        "reference's, and a coil's rise; exchange the channels and import again"
    )
    return Finding(code=code, severity="reject", text=text, figure=1.0)


def is_exchanged(pickup: Contrast, reference: Contrast) -> bool | None:
    """Tell whether pickup and reference are exchanged, from the low notes, where a coil's voltage rises by 6 dB an octave.

    Returns
    -------
    bool or None
        None where too few low notes stand out of the silence in both.
    """
    frequency_hz = pickup.frequency_hz
    low = (frequency_hz > LOW_NOTES_HZ[0]) & (frequency_hz < LOW_NOTES_HZ[1])
    low &= (pickup.signal > SEEN * pickup.silence) & (reference.signal > SEEN * reference.silence)
    low &= (pickup.signal > 0) & (reference.signal > 0)
    if np.count_nonzero(low) < N_SEEN:
        return None
    octaves = np.log2(frequency_hz[low])
    ratio_db = 10 * np.log10(pickup.signal[low] / reference.signal[low])
    slope, level = np.polyfit(octaves, ratio_db, 1)
    rest_db = float(np.max(np.abs(ratio_db - slope * octaves - level)))
    return bool(EXCHANGED_DB[0] < slope < EXCHANGED_DB[1] and rest_db < STRAIGHT_DB)
