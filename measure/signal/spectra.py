"""Two channels of a recording to their energy spectra, summed over narrow cells.

A short recording between silences is transformed whole; any other is cut into overlapping segments, so that memory stays
bounded and a stimulus that runs on over both ends leaks nowhere.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from measure.response import ComplexArray, FloatArray, median
from measure.signal.bands import Cells, add_spectra, make_cells
from measure.signal.mains import ONSET_BELOW_PEAK, Hum, hum_samples
from measure.signal.recording import Recording, Samples
from measure.signal.transforms import fast_length

WHOLE_SAMPLES = 1 << 20  # samples; up to here a recording between silences is transformed whole
SEGMENT_SAMPLES = 1 << 20  # samples; longer recordings are cut into segments of this length at most
SEGMENT_SHARE, SEGMENT_S = 10, 3.0  # [1], [s] of a tenth at least, so that memory stays below that of the recording, or so long
SEGMENTS_INSIDE = 4  # [1] segments side by side in a recording without silences, at least
OVERLAP = 4  # [1] segments over each sample; Hann windows squared then add up to a constant
FILL_SAMPLES = 1 << 15  # samples copied at a time, to stay in the processor's cache
SWEEP_CREST = 1.6  # [1] peak over rms of a sine is 1.41, of noise 3 and more
HARMONIC_SHARE = 0.5  # [1] of the way to the second harmonic is kept for the linear response
LONGEST_RINGING_S = 0.4  # [s] the linear response is over by then
ARRIVAL_SAMPLES = 1 << 21  # samples of the stimulus, and on either side of them, in which its arrival is looked for

Fetch = Callable[[int, int], FloatArray]


def channel_reader(samples: Samples, column: int, *, hum: Hum | None, hum_column: int) -> Fetch:
    """Return a function that gives a range of one channel, mains lines taken out.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
        Of the recording.
    column : int
        Which of them, from 0.
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


def plan_segments(n: int, *, rate_hz: float, is_between_silences: bool) -> tuple[int, list[int]]:
    """How to cut a recording.

    Parameters
    ----------
    rate_hz : float
        Sample rate. [Hz]
    is_between_silences : bool
        The stimulus starts and ends within the recording.

    Returns
    -------
    starts : list of int
        Their first samples; the outer ones reach beyond a recording between silences, which is 0 there.
    """
    if is_between_silences and n <= WHOLE_SAMPLES:
        return n, [0]
    length = min(max(n // SEGMENT_SHARE, round(SEGMENT_S * rate_hz)), SEGMENT_SAMPLES)
    length = min(length, n if is_between_silences else n // SEGMENTS_INSIDE)
    hop = length // OVERLAP
    length = hop * OVERLAP
    if is_between_silences:
        return length, list(range(hop - length, n, hop))
    return length, list(range(0, n - length + 1, hop))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DelayGate:
    """Which delays between reference and pickup belong to the linear response of a sweep.

    The n-th harmonic arrives earlier than the linear response, by growth·ln n (A. Farina, 108th AES Convention, Paris 2000).

    Attributes
    ----------
    low_hz, high_hz : float
        Range that the sweep excites. [Hz]
    before_s, after_s : float
        What arrives earlier or later is taken out. [s]
    """

    low_hz: float
    high_hz: float
    before_s: float
    after_s: float


def find_arrival(recording: Recording, stimulus: FloatArray) -> int:
    """Sample of a recording at which the first sample of the stimulus arrives.

    Parameters
    ----------
    recording : Recording
        With the pickup's channel.
    stimulus : ndarray, shape (n,)
        What was played.

    Returns
    -------
    int
        To the nearest sample of the strongest response; negative where the recording began late.
    """
    on = np.flatnonzero(np.abs(stimulus) > ONSET_BELOW_PEAK * np.max(np.abs(stimulus), initial=0.0))
    if len(on) == 0:
        return 0
    stop = int(on[-1]) + 1
    start = max(int(on[0]), stop - ARRIVAL_SAMPLES)
    first = max(0, start - ARRIVAL_SAMPLES)
    piece = stimulus[start:stop]
    heard = recording.samples[first : stop + ARRIVAL_SAMPLES, recording.pickup_channel - 1].astype(float)
    n_fft = fast_length(len(piece) + len(heard))
    spectrum = np.fft.rfft(piece, n_fft)
    power = spectrum.real**2 + spectrum.imag**2
    # Whitened: the peak is then that of the impulse response, sharp whatever the stimulus.
    impulse = np.fft.irfft(np.fft.rfft(heard, n_fft) * spectrum.conj() / (power + 1e-4 * power.max()), n_fft)
    peak = int(np.argmax(np.abs(impulse)))
    return first - start + (peak - n_fft if peak >= len(heard) else peak)


def delay_gate(stimulus: FloatArray, low_hz: float, high_hz: float, *, rate_hz: float) -> DelayGate | None:
    """Choose the delays that keep harmonics out, which arrive before the linear response.

    Needed without a reference channel only: with one, harmonics of the generator cancel in the ratio.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        What was played.
    low_hz, high_hz : float
        Range that it excites. [Hz]
    rate_hz : float
        Sample rate. [Hz]

    Returns
    -------
    DelayGate or None
        None where the stimulus is not a sweep: harmonics then lie everywhere.
    """
    level = ONSET_BELOW_PEAK * np.max(np.abs(stimulus), initial=0.0)
    on = np.flatnonzero(np.abs(stimulus) > level)
    if len(on) == 0:
        return None
    active = stimulus[on[0] : on[-1] + 1]
    if np.max(np.abs(active)) > SWEEP_CREST * np.sqrt(np.mean(active**2)):
        return None
    growth_s = len(active) / rate_hz / np.log(high_hz / low_hz)
    return DelayGate(
        low_hz=low_hz,
        high_hz=high_hz,
        before_s=HARMONIC_SHARE * growth_s * np.log(2),
        after_s=LONGEST_RINGING_S,
    )


def energy_cells(
    frequency_hz: FloatArray,
    pickup: Fetch,
    reference: Fetch,
    *,
    n: int,
    rate_hz: float,
    plan: tuple[int, list[int]],
    gate: DelayGate | None = None,
) -> tuple[Cells, float]:
    """Energy spectra of both channels, summed over the cells of a grid.

    Parameters
    ----------
    frequency_hz : ndarray, shape (k,)
        Grid frequencies. [Hz]
    rate_hz : float
        Sample rate. [Hz]
    plan : tuple of int and list of int
        From `plan_segments`.
    gate : DelayGate, optional
        Applied where the recording is transformed whole.

    Returns
    -------
    cells : Cells
        Energies of the whole recording, its noise included.
    length_s : float
        Time that the noise's energy was collected over. [s]
    """
    length, starts = plan
    n_fft = fast_length(length)
    cells = make_cells(frequency_hz, bin_hz=rate_hz / n_fft)
    if len(starts) == 1:
        top, bottom = _whole(pickup, reference, n, n_fft)
        if gate is not None:
            top = _gated(top, bottom, gate, bin_hz=rate_hz / n_fft, n_fft=n_fft)
        add_spectra(cells, top, bottom, scale=1 / rate_hz**2)
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
    buffer = np.zeros(n_fft)
    spectra = []
    for fetch in (pickup, reference):
        _fill(buffer, fetch, 0, n)
        spectra.append(np.fft.rfft(buffer))
    return spectra[0], spectra[1]


def _gated(top: ComplexArray, bottom: ComplexArray, gate: DelayGate, *, bin_hz: float, n_fft: int) -> ComplexArray:
    """Take out of the pickup's spectrum what arrives outside the gate."""
    first, last = int(np.ceil(gate.low_hz / bin_hz)), int(np.floor(gate.high_hz / bin_hz)) + 1
    # Induction rises as f: freed of that, the quotient is flat at the low end and goes on beyond it without a step, so that
    # its impulse is short and the gate cuts nothing of it.
    induced = 1j * np.arange(first, last) * bottom[first:last]
    quotient = np.empty_like(top)
    quotient[first:last] = top[first:last] / induced
    low = quotient[first : 3 * first]
    quotient[:first] = complex(median(low.real), median(low.imag))
    quotient[last:] = np.mean(quotient[last - max(1, last // 64) : last])
    impulse = np.fft.irfft(quotient, n_fft)
    delay_s = np.arange(n_fft) / (bin_hz * n_fft)
    delay_s[n_fft // 2 :] -= 1 / bin_hz
    limit_s = np.where(delay_s < 0, gate.before_s, gate.after_s)
    # Raised-cosine edges, from 0.7 to 1.3 of the limit.
    position = np.clip((np.abs(delay_s) / limit_s - 0.7) / 0.6, 0.0, 1.0)
    impulse *= 0.5 + 0.5 * np.cos(np.pi * position)
    gated = top.copy()
    gated[first:last] = np.fft.rfft(impulse)[first:last] * induced
    return gated


def _segments(
    pickup: Fetch, reference: Fetch, n: int, window: FloatArray, starts: list[int], n_fft: int
) -> Iterator[tuple[ComplexArray, ComplexArray]]:
    """Spectra of both channels, segment by segment."""
    length = len(window)
    buffer = np.zeros(n_fft)
    for start in starts:
        low, high = max(start, 0), min(start + length, n)
        spectra = []
        for fetch in (pickup, reference):
            buffer[:] = 0.0
            _fill(buffer[low - start :], fetch, low, high)
            buffer[:length] *= window
            spectra.append(np.fft.rfft(buffer))
        yield spectra[0], spectra[1]


def _fill(buffer: FloatArray, fetch: Fetch, start: int, stop: int) -> None:
    for at in range(start, stop, FILL_SAMPLES):
        end = min(at + FILL_SAMPLES, stop)
        buffer[at - start : end - start] = fetch(at, end)
