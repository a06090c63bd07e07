"""Two channels of a recording to their energy spectra, summed over narrow cells.

A short recording between silences is transformed whole; any other is cut into overlapping segments, so that memory stays
bounded and a stimulus that runs on over both ends leaks nowhere.
"""

from collections.abc import Callable, Iterator

import numpy as np

from measure.bands import Cells, add_spectra, make_cells
from measure.hum import Hum, hum_samples
from measure.recording import Samples
from measure.response import ComplexArray, FloatArray

WHOLE_SAMPLES = 1 << 21  # samples; up to here a recording between silences is transformed whole
SEGMENT_SAMPLES = 1 << 20  # samples; longer recordings are cut into segments of this length
SEGMENTS_INSIDE = 4  # [1] segments side by side in a recording without silences, at least
OVERLAP = 4  # [1] segments over each sample; Hann windows squared then add up to a constant
FILL_SAMPLES = 1 << 15  # samples copied at a time, to stay in the processor's cache

Fetch = Callable[[int, int], FloatArray]


def channel_reader(samples: Samples, column: int, *, hum: Hum | None, hum_column: int) -> Fetch:
    """Return a function that gives a range of one channel, mains lines taken out.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
        Of the recording.
    column : int
        Which of them, from 0.
    hum : Hum or None
        What to subtract.
    hum_column : int
        0 the pickup's lines, 1 the reference's.

    Returns
    -------
    callable
        (start, stop) to an array of float, shape (stop - start,).
    """

    def fetch(start: int, stop: int) -> FloatArray:
        piece = samples[start:stop, column].astype(float)
        if hum is not None and np.any(hum.amplitude[:, hum_column]):
            piece -= hum_samples(hum, start, stop, column=hum_column)
        return piece

    return fetch


def stimulus_reader(stimulus: FloatArray, arrival: int) -> Fetch:
    """Return a function that gives a range of a known stimulus where it arrives in the recording.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        What was played.
    arrival : int
        Sample of the recording at which its first sample arrives.

    Returns
    -------
    callable
        (start, stop) to an array of float, shape (stop - start,).
    """

    def fetch(start: int, stop: int) -> FloatArray:
        piece = np.zeros(stop - start)
        low, high = max(start, arrival), min(stop, arrival + len(stimulus))
        if low < high:
            piece[low - start : high - start] = stimulus[low - arrival : high - arrival]
        return piece

    return fetch


def plan_segments(n: int, *, is_between_silences: bool) -> tuple[int, list[int]]:
    """How to cut a recording.

    Parameters
    ----------
    n : int
        Samples.
    is_between_silences : bool
        The stimulus starts and ends within the recording.

    Returns
    -------
    length : int
        Of a segment.
    starts : list of int
        Their first samples; the outer ones reach beyond a recording between silences, which is 0 there.
    """
    if is_between_silences and n <= WHOLE_SAMPLES:
        return n, [0]
    length = min(SEGMENT_SAMPLES, n if is_between_silences else n // SEGMENTS_INSIDE)
    hop = length // OVERLAP
    length = hop * OVERLAP
    if is_between_silences:
        return length, list(range(hop - length, n, hop))
    return length, list(range(0, n - length + 1, hop))


def energy_cells(
    frequency_hz: FloatArray, pickup: Fetch, reference: Fetch, *, n: int, rate_hz: float, plan: tuple[int, list[int]]
) -> tuple[Cells, float]:
    """Energy spectra of both channels, summed over the cells of a grid.

    Parameters
    ----------
    frequency_hz : ndarray, shape (k,)
        Grid frequencies. [Hz]
    pickup, reference : callable
        Give a range of samples.
    n : int
        Samples in all.
    rate_hz : float
        Sample rate. [Hz]
    plan : tuple of int and list of int
        From `plan_segments`.

    Returns
    -------
    cells : Cells
        Energies of the whole recording, its noise included.
    length_s : float
        Time that the noise's energy was collected over. [s]
    """
    import scipy.fft

    length, starts = plan
    n_fft = scipy.fft.next_fast_len(length, real=True)
    cells = make_cells(frequency_hz, bin_hz=rate_hz / n_fft)
    if len(starts) == 1:
        add_spectra(cells, *_whole(pickup, reference, n, n_fft), scale=1 / rate_hz**2)
        return cells, n / rate_hz
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(length) + 0.5) / length)
    overlap = float(np.mean(window**2)) * OVERLAP
    for top, bottom in _segments(pickup, reference, n, window, starts, n_fft):
        add_spectra(cells, top, bottom, scale=1 / (overlap * rate_hz**2))
    inside = starts[0] >= 0
    length_s = len(starts) * length / OVERLAP / rate_hz if inside else n / rate_hz
    return cells, length_s


def _whole(pickup: Fetch, reference: Fetch, n: int, n_fft: int) -> tuple[ComplexArray, ComplexArray]:
    """Spectra of both channels; one buffer serves both."""
    import scipy.fft

    buffer = np.zeros(n_fft)
    spectra = []
    for fetch in (pickup, reference):
        _fill(buffer, fetch, 0, n)
        spectra.append(scipy.fft.rfft(buffer))
    return spectra[0], spectra[1]


def _segments(
    pickup: Fetch, reference: Fetch, n: int, window: FloatArray, starts: list[int], n_fft: int
) -> Iterator[tuple[ComplexArray, ComplexArray]]:
    """Spectra of both channels, segment by segment."""
    import scipy.fft

    length = len(window)
    buffer = np.zeros(n_fft)
    for start in starts:
        low, high = max(start, 0), min(start + length, n)
        spectra = []
        for fetch in (pickup, reference):
            buffer[:] = 0.0
            _fill(buffer[low - start :], fetch, low, high)
            buffer[:length] *= window
            spectra.append(scipy.fft.rfft(buffer))
        yield spectra[0], spectra[1]


def _fill(buffer: FloatArray, fetch: Fetch, start: int, stop: int) -> None:
    for at in range(start, stop, FILL_SAMPLES):
        end = min(at + FILL_SAMPLES, stop)
        buffer[at - start : end - start] = fetch(at, end)
