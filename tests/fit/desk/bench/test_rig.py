"""The rig as the logbook states it, and the sweep as a file."""

import pytest
import soundfile

from tests.coil_book import make_coil_book
from tests.desk_bench import run, run_json


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


def test_exciter_corner_keeps_its_bound(capsys, tmp_path):
    code, document, _ = run_json(capsys, "rig", "--exciter-corner", "9k ± 5%", "--logbook", tmp_path)
    assert code == 0
    assert document["rig"]["exciter"]["corner_hz"] == "9k ± 5%"


def test_rig_is_written_shown_and_says_what_is_missing(capsys, tmp_path):
    code, out, _ = run(capsys, "rig", "--logbook", tmp_path)
    assert code == 0
    assert "--input-resistance" in out
    assert not (tmp_path / "rig.toml").exists()
    code, document, _ = run_json(capsys, "rig", "--exciter-corner", "9k", "--reference", "none", "--logbook", tmp_path)
    assert code == 0
    assert document["rig"]["exciter"]["corner_hz"] == 9000.0
    _, out, _ = run(capsys, "rig", "--clock", "20ppm", "--logbook", tmp_path)
    assert "interface.clock    20ppm" in out
    assert "input.resistance" in document["missing"]
    text = (tmp_path / "rig.toml").read_text()
    (tmp_path / "rig.toml").write_text("# mine\n" + text)
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--logbook", tmp_path)[0] == 0
    assert (tmp_path / "rig.toml").read_text().startswith("# mine\n")
    code, document, _ = run_json(capsys, "rig", "--logbook", tmp_path)
    assert document["rig"]["input"]["resistance"] == "1M ± 1%"
    assert document["rig"]["exciter"]["corner_hz"] == 9000.0
    _, out, _ = run(capsys, "rig", "--clock", "20ppm", "--logbook", tmp_path)
    assert "interface.clock    20ppm" in out


def test_stimulus_file_is_24_bit_and_says_the_cautions(capsys, tmp_path):

    path = tmp_path / "sweep.wav"
    code, document, err = run_json(capsys, "stimulus", path, "--rate", "44100", "--duration", "1", "--level", "0.25")
    assert code == 0
    assert "headphones off the ears" in err
    info = soundfile.info(path)
    assert (info.samplerate, info.subtype, info.channels) == (44100, "PCM_24", 1)
    samples, _ = soundfile.read(path)
    assert abs(samples).max() == pytest.approx(0.25, abs=1e-3)
    assert document["stop_hz"] == pytest.approx(0.46 * 44100)
