"""A process at the end of a pipe: it is not ended by a Ctrl-C that comes while it starts, and goes when it is done."""

import os
import signal

import pytest

from fit.desk.window.process import start_process

LIMIT_S = 60.0


def greet(pipe, word):
    pipe.send((word, pipe.recv()))


@pytest.fixture
def started():
    process, pipe = start_process(greet, "hello", name="greeter")
    yield process, pipe
    process.kill()
    process.join()
    pipe.close()


def assert_greets(process, pipe):
    pipe.send("you")
    assert pipe.poll(LIMIT_S)
    assert pipe.recv() == ("hello", "you")
    process.join(LIMIT_S)
    assert process.exitcode == 0


def test_what_it_is_given_goes_in_and_what_it_says_comes_out(started):
    assert_greets(*started)


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals cannot be blocked here")
def test_ctrl_c_is_not_meant_for_it_from_the_first_moment_on(started):
    os.kill(started[0].pid, signal.SIGINT)
    assert_greets(*started)


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals cannot be blocked here")
def test_who_starts_it_hears_ctrl_c_as_before(started):
    assert started[0].is_alive()
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(signal.SIGINT)
