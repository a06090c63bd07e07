"""What is played, block by block: never louder than asked, silent at both ends, ramped to silence when it has to stop."""

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray

RAMP_S = 0.02  # [s] raised cosine: what it adds lies below the hearing of a click
Float32Array = NDArray[np.float32]


def ramp_samples(n: int) -> FloatArray:
    """Rise from silence as a raised cosine.

    Parameters
    ----------
    n : int
        Its length; its greatest step is π / (2n).

    Returns
    -------
    ndarray, shape (n,)
        Between 0 and 1.
    """
    return 0.5 - 0.5 * np.cos(np.pi * (np.arange(n) + 0.5) / max(n, 1))


def soften_ends(stimulus: FloatArray, *, rate_hz: int, both: bool = True) -> Float32Array:
    """Ramp the ends of a stimulus; one that is silent there is left as it is.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        Full scale is 1.
    rate_hz : int
        Sample rate. [Hz]

    Returns
    -------
    ndarray of float32, shape (n,)
        What will be played.
    """
    softened = np.array(stimulus, dtype=np.float32)
    n = min(round(RAMP_S * rate_hz), len(softened) // 2)
    rise = ramp_samples(n).astype(np.float32)
    softened[:n] *= rise
    if both:
        softened[len(softened) - n :] *= rise[::-1]
    return softened


class Player:
    """Hands out what is to be played; made for a callback that may not wait.

    Parameters
    ----------
    played : ndarray of float32, shape (n,)
        From `soften_ends`.
    repeats : bool
        After its end it starts again; the second and later passes take `body`.
    body : ndarray of float32, shape (n,), optional
        What is repeated, without a ramp.
    """

    def __init__(
        self, played: Float32Array, *, n_lead: int, n_ramp: int, repeats: bool = False, body: Float32Array | None = None
    ) -> None:
        """Work out nothing; keep what is to be played."""
        self._played = played
        self._body = played if body is None else body
        self._repeats = repeats
        self._n_lead = n_lead
        self._fall = ramp_samples(n_ramp)[::-1].astype(np.float32)
        self._at_fall: int | None = None
        self._is_stopping = False
        self._limit = np.float32(np.max(np.abs(played), initial=0.0))
        self.position = 0  # samples handed out, the silence before included

    def stop(self) -> None:
        """Begin the ramp to silence with the next block."""
        self._is_stopping = True

    @property
    def is_silent(self) -> bool:
        """Whether a ramp to silence has been handed out whole.

        Returns
        -------
        bool
            True once nothing but zeros follows.
        """
        return self._at_fall is not None and self._at_fall >= len(self._fall)

    def next_block(self, n: int) -> Float32Array:
        """Hand out the next samples.

        Returns
        -------
        ndarray of float32, shape (n,)
            Within the greatest magnitude of the stimulus.
        """
        block = self._take(self.position - self._n_lead, n)
        self.position += n
        if self._is_stopping or self._at_fall is not None:
            at = self._at_fall or 0
            gain = np.zeros(n, dtype=np.float32)
            part = self._fall[at : at + n]
            gain[: len(part)] = part
            block *= gain
            self._at_fall = at + n
        return np.clip(block, -self._limit, self._limit)

    def _take(self, start: int, n: int) -> Float32Array:
        """Take samples start to start + n of the stimulus, zeros where it is not."""
        block = np.zeros(n, dtype=np.float32)
        n_all = len(self._played)
        at = max(start, 0)
        while at < start + n and (self._repeats or at < n_all):
            source, offset = (self._played, at) if at < n_all else (self._body, at % n_all)
            part = source[offset : offset + start + n - at]
            block[at - start : at - start + len(part)] = part
            at += len(part)
        return block
