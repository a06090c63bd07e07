"""The folder that the manual's page for Python begins in: two recordings of a bare pickup, and two logbooks made by commands."""

import json
import shutil

from fit.desk.command.main import main
from tests.places import RECORDINGS
from tests.recorded_guitars import WIRING

RIG = ("--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--sense-resistor", "100 ± 1%")
CHANNELS = ("--reference", "current", "--pickup-channel", "1", "--reference-channel", "2")
LOGBOOKS = {
    "guitar": ("tone-capacitor", {"tone-up": "up", "tone-up-plus-1n": "up-1n", "tone-down": "down"}),
    "shielding": (
        "shielding",
        {"before": "before", "before-plus-1n": "before-1n", "after": "after", "after-plus-1n": "after-1n"},
    ),
}


def copy_recordings(folder):
    for name in ("open", "plus-1n"):
        shutil.copy(RECORDINGS / "bare-single-coil" / f"{name}.flac", folder)


def make_logbook(folder, name):
    case, names = LOGBOOKS[name]
    written = json.loads((RECORDINGS / case / "case.json").read_text(encoding="utf-8"))
    book = folder / name
    book.mkdir()
    wiring = WIRING.format(**written["marked"]).replace(
        '["hot", "ground"]', f'["hot", "ground"]\ndcr = "{written["dc_resistance"]}"'
    )
    (book / "instrument.toml").write_text(wiring, encoding="utf-8")
    _done("rig", *RIG, *CHANNELS, "--logbook", book)
    for file, take in names.items():
        stated = written["takes"][file]
        controls = [word for control, value in stated["controls"].items() for word in ("--set", f"{control}={value}")]
        added = ("--add", stated["add"]) if stated["add"] else ()
        _done("import", take, RECORDINGS / case / f"{file}.flac", *controls, *added, "--logbook", book)


def _done(*words):
    assert main([str(word) for word in words]) == 0, words
