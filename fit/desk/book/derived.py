"""What is made once and kept: keys of all that fits and responses rest on, and making only what is not there."""

import functools
import hashlib
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from fit.answers.encoding import decode_answer, encode_answer
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.rig import rig_of
from measure.logbook.derived import Kind, keep_derived, read_derived
from measure.logbook.placement import placements
from measure.logbook.store import Logbook, instrument_path, list_takes, result_sha256
from measure.logbook.take import Take
from measure.version import VERSION

Content = TypeVar("Content")


def kept_or_made(logbook: Logbook, kind: Kind, key: str, content_type: type[Content], make: Callable[[], Content]) -> Content:
    """Read what is kept under a key; where nothing sound is, make it and keep it.

    What was just made is handed on as it will be read, so that both are the same to the letter.
    """
    content = read_derived(logbook, kind, key)
    if content is not None:
        try:
            return decode_answer(content, content_type)
        except ValueError:  # of another form than this program's: made again
            pass
    made = make()
    content = encode_answer(made)
    try:
        as_read = decode_answer(content, content_type)
    except ValueError:  # some field is not of the type that it states: of use all the same, but not to be kept
        return made
    keep_derived(logbook, kind, key, content)
    return as_read


def response_key(logbook: Logbook, take: Take) -> str:
    """Fingerprint of what the response of recordings rests on; conditions of the take, such as added parts, are not among it."""
    recorded = (take.recordings, take.rate_hz, take.stimulus, take.time_utc, take.simulated, take.rig)
    return _sha256("response", *recorded, _loopback_sha256(logbook, take))


def takes_key(logbook: Logbook, takes: Sequence[Take], *more: object) -> str:
    """Fingerprint of what a fit of takes rests on: they and their order, placements, rig and its calibrations, instrument.toml.

    Parameters
    ----------
    takes : sequence of Take
        In the order of the fit; each holds the SHA-256 of its files. What is told to people alone changes nothing.
    *more : object
        What else it rests on, such as a dcr.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    FileError
        If rig.toml or instrument.toml cannot be read.
    """
    placed = placements(list_takes(logbook).takes)
    order = sorted({placed[take.name] for take in takes})  # how many placements lie between is of no account
    path = instrument_path(logbook)
    return _sha256(
        [_that_counts(take) for take in takes],
        [order.index(placed[take.name]) for take in takes],
        [_loopback_sha256(logbook, take) for take in takes],
        rig_of(logbook),
        read_instrument_file(path) if path.exists() else None,
        *more,
    )


def _loopback_sha256(logbook: Logbook, take: Take) -> str:
    stated = None if take.rig is None else take.rig.calibration
    return "" if stated is None or stated.loopback is None else result_sha256(logbook, stated.loopback)


def stated_sha256(take: Take) -> str:
    """Fingerprint of what a take is, whatever it is called and whichever version of the program reads it."""
    return hashlib.sha256(msgspec.msgpack.encode(msgspec.structs.replace(_that_counts(take), name="take"))).hexdigest()


# Notes, names of things and people, and what was stated before change no value.
def _that_counts(take: Take) -> Take:
    stated = msgspec.structs.replace(take.conditions, note="", item=None, operator=None)
    return msgspec.structs.replace(take, conditions=stated, amended=())


def _sha256(*parts: object) -> str:
    told = [VERSION, _source_sha256(), *parts]
    return hashlib.sha256(msgspec.msgpack.encode(told)).hexdigest()


@functools.cache
def _source_sha256() -> str:
    """Fingerprint of the packages' files by size and time: while the program is worked on, its version stays the same."""
    digest = hashlib.sha256()
    for package in ("fit", "measure"):
        for file in _modules(str(Path(__file__).resolve().parents[3] / package)):
            digest.update(f"{file.path}\0{file.stat().st_size}\0{file.stat().st_mtime_ns}\0".encode())
    return digest.hexdigest()


def _modules(folder: str) -> Iterator[os.DirEntry[str]]:
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda entry: entry.name):
            if entry.is_dir():
                yield from _modules(entry.path)
            elif entry.name.endswith(".py"):
                yield entry
