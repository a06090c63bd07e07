"""The bench in a window as a person starts it: a process with a port and a token; and a page that speaks over the socket."""

import contextlib
import http.client
import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from websockets.sync.client import connect

COMMAND = [sys.executable, "-c", "from fit.desk.command.main import run; run()", "bench", "--no-open"]
START_S, ANSWER_S = 30.0, 60.0  # [s] far more than it takes


class Server:
    """`coilsweep bench`, until `end`."""

    def __init__(self, logbook, *words, environment=None):
        self.process = subprocess.Popen(
            [*COMMAND, "--logbook", str(logbook), *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
            start_new_session=True,
        )
        self.complaints, self.lines, self.readers = [], queue.SimpleQueue(), []
        for stream, put in ((self.process.stdout, self.lines.put), (self.process.stderr, self.complaints.append)):
            self.readers.append(threading.Thread(target=read, args=(stream, put), daemon=True))
            self.readers[-1].start()
        try:
            self.address = self.lines.get(timeout=START_S).rpartition(" ")[2].strip()
        except queue.Empty:
            self.end()
            msg = f"the server did not start: {self.complaints}"
            raise TimeoutError(msg) from None
        parts = urlsplit(self.address)
        self.port, self.token = parts.port, parse_qs(parts.query)["token"][0]
        self.cookie = f"coilsweep-{self.port}={self.token}"
        self.own = {"Cookie": self.cookie}

    def ask(self, path, *, method="GET", headers=None, **own):
        """Status, headers and body of one request; `own` may give another Host."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_S)
        with contextlib.closing(line):
            line.putrequest(method, path, skip_host="host" in own)
            for name, value in {**own, **(self.own if headers is None else headers)}.items():
                line.putheader(name, value)
            line.endheaders()
            answer = line.getresponse()
            return answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read().decode()

    def page(self, **changes):
        """Open the socket as a page does."""
        return Page(self, **changes)

    def interrupt(self):
        """Ctrl-C, which a terminal sends to all processes that it started; waits for the end."""
        os.killpg(self.process.pid, signal.SIGINT)
        code = self.process.wait(timeout=ANSWER_S)
        self.end()
        return code

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for reader in self.readers:
            reader.join()


class Page:
    """A page that gives its sign of life each second, until it is closed or told to fall `still`."""

    def __init__(self, server, *, headers=None, origin=None):
        self.opened = contextlib.ExitStack()
        line = connect(
            f"ws://127.0.0.1:{server.port}/socket",
            origin=origin or f"http://127.0.0.1:{server.port}",
            additional_headers=server.own if headers is None else headers,
            max_size=None,
            open_timeout=ANSWER_S,
            compression=None,
            ping_interval=None,  # its pings draw from the one generator that a test with drawn values wants for itself
        )
        self.socket = self.opened.enter_context(line)
        self.n_asked, self.is_still = 0, threading.Event()
        threading.Thread(target=self._live, daemon=True).start()

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()

    def close(self):
        self.is_still.set()
        self.opened.close()

    def send(self, kind, **fields):
        self.n_asked += 1
        self.socket.send(json.dumps({"kind": kind, "id": self.n_asked, **fields}))
        return self.n_asked

    def next(self, *kinds, limit_s=ANSWER_S):
        """The next message of one of these kinds; any, where none is named."""
        while True:
            told = json.loads(self.socket.recv(timeout=limit_s))
            if not kinds or told["kind"] in kinds:
                return told

    def answer(self, identity, limit_s=ANSWER_S):
        """What answers a message."""
        while True:
            told = json.loads(self.socket.recv(timeout=limit_s))
            if told["answers"] == identity:
                return told

    def ask(self, kind, **fields):
        return self.answer(self.send(kind, **fields))

    def _live(self):
        while not self.is_still.wait(0.8):
            try:
                self.socket.send('{"kind":"alive"}')
            except Exception:  # noqa: BLE001 - it is closed, in one of many ways
                return


def descendants(number):
    """Ids of a process's children, and theirs."""
    found = []
    for task in Path(f"/proc/{number}/task").glob("*/children"):
        for child in task.read_text().split():
            found += [int(child), *descendants(int(child))]
    return found


def is_alive(number):
    """Whether a process runs; one that has ended and that nobody has asked about does not."""
    stat = Path(f"/proc/{number}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


def wait_until_gone(family):
    """Wait for the end of processes that nobody ends any more."""
    end_s = time.monotonic() + START_S
    while any(map(is_alive, family)):
        assert time.monotonic() < end_s, family
        time.sleep(0.02)


def read(stream, put):
    with stream:
        for line in stream:
            put(line.rstrip("\n"))
