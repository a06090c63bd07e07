"""An instrument.toml is begun, shown and checked."""

import pytest

from fit.circuit.layouts import DESCRIPTIONS
from fit.desk.bench.instrument import show_or_write_instrument
from fit.desk.book.desk import Desk
from fit.desk.show.document.pieces import plain
from measure.errors import FileError
from tests.desk_bench import is_one_line, run, run_json
from tests.schematics import scenes


@pytest.fixture
def book(tmp_path, capsys):
    """A logbook with a rig and three single coils."""
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "470p ± 10p", "--logbook", tmp_path)[0] == 0
    assert run(capsys, "instrument", "--layout", "three-singles", "--logbook", tmp_path)[0] == 0
    return tmp_path


def test_layouts_are_listed_where_there_is_no_file(tmp_path, capsys):
    code, out, _ = run(capsys, "instrument", "--logbook", tmp_path)
    assert code == 0
    assert "humbucker-modes" in out
    code, document, _ = run_json(capsys, "instrument", "--logbook", tmp_path)
    assert document["instrument"] is None
    assert len(document["layouts"]) >= 8
    assert not (tmp_path / "instrument.toml").exists()


def test_file_is_written_shown_and_never_overwritten(book, capsys):
    path = book / "instrument.toml"
    kept = path.read_bytes()
    code, out, err = run(capsys, "instrument", "--layout", "one-pickup", "--logbook", book)
    assert code == 2
    assert out == ""
    assert is_one_line(err)
    assert "never overwritten" in err
    assert path.read_bytes() == kept
    code, out, err = run(capsys, "instrument", "--logbook", book)
    assert code == 0
    assert err == ""
    assert "selector = neck-middle    middle, neck" in out
    assert "Nothing is missing for predict." in out


def test_kind_of_a_capacitor_is_shown(book, capsys):
    path = book / "instrument.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('marked = "22n ± 10%"', 'marked = "22n ± 10%"\nkind = "film"'), encoding="utf-8"
    )
    _, out, _ = run(capsys, "instrument", "--logbook", book)
    assert "22n ± 10%, film" in out
    _, document, _ = run_json(capsys, "instrument", "--logbook", book)
    assert document["kinds"] == {"capacitor.tone": "film"}


def test_what_is_missing_is_shown(tmp_path, capsys):
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    path = tmp_path / "instrument.toml"
    path.write_text(path.read_text().replace('inductance = "4.4"', ""))
    code, document, _ = run_json(capsys, "instrument", "--logbook", tmp_path)
    assert code == 0
    assert document["missing"] == ["bridge.inductance", "input.resistance", "input.capacitance"]
    assert document["parts"]["pot.volume"]["marked"] is True
    assert document["parts"]["pot.volume"]["standard_uncertainty"] is None


def test_a_layout_is_written_once_and_its_place_is_said(tmp_path):
    said = []
    desk = Desk(logbook=tmp_path / "new", say=said.append, tell=said.append, steps=lambda items, _: items)
    shown = show_or_write_instrument(desk, "one-pickup")
    assert said == [f"Written: {tmp_path / 'new' / 'instrument.toml'}"]
    assert plain(shown.document)["instrument"] == plain(show_or_write_instrument(desk).document)["instrument"]
    with pytest.raises(FileError, match="is there already and is never overwritten"):
        show_or_write_instrument(desk, "one-pickup")


@pytest.mark.parametrize("layout", DESCRIPTIONS)
def test_each_layout_is_sound(tmp_path, layout):
    desk = Desk(logbook=tmp_path, say=str, tell=str, steps=lambda items, _: items)
    assert set(plain(show_or_write_instrument(desk, layout).document)["missing"]) >= {"input.resistance", "input.capacitance"}


def test_an_unknown_layout_leaves_no_folder(tmp_path):
    desk = Desk(logbook=tmp_path / "new", say=str, tell=str, steps=lambda items, _: items)
    with pytest.raises(ValueError, match="nonsense"):
        show_or_write_instrument(desk, "nonsense")
    assert not (tmp_path / "new").exists()


def test_a_drawing_is_written_once_and_replaced_only_when_that_is_said(book, capsys):
    file = book / "guitar.svg"
    code, out, err = run(capsys, "instrument", "--drawing", file, "--logbook", book)
    assert code == 0
    assert "Nothing is missing for predict." in out
    assert f"Written: {file}" in err
    assert len(scenes(file.read_text(encoding="utf-8"))) == 5
    code, _, err = run(capsys, "instrument", "--drawing", file, "--logbook", book)
    assert code == 2
    assert is_one_line(err)
    assert "--replace" in err
    assert run(capsys, "instrument", "--drawing", file, "--set", "selector=neck", "--replace", "--logbook", book)[0] == 0
    (scene,) = scenes(file.read_text(encoding="utf-8"))
    assert scene.get("data-at") == '{"selector": "neck"}'


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--drawing", "guitar.png"), "give a name that ends in .svg"),
        (("--drawing", "none/guitar.svg"), "there is no folder"),
        (("--drawing", "guitar.svg", "--set", "selector=nck"), "there is no position"),
        (("--set", "selector=neck"), "name its file, --drawing FILE.svg"),
        (("--theme", "dark"), "--theme is about the drawing: name its file"),
        (("--replace",), "name its file"),
    ],
)
def test_a_drawing_that_cannot_be_made_is_refused_and_nothing_written(book, capsys, monkeypatch, words, complaint):
    monkeypatch.chdir(book)
    code, _, err = run(capsys, "instrument", *words, "--logbook", book)
    assert code == 2
    assert is_one_line(err)
    assert complaint in err
    assert not list(book.glob("guitar.*"))


def test_without_an_instrument_there_is_nothing_to_draw(tmp_path, capsys):
    code, _, err = run(capsys, "instrument", "--drawing", tmp_path / "guitar.svg", "--logbook", tmp_path)
    assert code == 2
    assert "begin one with coilsweep instrument --layout NAME" in err


def test_connections_are_listed_and_in_the_document(book, capsys):
    _, out, _ = run(capsys, "instrument", "--connections", "--logbook", book)
    assert out.startswith("Connections\n")
    assert "selector common" in out
    _, document, _ = run_json(capsys, "instrument", "--logbook", book)
    assert {"node": "tip", "first": {"part": "pot.volume", "lug": "wiper"}, "second": {"part": "jack", "lug": "tip"}} in document[
        "connections"
    ]
    assert document["contacts"][0] == {
        "switch": "selector",
        "nodes": ["bridge hot", "bus"],
        "closed_in": ["bridge", "bridge-middle"],
    }
    assert document["drawing"] is None
    _, document, _ = run_json(capsys, "instrument", "--drawing", book / "guitar.svg", "--logbook", book)
    assert document["drawing"] == str(book / "guitar.svg")


def test_a_layout_can_be_begun_and_drawn_at_once(tmp_path, capsys):
    code, _, err = run(capsys, "instrument", "--layout", "one-pickup", "--drawing", tmp_path / "a.svg", "--logbook", tmp_path)
    assert code == 0
    assert err.count("Written: ") == 2
