"""A JACK server with its dummy driver: no hardware, a name of its own, and nothing left behind.

What it does to the machine is known and undone: its process is ended by its id, and what killed servers leave in shared memory is
taken over by the next one of the same name, and removed when no server runs. Several runs of these tests may go side by side.
"""

import contextlib
import ctypes
import itertools
import math
import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

PERIOD_S = 1024 / 48000  # [s] one that a busy machine still meets; a power of two in samples
SHARED = Path("/dev/shm")
# The server's library keeps eight places, and those of servers that were killed stay taken until one of the same name starts.
NAMES = tuple(f"coilsweep-{number}" for number in range(6))
READY_S = 5.0  # [s]


class JackServer:
    """Runs from its making to `end`."""

    def __init__(self, rate_hz, *, is_patient=True):
        self.rate_hz, self.period = rate_hz, 1 << round(math.log2(PERIOD_S * rate_hz))
        # -S: each cycle waits for its clients, up to -t; without it a late client costs an xrun
        self.mode = ["-S", "-t", "5000"] if is_patient else ["-t", "2000"]
        self.printed = tempfile.TemporaryFile()  # noqa: SIM115 - closed in end()
        end_s = time.monotonic() + 10 * READY_S
        for number in itertools.count(os.getpid()):
            self.name = NAMES[number % len(NAMES)]
            self.claim = claim(self.name)
            if self.claim is not None:
                self._start()
                if self._is_ready():
                    return
                self._stop()
            if time.monotonic() > end_s:
                self.printed.seek(0)
                msg = f"no server starts: {self.printed.read()[-2000:].decode()}"
                raise TimeoutError(msg)
            time.sleep(0.1)

    def _start(self):
        driver = f"-d dummy -r {self.rate_hz} -p {self.period} -C 0 -P 0"  # -C, -P: no device of its own
        c_library = ctypes.CDLL(None)  # prctl(2), PR_SET_PDEATHSIG = 1: it goes with this process, however that goes
        with alone():
            self.process = subprocess.Popen(
                [shutil.which("jackd"), "-r", *self.mode, "-n", self.name, *driver.split()],
                stdin=subprocess.DEVNULL,
                stdout=self.printed,
                stderr=self.printed,
                env={**os.environ, "JACK_NO_AUDIO_RESERVATION": "1"},
                start_new_session=True,
                preexec_fn=lambda: c_library.prctl(1, signal.SIGKILL),
            )

    def _is_ready(self):
        """Whether it came up; where its name is not free after all it ends at once."""
        socket = SHARED / f"jack_{self.name}_{os.getuid()}_0"
        end_s = time.monotonic() + READY_S
        while self.process.poll() is None and time.monotonic() < end_s:
            if socket.exists():
                return True
            time.sleep(0.02)
        return False

    def environment(self):
        """What a client needs to find it, and it alone."""
        return {"JACK_DEFAULT_SERVER": self.name, "JACK_NO_START_SERVER": "1"}

    def send(self, number):
        self.process.send_signal(number)

    def end(self):
        if not self.printed.closed:
            self._stop()
            self.printed.close()

    def _stop(self):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.terminate()
            try:
                self.process.wait(timeout=1.0)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        with alone():
            clear_shared_memory(self.name)
        self.claim.close()


def claim(name):
    """Take a name for this process alone; None where another run has it."""
    import fcntl

    file = (Path(tempfile.gettempdir()) / f"{name}-{os.getuid()}.lock").open("w")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        return None
    return file


@contextlib.contextmanager
def alone():
    """No other run of these tests starts a server meanwhile, whose files would be taken for leftovers."""
    import fcntl

    with (Path(tempfile.gettempdir()) / f"coilsweep-live-{os.getuid()}.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def is_any_server_running():
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if (folder / "comm").read_text().strip() in ("jackd", "jackdbus") and "\nState:\tZ" not in (
                folder / "status"
            ).read_text():
                return True
        except OSError:
            continue  # it ended meanwhile
    return False


def clear_shared_memory(name):
    """Remove what belongs to that server; all of it where no server runs."""
    if not SHARED.is_dir():
        return
    pattern = "jack*" if not is_any_server_running() else f"jack*{name}*"
    for path in SHARED.glob(pattern):
        if path.stat().st_uid == os.getuid():
            shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
    for path in Path(tempfile.gettempdir()).glob(f"jack-{os.getuid()}/{name}"):
        shutil.rmtree(path, ignore_errors=True)


def wait_until(is_true, *, limit_s, what):
    end_s = time.monotonic() + limit_s
    while not is_true():
        if time.monotonic() > end_s:
            msg = f"{what} did not happen within {limit_s} s"
            raise TimeoutError(msg)
        time.sleep(0.01)
