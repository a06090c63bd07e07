"""Recordings from and to audio files; the one place that imports soundfile."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from io import FileIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from measure.errors import FileError
from measure.response import FloatArray
from measure.signal.recording import Recording, Samples
from measure.source.sanity import check_header, check_start, require_sane, require_whole, shown_name

if TYPE_CHECKING:
    import soundfile


SUFFIXES = {".wav": "WAV", ".flac": "FLAC", ".aif": "AIFF", ".aiff": "AIFF"}
BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
READ_FRAMES = 1 << 18  # frames at a time: bounds the memory of a read
REFUSED_BYTES = 1 << 16  # given to a disk to hear why it takes no more
BLOCK_BITS = 24  # of what is written block by block
LARGEST_WAV = 4_000_000_000  # [bytes] of samples; the format counts with 32 bits


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AudioBlocks:
    """An audio file that is read block by block.

    Attributes
    ----------
    rate_hz : int
        Sample rate. [Hz]
    blocks : iterator of ndarray, shape (k, n_channels)
        All of it, once; full scale is 1.
    """

    rate_hz: int
    n_channels: int
    n_frames: int
    blocks: Iterator[FloatArray]


def library_version() -> str:
    """Version of the library that reads and writes audio files."""
    import soundfile

    return str(soundfile.__libsndfile_version__)


def read_recording(
    path: Path | str, *, pickup_channel: int = 1, reference_channel: int | None = 2, raw: FileIO | None = None
) -> Recording:
    """Read a recording from a WAV, FLAC or AIFF file.

    Parameters
    ----------
    pickup_channel : int
        Counts from 1.
    reference_channel : int or None
        Counts from 1; None where the reference was not recorded.
    raw : FileIO or None
        The file where it is open already, so that it is no other one; `path` then only names it.

    Returns
    -------
    Recording
        float32 for up to 24 bits and for 32-bit float, else float64; full scale is 1.

    Raises
    ------
    FileError
        If the file is missing, not such an audio file, damaged, too short or too long, holds a number that is not finite,
        or has no such channel; the message says what to do.
    ValueError
        If a channel is below 1, or both are the same.
    """
    path = Path(path)
    channels = [pickup_channel] if reference_channel is None else [pickup_channel, reference_channel]
    if min(channels) < 1 or len(set(channels)) < len(channels):
        msg = f"channels count from 1 and must differ, got pickup {pickup_channel} and reference {reference_channel}"
        raise ValueError(msg)
    samples, rate_hz, n_bits = _read_samples(path, raw)
    if max(channels) > samples.shape[1]:
        msg = (
            f"{shown_name(path)}: {_count(samples.shape[1], 'channel')}, but channel {max(channels)} was asked for. "
            "Say which channel is the pickup and which the reference, or that there is no reference."
        )
        raise FileError(msg)
    return Recording(
        samples=samples,
        rate_hz=rate_hz,
        pickup_channel=pickup_channel,
        reference_channel=reference_channel,
        n_bits=n_bits,
        name=shown_name(path),
        sha256=file_sha256(path, raw),
    )


def read_stimulus(path: Path | str, *, raw: FileIO | None = None) -> tuple[FloatArray, int]:
    """Read a stimulus: the first channel of an audio file.

    Parameters
    ----------
    raw : FileIO or None
        As for `read_recording`.

    Returns
    -------
    samples : ndarray, shape (n,)
        Full scale is 1.
    rate_hz : int
        Sample rate. [Hz]

    Raises
    ------
    FileError
        If the file cannot be used; the message says why.
    """
    path = Path(path)
    samples, rate_hz, _ = _read_samples(path, raw)
    stimulus: FloatArray = np.ascontiguousarray(samples[:, 0])
    if not np.any(stimulus):
        msg = f"{shown_name(path)}: the sweep is silent in its first channel. Name the file that was played."
        raise FileError(msg)
    return stimulus, rate_hz


@contextlib.contextmanager
def open_blocks(path: Path | str, *, n_frames: int = READ_FRAMES) -> Iterator[AudioBlocks]:
    """Open an audio file that may be too long for the memory.

    Parameters
    ----------
    n_frames : int
        Of a block; the last one may be shorter.

    Yields
    ------
    AudioBlocks
        To be read inside the ``with``.

    Raises
    ------
    FileError
        If the file cannot be used, here or while it is read; the message says why.
    """
    path = Path(path)
    with _opened(path) as file:
        yield AudioBlocks(
            rate_hz=int(file.samplerate),
            n_channels=int(file.channels),
            n_frames=int(file.frames),
            blocks=_checked_blocks(path, file, n_frames),
        )


@contextlib.contextmanager
def create_blocks(
    path: Path | str, *, rate_hz: int, n_channels: int, n_frames: int, suffix: str = ""
) -> Iterator[Callable[[FloatArray], None]]:
    """Write a new audio file of 24 bits block by block, and wait until it is on the disk.

    Parameters
    ----------
    path : Path or str
        The file; must not exist. What is there after an error is not whole, and the caller's to remove.
    rate_hz, n_channels, n_frames : int
        Sample rate and size of what will be written; a WAV file beyond 4 GB becomes RF64. [Hz], [1], [1]
    suffix : str
        Decides the kind of file; empty: that of the path.

    Yields
    ------
    callable
        Writes a block, shape (k, n_channels), within full scale.

    Raises
    ------
    FileError
        If the file exists.
    OSError
        If the disk refuses; the caller knows what the file was for.
    ValueError
        If the suffix is not one of a kind that is written, or that kind knows no such rate or number of channels.
    """
    import soundfile

    path = Path(path)
    kind = SUFFIXES.get((suffix or path.suffix).lower())
    if kind is None:
        msg = f"{shown_name(path)}: not a kind of audio file that is written, give a name that ends in .wav, .flac or .aiff"
        raise ValueError(msg)
    if kind == "WAV" and 3 * n_channels * n_frames > LARGEST_WAV:
        kind = "RF64"
    with _created(path, f"{_count(n_channels, 'channel')} at {rate_hz} Hz as {kind}") as raw:
        with soundfile.SoundFile(
            raw.fileno(), "w", samplerate=rate_hz, channels=n_channels, format=kind, subtype=f"PCM_{BLOCK_BITS}", closefd=False
        ) as file:
            yield lambda block: _write_codes(raw, file.write, _to_integers(block, BLOCK_BITS))
        _require_written(raw, n_frames, kind)


def write_recording(path: Path | str, samples: FloatArray | Samples, rate_hz: int, *, n_bits: int = 24, suffix: str = "") -> None:
    """Write samples to a new WAV, FLAC or AIFF file, and wait until it is on the disk; the suffix decides.

    Parameters
    ----------
    path : Path or str
        The file; must not exist. What is there after an error is not whole, and the caller's to remove.
    samples : ndarray, shape (n,) or (n, channels)
        Full scale is 1; what exceeds it is an error, not clipped.
    rate_hz : int
        Sample rate. [Hz]
    n_bits : int
        16, 24, or 32 (not for FLAC).
    suffix : str
        Decides the kind of file; empty: that of the path.

    Raises
    ------
    FileError
        If the file exists.
    OSError
        If the disk refuses; the caller knows what the file was for.
    ValueError
        If suffix, number of bits, rate or samples are not usable.
    """
    import soundfile

    path = Path(path)
    kind = SUFFIXES.get((suffix or path.suffix).lower())
    if kind is None or n_bits not in (16, 24, 32) or (kind == "FLAC" and n_bits == 32):
        name = suffix or path.name
        msg = f"cannot write {n_bits} bits as {name!r}: use .wav, .flac or .aiff with 16 or 24 bits (32 not in .flac)"
        raise ValueError(msg)
    data = np.asarray(samples)
    if data.size == 0 or not np.all(np.isfinite(data)) or np.max(np.abs(data)) > 1:
        msg = "samples to write must be finite, at least one, and within full scale, -1 to 1"
        raise ValueError(msg)
    with _created(path, f"{_count(data[0].size, 'channel')} at {rate_hz} Hz as {kind}") as raw:
        write = partial(soundfile.write, raw.fileno(), samplerate=rate_hz, format=kind, subtype=f"PCM_{n_bits}", closefd=False)
        _write_codes(raw, write, _to_integers(data, n_bits))
        _require_written(raw, len(data), kind)


def file_sha256(path: Path | str, raw: FileIO | None = None) -> str:
    """SHA-256 of a file, in hexadecimal.

    Parameters
    ----------
    raw : FileIO or None
        As for `read_recording`.

    Returns
    -------
    str
        64 digits.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    try:
        with Path(path).open("rb") if raw is None else contextlib.nullcontext(raw) as file:
            file.seek(0)
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as err:
        msg = f"{shown_name(Path(path))}: cannot be read ({_reason(err)}). Check the name and the permissions."
        raise FileError(msg) from err


def _to_integers(data: FloatArray | Samples, n_bits: int) -> NDArray[np.int32]:
    """Round to the nearest code, left-aligned in 32 bits; +1 becomes the largest code."""
    scale = 2.0 ** (n_bits - 1)
    codes = np.clip(np.rint(data.astype(float) * scale), -scale, scale - 1)
    return (codes.astype(np.int64) << (32 - n_bits)).astype(np.int32)


@contextlib.contextmanager
def _created(path: Path, what: str) -> Iterator[FileIO]:
    """Open a new file for writing sound to it.

    Parameters
    ----------
    what : str
        Is written, for the message where there is no such file.

    Raises
    ------
    FileError
        If it exists.
    OSError
        What the system said, where the library tells only that it failed.
    ValueError
        What the library said, where the system would take it.
    """
    import soundfile

    try:
        with path.open("xb", buffering=0) as raw:
            try:
                yield raw
            except soundfile.SoundFileError as err:
                msg = f"cannot write {what} ({_reason(err)}): use .wav"
                refusal = _refusal(raw, ValueError(msg))
                raise refusal from err
            os.fsync(raw.fileno())
    except FileExistsError as err:
        msg = f"{shown_name(path)}: exists already, and is not overwritten. Choose another name or remove it."
        raise FileError(msg) from err


def _write_codes(raw: FileIO, write: Callable[..., object], codes: NDArray[np.int32]) -> None:
    """Write, and see that all of it was taken.

    Raises
    ------
    OSError
        If the disk took less.
    """
    try:
        write(data=codes)
    except AssertionError as err:  # how soundfile tells that the disk took less than it was given
        refusal = _refusal(raw)
        raise refusal from err


def _refusal(raw: FileIO, otherwise: ValueError | None = None) -> OSError | ValueError:
    """Find out why the system took less than it was given, by giving it some more; the file is lost anyway."""
    number = errno.ENOSPC
    try:
        raw.seek(0, os.SEEK_END)
        for _ in range(2):  # the first may be taken in part
            raw.write(bytes(REFUSED_BYTES))
    except OSError as err:
        number = err.errno or number
    else:
        if otherwise is not None:
            return otherwise
    return OSError(number, os.strerror(number), raw.name)


def _require_written(raw: FileIO, n_frames: int, kind: str) -> None:
    """Read a file back whose last block is written on closing, where the library does not tell that the disk was full.

    Raises
    ------
    OSError
        If not all of it is there.
    """
    import soundfile

    if kind != "FLAC":
        return
    n_read = 0
    with contextlib.suppress(soundfile.SoundFileError), soundfile.SoundFile(raw.name) as file:
        while n_read < n_frames and (n_block := len(file.read(READ_FRAMES, dtype="int32"))):
            n_read += n_block
    if n_read != n_frames:
        refusal = _refusal(raw)
        raise refusal


def _read_samples(path: Path, raw: FileIO | None = None) -> tuple[Samples, int, int | None]:
    """All channels, checked."""
    with _opened(path, raw) as file:
        return _read_blocks(path, file), int(file.samplerate), BITS.get(file.subtype)


@contextlib.contextmanager
def _opened(path: Path, raw: FileIO | None = None) -> Iterator[soundfile.SoundFile]:
    """Open for reading, what stands before the samples checked.

    Raises
    ------
    FileError
        If there is anything wrong with the file, also while it is read.
    """
    import soundfile

    if raw is None and not path.is_file():
        what = "is a folder" if path.is_dir() else "no such file"
        msg = f"{shown_name(path)}: {what}. Give the name of a WAV, FLAC or AIFF file."
        raise FileError(msg)
    try:
        with path.open("rb", buffering=0) if raw is None else contextlib.nullcontext(raw) as opened:
            check_start(path, opened.read(12), os.fstat(opened.fileno()).st_size)
            opened.seek(0)
            with soundfile.SoundFile(opened.fileno(), closefd=False) as file:
                check_header(path, file)
                yield file
    except (soundfile.SoundFileError, OSError, MemoryError) as err:
        reason = "not enough memory" if isinstance(err, MemoryError) else _reason(err)
        msg = f"{shown_name(path)}: not a readable WAV, FLAC or AIFF file ({reason}). Export it again as WAV or FLAC."
        raise FileError(msg) from err


def _read_blocks(path: Path, file: soundfile.SoundFile) -> Samples:
    """Read block by block into one array, so that a header that lies about the length costs nothing."""
    is_wide = file.subtype in ("PCM_32", "DOUBLE")
    samples = np.empty((file.frames, file.channels), dtype=np.float64 if is_wide else np.float32)
    at = 0
    while at < file.frames:
        block = file.read(out=samples[at : at + READ_FRAMES])
        if len(block) == 0:
            break
        require_sane(path, block, at / file.samplerate)
        at += len(block)
    require_whole(path, file, at)
    return samples


def _checked_blocks(path: Path, file: soundfile.SoundFile, n_frames: int) -> Iterator[FloatArray]:
    at = 0
    while at < file.frames:
        block: FloatArray = file.read(min(n_frames, file.frames - at), dtype="float64", always_2d=True)
        if len(block) == 0:
            break
        require_sane(path, block, at / file.samplerate)
        at += len(block)
        yield block
    require_whole(path, file, at)


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" + ("" if n == 1 else "s")


def _reason(err: Exception) -> str:
    """Put what an error says on one line."""
    text = getattr(err, "strerror", None) or getattr(err, "error_string", None) or str(err)
    return " ".join(str(text).split()).rstrip(".")


def require_same_rate(stimulus_rate_hz: int, rate_hz: int, *, name: str) -> None:
    """See that stimulus and recording have one sample rate.

    Parameters
    ----------
    stimulus_rate_hz, rate_hz : int
        Of the stimulus and of the recording. [Hz]

    Raises
    ------
    FileError
        If they differ.
    """
    if stimulus_rate_hz != rate_hz:
        msg = f"{name}: the sweep has {stimulus_rate_hz} Hz, the recording {rate_hz} Hz. Record at the sweep's rate."
        raise FileError(msg)
