"""What can go wrong in the world, as one tree.

::

    MeasureError
    ├── DeviceError       sound card or its server: missing, busy, gone, late
    │   ├── LibraryMissingError   the PortAudio library is not installed
    │   ├── NoCardError           there is no sound card at all, or no default one
    │   ├── UnknownDeviceError    no device of that name, or several
    │   ├── ChannelError          the device has not so many channels
    │   ├── RateError             the device does not open at that sample rate
    │   ├── CardHeldError         another process of this tool has the device
    │   ├── OpenError             the device does not open for another reason
    │   ├── ServerDiedError       the sound server, or the sound library, ended while it ran
    │   ├── DeviceGoneError       the device went while it ran
    │   └── NoProgressError       no samples came any more, or too few in time
    ├── CalibrationError  a calibration does not fit what it is applied to
    └── FileError         a file is missing, damaged, hostile or not what was expected

A wrong call is a ValueError. Messages say what happened with numbers, the limit, and the cure, in one line.
"""

from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

SOUND_CARD_TROUBLE = 4  # exit code of a command


class MeasureError(Exception):
    """The world failed; the root of all errors that this package raises on purpose."""


class DeviceError(MeasureError):
    """The sound card or its server is missing, busy, gone or late.

    Attributes
    ----------
    samples : ndarray of float32, shape (m, n_channels), or None
        What had been recorded until then; full scale is 1.
    """

    exit_code: ClassVar[int] = SOUND_CARD_TROUBLE

    def __init__(self, *words: Any, samples: NDArray[np.float32] | None = None) -> None:
        """Keep what had been recorded.

        Parameters
        ----------
        samples : ndarray of float32, shape (m, n_channels), optional
            What had been recorded; full scale is 1.
        """
        super().__init__(*words)
        self.samples = samples


class LibraryMissingError(DeviceError):
    """The PortAudio library is not installed."""


class NoCardError(DeviceError):
    """There is no sound card at all, or no default one."""


class UnknownDeviceError(DeviceError):
    """No device has that name, or several have."""


class ChannelError(DeviceError):
    """The device has not so many channels."""


class RateError(DeviceError):
    """The device does not open at that sample rate."""


class CardHeldError(DeviceError):
    """Another process of this tool has the device."""


class OpenError(DeviceError):
    """The device does not open for another reason."""


class ServerDiedError(DeviceError):
    """The sound server, or the sound library, ended while it ran."""


class DeviceGoneError(DeviceError):
    """The device went while it ran."""


class NoProgressError(DeviceError):
    """No samples came any more, or too few in time."""


class CalibrationError(MeasureError):
    """A calibration does not fit what it is applied to."""


class FileError(MeasureError):
    """A file is missing, damaged, hostile or not what was expected."""
