"""The whole job on the virtual bench: an unmarked coil from a drawer, three recordings, one of them spoilt.

The pickup's eddy loss is of broken order, between a plain loop and the skin effect of solid poles; none of the models that are
fitted describes it exactly, so the answer has to be honest about what is left. Everything is marked as simulated.
"""

import contextlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from fit.answers.figures import Estimate
from fit.desk.bench.drawer import DCR_TEXT, NOISE, RIG, Drawer, pickup_response
from fit.desk.bench.imports import Files, import_take
from fit.desk.bench.rig import show_or_write_rig, write_stimulus
from fit.desk.book.desk import Desk, Outcome, first_lines
from fit.desk.book.fits import Fit, FitWish, fit_of
from fit.desk.book.output import write_figure
from fit.desk.questions.fit import fit_takes
from fit.desk.questions.inspect import inspect_take
from fit.desk.questions.report import REPORT_FILE, write_report
from fit.desk.show.document.guided import DemoDocument
from fit.desk.show.document.pickup import fit_document
from fit.desk.show.sheets.report import RESPONSE
from fit.desk.show.words import estimate_texts, quantity_name, table_lines
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.store import open_logbook
from measure.quantity import format_quantity
from measure.response import ComplexArray, FloatArray
from measure.source.virtual import Faults, VirtualBench

STORY = (
    "A single coil lies in a drawer, without a name, cover off, two wires. What is it?",
    "On the bench: a sound card, a small exciter coil with a 100 Ω sense resistor, a 1 nF capacitor of 1 %, a multimeter.",
    "All of it is simulated here; you type the same commands for real recordings.",
)
RATE_HZ = 96000
ADDED_TEXT = "1n ± 1%"
AT_HAND_TEXT = "470p ± 1%, 2n2 ± 1%"


def play_demo(desk: Desk, folder: Path) -> Outcome:
    """Play the whole job and end with a report.

    Parameters
    ----------
    desk : Desk
        How to speak; its logbook is not used.
    folder : Path
        Becomes the logbook; must be empty or not there.

    Returns
    -------
    Outcome
        The path of the report, and the fit's document.

    Raises
    ------
    FileError
        If the folder is there and holds something.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"{folder} is not empty; the demo overwrites nothing: name another folder, coilsweep demo DIR"
        raise FileError(msg)
    for line in STORY:
        desk.tell(line)
    _typed(desk, "cd", str(folder))
    open_logbook(folder, create=True)
    with contextlib.chdir(folder):  # so that every name reads as the person would type it
        inside = replace(desk, logbook=Path())
        _set_up(inside)
        _record(inside, Drawer())
        _bring_in(inside)
        found = _characterise(inside)
        _typed(desk, "coilsweep report")
        _told(desk, write_report(inside))
    report = folder / REPORT_FILE
    rows = _truth_rows(found.answer.quantities, Drawer())
    lines = ("", "What really lay in the drawer", *table_lines(rows), "", f"All of it as one page: {report}")
    told = fit_document(found.answer, warnings=found.warnings, released=found.released)
    return Outcome(
        lines=lines,
        document=DemoDocument(outcome=found.answer.outcome, written=(str(report),), simulated=True, report=str(report), fit=told),
    )


def _set_up(desk: Desk) -> None:
    options = [f"--{name.replace('_', '-')} {_quoted(value)}" for name, value in RIG.items()]
    _typed(desk, "coilsweep rig", *options)
    _told(desk, show_or_write_rig(desk, RIG))
    _typed(desk, f"coilsweep stimulus sweep.wav --rate {RATE_HZ}")
    _told(desk, write_stimulus(desk, Path("sweep.wav"), {"rate_hz": RATE_HZ, "duration_s": 3.0}))


def _record(desk: Desk, drawer: Drawer) -> None:
    from measure.logbook.recordings import write_sound
    from measure.source.files import read_stimulus

    desk.tell("")
    desk.tell("Play sweep.wav, record both inputs, save as WAV: the virtual bench does that now.")
    stimulus, rate_hz = read_stimulus(Path("sweep.wav"))
    gains = {"open-loud": (0.5, 0.0), "open": (0.045, 0.0), "plus-1n": (0.045, drawer.added_f)}
    for seed, (name, (gain, added_f)) in enumerate(gains.items(), start=1):
        bench = _bench(drawer, gain=gain, added_f=added_f, seed=seed)
        write_sound(Path(f"{name}.wav"), bench.record(stimulus, rate_hz=rate_hz), rate_hz)


def _bench(drawer: Drawer, *, gain: float, added_f: float, seed: int) -> VirtualBench:
    return VirtualBench(
        pickup=lambda f: gain * _interface(f) * pickup_response(drawer, f, added_f=added_f),
        reference=lambda f: 0.6 * _interface(f),
        reference_delay_samples=0.01,
        noise=NOISE,
        faults=Faults(),
        seed=seed,
    )


# Output and exciter: no DC, and the coil's own inductance against its resistance at the top.
def _interface(frequency_hz: FloatArray) -> ComplexArray:
    s = 2j * np.pi * frequency_hz
    return s / (s + 2 * np.pi * 4.0) / (1 + s / (2 * np.pi * 30e3))


def _bring_in(desk: Desk) -> None:
    played = Path("sweep.wav")
    takes = {
        "open-loud": Conditions(note="input gain far up"),
        "open": Conditions(note="input gain turned down"),
        "plus-1n": Conditions(added=ADDED_TEXT),
    }
    for name, conditions in takes.items():
        added = f' --add "{conditions.added}"' if conditions.added else ""
        note = f' --note "{conditions.note}"' if conditions.note else ""
        _typed(desk, f"coilsweep import {name} {name}.wav --stimulus sweep.wav{added}{note}")
        files = Files(paths=(Path(f"{name}.wav"),), stimulus_file=played, simulated=True)
        _told(desk, import_take(desk, name, files, conditions=conditions))
    _typed(desk, "coilsweep inspect open")
    _told(desk, inspect_take(desk, "open"))


def _characterise(desk: Desk) -> Fit:
    names = ("open", "plus-1n")
    _typed(desk, "coilsweep fit", *names, f'--dcr "{DCR_TEXT}" --have "{AT_HAND_TEXT}" --plot fit.png')
    wish = FitWish(names=names, dcr=DCR_TEXT, at_hand=AT_HAND_TEXT)
    fitted = fit_takes(desk, wish)
    write_figure(desk, fitted.figures[RESPONSE.name], Path("fit.png"))
    _told(desk, fitted)
    return fit_of(desk, open_logbook(desk.logbook), wish)


def _typed(desk: Desk, *words: str) -> None:
    desk.tell("")
    desk.tell(f"$ {' '.join(words)}")


def _quoted(value: str | int) -> str:
    text = str(value)
    return f'"{text}"' if " " in text else text


def _told(desk: Desk, outcome: Outcome) -> None:
    for line in first_lines(outcome):
        desk.tell(line)


def _truth_rows(quantities: Mapping[str, Estimate], drawer: Drawer) -> list[tuple[str, ...]]:
    truths = {
        "inductance": drawer.inductance_h,
        "winding_capacitance": drawer.capacitance_f,
        "dc_resistance": drawer.resistance_ohm,
    }
    rows: list[tuple[str, ...]] = [("", "true", "found", "95 % interval", "")]
    for key, truth in truths.items():
        found = quantities.get(key)
        if found is None:
            rows.append((quantity_name(key), "", "not identified", "", ""))
            continue
        verdict = "inside" if found.low <= truth <= found.high else "OUTSIDE"
        rows.append((quantity_name(key), format_quantity(truth, found.unit, 4), *estimate_texts(found), verdict))
    return rows
