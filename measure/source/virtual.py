"""The virtual bench: a sound card and what is plugged into it, without hardware, and every fault on demand.

The responses come from outside; this module knows nothing of circuits.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from measure.response import ComplexArray, FloatArray

TAIL_S = 0.5  # [s] recorded after the stimulus has been played; the slowest pickup has rung down long before
LATENCY_S = 0.02  # [s] of an ordinary interface
FINER = 4  # [1] oversampling before samples are taken between samples
AUTOMATIC_GAIN_BLOCK_S = 0.005  # [s] the gain is worked out once a block

ResponseFunction = Callable[[FloatArray], ComplexArray]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Noise:
    """What comes in beside the signal; sine levels are peak over full scale, noise levels rms over full scale.

    Attributes
    ----------
    hum_hz : float
        Fundamental of the mains. [Hz]
    pickup_hum : tuple of float
        Peak of each harmonic in the pickup's channel, the fundamental first.
    pickup_pink : float
        Pink noise in the pickup's channel, rms over the whole band.
    """

    hum_hz: float = 50.0
    pickup_hum: tuple[float, ...] = ()
    reference_hum: tuple[float, ...] = ()
    pickup_white: float = 0.0
    reference_white: float = 0.0
    pickup_pink: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Gap:
    """A place where the stream of samples is broken.

    Attributes
    ----------
    kind : {"lost", "repeated", "inserted-zeros", "zeroed", "stuck"}
        Samples left out; played twice, so that what follows comes later; zeros pushed in; overwritten by zeros; overwritten by
        the block before, so that nothing moves.
    at_s : float
        Where, from the start of the recording. [s]
    channels : {"both", "pickup", "reference"}
        Where only one channel is broken, its length is kept by zeros at its end.
    """

    kind: str
    at_s: float
    n_samples: int
    channels: str = "both"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Faults:
    """Every fault on demand; the defaults are none.

    Attributes
    ----------
    third_order : float
        The generator plays x − third_order·x³.
    pickup_clip, reference_clip : float
        Level at which an input clips; 1 is digital full scale, and nothing passes beyond that in integer formats.
    pickup_third_order : float
        The pickup's input records y − pickup_third_order·y³.
    is_muted : bool
        Nothing is played; noise and hum stay.
    is_pickup_dead, is_reference_dead : bool
        Exact zeros in that channel.
    is_swapped : bool
        The two channels are exchanged.
    rate_factor : float
        The recorder's true rate over the rate it claims: 48000/44100 stretches the sweep.
    drift_ppm : float
        The recorder's clock runs fast by so many parts in a million. [1e-6]
    automatic_gain : float
        0 is none; 1 evens out every level. Each channel on its own, with `automatic_gain_s` to follow.
    automatic_gain_s : float
        Time constant. [s]
    keep_from_s, keep_until_s : float
        What is cut off at the two ends. [s]
    crosstalk : float
        Part of the played signal that reaches the pickup's input directly.
    click_at_s, click : float
        One disturbed sample in the pickup's channel, and its height. [s], [1]
    """

    third_order: float = 0.0
    pickup_clip: float = np.inf
    reference_clip: float = np.inf
    pickup_third_order: float = 0.0
    is_muted: bool = False
    is_pickup_dead: bool = False
    is_reference_dead: bool = False
    is_swapped: bool = False
    gaps: tuple[Gap, ...] = ()
    rate_factor: float = 1.0
    drift_ppm: float = 0.0
    automatic_gain: float = 0.0
    automatic_gain_s: float = 0.2
    pickup_offset: float = 0.0
    reference_offset: float = 0.0
    keep_from_s: float = 0.0
    keep_until_s: float = np.inf
    crosstalk: float = 0.0
    click_at_s: float = 0.0
    click: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class VirtualBench:
    """A sound card without hardware; a `Source`.

    Attributes
    ----------
    pickup, reference : callable
        Frequencies (n,) in hertz to the complex response (n,) from what is played to that input, full scale to full scale. Asked
        at 0 Hz and up to half the rate; must be causal and have rung down within `TAIL_S`.
    latency_s : float
        Of both channels, to the nearest sample. [s]
    reference_delay_samples : float
        How much later the reference is sampled than the pickup; a fraction of a sample is allowed.
    n_bits : int or None
        Bits a sample; None keeps floats.
    noise : Noise
        What comes in beside the signal.
    seed : int
        The same seed gives the same samples.
    """

    pickup: ResponseFunction
    reference: ResponseFunction
    latency_s: float = LATENCY_S
    reference_delay_samples: float = 0.0
    n_bits: int | None = 24
    noise: Noise = field(default_factory=Noise)
    faults: Faults = field(default_factory=Faults)
    seed: int = 0

    def describe(self) -> str:
        """Name of the device, for people."""
        return f"virtual bench (simulated, seed {self.seed})"

    def record(self, stimulus: FloatArray, *, rate_hz: int, n_channels: int = 2) -> FloatArray:
        """Play a stimulus to the given responses and return what the two inputs would hold.

        Parameters
        ----------
        stimulus : ndarray, shape (n,)
            Full scale is 1.
        rate_hz : int
            Sample rate of both directions. [Hz]
        n_channels : int
            Two: pickup, reference. One: the pickup alone.

        Returns
        -------
        ndarray, shape (m, n_channels)
            m = n + latency + `TAIL_S` unless a fault changes it; full scale is 1.

        Raises
        ------
        ValueError
            If more than two channels are asked for.
        """
        if n_channels not in (1, 2):
            msg = f"the virtual bench has 2 inputs, {n_channels} asked for"
            raise ValueError(msg)
        faults = self.faults
        generator = np.random.default_rng(self.seed)
        channels = _play(self, stimulus, rate_hz)
        channels += _disturbances(self.noise, len(channels), rate_hz=rate_hz, generator=generator)
        channels = _distort_inputs(channels, faults, rate_hz=rate_hz)
        for gap in faults.gaps:
            channels = _break_stream(channels, gap, rate_hz=rate_hz)
        start, stop = (round(min(at_s, 1e9) * rate_hz) for at_s in (faults.keep_from_s, faults.keep_until_s))
        channels = _quantise(channels[start:stop], self.n_bits)
        channels[:, np.array([faults.is_pickup_dead, faults.is_reference_dead])] = 0.0
        return (channels[:, ::-1] if faults.is_swapped else channels)[:, :n_channels].copy()


def _play(bench: VirtualBench, stimulus: FloatArray, rate_hz: int) -> FloatArray:
    """Both inputs without noise, shape (m, 2): filtered by FFT, zero-padded beyond the tail."""
    import scipy.fft

    faults = bench.faults
    n_latency = round(bench.latency_s * rate_hz)
    n_out = len(stimulus) + n_latency + round(TAIL_S * rate_hz)
    stretch = faults.rate_factor * (1 + faults.drift_ppm * 1e-6)
    n_recorded = round(n_out * max(stretch, 1.0))
    n_fft = scipy.fft.next_fast_len(max(n_out, n_recorded, round(n_recorded / stretch)) + round(TAIL_S * rate_hz), real=True)
    played = np.zeros_like(stimulus) if faults.is_muted else stimulus - faults.third_order * stimulus**3
    spectrum = scipy.fft.rfft(played, n_fft)
    frequency_hz = scipy.fft.rfftfreq(n_fft, 1 / rate_hz)
    spectrum *= np.exp(-2j * np.pi * frequency_hz * n_latency / rate_hz)
    delay = np.exp(-2j * np.pi * frequency_hz * bench.reference_delay_samples / rate_hz)
    responses = (bench.pickup(frequency_hz) + faults.crosstalk, bench.reference(frequency_hz) * delay)
    channels: list[FloatArray] = []
    for response in responses:
        if stretch == 1.0:
            channels.append(np.asarray(scipy.fft.irfft(spectrum * response, n_fft)[:n_recorded], dtype=float))
        else:
            fine = FINER * scipy.fft.irfft(spectrum * response, FINER * n_fft)
            channels.append(_resample(fine, np.arange(n_recorded) / stretch))
    return np.stack(channels, axis=1)


def _resample(fine: FloatArray, at: FloatArray) -> FloatArray:
    """Take samples between samples, shape of `at`: cubic interpolation of what was oversampled by `FINER`."""
    import scipy.interpolate

    low, high = int(at[0]), int(at[-1]) + 2
    part = fine[FINER * low : FINER * high]
    spline = scipy.interpolate.make_interp_spline(low + np.arange(len(part)) / FINER, part, k=3)
    return np.asarray(spline(at), dtype=float)


def _disturbances(noise: Noise, n: int, *, rate_hz: int, generator: np.random.Generator) -> FloatArray:
    """Hum and noise of both channels, shape (n, 2)."""
    import scipy.fft

    time_s = np.arange(n) / rate_hz
    out = np.stack([generator.normal(size=n) * level for level in (noise.pickup_white, noise.reference_white)], axis=1)
    n_harmonics = max(len(noise.pickup_hum), len(noise.reference_hum))
    phases_rad = generator.uniform(0, 2 * np.pi, size=n_harmonics)
    for column, levels in enumerate((noise.pickup_hum, noise.reference_hum)):
        for order, level in enumerate(levels, start=1):
            out[:, column] += level * np.sin(2 * np.pi * noise.hum_hz * order * time_s + phases_rad[order - 1])
    if noise.pickup_pink > 0:
        spectrum = scipy.fft.rfft(generator.normal(size=n))
        spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
        spectrum[0] = 0.0
        pink = scipy.fft.irfft(spectrum, n)
        out[:, 0] += noise.pickup_pink * pink / np.std(pink)
    return out


def _distort_inputs(channels: FloatArray, faults: Faults, *, rate_hz: int) -> FloatArray:
    """Apply what the inputs do to their voltages, shape (m, 2)."""
    out = channels + np.array([faults.pickup_offset, faults.reference_offset])
    if faults.click != 0.0:
        out[round(faults.click_at_s * rate_hz), 0] += faults.click
    if faults.automatic_gain > 0:
        out = np.stack([_follow_level(column, faults, rate_hz=rate_hz) for column in out.T], axis=1)
    out[:, 0] -= faults.pickup_third_order * out[:, 0] ** 3
    ceiling = np.array([faults.pickup_clip, faults.reference_clip])
    return np.clip(out, -ceiling, ceiling)


def _follow_level(samples: FloatArray, faults: Faults, *, rate_hz: int) -> FloatArray:
    """Automatic gain: divide by (smoothed rms / its greatest value) to the power of the fault's strength, shape (n,)."""
    n_block = max(1, round(AUTOMATIC_GAIN_BLOCK_S * rate_hz))
    n_blocks = -(-len(samples) // n_block)
    padded = np.zeros(n_blocks * n_block)
    padded[: len(samples)] = samples
    power = np.mean(padded.reshape(n_blocks, n_block) ** 2, axis=1)
    keep = np.exp(-AUTOMATIC_GAIN_BLOCK_S / faults.automatic_gain_s)
    smooth = np.empty(n_blocks)
    state = power[0]
    for index, value in enumerate(power):
        state = keep * state + (1 - keep) * value
        smooth[index] = state
    level = np.sqrt(np.maximum(smooth, 1e-3 * np.max(smooth)))
    gain = (np.max(level) / level) ** faults.automatic_gain
    gain /= np.max(gain)
    at = np.arange(len(samples))
    return samples * np.interp(at, (np.arange(n_blocks) + 0.5) * n_block, gain)


def _break_stream(channels: FloatArray, gap: Gap, *, rate_hz: int) -> FloatArray:
    """Put one gap into the samples, shape (m', 2).

    Raises
    ------
    ValueError
        If the kind or the channels of the gap are unknown.
    """
    at = round(gap.at_s * rate_hz)
    n = gap.n_samples
    columns = {"both": (0, 1), "pickup": (0,), "reference": (1,)}.get(gap.channels)
    kinds = {
        "lost": lambda x: np.concatenate([x[:at], x[at + n :]]),
        "repeated": lambda x: np.concatenate([x[:at], x[at - n : at], x[at:]]),
        "inserted-zeros": lambda x: np.concatenate([x[:at], np.zeros(n), x[at:]]),
        "zeroed": lambda x: np.concatenate([x[:at], np.zeros(n), x[at + n :]]),
        "stuck": lambda x: np.concatenate([x[:at], x[at - n : at], x[at + n :]]),
    }
    if columns is None or gap.kind not in kinds:
        msg = f"no gap of kind {gap.kind!r} in channels {gap.channels!r}; kinds are {', '.join(kinds)}"
        raise ValueError(msg)
    broken = [kinds[gap.kind](channels[:, column]) if column in columns else channels[:, column] for column in (0, 1)]
    if len(columns) == 1:
        n_out = len(channels)
        broken = [np.pad(column[:n_out], (0, n_out - min(n_out, len(column)))) for column in broken]
    return np.stack(broken, axis=1)


def _quantise(channels: FloatArray, n_bits: int | None) -> FloatArray:
    """Round to the nearest code and limit to the codes there are, shape (m, 2)."""
    if n_bits is None:
        return channels.copy()
    scale = 2.0 ** (n_bits - 1)
    return np.clip(np.round(channels * scale), -scale, scale - 1) / scale
