"""Commands about the bench as they are typed: each option reaches the desk as what it means."""

from pathlib import Path

import pytest

from fit.desk.bench.imports import Files
from measure.logbook.conditions import Conditions
from tests.typed import catch, refused, typed


def test_demo_is_played_below_the_logbook(monkeypatch, capsys, tmp_path):
    played = catch(monkeypatch, "fit.desk.bench.demo.play_demo")
    typed(capsys, "demo", "here", "--logbook", tmp_path)
    desk, folder = played.args
    assert (desk.logbook, folder) == (tmp_path, tmp_path / "here")


def test_demo_has_a_folder_of_its_own(monkeypatch, capsys, tmp_path):
    played = catch(monkeypatch, "fit.desk.bench.demo.play_demo")
    typed(capsys, "demo", "--logbook", tmp_path)
    assert played.args[1] == tmp_path / "coilsweep-demo"


def test_rig_hands_on_what_is_typed_alone(monkeypatch, capsys, tmp_path):
    written = catch(monkeypatch, "fit.desk.bench.rig.show_or_write_rig")
    words = ("--device", "box", "--rate", "48000", "--clock", "20ppm", "--reference", "none", "--input-capacitance", "185p ± 3p")
    typed(capsys, "rig", *words, "--logbook", tmp_path)
    stated = {"device": "box", "rate_hz": 48000, "clock": "20ppm", "reference": "none", "input_capacitance": "185p ± 3p"}
    assert written.args[1] == stated


@pytest.mark.parametrize("is_json", [False, True])
def test_rig_is_asked_for_after_what_was_typed_is_written(monkeypatch, capsys, tmp_path, is_json):
    """With --json the questions go where messages go, so that stdout holds the document alone."""
    written = catch(monkeypatch, "fit.desk.bench.rig.show_or_write_rig")
    asked = catch(monkeypatch, "fit.desk.guide.rig_interview.ask_rig")
    typed(capsys, "rig", "--ask", "--device", "box", "--logbook", tmp_path, *(["--json"] if is_json else []))
    assert written.args[1] == {"device": "box"}
    desk, read = asked.args
    assert (desk.tell is desk.say) is is_json
    monkeypatch.setattr("builtins.input", lambda: "typed")
    assert read("What? ") == "typed"
    said = capsys.readouterr()
    assert (said.err if is_json else said.out).startswith("What? ")


def test_stimulus_hands_on_the_numbers_that_are_typed(monkeypatch, capsys, tmp_path):
    written = catch(monkeypatch, "fit.desk.bench.rig.write_stimulus")
    words = ("--rate", "48000", "--duration", "2", "--start", "20", "--stop", "20000", "--level", "0.25")
    typed(capsys, "stimulus", tmp_path / "s.wav", *words)
    numbers = {"rate_hz": 48000, "duration_s": 2.0, "start_hz": 20.0, "stop_hz": 20000.0, "level": 0.25}
    assert written.args[1:] == (tmp_path / "s.wav", numbers)


def test_stimulus_leaves_rate_and_last_frequency_to_the_rig(monkeypatch, capsys, tmp_path):
    written = catch(monkeypatch, "fit.desk.bench.rig.write_stimulus")
    typed(capsys, "stimulus", tmp_path / "s.wav")
    assert written.args[2] == {"level": 0.5}


def test_import_parts_what_was_measured_from_what_was_true(monkeypatch, capsys):
    brought = catch(monkeypatch, "fit.desk.bench.imports.import_take")
    monkeypatch.setattr("fit.desk.book.next_step.with_next_step", lambda outcome, *_: outcome)
    stated = ("--add", "680p±1%", "--set", "volume=7", "--set", "tone=0", "--coil-over", "neck", "--coil-moved")
    more = (
        "--temperature",
        "24C",
        "--note",
        "warm",
        "--pickup-channel",
        "2",
        "--reference-channel",
        "none",
        "--stimulus",
        "s.wav",
    )
    typed(capsys, "import", "up", "a.wav", "b.wav", *stated, *more)
    _, name, files = brought.args
    assert name == "up"
    assert files == Files(
        paths=(Path("a.wav"), Path("b.wav")), stimulus_file=Path("s.wav"), pickup_channel=2, reference_channel="none"
    )
    assert brought.options["conditions"] == Conditions(
        method="exciter",
        added="680p±1%",
        controls={"volume": "7", "tone": "0"},
        coil_over="neck",
        coil_moved=True,
        temperature_c=24.0,
        note="warm",
    )


@pytest.mark.parametrize(
    ("words", "method"),
    [
        (["a.wav"], "exciter"),
        (["a.s1p"], "impedance"),
        (["A.S1P"], "impedance"),
        (["a.s1p", "--method", "exciter"], "exciter"),
        (["a.wav", "--method", "plate"], "plate"),
    ],
)
def test_a_touchstone_file_is_an_impedance_unless_it_is_said_otherwise(monkeypatch, capsys, words, method):
    brought = catch(monkeypatch, "fit.desk.bench.imports.import_take")
    monkeypatch.setattr("fit.desk.book.next_step.with_next_step", lambda outcome, *_: outcome)
    typed(capsys, "import", "z", *words)
    assert brought.options["conditions"].method == method


def test_inspect_hands_on_the_name(monkeypatch, capsys, tmp_path):
    looked = catch(monkeypatch, "fit.desk.questions.inspect.inspect_take")
    assert typed(capsys, "inspect", "open", "--logbook", tmp_path) == "done\n"
    assert (looked.args[0].logbook, looked.args[1]) == (tmp_path, "open")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["rig", "--rate", "7999"], "7999"),
        (["rig", "--pickup-channel", "0"], "0"),
        (["rig", "--reference", "sideways"], "sideways"),
        (["stimulus", "s.wav", "--level", "0"], "level"),
        (["stimulus", "s.wav", "--level", "1.5"], "1.5"),
        (["stimulus", "s.wav", "--duration", "0.4"], "0.4"),
        (["stimulus"], "FILE.wav"),
        (["import", "a"], "FILE"),
        (["import", "a", "a.wav", "--method", "hammer"], "hammer"),
        (["import", "a", "a.wav", "--set", "volume"], "CONTROL=VALUE"),
        (["import", "a", "a.wav", "--temperature", "75F"], "--temperature"),
        (["inspect"], "NAME"),
    ],
)
def test_wrong_words_are_refused_before_anything_is_done(monkeypatch, capsys, words, says):
    places = (
        "bench.rig.show_or_write_rig",
        "bench.rig.write_stimulus",
        "bench.imports.import_take",
        "questions.inspect.inspect_take",
    )
    caught = [catch(monkeypatch, f"fit.desk.{place}") for place in places]
    assert says in refused(capsys, *words)
    assert [one.calls for one in caught] == [[], [], [], []]
