"""Commands typed at the live bench: its rig, and how a process of its own is begun."""

import contextlib
import os
import subprocess
import sys

from tests.places import TOP

JACK = ["--device", "bench", "--host-api", "JACK Audio Connection Kit"]


COMMAND = "from measure.start import run; run()"


@contextlib.contextmanager
def typing(*words, before=None):
    """A command in a process of its own, which does something before it begins and does not outlive the block."""
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=TOP,
        text=True,
        start_new_session=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
        preexec_fn=before,
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
        process.stderr.close()


def last_line(process, *, limit_s=60.0):
    """Exit code, and the last that was said on stderr."""
    _, err = process.communicate(timeout=limit_s)
    return process.returncode, next(reversed(err.splitlines()), "")
