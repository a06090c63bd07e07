"""A coil measured again and again on a simulated bench that is never quite the same: python -m tests.kept_coil FOLDER.

The circuit is written out here, without the code under test. FOLDER/repeat: three days, two placements each, two sets of takes in
each. FOLDER/check: a kept coil on fourteen days; from the eleventh on a cable adds 9 pF that the rig does not know of.
"""

import contextlib
import io
import json
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from fit.desk.command.main import main
from tests.desk_bench import (
    CAPACITANCE_F,
    DCR_OHM,
    EDDY_CORNER_HZ,
    EDDY_COUPLING,
    EDDY_FIELD,
    INDUCTANCE_H,
    INPUT_F,
    INPUT_OHM,
    RIG,
)

GRID_HZ = 1000 * 2.0 ** (np.arange(-32, 28) / 6.4)  # fewer than a recording gives: each fit is quick
FIRST = datetime(2026, 3, 2, 17, tzinfo=UTC)
COPPER = 0.00393  # [1/K] IEC 60028
ADDED_F = 1.002e-9  # what is marked 1n ± 1%
NOISE = 3e-4  # [1] of the response


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """How a bench differs from one set, placement or day to the next, 1 σ each.

    Attributes
    ----------
    set_f, placement_f, day_f : float
        Clips and where the cable lies. [F]
    placement_field : float
        How the exciter reaches the eddy loop. [1]
    day_k : float
        Temperature. [K]
    """

    set_f: float = 0.2e-12
    placement_f: float = 0.5e-12
    day_f: float = 0.3e-12
    placement_field: float = 0.01
    day_k: float = 0.5


def response(added_f, *, stray_f=0.0, field=0.0, kelvin=0.0):
    """Jack over reference: a coil with one eddy loop behind cable and input."""
    s = 2j * np.pi * GRID_HZ
    load = s * (CAPACITANCE_F + INPUT_F + added_f + stray_f) + 1 / INPUT_OHM
    loop = s / (s + 2 * np.pi * EDDY_CORNER_HZ)
    impedance = DCR_OHM * (1 + COPPER * kelvin) + s * INDUCTANCE_H * (1 - EDDY_COUPLING**2 * loop)
    return 0.04 * s / 6283 * (1 - (EDDY_FIELD + field) * loop) / (1 + impedance * load)


def take_text(rng, value):
    std = NOISE * np.abs(value)
    noisy = value + std / np.sqrt(2) * (rng.standard_normal(len(value)) + 1j * rng.standard_normal(len(value)))
    rows = [f"{f:.9g},{v.real:.9g},{v.imag:.9g},{e:.6g}" for f, v, e in zip(GRID_HZ, noisy, std, strict=True)]
    return "\n".join(["# simulated: yes", "frequency_hz,real,imaginary,standard_deviation", *rows]) + "\n"


def keep(book, name, text, *options, at):
    """Import a take and put its time back to when it would have been made."""
    table = Path(book).parent / f"{name}.csv"
    table.write_text(text, encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["import", name, str(table), *options, "--logbook", str(book)]) == 0
    table.unlink()
    date_take(book, name, at)


def date_take(book, name, at):
    file = Path(book) / "takes" / name / "take.json"
    document = json.loads(file.read_text(encoding="utf-8"))
    document["time_utc"] = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    file.write_text(json.dumps(document), encoding="utf-8")


def new_book(folder):
    folder.mkdir(parents=True)
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["rig", *RIG, "--logbook", str(folder)]) == 0
    return folder


def write_repeat(folder, design=((2, 2, 2), (2, 2, 2)), *, bench=None, seed=1, coil="coil"):
    """Sets of takes by day and placement, `design` giving the sets of each; names of the takes."""
    bench, rng, book = bench or Bench(), np.random.default_rng(seed), new_book(folder)
    names = []
    for day, placements in enumerate(design):
        day_f, kelvin = rng.normal(0, bench.day_f), rng.normal(0, bench.day_k)
        for placement, n_sets in enumerate(placements):
            placement_f, field = rng.normal(0, bench.placement_f), rng.normal(0, bench.placement_field)
            for turn in range(n_sets):
                stray_f = day_f + placement_f + rng.normal(0, bench.set_f)
                at = FIRST + timedelta(days=day, minutes=20 * placement + 4 * turn)
                moved = ["--coil-moved"] if turn == 0 else []
                name = f"{coil}-{len(names) // 2 + 1}"
                places = {"stray_f": stray_f, "field": field, "kelvin": kelvin}
                keep(book, name, take_text(rng, response(0.0, **places)), *moved, at=at)
                text = take_text(rng, response(ADDED_F, **places))
                keep(book, f"{name}-1n", text, "--add", "1n ± 1%", at=at + timedelta(minutes=1))
                names += [name, f"{name}-1n"]
    return names


def write_check(folder, n, *, shift_f=9e-12, shifts_from=10, bench=None, seed=1, coil="drawer"):
    """A kept coil, measured every second week; from `shifts_from` on with a capacitance that nobody stated."""
    bench, rng, book = bench or Bench(), np.random.default_rng(seed), new_book(folder)
    for index in range(n):
        stray_f = rng.normal(0, np.hypot(bench.day_f, bench.placement_f)) + (shift_f if index >= shifts_from else 0.0)
        places = {"stray_f": stray_f, "field": rng.normal(0, bench.placement_field), "kelvin": rng.normal(0, bench.day_k)}
        at = FIRST + timedelta(days=14 * index)
        name = f"{coil}-{index + 1}"
        keep(book, name, take_text(rng, response(0.0, **places)), "--coil-moved", at=at)
        keep(book, f"{name}-1n", take_text(rng, response(ADDED_F, **places)), "--add", "1n ± 1%", at=at + timedelta(minutes=1))
    return book


if __name__ == "__main__":
    write_repeat(Path(sys.argv[1]) / "repeat", ((2, 2),) * 3)
    write_check(Path(sys.argv[1]) / "check", 14)
