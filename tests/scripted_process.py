"""Stands in for the recording process: hands over frames by a script, and notes how long it would have been waited for."""

from typing import Any

import numpy as np

from measure.source.wire import BLOCK_HEAD, JSON, SAMPLES

LATE = "late"  # in a script: nothing comes in time


def told(event: str, **fields: Any) -> tuple[bytes, dict[str, Any]]:
    return JSON, {"event": event, **fields}


def block(time_s: float, samples: list[list[float]], *, flags: int = 0) -> tuple[bytes, bytes]:
    part = np.array(samples, dtype=np.float32)
    return SAMPLES, BLOCK_HEAD.pack(time_s, flags, len(part)) + part.tobytes()


class Process:
    """What `RecordingProcess` does, without one; an exit code of 0 once the script is over."""

    def __init__(self, *script: Any, code: int = 0) -> None:
        self.script, self.code = list(script), code
        self.limits_s: list[float] = []
        self.n_stopped = self.n_gone = 0
        self.graces_s: list[float] = []
        self.library_text = ""

    def __enter__(self) -> "Process":
        return self

    def __exit__(self, *_: object) -> None:
        self.end(grace_s=0.0)

    def next_frame(self, limit_s: float) -> Any:
        self.limits_s.append(limit_s)
        frame = self.script.pop(0) if self.script else None
        if frame == LATE:
            msg = f"nothing for {limit_s:.1f} s"
            raise TimeoutError(msg)
        return frame

    def go(self) -> None:
        self.n_gone += 1

    def cure(self, usual: str) -> str:
        return usual

    def stop(self) -> None:
        self.n_stopped += 1

    def end(self, *, grace_s: float) -> int:
        self.graces_s.append(grace_s)
        return self.code
