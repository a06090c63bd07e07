"""The commands calibrate as they are typed: from files or by the card, what is to be connected said before the sweep."""

from pathlib import Path

import pytest

from fit.desk.bench.virtual import EXCITER_CORNER_HZ, rehearsal_load, true_value
from fit.desk.show.words import SIMULATED_TEXT, SWEEP_CAUTION
from measure.logbook.rig import read_rig
from tests.desk_bench import record, run, run_json
from tests.scripted_process import Process, told
from tests.typed import DONE, catch, refused, typed


@pytest.fixture
def bench(monkeypatch):
    """Reading and recording replaced, by what they got."""
    catch(monkeypatch, "fit.desk.bench.recordings.require_card_of_rig")
    places = ("recordings.read_by_rig", "recordings.record_by_rig")
    return [catch(monkeypatch, f"fit.desk.bench.{place}", reply=place.rpartition("_")[0]) for place in places]


def carry_out(monkeypatch, name, do):
    """Put what a calibration would do first in its place."""
    monkeypatch.setattr(f"fit.desk.bench.calibrate.{name}", lambda *args, **options: do(*args, **options) or DONE)


def test_loopback_from_files(monkeypatch, capsys, tmp_path, bench):
    read, recorded = bench
    carry_out(monkeypatch, "calibrate_loopback", lambda _, listen: listen() and None)
    typed(capsys, "calibrate", "loopback", "--from", "a.wav", "--from", "b.wav", "--stimulus", "s.wav", "--logbook", tmp_path)
    desk, files, stimulus = read.args
    assert (desk.logbook, files, stimulus) == (tmp_path, (Path("a.wav"), Path("b.wav")), Path("s.wav"))
    assert recorded.calls == []


def test_loopback_by_the_card_waits_for_enter(monkeypatch, capsys, bench):
    waited = []
    monkeypatch.setattr("click.prompt", lambda text, **_: waited.append(text))
    carry_out(monkeypatch, "calibrate_loopback", lambda _, listen: listen() and None)
    code, _, err = run(capsys, "calibrate", "loopback")
    assert (code, waited) == (0, ["Then press Enter"])
    assert err.splitlines()[:2] == ["Connect the output to both inputs, the pickup's and the reference's.", SWEEP_CAUTION]
    assert bench[1].options == {"level": 0.1, "label": "loopback"}


@pytest.mark.parametrize("words", [("loopback",), ("input", "--through", "100k ± 1%"), ("exciter",)], ids=lambda words: words[0])
def test_without_a_card_nobody_is_asked_to_connect_anything(monkeypatch, capsys, tmp_path, words):
    error = {"error": "NoCardError", "text": "no sound card with an output was found. Plug it in."}
    monkeypatch.setattr("measure.source.soundcard.RecordingProcess", lambda _: Process(told("error", **error)))
    monkeypatch.setattr("click.prompt", lambda *_, **__: pytest.fail("asked"))
    code, out, err = run(capsys, "calibrate", *words, "--logbook", tmp_path)
    assert (code, out, err) == (4, "", f"coilsweep: {error['text']}\n")


def test_no_wait_asks_nobody_and_the_level_is_played(monkeypatch, capsys, bench):
    monkeypatch.setattr("click.prompt", lambda *_, **__: pytest.fail("asked"))
    carry_out(monkeypatch, "calibrate_loopback", lambda _, listen: listen() and None)
    typed(capsys, "calibrate", "loopback", "--no-wait", "--level", "0.02")
    assert bench[1].options["level"] == 0.02


def test_input_says_what_to_connect_for_each_load(monkeypatch, capsys, bench):
    carry_out(monkeypatch, "calibrate_input", lambda _, loads, listen: [listen(load) for load in loads] and None)
    through = ("--through", "100k ± 1%", "--through", "1M ± 1%, 1n ± 1%")
    code, _, err = run(capsys, "calibrate", "input", *through, "--no-wait")
    assert code == 0
    first, second = (line for line in err.splitlines() if line.startswith("Connect"))
    assert first.endswith("to one end of 100k ± 1%, the cable to the pickup's input to its other end.")
    assert second.endswith("to its other end, 1n ± 1% across that end.")
    assert [options["label"] for _, options in bench[1].calls] == ["through 100k ± 1%", "through 1M ± 1%, 1n ± 1%"]


def test_input_from_files_reads_each_by_itself(monkeypatch, capsys, bench):
    carry_out(monkeypatch, "calibrate_input", lambda _, loads, listen: [listen(load) for load in loads] and None)
    typed(capsys, "calibrate", "input", "--from", "a.wav=100k ± 1%", "--from", "b.wav=1M ± 1%", "--stimulus", "s.wav")
    read = [args[1:] for args, _ in bench[0].calls]
    assert read == [([Path("a.wav")], Path("s.wav")), ([Path("b.wav")], Path("s.wav"))]


def test_exciter_hands_on_its_three_files_in_their_order(monkeypatch, capsys):
    found = catch(monkeypatch, "fit.desk.bench.calibrate.calibrate_exciter_files")
    typed(capsys, "calibrate", "exciter", "--by-output", "o.wav", "--by-current", "c.wav", "--stimulus", "s.wav")
    assert found.args[1:] == ((None, Path("o.wav"), Path("c.wav")), Path("s.wav"))


def test_exciter_by_the_card(monkeypatch, capsys, bench):
    carry_out(monkeypatch, "calibrate_exciter_files", lambda *_, live: live() and None)
    code, _, err = run(capsys, "calibrate", "exciter", "--no-wait")
    assert code == 0
    assert "the sense resistor to the pickup's input" in err
    assert bench[1].options["label"] == "exciter"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["loopback", "--level", "0"], "level"),
        (["loopback", "--level", "1.01"], "1.01"),
        (["input"], "--through"),
        (["input", "--through", "1M ± 1%", "--from", "a.wav=1M ± 1%"], "either --through"),
        (["input", "--through", "1n ± 1%"], "does not begin with a resistor"),
        (["input", "--from", "1M ± 1%"], "expected FILE=R"),
        (["loopback", "--page", "x.pdf"], ".html"),
        (["nonsense"], "nonsense"),
    ],
)
def test_wrong_words_are_refused_before_anything_sounds(capsys, bench, words, says):
    assert says in refused(capsys, "calibrate", *words)
    assert bench[1].calls == []


@pytest.mark.long
def test_all_calibrations_are_rehearsed_and_find_what_the_virtual_bench_has(capsys, tmp_path):
    place = ("--virtual", "--no-wait", "--logbook", tmp_path)
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--logbook", tmp_path)[0] == 0
    truths = {key: true_value(key, stated) for key, stated in rehearsal_load(read_rig(tmp_path / "rig.toml")).items()}
    code, document, err = run_json(capsys, "calibrate", "loopback", *place)
    assert (code, document["simulated"], document["outcome"]) == (0, True, "good")
    assert SIMULATED_TEXT in err
    through = [word for text in ("100k ± 1%", "1M ± 1%", "1M ± 1%, 1n ± 1%") for word in ("--through", text)]
    code, document, _ = run_json(capsys, "calibrate", "input", *through, *place)
    assert (code, document["simulated"]) == (0, True)
    for name in ("resistance", "capacitance"):
        found = document["quantities"][name]
        assert abs(found["value"] - truths[f"input.{name}"]) < 3 * found["standard_uncertainty"]
    code, document, _ = run_json(capsys, "calibrate", "exciter", *place)
    assert (code, document["simulated"]) == (0, True)
    assert document["quantities"]["corner"]["value"] == pytest.approx(EXCITER_CORNER_HZ, rel=0.005)


def test_a_rehearsal_stays_away_from_real_takes(capsys, tmp_path):
    assert run(capsys, "stimulus", tmp_path / "sweep.wav", "--rate", "48000", "--duration", "1")[0] == 0
    record(tmp_path, "open")
    assert run(capsys, "import", "open", tmp_path / "open.wav", "--logbook", tmp_path)[0] == 0
    code, _, err = run(capsys, "calibrate", "loopback", "--virtual", "--no-wait", "--logbook", tmp_path)
    assert code == 2
    assert 'the take "open" here is real' in err
    assert "--virtual --logbook rehearsal" in err


def test_a_rehearsal_reads_no_files(capsys, tmp_path):
    assert "--virtual records" in refused(capsys, "calibrate", "loopback", "--virtual", "--from", "a.wav", "--logbook", tmp_path)
