"""How the recording process and its parent talk: frames of a kind, a length and a payload, through two pipes."""

from __future__ import annotations

import json
import struct
from typing import IO, Any

HEAD = struct.Struct("<cI")  # kind, length of the payload
BLOCK_HEAD = struct.Struct("<dII")  # when the block came [s], status flags as bits, frames that came (some may not be kept)
LEAD_S = 0.2  # [s] of silence played before the stimulus, and not recorded: what starting does to a card is over then
JSON, SAMPLES = b"J", b"S"
FLAGS = ("input underflow", "input overflow", "output underflow", "output overflow")
GO = b"+"  # what the parent writes to have the device opened that was found
STOP = b"."  # what the parent writes to have the output ramped to silence; the end of the pipe means the same
LARGEST = 1 << 30  # [bytes] of a payload


def write_frame(pipe: IO[bytes], kind: bytes, *parts: bytes) -> None:
    """Write one frame, and see it on its way.

    Parameters
    ----------
    kind : bytes
        `JSON` or `SAMPLES`.
    """
    pipe.write(b"".join([HEAD.pack(kind, sum(len(part) for part in parts)), *parts]))
    pipe.flush()


def write_json(pipe: IO[bytes], **fields: Any) -> None:
    """Write a message.

    Parameters
    ----------
    **fields : object
        What JSON can hold.
    """
    write_frame(pipe, JSON, json.dumps(fields).encode())


def read_frame(pipe: IO[bytes]) -> tuple[bytes, bytes] | None:
    """Read one frame.

    Returns
    -------
    tuple of bytes or None
        Kind and payload; None at the end, and where the last frame is not whole.
    """
    head = pipe.read(HEAD.size)
    if len(head) < HEAD.size:
        return None
    kind, n_bytes = HEAD.unpack(head)
    if kind not in (JSON, SAMPLES) or n_bytes > LARGEST:
        return None
    payload = pipe.read(n_bytes)
    return (kind, payload) if len(payload) == n_bytes else None
