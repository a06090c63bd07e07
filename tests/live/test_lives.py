"""The whole life of takes: an interrupt at any moment harms nothing, and take after take nothing is left behind."""

import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from tests.desk_bench import run
from tests.draws import DAY, drawn
from tests.live.server import wait_until
from tests.live.typed import last_line, typing

MOMENTS, TAKES = 100, 200
LIFE_S = 5.0  # [s] of a take of one second; on a busy machine it lasts longer, and the moments come early in it
SOUND_S = 2.2  # [s] of the sweep and the silences around it: no take ends by itself before
ENDS = (0, 130, -signal.SIGINT)  # by itself, interrupted, and interrupted before Python could hear of it


def goes_on(bench):
    """The server goes on: more silence reaches the bench."""
    before = len(bench.played())
    wait_until(lambda: len(bench.played()) > before, limit_s=3.0, what="the server's next period")


@pytest.mark.slow
def test_after_an_interrupt_at_any_moment_the_server_goes_on_and_the_next_take_works(live, book):
    _, bench = live()
    folder = book()
    moments_s = LIFE_S * (np.arange(MOMENTS) + np.random.default_rng(DAY).random(MOMENTS)) / MOMENTS
    chosen = np.random.default_rng(DAY).permutation(MOMENTS)[: drawn(MOMENTS, everyday=3)]
    for number, moment_s in enumerate(np.sort(moments_s[chosen])):
        signal.alarm(90)  # the limit of a test, for each of them
        with typing("take", f"cut-{number}", "--duration", 1, "--logbook", folder) as process:
            time.sleep(moment_s)
            process.send_signal(signal.SIGINT)
            code, line = last_line(process)
        assert code in ENDS, (moment_s, code, line)
        assert code != 0 or moment_s > SOUND_S, f"an interrupt after {moment_s:.3f} s was not heeded"
        goes_on(bench)
        if number % 5 == 2:
            with typing("take", f"whole-{number}", "--duration", 1, "--logbook", folder) as process:
                code, line = last_line(process)
            assert code in (0, 3), (moment_s, code, line)  # on a busy machine samples may be lost
        bench.order("forget")


def held():
    """What this process has: handles, threads, children, memory in pages, and segments of shared memory on this machine."""
    children = Path(f"/proc/{os.getpid()}/task").glob("*/children")
    resident = int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return {
        "handles": len(list(Path("/proc/self/fd").iterdir())),
        "threads": len(list(Path("/proc/self/task").iterdir())),
        "children": sum(len(path.read_text().split()) for path in children),
        "shared": len(list(Path("/dev/shm").glob("jack*coilsweep*PortAudio*"))),
    }, resident


@pytest.mark.slow
def test_take_after_take_nothing_is_left_and_none_fails(live, book, capsys):
    """In one process, as a window or a guide makes them."""
    _, bench = live()
    folder = book()
    n = drawn(TAKES, everyday=2)
    words = ["--no-look", "--duration", 1, "--logbook", folder]
    for name in ("first", "second"):  # what is loaded once is loaded
        assert run(capsys, "take", name, *words)[0] in (0, 3)
    before, resident = held()
    failed = []
    for number in range(n):
        signal.alarm(90)
        code, _, said = run(capsys, "take", f"take-{number}", *words)
        failed += [(number, said.splitlines()[-1])] if code not in (0, 3) else []
        bench.order("forget")
    wait_until(lambda: held()[0] == before, limit_s=5.0, what=f"{before} again, which is {held()[0]}")
    grown = held()[1] - resident
    print(f"{n} takes: {before}, memory grown by {grown / 1e6:.1f} MB")
    assert failed == []
    assert grown < 20e6 + 0.1e6 * n  # a take of one second has 0.8 MB of samples, and they are let go of


def test_xruns_on_purpose_are_told(live, book):
    """Every half second the server's client is late: the take is refused, or says of itself that samples may be missing."""
    _, bench = live(is_patient=False)
    folder = book()
    with typing("take", "late", "--no-look", "--duration", 3, "--level", 0.3, "--json", "--logbook", folder) as process:
        wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.2, limit_s=30.0, what="the sweep")
        for _ in range(3):
            bench.order("late", 0.2)
            time.sleep(0.5)
        out, err = process.communicate(timeout=60)
    assert process.returncode in (0, 3), err
    assert '"stream-flags"' in out
    assert process.returncode == 3 or "stream-flags: the card reported" in err
