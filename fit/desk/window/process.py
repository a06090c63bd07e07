"""A process at the end of a pipe: Ctrl-C, which a terminal sends to all of them, is for the server that started it alone."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import get_context, resource_tracker
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess


def start_process(act: Callable[..., None], *words: object, name: str) -> "tuple[SpawnProcess, Connection[Any, Any]]":
    """Start a process that does `act`, given its end of the pipe and then `words`; it goes with the one that started it."""
    spawn = get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=_run, args=(act, theirs, *words), daemon=True, name=name)
    with _deaf_to_interrupts():
        process.start()
    theirs.close()
    return process, ours


# What is blocked here is blocked there, too: an interrupt that comes while the process still imports does not end it. Windows
# has no such thing.
@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # where the start of the process does that, it lets interrupts through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _run(act: Callable[..., None], pipe: "Connection[Any, Any]", *words: object) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server decides when to stop
    act(pipe, *words)
