"""How samples were delivered by a sound card: flags, pace, and exact zeros; one finding a check.

A card whose two directions share a wrong clock plays and records in step: the recording alone does not show it, the wall clock
does.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import Finding, FloatArray
from measure.source.portaudio import MIXED, WASAPI
from measure.source.wire import FLAGS

NAMES = ("stream-flags", "delivery-rate", "exact-zeros", "unplugged")
OPENING = "shared-mode"

RATE_WARN, RATE_REJECT = 0.005, 0.02  # [1] of the rate; blocks come early or late by some milliseconds
RATE_LEAST_S = 1.5  # [s] below, those milliseconds count
RATE_ENDS = 0.25  # [1] of the recording at both ends, within which the most punctual block is taken
N_ROUNDS = 4  # [1] which block is punctual depends on the rate that is being measured
ZERO_RUN_S = 0.002  # [s] noise never leaves as many samples at exactly 0
LATE_S = 0.3  # [s] after the beginning of the stimulus: then it has arrived through any interface


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Block:
    """A block as it came.

    Attributes
    ----------
    time_s : float
        When, by a clock of its own. [s]
    flags : int
        Bit k stands for `wire.FLAGS[k]`.
    n_came : int
        Its samples, those included that were not kept.
    n_kept : int
        Samples that were recorded from it.
    """

    time_s: float
    flags: int
    n_came: int
    n_kept: int


def judge_delivery(
    samples: FloatArray | NDArray[np.float32], *, played: FloatArray | NDArray[np.float32], rate_hz: int, blocks: Sequence[Block]
) -> tuple[Finding, ...]:
    """Judge how the samples came.

    Parameters
    ----------
    samples : ndarray, shape (m, n_channels)
        What was recorded.
    played : ndarray, shape (n,)
        What was played; the recording began with it.
    rate_hz : int
        Sample rate that was asked for. [Hz]

    Returns
    -------
    tuple of Finding
        One for each of `NAMES`, in that order.
    """
    return (
        _judge_flags(blocks, rate_hz=rate_hz),
        _judge_pace(measure_rate(blocks, rate_hz=rate_hz), rate_hz=rate_hz),
        *_judge_zeros(samples, played, rate_hz=rate_hz),
    )


def judge_opening(names: Sequence[tuple[str, str]], *, is_exact: bool, refusal: str, rate_hz: int) -> Finding | None:
    """Say whether the system may have resampled, by how the card was opened.

    Parameters
    ----------
    names : sequence of (str, str)
        Device and host API of output and input.
    is_exact : bool
        It was opened so that nobody resamples.
    refusal : str
        What was said where that was asked for and refused; empty where it was not.
    rate_hz : int
        Sample rate that was asked for. [Hz]

    Returns
    -------
    Finding or None
        ``"shared-mode"``; None where nothing was asked for, and nothing is known to mix.
    """
    code = OPENING
    if is_exact:
        apis = " and ".join(sorted({host_api for _, host_api in names}))
        text = f"{apis} opened the card at {rate_hz} Hz without conversion, for this program alone where that takes it"
        return Finding(code=code, severity="pass", text=text)
    may = f"the system may resample, without a word, between {rate_hz} Hz and the rate that the card is set to"
    if refusal:
        text = (
            f"the card was not to be had without conversion ({refusal}), so it was opened in shared mode: {may}. Close other "
            f"programs that use it, allow exclusive use in the system's sound settings, and set it to {rate_hz} Hz there."
        )
        return Finding(code=code, severity="warn", text=text)
    mixed = next(((name, host_api) for name, host_api in names if host_api in MIXED), None)
    if mixed is None:
        return None
    text = (
        f"{mixed[0]} ({mixed[1]}) is always shared: {may}. Choose the same card under another host API: "
        f'coilsweep rig --host-api "{WASAPI}"'
    )
    return Finding(code=code, severity="warn", text=text)


def measure_rate(blocks: Sequence[Block], *, rate_hz: int) -> float | None:
    """Measure the sample rate by the wall clock.

    Parameters
    ----------
    rate_hz : int
        What was asked for. [Hz]

    Returns
    -------
    float or None
        Samples a second; None where they came for too short a time. [Hz]
    """
    time_s = np.array([block.time_s for block in blocks])
    count = np.cumsum([block.n_came for block in blocks])
    if len(blocks) < 4 or time_s[-1] - time_s[0] < RATE_LEAST_S:
        return None
    n_end = max(1, round(RATE_ENDS * len(blocks)))
    measured_hz = float(rate_hz)
    for _ in range(N_ROUNDS):
        lateness_s = time_s - count / measured_hz
        first = int(np.argmin(lateness_s[:n_end]))
        last = len(blocks) - n_end + int(np.argmin(lateness_s[-n_end:]))
        measured_hz = float((count[last] - count[first]) / (time_s[last] - time_s[first]))
    return measured_hz


def _judge_flags(blocks: Sequence[Block], *, rate_hz: int) -> Finding:
    n_flagged = sum(1 for block in blocks if block.flags)
    if not n_flagged:
        return Finding(code="stream-flags", severity="pass", text="the card reported no lost samples", figure=0.0)
    kinds = [name for bit, name in enumerate(FLAGS) if any(block.flags >> bit & 1 for block in blocks)]
    first_s, at = 0.0, 0
    for block in blocks:
        if block.flags:
            first_s = at / rate_hz
            break
        at += block.n_kept
    text = (
        f"the card reported {' and '.join(kinds)} {n_flagged} time{'' if n_flagged == 1 else 's'}, first at {first_s:.2f} s: "
        "samples may be missing. Close other programs, choose larger buffers, and repeat the take if it is rejected."
    )
    return Finding(code="stream-flags", severity="warn", text=text, figure=float(n_flagged))


def _judge_pace(measured_hz: float | None, *, rate_hz: int) -> Finding:
    if measured_hz is None:
        return Finding(code="delivery-rate", severity="pass", text="not judged: too short", unit="Hz")
    off = measured_hz / rate_hz - 1
    if abs(off) < RATE_WARN:
        text = f"samples came at {measured_hz:.0f} a second by the computer's clock, {rate_hz} asked for"
        return Finding(code="delivery-rate", severity="pass", text=text, figure=measured_hz, unit="Hz")
    text = (
        f"samples came at {measured_hz:.0f} a second by the computer's clock, {100 * off:+.1f} % off the {rate_hz} asked for: "
        "the card runs at another rate than it says, or samples are lost. Set the same rate in the card, its server and rig.toml."
    )
    return Finding(
        code="delivery-rate", severity="reject" if abs(off) > RATE_REJECT else "warn", text=text, figure=measured_hz, unit="Hz"
    )


def _judge_zeros(
    samples: FloatArray | NDArray[np.float32], played: FloatArray | NDArray[np.float32], *, rate_hz: int
) -> list[Finding]:
    """Exact zeros while the sweep sounds: throughout, from somewhere to the end, or in between."""
    sounding = np.flatnonzero(played)
    low = (int(sounding[0]) if len(sounding) else 0) + round(LATE_S * rate_hz)
    high = min((int(sounding[-1]) if len(sounding) else 0), len(samples))
    least = max(2, round(ZERO_RUN_S * rate_hz))
    if high - low < least:
        return [Finding(code=name, severity="pass", text="not judged: nothing was played for long enough") for name in NAMES[2:]]
    runs = [_longest_run(samples[:, column] == 0, low=low, high=high) for column in range(samples.shape[1])]
    gone_s = _gone_from(samples, low=low, high=high, least=least)
    unplugged = Finding(code="unplugged", severity="pass", text="samples came to the end")
    if gone_s is not None:
        seconds = gone_s / rate_hz
        text = (
            f"every input holds exact zeros from {seconds:.2f} s to the end: the card or its connections were unplugged. "
            "Plug in again and repeat the take."
        )
        unplugged = Finding(code="unplugged", severity="reject", text=text, figure=seconds, unit="s")
    column = int(np.argmax([length for _, length in runs]))
    start, length = runs[column]
    if length < least:
        text = "no run of exact zeros while the sweep sounded"
        return [Finding(code="exact-zeros", severity="pass", text=text, figure=length / rate_hz, unit="s"), unplugged]
    if length >= high - low:
        dead = [str(index + 1) for index, (_, n) in enumerate(runs) if n >= high - low]
        which = "all inputs hold" if len(dead) == len(runs) else f"recorded channel {' and '.join(dead)} holds"
        text = f"{which} nothing but exact zeros: muted, switched off or not connected. Check the input and its channel number."
    else:
        text = (
            f"recorded channel {column + 1} holds exact zeros for {1000 * length / rate_hz:.1f} ms from {start / rate_hz:.2f} s: "
            "the stream was broken there. Close other programs, choose larger buffers, and repeat the take."
        )
    zeros = Finding(code="exact-zeros", severity="reject", text=text, figure=length / rate_hz, unit="s")
    return [zeros, unplugged]


def _longest_run(is_zero: NDArray[np.bool_], *, low: int, high: int) -> tuple[int, int]:
    """Start and length of the longest run of zeros in a part."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_zero[low:high], [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    if not len(starts):
        return low, 0
    best = int(np.argmax(stops - starts))
    return low + int(starts[best]), int(stops[best] - starts[best])


def _gone_from(samples: FloatArray | NDArray[np.float32], *, low: int, high: int, least: int) -> int | None:
    """Sample from which every channel holds zeros to the end, where that is before the stimulus ended."""
    alive = np.flatnonzero(np.any(samples != 0, axis=1))
    last = int(alive[-1]) + 1 if len(alive) else 0
    return last if low < last <= high - least else None
