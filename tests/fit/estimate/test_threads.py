"""The algebra of a fit runs in one thread, whatever the process has set, and gives the threads back."""

import os
import subprocess
import sys

from tests.places import TOP


def test_algebra_runs_in_one_thread_and_gives_the_threads_back():
    script = (
        "from fit.estimate import threads\n"
        "switches = threads._switches()\n"
        "tell = lambda: [get() for get, _ in switches]\n"
        "before = tell()\n"
        "with threads.one_thread():\n"
        "    inside = tell()\n"
        "print(len(switches) > 0, set(inside), before == tell(), before)\n"
    )
    environment = {"PYTHONPATH": str(TOP), "OPENBLAS_NUM_THREADS": "2", "PATH": os.environ["PATH"]}
    run = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    assert run.stdout.startswith(("True {1} True", "False set() True"))  # False: numpy is built on another library
