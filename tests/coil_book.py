"""A logbook of the coil on the virtual bench: a rig, the takes open, plus-1n and loud (rejected), and their recordings."""

import contextlib
import io

from fit.desk.command.main import main
from tests.desk_bench import RIG, record


def make_coil_book(folder):
    """FOLDER/book, beside it sweep.wav, open.wav, plus.wav and loud.wav."""
    book = ["--logbook", str(folder / "book")]
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["rig", *RIG, *book]) == 0
        assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "2"]) == 0
        sweep = ["--stimulus", str(folder / "sweep.wav"), *book]
        assert main(["import", "open", str(record(folder, "open")), *sweep]) == 0
        plus = record(folder, "plus", added_f=1e-9, seed=2)
        assert main(["import", "plus-1n", str(plus), "--add", "1n ± 1%", *sweep]) == 0
        loud = record(folder, "loud", gain=0.9, seed=3)
        assert main(["import", "loud", str(loud), *sweep]) == 3
    return folder
