"""One thread for the algebra of a fit, whatever the process had set: its matrices are small, and threads wait for each other.

Measured with numpy's own OpenBLAS on 2 cores that other work kept busy too: a fit of three takes of one pickup took 13.7 and
8.6 times as long with two threads as with one (10 times the processor time), that of a closed guitar 6.0 and 4.1 times. The
environment variables that the command line sets are read when numpy is loaded; from Python that is before us, so the number is
set in the library itself.
"""

import ctypes
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from pathlib import Path

# as OpenBLAS names them in the wheels of numpy and scipy, and where a system builds it
NAMES = (
    "scipy_openblas_{}_num_threads64_",
    "scipy_openblas_{}_num_threads",
    "openblas_{}_num_threads64_",
    "openblas_{}_num_threads",
)


@contextmanager
def one_thread() -> Iterator[None]:
    """Compute with one thread in here, and with as many as before afterwards; nothing changes under another library."""
    before = [(put, get()) for get, put in _switches()]
    for put, _ in before:
        put(1)
    try:
        yield
    finally:
        for put, number in before:
            put(number)


@cache
def _switches() -> tuple[tuple[Callable[[], int], Callable[[int], None]], ...]:
    """Functions that tell and set the number of threads, of each OpenBLAS that numpy and scipy have loaded."""
    found: dict[int, tuple[Callable[[], int], Callable[[int], None]]] = {}
    for name in ("numpy.linalg._umath_linalg", "scipy.linalg._fblas"):
        file = Path(import_module(name).__file__ or "")
        package = file.parents[1]
        libraries = [*package.with_name(f"{package.name}.libs").glob("*openblas*"), *package.glob(".dylibs/*openblas*")]
        for path in (file, *libraries):
            try:
                library = ctypes.CDLL(str(path))
            except OSError:  # one that cannot be opened again is left as it is
                continue
            for pattern in NAMES:
                get, put = (getattr(library, pattern.format(verb), None) for verb in ("get", "set"))
                if get is not None and put is not None:
                    found[ctypes.cast(put, ctypes.c_void_p).value or 0] = (get, put)
    return tuple(found.values())
