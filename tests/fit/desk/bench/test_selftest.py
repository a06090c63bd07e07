"""The self-test: its recordings are those of the independent simulation, and what is wrong on a machine shows."""

from importlib.resources import files

import numpy as np
import pytest
import soundfile

from fit.answers.figures import Estimate
from fit.desk.bench import selftest
from fit.desk.bench.selftest import CHANGES, COIL, GUITAR, e_number
from tests.desk_bench import run_json, run_plain
from tests.recorded import RECORDINGS, read_case

SHIPPED = {
    "coil-open": "bare-single-coil/open",
    "coil-plus-1n": "bare-single-coil/plus-1n",
    "tone-up": "tone-capacitor/tone-up",
    "tone-up-plus-1n": "tone-capacitor/tone-up-plus-1n",
    "tone-down": "tone-capacitor/tone-down",
    "before": "shielding/before",
    "before-plus-1n": "shielding/before-plus-1n",
    "after": "shielding/after",
    "after-plus-1n": "shielding/after-plus-1n",
    "dropouts": "faulty/dropouts",
}
FOLDER = files("fit.desk.bench") / "reference"


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_recordings_are_those_of_the_simulation_with_16_bits(name):
    shipped, rate_hz = soundfile.read(str(FOLDER / f"{name}.flac"), dtype="int16")
    original, original_hz = soundfile.read(RECORDINGS / f"{SHIPPED[name]}.flac", dtype="float64")
    assert rate_hz == original_hz
    assert shipped.shape == original.shape
    assert np.max(np.abs(shipped / 2**15 - original)) <= 2.0**-15


def test_nothing_else_is_shipped():
    assert {file.name for file in FOLDER.iterdir()} == {f"{name}.flac" for name in SHIPPED}


def test_what_is_expected_is_what_the_simulation_was_made_from():
    coil, guitar, shielding = (read_case(case)["actual"] for case in ("bare-single-coil", "tone-capacitor", "shielding"))
    assert coil == COIL
    names = {"inductance": "inductance", "pot.volume": "volume_pot", "pot.tone": "tone_pot", "capacitor.tone": "tone_capacitor"}
    assert {name: guitar[key] for name, key in names.items()} == GUITAR
    names = {"added_capacitance": "added_capacitance", "hum": "hum_change_db"}
    assert {name: shielding[key] for name, key in names.items()} == CHANGES


def test_e_number_by_hand():
    found = Estimate(value=10.0, unit="H", standard_uncertainty=1.0, low=8.0, high=13.0)
    assert e_number(9.0, found) == pytest.approx(0.5)
    assert e_number(13.0, found) == pytest.approx(1.0)
    assert e_number(16.0, found) == pytest.approx(2.0)


@pytest.mark.long
def test_all_of_it_agrees_here(capsys, tmp_path):
    code, out, _ = run_json(capsys, "selftest", "--logbook", tmp_path)
    assert (code, out["schema"], out["outcome"]) == (0, "coilsweep.selftest/1", "agrees")
    assert [line["name"] for line in out["lines"] if not line["agrees"]] == []
    told = [line for line in out["lines"] if line["actual"] is not None]
    assert len(told) == 9
    for line in told:
        low, high = line["found"]["interval_95"]
        assert low <= line["actual"] <= high, line["name"]
        assert line["e_number"] <= 1
    assert {"coilsweep", "Python", "numpy", "scipy", "lmfit", "libsndfile", "system"} <= set(out["versions"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
def test_a_machine_that_finds_something_else_is_told_so(capsys, tmp_path, monkeypatch):
    """As if the program took the input for another one: an instrument that is read wrongly shows in its values."""
    monkeypatch.setattr(selftest, "CASES", (selftest._low_pass, selftest._coil))
    monkeypatch.setattr(selftest, "RIG", {**selftest.RIG, "input_capacitance": "235p ± 3p"})
    code, out, _ = run_plain(capsys, "selftest", "--logbook", tmp_path)
    assert code == 3
    assert "DOES NOT AGREE: 1 of 4 lines." in out
    assert "Winding capacitance" in out
