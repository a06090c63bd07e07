"""What meters show of the inputs several times a second: levels, the spectrum in bands, and the mains lines in it."""

from dataclasses import dataclass

import numpy as np

from measure.response import FloatArray
from measure.signal.levels import FULL
from measure.signal.mains import LINE_OVER_NOISE, NOMINAL_HZ

LOW_HZ, HIGH_HZ = 20.0, 20e3  # [Hz] of the spectrum that is shown
BANDS = 12  # [1] in an octave
LEAST_POWER = 1e-20  # [1] −200 dBFS
TOP_LINE_HZ = 990.0  # [Hz] mains lines are looked for up to here: below the tone, which is a multiple of 50 Hz, too
FEWEST_LINES = 2  # [1] of one mains frequency; a single line may be anything, unless it is the lowest
HANN_GAIN = 0.5  # [1] what the window leaves of a line's amplitude


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterReading:
    """One input over a short time; a full-scale sine is 0 dBFS, its peak too (AES17).

    Attributes
    ----------
    rms_dbfs, peak_dbfs : float
        Of all samples. [dBFS]
    is_clipped : bool
        A sample came as near to full scale as `judge_levels` calls clipped.
    """

    rms_dbfs: float
    peak_dbfs: float
    is_clipped: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BandSpectrum:
    """Spectrum in bands of equal width in octaves.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Middles of the bands. [Hz]
    level_dbfs : ndarray, shape (c, n)
        Largest line in each band, one row for each input. [dBFS]
    mains_hz : tuple of float
        Mains lines that stand out of any input; empty where none does. [Hz]
    """

    frequency_hz: FloatArray
    level_dbfs: FloatArray
    mains_hz: tuple[float, ...]


def read_meters(samples: FloatArray) -> tuple[MeterReading, ...]:
    """Read the meters.

    Parameters
    ----------
    samples : ndarray, shape (n, c)
        Full scale is 1; n > 0.
    """
    peaks = np.max(np.abs(samples), axis=0)
    powers = 2 * np.mean(samples**2, axis=0)
    return tuple(
        MeterReading(rms_dbfs=_db(power), peak_dbfs=_db(peak**2), is_clipped=bool(peak >= FULL))
        for peak, power in zip(peaks, powers, strict=True)
    )


def band_spectrum(samples: FloatArray, rate_hz: int) -> BandSpectrum:
    """Split what the inputs hear into bands.

    Parameters
    ----------
    samples : ndarray, shape (n, c)
        Half a second or more, so that mains lines lie apart; full scale is 1.
    rate_hz : int
        Sample rate. [Hz]

    Raises
    ------
    ValueError
        If there are fewer samples than a quarter of a second has.
    """
    if len(samples) < rate_hz / 4:
        msg = f"{len(samples)} samples are less than a quarter of a second at {rate_hz} Hz: mains lines could not be told apart"
        raise ValueError(msg)
    window = np.hanning(len(samples))
    spectrum = np.fft.rfft(samples * window[:, np.newaxis], axis=0)
    power = (np.abs(spectrum) / (HANN_GAIN * len(samples) / 2)) ** 2
    bin_hz = rate_hz / len(samples)
    n_bands = int(np.floor(BANDS * np.log2(min(HIGH_HZ, rate_hz / 2) / LOW_HZ))) + 1
    middle_hz = LOW_HZ * 2 ** (np.arange(n_bands) / BANDS)
    first = np.floor(middle_hz * 2 ** (-0.5 / BANDS) / bin_hz + 0.5).astype(int)
    last = np.maximum(np.floor(middle_hz * 2 ** (0.5 / BANDS) / bin_hz + 0.5).astype(int), first + 1)
    level_dbfs = [
        [_db(float(np.max(power[a:b, column]))) for a, b in zip(first, last, strict=True)] for column in range(samples.shape[1])
    ]
    mains_hz = max((_mains_lines(power[:, column], bin_hz) for column in range(samples.shape[1])), key=len)
    return BandSpectrum(frequency_hz=middle_hz, level_dbfs=np.array(level_dbfs), mains_hz=mains_hz)


def _mains_lines(power: FloatArray, bin_hz: float) -> tuple[float, ...]:
    """List the lines of the mains frequency that has more of them."""
    found = []
    for mains_hz in NOMINAL_HZ:
        lines = mains_hz * np.arange(1, int(TOP_LINE_HZ / mains_hz) + 1)
        found.append(tuple(float(line) for line in lines if _stands_out(power, line, bin_hz, mains_hz=mains_hz)))
    most = max(found, key=len)
    return most if len(most) >= FEWEST_LINES or set(most) & set(NOMINAL_HZ) else ()


def _stands_out(power: FloatArray, line_hz: float, bin_hz: float, *, mains_hz: float) -> bool:
    at = round(line_hz / bin_hz)
    around = np.r_[
        power[round((line_hz - 0.4 * mains_hz) / bin_hz) : at - 3], power[at + 4 : round((line_hz + 0.4 * mains_hz) / bin_hz)]
    ]
    return bool(np.max(power[at - 1 : at + 2]) > LINE_OVER_NOISE * max(float(np.median(around)), LEAST_POWER))


def _db(power: float) -> float:
    return float(10 * np.log10(max(power, LEAST_POWER)))
