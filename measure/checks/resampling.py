"""Whether a stream was resampled on its way: a brick wall below what the converters of its rate let pass.

A converter that runs at the rate of the recording lets pass what lies below 0.45 of it; its own wall stands between there and
half of the rate (common practice, data sheets of converters). One that runs slower has its wall lower, and so has a resampler
between two rates. Parts of a bench roll off, none so steeply.
"""

import numpy as np

from measure.response import Finding, FloatArray, median
from measure.signal.arrival import N_PRESENT, find_latency
from measure.signal.recording import Samples
from measure.signal.timetable import Timetable, read_timetable
from measure.signal.transforms import fast_length

LOWEST = 0.1  # [1] of the rate: below, no wall is looked for
OWN_WALL = 0.45  # [1] of the rate: from there on the wall may be the converter's own
N_BANDS = 128  # [1] up to half of the rate
EXCITED = 0.05  # [1] of what the sweep plays at the middle of its bands: less is its end
FALL_DB = 30.0  # [dB] by which the level has to fall within `WITHIN`; a low-pass of eighth order falls by 16
WITHIN = 1 / 3  # [octave]
FLAT_DB = 8.0  # [dB] by which it may fall within as much before: a wall stands at the end of what passes
EDGE_DB = 6.0  # [dB] below the level before it the wall begins
TAIL_S = 0.1  # [s] that filters ring on
RATES_HZ = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000)  # lower ones that are in use
PASSED = (0.40, 0.5)  # [1] of a rate: where a stream of it ends


def judge_resampling(samples: Samples, stimulus: FloatArray, rate_hz: int, *, latency: int | None = None) -> Finding | None:
    """Look for a brick wall below 0.45 of the rate.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Of a channel that hears what was played itself: a loopback, or a reference channel.
    stimulus : ndarray, shape (m,)
        What was played; anything but a sweep is not judged.
    rate_hz : int
        Of both. [Hz]
    latency : int or None
        From the start of what was played to its arrival, where that is known; None looks for it. [samples]

    Returns
    -------
    Finding or None
        ``"resampled"``, a warning, the figure is where the wall begins in hertz; None where there is none, noise hides it,
        or the sweep is not all there.
    """
    try:
        timetable = read_timetable(stimulus, rate_hz=rate_hz)
    except ValueError:  # silent, or too short
        return None
    if not timetable.is_sweep:
        return None
    if latency is None:
        latency, contrast = find_latency(samples, stimulus, timetable, rate_hz=rate_hz)
        if contrast < N_PRESENT:
            return None
    levels = _levels(samples, stimulus, timetable, latency=latency, rate_hz=rate_hz)
    wall = None if levels is None else _find_wall(*levels)
    if wall is None or wall[0] >= OWN_WALL * rate_hz:
        return None
    edge_hz, fall_db = wall
    source = _rate_of(edge_hz, rate_hz)
    guess = f"as a stream of {source / 1000:g} kHz has it" if source else "as a filter or another rate has it"
    where = f"above {edge_hz / 1000:.1f} kHz ({edge_hz / rate_hz:.2f} of the rate) nothing arrives"
    text = (
        f"{where}: the level falls by {fall_db:.0f} dB within a third of an octave (limit {FALL_DB:.0f} dB), {guess}. The "
        "system resampled without a word, or the card runs at another rate: set card, system and rig to one. Below it holds."
    )
    return Finding(code="resampled", severity="warn", text=text, figure=edge_hz, unit="Hz")


def _levels(
    samples: Samples, stimulus: FloatArray, timetable: Timetable, *, latency: int, rate_hz: int
) -> tuple[FloatArray, FloatArray] | None:
    """Frequencies and levels in dB of what arrived over what was played, in even bands as far as the sweep goes."""
    high = np.flatnonzero(timetable.frequency_hz >= LOWEST * rate_hz)
    if len(high) < 2:
        return None
    first = int(timetable.edges[max(high[0] - 1, 0)])
    last = int(timetable.edges[min(high[-1] + 1, len(timetable.edges) - 1)])
    begin, end = max(first + latency, 0), last + latency
    if begin >= end or end > len(samples):  # cut short: the highest bands are missing, and nothing took them out
        return None
    heard, played = samples[begin : end + round(TAIL_S * rate_hz)], stimulus[first:last]
    edge_hz = np.linspace(0, rate_hz / 2, N_BANDS + 1)
    energy = [_band_energy(part, edge_hz, rate_hz=rate_hz) for part in (heard, played)]
    middle_hz = (edge_hz[1:] + edge_hz[:-1]) / 2
    inside = middle_hz > LOWEST * rate_hz
    inside &= energy[1] > EXCITED * median(energy[1][inside])
    if not np.any(inside):
        return None
    end = int(np.argmax(~inside[np.argmax(inside) :])) + int(np.argmax(inside)) if not inside[-1] else len(inside)
    part = slice(int(np.argmax(inside)), end)
    return middle_hz[part], 10 * np.log10(np.maximum(energy[0][part], 1e-30) / energy[1][part])


def _band_energy(samples: Samples, edge_hz: FloatArray, *, rate_hz: int) -> FloatArray:
    """Energy in each band, shape (n,); the ends faded, so that what was cut through leaks little."""
    n_fade = max(len(samples) // 50, 1)
    fade = np.linspace(0, 1, n_fade) ** 2
    length = fast_length(len(samples))
    faded = np.zeros(length)
    faded[: len(samples)] = samples
    faded[:n_fade] *= fade
    faded[len(samples) - n_fade : len(samples)] *= fade[::-1]
    spectrum = np.fft.rfft(faded)
    del faded  # of a long sweep each of these is as large as the recording
    power = np.abs(spectrum)
    del spectrum
    power *= power
    edges = np.minimum((edge_hz / rate_hz * length).astype(int), len(power) - 1)
    return np.add.reduceat(power, edges[:-1])


def _find_wall(frequency_hz: FloatArray, level_db: FloatArray) -> tuple[float, float] | None:
    """Where the level begins to fall so steeply that no part does it, and by how much it falls; it stays there to the end."""
    for place in range(2, len(frequency_hz) - 1):
        before_db = float(median(level_db[place - 2 : place + 1]))
        low, high = np.searchsorted(frequency_hz, frequency_hz[place] * np.array([2**-WITHIN, 2**WITHIN]))
        after_db = float(np.max(level_db[min(int(high), len(level_db) - 1) :]))
        if before_db - after_db > FALL_DB and float(level_db[low]) - before_db < FLAT_DB:
            edge = place + int(np.argmax(level_db[place:] < before_db - EDGE_DB))
            return float(frequency_hz[edge]), before_db - after_db
    return None


def _rate_of(edge_hz: float, rate_hz: int) -> int | None:
    """Tell of which lower rate a stream ends there, the likeliest first."""
    fitting = [rate for rate in RATES_HZ if rate < rate_hz and PASSED[0] <= edge_hz / rate <= PASSED[1]]
    return min(fitting, key=lambda rate: abs(edge_hz / rate - OWN_WALL - 0.01), default=None)
