"""What can go wrong in the world, as one tree.

::

    MeasureError
    ├── DeviceError       sound card or its server: missing, busy, gone, late
    ├── DropoutError      samples are missing, repeated or late
    ├── ClippedError      an input ran into its limit
    ├── CalibrationError  a calibration does not fit what it is applied to
    └── FileError         a file is missing, damaged, hostile or not what was expected

A wrong call is a ValueError. Messages say what happened with numbers, the limit, and the cure, in one line.
"""


class MeasureError(Exception):
    """The world failed; the root of all errors that this package raises on purpose."""


class DeviceError(MeasureError):
    """The sound card or its server is missing, busy, gone or late."""


class DropoutError(MeasureError):
    """Samples are missing, repeated or late."""


class ClippedError(MeasureError):
    """An input ran into its limit."""


class CalibrationError(MeasureError):
    """A calibration does not fit what it is applied to."""


class FileError(MeasureError):
    """A file is missing, damaged, hostile or not what was expected."""
