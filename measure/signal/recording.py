"""A recording: samples, rate, which channel is which."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32] | NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Recording:
    """Raw samples as they came from an interface or a file; full scale is 1.

    Attributes
    ----------
    samples : ndarray, shape (n, channels)
        float32 (exact for up to 24 bits) or float64; made read-only, not copied.
    rate_hz : int
        Sample rate. [Hz]
    pickup_channel : int
        Counts from 1.
    reference_channel : int or None
        Counts from 1; None where the reference was not recorded.
    n_bits : int or None
        Bits a sample of integer formats; None for float formats.
    sha256 : str
        Of the file; empty where there is none.
    simulated : bool
        Made by the virtual bench.
    """

    samples: Samples
    rate_hz: int
    pickup_channel: int = 1
    reference_channel: int | None = 2
    n_bits: int | None = None
    name: str = ""
    sha256: str = ""
    simulated: bool = False

    def __post_init__(self) -> None:
        """Make the samples read-only and check them once.

        Raises
        ------
        ValueError
            If a channel is not there, or the samples have another shape or type; the message says which.
        """
        if self.samples.ndim != 2 or self.samples.dtype not in (np.float32, np.float64):
            found = f"{self.samples.dtype} with shape {self.samples.shape}"
            msg = f"samples are {found}, expected float32 or float64 with shape (n, channels)"
            raise ValueError(msg)
        wanted = {"pickup": self.pickup_channel, "reference": self.reference_channel}
        n_channels = self.samples.shape[1]
        for role, channel in wanted.items():
            if channel is not None and not 1 <= channel <= n_channels:
                msg = f"{role} channel {channel} asked for, but {self.name or 'the recording'} has {n_channels} channels"
                raise ValueError(msg)
        if self.pickup_channel == self.reference_channel:
            msg = f"pickup and reference are both channel {self.pickup_channel}"
            raise ValueError(msg)
        self.samples.setflags(write=False)
