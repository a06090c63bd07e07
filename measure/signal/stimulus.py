"""The stimulus: its samples, and what they were made from."""

import msgspec
import numpy as np

from measure.response import FloatArray

SILENCE_BEFORE_S = 0.7  # [s] long enough to find mains lines to a fraction of a hertz
SILENCE_AFTER_S = 0.5  # [s] the slowest pickup has rung down long before
TOP_OF_RATE = 0.46  # [1] upper end of the sweep over the sample rate; interfaces filter above it
FADE_S = 0.005  # [s] raised-cosine ends: no click at start and stop


class Sweep(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, tag_field="kind", tag="sweep"):
    """What an exponential sweep is made from.

    Attributes
    ----------
    rate_hz : int
        Sample rate. [Hz]
    start_hz, stop_hz : float
        First and last frequency, 0 < start < stop < rate / 2. [Hz]
    duration_s : float
        Length of the sweep without the silences. [s]
    before_s, after_s : float
        Silence around it. [s]
    level : float
        Peak over full scale, 0 < level <= 1.
    """

    rate_hz: int
    start_hz: float = 15.0
    stop_hz: float = 0.0
    duration_s: float = 3.0
    before_s: float = SILENCE_BEFORE_S
    after_s: float = SILENCE_AFTER_S
    level: float = 0.5

    def __post_init__(self) -> None:
        """Fill in the upper end, then check each number once.

        Raises
        ------
        ValueError
            If a number is out of its range; the message names it.
        """
        if self.stop_hz == 0.0:
            msgspec.structs.force_setattr(self, "stop_hz", TOP_OF_RATE * self.rate_hz)
        limits = {
            "rate_hz": 8000 <= self.rate_hz <= 768000,
            "start_hz and stop_hz": 0 < self.start_hz < self.stop_hz < self.rate_hz / 2,
            "duration_s": 0 < self.duration_s <= 600,
            "before_s and after_s": min(self.before_s, self.after_s) >= 0,
            "level": 0 < self.level <= 1,
        }
        for name, is_good in limits.items():
            if not is_good:
                msg = f"{name} of the sweep out of range: {self}"
                raise ValueError(msg)


def sweep_samples(sweep: Sweep) -> FloatArray:
    r"""Make an exponential sweep between its silences, faded at both ends.

    :math:`x(t) = \sin(2\pi f_1 L (e^{t/L} - 1))`, :math:`L = T / \ln(f_2/f_1)`.

    Returns
    -------
    ndarray, shape (n,)
        Full scale is 1.

    References
    ----------
    A. Farina, 108th AES Convention, Paris 2000, preprint 5093.
    """
    n = round(sweep.duration_s * sweep.rate_hz)
    time_s = np.arange(n) / sweep.rate_hz
    growth_s = sweep.duration_s / np.log(sweep.stop_hz / sweep.start_hz)
    wave = sweep.level * np.sin(2 * np.pi * sweep.start_hz * growth_s * np.expm1(time_s / growth_s))
    n_fade = min(round(FADE_S * sweep.rate_hz), n // 2)
    fade = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_fade) + 0.5) / max(n_fade, 1))
    wave[:n_fade] *= fade
    wave[n - n_fade :] *= fade[::-1]
    before = np.zeros(round(sweep.before_s * sweep.rate_hz))
    after = np.zeros(round(sweep.after_s * sweep.rate_hz))
    return np.concatenate([before, wave, after])
