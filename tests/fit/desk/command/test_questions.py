"""Commands that answer a question as they are typed: each option reaches the desk as what it means."""

from pathlib import Path

import pytest

from fit.desk.book.fits import FitWish
from fit.desk.book.variant import Change
from fit.desk.export.files import ExportWish
from fit.desk.questions.compare import CompareWish
from fit.desk.questions.listen import ListenWish
from fit.desk.questions.predict import PredictWish
from tests.typed import catch, refused, typed


def test_fit(monkeypatch, capsys, tmp_path):
    asked = catch(monkeypatch, "fit.desk.questions.fit.fit_takes")
    typed(capsys, "fit", "open", "plus", "--dcr", "6k ± 1%", "--have", "470p ± 1%", "--logbook", tmp_path)
    assert asked.args[0].logbook == tmp_path
    assert asked.args[1] == FitWish(names=("open", "plus"), dcr="6k ± 1%", at_hand="470p ± 1%")


@pytest.mark.parametrize(
    ("words", "file", "names"),
    [
        ([], None, ()),
        (["a", "b"], None, ("a", "b")),
        (["x.html", "a"], Path("x.html"), ("a",)),
        (["X.HTM"], Path("X.HTM"), ()),
        (["a", "x.html"], None, ("a", "x.html")),
    ],
)
def test_report_begins_with_its_file_if_one_is_named(monkeypatch, capsys, words, file, names):
    written = catch(monkeypatch, "fit.desk.questions.report.write_report")
    typed(capsys, "report", *words)
    assert (written.args[1], written.options) == (file, {"names": names, "dcr": None, "at_hand": None, "replace": False})


def test_report_without_a_file_lies_in_the_logbook(monkeypatch, capsys, tmp_path):
    written = catch(monkeypatch, "fit.desk.questions.report.write_report")
    typed(capsys, "report", "--dcr", "6k", "--have", "1n", "--logbook", tmp_path)
    assert (written.args[0].logbook, written.args[1]) == (tmp_path, None)
    assert written.options == {"names": (), "dcr": "6k", "at_hand": "1n", "replace": False}


def test_export(monkeypatch, capsys):
    written = catch(monkeypatch, "fit.desk.export.files.export_files")
    words = (
        "--out",
        "x",
        "--dcr",
        "6k",
        "--reference-resistance",
        "50",
        "--rate",
        "48000",
        "--set",
        "tone=3",
        "--change",
        "a.b=1n",
    )
    typed(capsys, "export", "a", "--to", "ir", *words, "--excite", "neck", "--stated", "--instrument", "o.toml")
    assert written.args[1] == ExportWish(
        names=("a",),
        to="ir",
        out=Path("x"),
        dcr="6k",
        reference_resistance="50",
        rate_hz=48000,
        settings=("tone=3",),
        changes=("a.b=1n",),
        excite="neck",
        stated=True,
        instrument=Path("o.toml"),
    )


def test_a_touchstone_file_refers_to_ten_kilohms(monkeypatch, capsys):
    written = catch(monkeypatch, "fit.desk.export.files.export_files")
    typed(capsys, "export", "a", "--to", "touchstone")
    assert (written.args[1].reference_resistance, written.args[1].stated) == ("10k", False)


@pytest.mark.parametrize(("words", "layout"), [([], None), (["--layout", "one-pickup"], "one-pickup")])
def test_instrument(monkeypatch, capsys, words, layout):
    shown = catch(monkeypatch, "fit.desk.bench.instrument.show_or_write_instrument")
    typed(capsys, "instrument", *words)
    assert shown.args[1] == layout


def test_predict(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.predict.predict_curves")
    words = ("--set", "a=1", "--set", "b=2", "--change", "c.d=1n", "--instrument", "o.toml", "--excite", "neck", "--at", "E4")
    typed(capsys, "predict", *words, "--stated", "--no-tolerance")
    assert asked.args[1] == PredictWish(
        change=Change(settings=("a=1", "b=2"), changes=("c.d=1n",), instrument=Path("o.toml")),
        excite="neck",
        at=("E4",),
        stated=True,
        tolerance=False,
    )


def test_predict_with_another_change_beside_the_first(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.predict.predict_curves")
    words = ("--change", "c.d=1n", "--solder", "volume=1n2 + 150k", "--versus", "--move", "tone.wiper=bridge.hot", "--set", "a=1")
    typed(capsys, "predict", *words, "--excite", "neck")
    assert asked.args[1] == PredictWish(
        change=Change(changes=("c.d=1n",), added=("volume=1n2 + 150k",)),
        versus=(Change(moved=("tone.wiper=bridge.hot",), settings=("a=1",)),),
        excite="neck",
    )


def test_listen_with_another_change_beside_the_first(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.listen.listen_to_change")
    typed(capsys, "listen", "a.wav", "b.wav", "--set", "tone=3", "--versus", "--set", "tone=5", "--move", "tone.wiper=nothing")
    assert asked.args[1] == ListenWish(
        source=Path("a.wav"),
        target=Path("b.wav"),
        change=Change(settings=("tone=3",)),
        versus=(Change(settings=("tone=5",), moved=("tone.wiper=nothing",)),),
    )


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--versus"], "needs a change behind it"),
        (["--versus", "--excite", "neck"], "needs a change behind it"),
        (3 * ["--versus", "--set", "a=1"], "at most 2 changes"),
    ],
)
def test_what_cannot_stand_beside_is_refused(capsys, words, says):
    assert says in refused(capsys, "predict", *words)
    assert says in refused(capsys, "listen", "a.wav", "b.wav", *words)


def test_tolerances_count_unless_they_are_left_out(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.predict.predict_curves")
    typed(capsys, "predict")
    assert (asked.args[1].tolerance, asked.args[1].stated) == (True, False)


def test_compare_takes_several_names_on_each_side(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.compare.compare_sides")
    typed(capsys, "compare", "--after", "c", "--before", "a", "b", "--dcr", "6k")
    assert asked.args[1] == CompareWish(before=("a", "b"), after=("c",), dcr="6k")


def test_confirm_parts_the_part_from_the_takes(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.confirm.confirm_part_of")
    typed(capsys, "confirm", "capacitor.tone", "up", "down", "--marked", "333K", "--dcr", "6k", "--have", "1n")
    assert asked.args[1:] == ("capacitor.tone", FitWish(names=("up", "down"), dcr="6k", at_hand="1n"))
    assert asked.options == {"marking": "333K"}


def test_wiring(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.wiring.wiring_of")
    typed(capsys, "wiring", "a", "b")
    assert asked.args[1] == ("a", "b")


def test_listen(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.listen.listen_to_change")
    words = ("--recorded", "tone=3", "--set", "tone=5", "--change", "c.d=1n", "--instrument", "o.toml", "--excite", "neck")
    typed(capsys, "listen", "in.wav", "out.wav", *words, "--true-level", "t.wav", "--stated", "--replace")
    assert asked.args[1] == ListenWish(
        source=Path("in.wav"),
        target=Path("out.wav"),
        recorded=("tone=3",),
        change=Change(settings=("tone=5",), changes=("c.d=1n",), instrument=Path("o.toml")),
        excite="neck",
        true_level=Path("t.wav"),
        stated=True,
        replace=True,
    )


def test_listen_writes_over_nothing_unless_it_is_told_to(monkeypatch, capsys):
    asked = catch(monkeypatch, "fit.desk.questions.listen.listen_to_change")
    typed(capsys, "listen", "in.wav", "out.wav")
    assert not asked.args[1].replace


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["fit"], "NAME"),
        (["fit", "a", "--plot", "x.jpg"], ".png"),
        (["fit", "a", "--page", "x.pdf"], ".html"),
        (["export", "a"], "--to"),
        (["export", "a", "--to", "midi"], "midi"),
        (["export", "a", "--to", "ir", "--rate", "100"], "100"),
        (["compare", "--before"], "--before"),
        (["compare", "a"], "a"),
        (["confirm", "capacitor.tone"], "NAME"),
        (["wiring"], "NAME"),
        (["listen", "in.wav"], "OUT.wav"),
        (["predict", "tone=3"], "tone=3"),
        (["predict", "--plot", "nowhere/x.png"], "no folder nowhere"),
    ],
)
def test_wrong_words_are_refused_before_anything_is_asked(monkeypatch, tmp_path, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    places = {
        "fit": "questions.fit.fit_takes",
        "export": "export.files.export_files",
        "compare": "questions.compare.compare_sides",
        "confirm": "questions.confirm.confirm_part_of",
        "wiring": "questions.wiring.wiring_of",
        "listen": "questions.listen.listen_to_change",
        "predict": "questions.predict.predict_curves",
    }
    asked = catch(monkeypatch, f"fit.desk.{places[words[0]]}")
    assert says in refused(capsys, *words)
    assert asked.calls == []
