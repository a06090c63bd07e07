"""The self-test: its recordings are those of the independent simulation, and what is wrong on a machine shows."""

import json
from importlib.resources import files

import numpy as np
import pytest
import soundfile

from fit.answers.figures import Estimate
from fit.desk.bench import selftest
from fit.desk.bench.selftest import e_number
from tests.desk_bench import run_json, run_plain
from tests.reference_takes import RATE_HZ, TAKES, actual, recorded

FOLDER = files("fit.desk.bench") / "reference"
LEAST_SIGNIFICANT = 1  # of 16 bits, where another machine's FFT rounds the other way


@pytest.mark.parametrize("name", TAKES)
def test_shipped_recordings_are_those_that_the_equations_make(name):
    shipped, rate_hz = soundfile.read(str(FOLDER / f"{name}.flac"), dtype="int16")
    made = recorded(name)
    assert rate_hz == RATE_HZ
    assert shipped.shape == made.shape
    assert np.max(np.abs(shipped.astype(int) - made)) <= LEAST_SIGNIFICANT


def test_what_is_expected_is_what_they_were_made_from():
    assert json.loads((FOLDER / "made.json").read_text(encoding="utf-8")) == actual()


def test_nothing_else_is_shipped_and_it_is_small():
    shipped = list(FOLDER.iterdir())
    assert {file.name for file in shipped} == {"made.json"} | {f"{name}.flac" for name in TAKES}
    assert sum(len(file.read_bytes()) for file in shipped) < 410e3


def test_a_library_of_sound_that_is_not_there_is_said(monkeypatch):
    monkeypatch.setattr(selftest.portaudio, "library_version", lambda: None)
    assert selftest.versions()["PortAudio"] == "cannot be loaded"


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
    assert len(told) == 10
    for line in told:
        low, high = line["found"]["interval_95"]
        assert low <= line["actual"] <= high, line["name"]
        assert line["e_number"] <= 1
    assert {"coilsweep", "Python", "numpy", "scipy", "lmfit", "libsndfile", "PortAudio", "system"} <= set(out["versions"])
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
