"""What is looked at in an audio file before and while it is read: damaged, hostile, and mistaken files are told in one line."""

from pathlib import Path
from typing import Literal, Protocol

import numpy as np

from measure.errors import FileError
from measure.response import FloatArray
from measure.signal.recording import Samples
from measure.text import plain_text

FORMATS = ("WAV", "WAVEX", "RF64", "W64", "FLAC", "AIFF")
STARTS: dict[bytes, Literal["little", "big"] | None] = {  # first bytes, and the order of those of the length that follows
    b"RIFF": "little",
    b"RIFX": "big",
    b"FORM": "big",
    b"RF64": None,
    b"riff": None,
    b"fLaC": None,
}
UNKNOWN_LENGTH = 0xFFFFFFF0  # [bytes] written by programs that did not know the length beforehand
LARGEST_SAMPLE = 1000.0  # [1] of full scale; a float file beyond it is not a recording
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8000, 768000  # [Hz] what audio interfaces offer, with room on both sides
SHORTEST_S = 0.1  # [s] nothing can be measured in less
LONGEST_S = 3600.0  # [s] a longer file is a mistake, or an attack
MOST_CHANNELS = 64


class Header(Protocol):
    """What an open audio file says of itself."""

    @property
    def frames(self) -> int:
        """Samples of each channel."""

    @property
    def samplerate(self) -> int:
        """Sample rate [Hz]."""

    @property
    def channels(self) -> int:
        """Number of channels."""

    @property
    def format(self) -> str:
        """Kind of file."""


def check_start(path: Path, start: bytes, n_bytes: int | None = None) -> None:
    """Look at the first bytes: is it such a file, and is all of it there.

    Parameters
    ----------
    start : bytes
        Its first 12 bytes.
    n_bytes : int or None
        In all; None looks.

    Raises
    ------
    FileError
        If the file is empty, something else, or shorter than it says.
    """
    if not start:
        msg = f"{shown_name(path)}: the file is empty. Record or copy it again."
        raise FileError(msg)
    if start[:4] not in STARTS:
        msg = f"{shown_name(path)}: not a WAV, FLAC or AIFF file. Export it again as WAV or FLAC."
        raise FileError(msg)
    order = STARTS[start[:4]]
    if order is None or len(start) < 8:
        return
    # The reading library takes a file that was cut off for a shorter one; its first chunk's length tells.
    stated, actual = int.from_bytes(start[4:8], order) + 8, path.stat().st_size if n_bytes is None else n_bytes
    if stated > actual + 1 and stated < UNKNOWN_LENGTH:
        msg = f"{shown_name(path)}: cut short, {actual} of {stated} bytes are there. Copy or record it again."
        raise FileError(msg)


def check_header(path: Path, file: Header) -> None:
    """Refuse what no measurement can come from, before memory is spent on it.

    Raises
    ------
    FileError
        If format, rate, length or number of channels is not usable.
    """
    duration_s = file.frames / max(file.samplerate, 1)
    rate_limits = f"{LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
    problems = (
        (file.format not in FORMATS, f"a {file.format} file; only WAV, FLAC and AIFF are read. Export it again as WAV or FLAC."),
        (
            not LOWEST_RATE_HZ <= file.samplerate <= HIGHEST_RATE_HZ,
            f"sample rate {file.samplerate} Hz, expected {rate_limits}. Record at 44100 to 192000 Hz.",
        ),
        (
            file.channels > MOST_CHANNELS,
            f"{file.channels} channels, at most {MOST_CHANNELS} expected. Export the two that matter.",
        ),
        (
            not SHORTEST_S <= duration_s <= LONGEST_S,
            f"{duration_s:.3g} s long, expected {SHORTEST_S} s to {LONGEST_S:.0f} s. Record it again, or cut it.",
        ),
    )
    for is_bad, text in problems:
        if is_bad:
            msg = f"{shown_name(path)}: {text}"
            raise FileError(msg)


def require_sane(path: Path, block: FloatArray | Samples, at_s: float) -> None:
    """Refuse samples that no converter gives.

    Parameters
    ----------
    block : ndarray
        Samples; full scale is 1.
    at_s : float
        Where they begin. [s]

    Raises
    ------
    FileError
        If one is not finite or far beyond full scale.
    """
    peak = float(np.max(np.abs(block)))
    if not peak <= LARGEST_SAMPLE:
        what = f"a sample of {peak:.3g} times full scale" if np.isfinite(peak) else "a sample that is not a finite number"
        msg = f"{shown_name(path)}: {what}, near {at_s:.3f} s. Export it again, as integers."
        raise FileError(msg)


def require_whole(path: Path, file: Header, n_read: int) -> None:
    """Refuse a file that ends before its header says.

    Parameters
    ----------
    n_read : int
        Frames that were there.

    Raises
    ------
    FileError
        If samples are missing.
    """
    if n_read < file.frames:
        msg = (
            f"{shown_name(path)}: cut short, {n_read} of {file.frames} samples are there ({n_read / file.samplerate:.3f} s). "
            "Copy or record it again."
        )
        raise FileError(msg)


def shown_name(path: Path) -> str:
    """Name for a message, on one line whatever it holds."""
    return plain_text(path.name, "?")
