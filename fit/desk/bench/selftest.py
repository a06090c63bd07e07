"""The reference recordings that come with the program, from their samples to its answers, against what they were made from.

Node equations that share no code with this program rendered them (tests/reference_takes.py in the repository). What they were
made from stands in made.json beside them; it is read when everything has been found, and is no start or default of any fit.
"""

import json
import platform
import tempfile
from collections.abc import Iterator, Mapping
from importlib import metadata
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np

from fit.answers.figures import Estimate
from fit.desk.bench.drawer import NOISE, RIG
from fit.desk.bench.imports import Files, import_take
from fit.desk.bench.rig import show_or_write_rig
from fit.desk.book.desk import DONE, REJECTED, Desk, Outcome, silent_desk
from fit.desk.book.fits import FitWish, fit_of
from fit.desk.questions.compare import CompareWish, compare_kept
from fit.desk.questions.confirm import confirm_part_of
from fit.desk.show.document.pieces import plain
from fit.desk.show.document.selftest import SelftestDocument
from fit.desk.show.sheets.selftest import Found, Rerun, line_of, sheet_of_selftest
from measure.logbook.conditions import Conditions
from measure.logbook.disk import replace_file
from measure.logbook.store import instrument_path, open_logbook, read_take
from measure.response import ComplexArray, FloatArray
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source import files as sound_files
from measure.source import portaudio
from measure.source.virtual import VirtualBench
from measure.transfer.response import estimate_response
from measure.version import VERSION

WIRING = """\
output = "tip"
[pickup.bridge]
ends = ["hot", "ground"]
[pot.volume]
marked = "250k ± 20%"
taper = "audio"
cw = "hot"
wiper = "tip"
ccw = "ground"
[pot.tone]
marked = "250k ± 20%"
taper = "audio"
wiper = "hot"
ccw = "tone link"
[capacitor.tone]
marked = "22n ± 10%"
between = ["tone link", "ground"]
"""
UP, DOWN = {"volume": "10", "tone": "10"}, {"volume": "10", "tone": "0"}
KNOWN = "1n ± 1%"
GUITAR_DCR = "5.84k ± 1%"
RC_HZ, RC_LIMIT_DB = 4000.0, 0.01  # corner of the low-pass [Hz], and how far from its formula its response may be [dB]
RATE_HZ = 48000
# Compared, of what the recordings were made from.
COMPARED = (
    "inductance",
    "winding_capacitance",
    "dc_resistance",
    "pot.volume",
    "pot.tone",
    "capacitor.tone",
    "added_capacitance",
    "hum",
)


def run_selftest(desk: Desk) -> Outcome:
    """Rerun the reference recordings, and say what was expected and what was found.

    Returns
    -------
    Outcome
        Exit code 3 where one line does not agree.

    References
    ----------
    ISO/IEC 17025:2017, 7.11.2: software is validated before use, also after a change of where it runs. The number E of each line
    is the E_n of ISO 13528:2022, 9.7 (from memory), with an exact reference: the difference over the half of the 95 % interval.
    """
    found: list[Found] = []
    with tempfile.TemporaryDirectory() as scratch, as_file(files("fit.desk.bench") / "reference") as recordings:
        for number, case in enumerate(desk.steps(CASES, "reference recordings")):
            found += case(recordings, Path(scratch) / str(number))
    tested = Rerun(found=tuple(found), versions=versions())
    document = SelftestDocument(
        outcome=tested.outcome,
        lines=tuple(line_of(one) for one in found),
        versions=tested.versions,
        simulated=True,
    )
    exit_code = DONE if tested.outcome == "agrees" else REJECTED
    return Outcome(document=document, sheet=sheet_of_selftest(tested), exit_code=exit_code)


def versions() -> dict[str, str]:
    """Versions of the program, of what it computes with, and of the system that it runs on."""
    found = {"coilsweep": VERSION, "Python": platform.python_version()}
    found |= {name: metadata.version(name) for name in ("numpy", "scipy", "lmfit", "matplotlib", "soundfile", "sounddevice")}
    found["libsndfile"] = sound_files.library_version()
    found["PortAudio"] = portaudio.library_version() or "cannot be loaded"
    found["system"] = f"{platform.system()} {platform.release()}, {platform.machine()}"
    return found


def _bench(folder: Path, recordings: Path, takes: Mapping[str, Conditions], wiring: str = "") -> Desk:
    folder.mkdir()
    desk = silent_desk(folder)
    show_or_write_rig(desk, RIG)
    if wiring:
        replace_file(instrument_path(open_logbook(folder)), wiring.encode())
    for name, conditions in takes.items():
        import_take(desk, name, Files(paths=(recordings / f"{name}.flac",), simulated=True), conditions=conditions)
    return desk


def _actual(recordings: Path, case: str) -> dict[str, float]:
    made: dict[str, dict[str, float]] = json.loads((recordings / "made.json").read_text(encoding="utf-8"))
    return {name: value for name, value in made[case].items() if name in COMPARED}


def _coil(recordings: Path, folder: Path) -> Iterator[Found]:
    takes = {"coil": Conditions(), "coil-1n": Conditions(added=KNOWN)}
    desk = _bench(folder, recordings, takes)
    found = fit_of(desk, open_logbook(desk.logbook), FitWish(names=tuple(takes), dcr="7.12k ± 1%")).answer.quantities
    yield from _beside("A single coil, open and with a known part", _actual(recordings, "coil"), found)


def _tone_capacitor(recordings: Path, folder: Path) -> Iterator[Found]:
    takes = {
        "guitar": Conditions(controls=UP),
        "guitar-1n": Conditions(controls=UP, added=KNOWN),
        "guitar-tone-0": Conditions(controls=DOWN),
    }
    desk = _bench(folder, recordings, takes, WIRING)
    wish = FitWish(names=tuple(takes), dcr=GUITAR_DCR)
    fitted = fit_of(desk, open_logbook(desk.logbook), wish).answer
    title = "A guitar with its controls in circuit"
    yield from _beside(title, _actual(recordings, "guitar"), fitted.quantities)
    confirmed = plain(confirm_part_of(desk, "capacitor.tone", wish).document)
    yield Found(title=title, name="verdict", is_met=confirmed["verdict"] == "within marking")


def _shielding(recordings: Path, folder: Path) -> Iterator[Found]:
    plain, loaded = Conditions(controls=UP), Conditions(controls=UP, added=KNOWN)
    takes = {"guitar": plain, "guitar-1n": loaded, "shielded": plain, "shielded-1n": loaded}
    desk = _bench(folder, recordings, takes, WIRING)
    names = tuple(takes)
    wish = CompareWish(before=names[:2], after=names[2:], dcr=GUITAR_DCR)
    compared = compare_kept(desk, open_logbook(desk.logbook), wish)
    found = {} if compared.parts is None else {name: one.change for name, one in compared.parts.quantities.items()}
    if compared.noise is not None and compared.noise.hum is not None and compared.noise.hum.change is not None:
        found["hum"] = compared.noise.hum.change
    yield from _beside("A shielding job, before and after", _actual(recordings, "shielding"), found)


def _missing_samples(recordings: Path, folder: Path) -> Iterator[Found]:
    desk = _bench(folder, recordings, {"dropped": Conditions()})
    take = read_take(open_logbook(desk.logbook), "dropped")
    reasons = [one.code for one in take.findings if one.severity == "reject"]
    yield Found(title="A recording with samples missing", name="rejected", is_met=reasons == ["dropouts"])


# A resistor and a capacitor, played and recorded by the virtual bench, against the textbook's formula.
def _low_pass(recordings: Path, folder: Path) -> Iterator[Found]:
    del recordings, folder
    sweep = Sweep(rate_hz=RATE_HZ)
    bench = VirtualBench(pickup=_rc, reference=lambda f: 0.5 * _rc(f / 10), noise=NOISE, seed=1)
    samples = bench.record(sweep_samples(sweep), rate_hz=RATE_HZ)
    response = estimate_response([Recording(samples=samples, rate_hz=RATE_HZ, pickup_channel=1, reference_channel=2)])
    off_db = 20 * np.log10(np.abs(response.value * 0.5 * _rc(response.frequency_hz / 10) / _rc(response.frequency_hz)))
    found_db = float(np.max(np.abs(off_db)))
    yield Found(
        title="A resistor and a capacitor, by their formula", name="response", is_met=found_db < RC_LIMIT_DB, figure_db=found_db
    )


def _rc(frequency_hz: FloatArray) -> ComplexArray:
    return np.asarray(1 / (1 + 1j * frequency_hz / RC_HZ))


def _beside(title: str, actual: Mapping[str, float], found: Mapping[str, Estimate]) -> Iterator[Found]:
    for name, value in actual.items():
        estimate = found.get(name)
        number = None if estimate is None else e_number(value, estimate)
        is_met = number is not None and number <= 1
        yield Found(title=title, name=name, actual=value, estimate=estimate, e_number=number, is_met=is_met)


def e_number(actual: float, found: Estimate) -> float:
    """Difference over the half of the 95 % interval on its side, at most 1 where the interval holds the actual value."""
    half = found.value - found.low if actual < found.value else found.high - found.value
    return abs(actual - found.value) / half


CASES = (_low_pass, _coil, _tone_capacitor, _shielding, _missing_samples)
