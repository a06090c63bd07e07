"""The card has one owner: whoever comes second is told who has it, in one line, and plays nothing."""

import re
import signal

import numpy as np

from tests.desk_bench import run
from tests.live.server import wait_until
from tests.live.typed import last_line, typing

LEVEL = 0.3


def playing(bench):
    wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * LEVEL, limit_s=30.0, what="the sweep")


def test_a_second_take_is_refused_and_told_which_process_plays(live, book, capsys):
    _, bench = live()
    folder = book()
    with typing("take", "first", "--no-look", "--duration", 6, "--level", LEVEL, "--logbook", folder) as first:
        playing(bench)
        for words in (["take", "second", "--level", 0.6], ["level", "--duration", 1]):
            code, _, said = run(capsys, *words, "--logbook", folder)
            assert code == 4
            assert re.fullmatch(
                rf"coilsweep: process {first.pid} \(python take first .*\) has the sound card bench: wait .*",
                said.splitlines()[-1],
            )
        code, line = last_line(first)
    assert code == 0, line
    assert np.max(np.abs(bench.played())) < 1.01 * LEVEL  # the other did not play
    assert run(capsys, "take", "second", "--duration", 1, "--logbook", folder)[0] == 0


def test_an_owner_that_was_killed_leaves_the_card_to_the_next_at_once(live, book, capsys):
    _, bench = live()
    folder = book()
    with typing("take", "first", "--no-look", "--duration", 6, "--level", LEVEL, "--logbook", folder) as first:
        playing(bench)
        first.send_signal(signal.SIGKILL)
        first.wait(timeout=10.0)
        code, _, said = run(capsys, "take", "second", "--duration", 1, "--logbook", folder)
    assert code == 0, said


def test_a_card_that_goes_after_a_look_at_its_level(live, book, capsys):
    _, bench = live()
    folder = book()
    assert run(capsys, "level", "--duration", 1, "--logbook", folder)[0] == 0
    bench.leave()
    code, out, said = run(capsys, "take", "first", "--logbook", folder)
    assert (code, out) == (4, "")
    assert said.splitlines()[-1].startswith("coilsweep: no ")
    assert "try again" in said.splitlines()[-1] or "devices" in said.splitlines()[-1]
