"""The rig as the logbook states it, and the sweep as a file."""

import pytest
import soundfile

from fit.desk.bench.rig import show_or_write_rig, write_stimulus
from fit.desk.book.desk import Desk, lines_of
from fit.desk.show.document.pieces import plain
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


def talk(folder):
    said = []
    return Desk(logbook=folder, say=said.append, tell=said.append, steps=lambda items, _: items), said


def test_only_what_is_named_is_changed(tmp_path):
    desk, _ = talk(tmp_path)
    show_or_write_rig(desk, {"input_resistance": "1M ± 1%", "rate_hz": 48000})
    shown = show_or_write_rig(desk, {"device": "box"})
    assert (
        plain(shown.document)["rig"]["interface"] | {"device": "box", "rate_hz": 48000}
        == plain(shown.document)["rig"]["interface"]
    )
    assert plain(shown.document)["rig"]["input"]["resistance"] == "1M ± 1%"
    assert "input.capacitance" in plain(shown.document)["missing"]


def test_showing_writes_nothing(tmp_path):
    desk, said = talk(tmp_path)
    assert lines_of(show_or_write_rig(desk, {}))[0] == "No rig is stated yet."
    assert (list(tmp_path.iterdir()), said) == ([], [])


def test_an_input_that_damps_a_pickup_is_said(tmp_path):
    desk, _ = talk(tmp_path)
    assert any(line.startswith("look: ") for line in lines_of(show_or_write_rig(desk, {"input_resistance": "10k ± 1%"})))
    assert not any(line.startswith("look: ") for line in lines_of(show_or_write_rig(desk, {"input_resistance": "1M ± 1%"})))


@pytest.mark.parametrize(
    "numbers",
    [{"rate_hz": 48000, "stop_hz": 24000.0}, {"rate_hz": 48000, "start_hz": 500.0, "stop_hz": 400.0}, {"start_hz": 45e3}],
)
def test_a_sweep_rises_and_ends_below_half_the_rate(tmp_path, numbers):
    desk, _ = talk(tmp_path)
    with pytest.raises(ValueError, match="the sweep must rise and end below half the sample rate"):
        write_stimulus(desk, tmp_path / "s.wav", numbers)
    assert not (tmp_path / "s.wav").exists()


def test_the_rate_is_the_rigs_unless_it_is_stated(tmp_path):
    desk, _ = talk(tmp_path)
    assert plain(write_stimulus(desk, tmp_path / "a.wav", {"duration_s": 0.5}).document)["rate_hz"] == 96000
    show_or_write_rig(desk, {"rate_hz": 44100})
    assert plain(write_stimulus(desk, tmp_path / "b.wav", {"duration_s": 0.5}).document)["rate_hz"] == 44100
    assert plain(write_stimulus(desk, tmp_path / "c.wav", {"duration_s": 0.5, "rate_hz": 48000}).document)["rate_hz"] == 48000
