"""What every place that samples come from can do: play a stimulus and hand back what was recorded."""

from typing import Protocol

from measure.response import FloatArray


class Source(Protocol):
    """A sound card, or something that stands in for one."""

    def describe(self) -> str:
        """Name of the device, for people."""
        ...

    def record(self, stimulus: FloatArray, *, rate_hz: int, n_channels: int = 2) -> FloatArray:
        """Play a stimulus and record while it plays, and a little longer.

        Parameters
        ----------
        stimulus : ndarray, shape (n,)
            Full scale is 1.
        rate_hz : int
            Sample rate of both directions. [Hz]

        Returns
        -------
        ndarray, shape (m, n_channels)
            What came in, m >= n; full scale is 1.
        """
        ...
