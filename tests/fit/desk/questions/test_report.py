"""The command report: which takes it is of, and what it says."""

import json

import pytest

from fit.desk.book.desk import Desk
from fit.desk.book.fits import RESULT_FILE, FitWish
from fit.desk.questions.report import figures_of, write_report
from fit.desk.show.sheets.report import BUDGET, LOADED, RESPONSE
from measure.errors import FileError
from measure.logbook.store import write_result
from tests.answer_by_hand import answer
from tests.coil_book import make_coil_book
from tests.desk_bench import names_of, run, run_json
from tests.kept_takes import keep, new_book
from tests.pages import read_page


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


@pytest.mark.long
def test_report_uses_the_last_fit(capsys, bench, tmp_path):
    book = ["--logbook", bench / "book"]
    assert run(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", *book)[0] == 0
    path = tmp_path / "out.html"
    code, document, _ = run_json(capsys, "report", path, *book)
    assert code == 0
    assert names_of(document, "fitted") == ["open", "plus-1n"]
    text = path.read_text(encoding="utf-8")
    read_page(text)
    assert "6k ± 1%" in text
    assert "loud" in text
    assert not [name for name in tmp_path.iterdir() if name != path]
    code, document, _ = run_json(capsys, "report", path, "open", *book)
    assert (code, "is there already and is not overwritten" in document["error"]["message"]) == (2, True)
    code, document, _ = run_json(capsys, "report", path, "open", "--replace", *book)
    assert names_of(document, "fitted") == ["open"]


def test_report_without_a_fit_says_so(capsys, tmp_path):
    code, _, err = run(capsys, "report", "--logbook", tmp_path)
    assert code == 2
    assert "coilsweep fit" in err


@pytest.mark.parametrize(
    ("options", "wish"),
    [
        ({}, FitWish(names=("last",), dcr="6k ± 1%", at_hand="1n")),
        ({"names": ("open",)}, FitWish(names=("open",), dcr="6k ± 1%", at_hand="1n")),
        ({"dcr": "7k", "at_hand": ""}, FitWish(names=("last",), dcr="7k", at_hand="")),
    ],
)
def test_what_is_not_said_is_as_in_the_last_fit(tmp_path, monkeypatch, options, wish):
    book, asked = new_book(tmp_path), []
    keep(book, "open")
    write_result(book, RESULT_FILE, json.dumps({"wish": {"names": ["last"], "dcr": "6k ± 1%", "at_hand": "1n"}}).encode())

    def answer_for(_desk, _logbook, wish):
        asked.append(wish)
        raise FileError("enough")

    monkeypatch.setattr("fit.desk.questions.report.answer_for", answer_for)
    desk = Desk(logbook=book.path, say=str, tell=str, steps=lambda items, _: items)
    with pytest.raises(FileError, match="enough"):
        write_report(desk, tmp_path / "r.html", **options)
    assert asked == [wish]
    assert not (tmp_path / "r.html").exists()


def test_each_picture_of_the_sheet_can_be_drawn():
    figures = figures_of(answer())
    assert {RESPONSE.name, LOADED.name, BUDGET.name} <= set(figures)
    assert figures[RESPONSE.name]().axes


def test_a_folder_that_is_not_there_is_said_before_the_work(tmp_path):
    desk = Desk(logbook=tmp_path, say=str, tell=str, steps=lambda items, _: items)
    with pytest.raises(FileError, match="there is no folder"):
        write_report(desk, tmp_path / "nowhere" / "r.html", names=("a",))


@pytest.mark.long
def test_a_report_names_equipment_and_references(capsys, bench, tmp_path):
    """Old files of a logbook, without any of the later keys, are read as they are; later keys are told."""
    book = bench / "book"
    assert run(capsys, "fit", "open", "plus-1n", "--logbook", book)[0] == 0
    rig = (book / "rig.toml").read_text(encoding="utf-8")
    page = tmp_path / "out.html"
    assert run(capsys, "report", page, "--logbook", book)[0] == 0
    old = read_page(page.read_text(encoding="utf-8"))
    assert "source" not in old.columns
    assert "not stated; 48000 Hz; pickup at input 1, reference at input 2" in old.said
    (book / "rig.toml").write_text(f'{rig}\n[part."1n ± 1%"]\nsource = "certificate 12"\ndate = 2026-03-01\n', encoding="utf-8")
    assert run(capsys, "report", page, "--replace", "--logbook", book)[0] == 0
    (book / "rig.toml").write_text(rig, encoding="utf-8")
    said = read_page(page.read_text(encoding="utf-8"))
    assert "certificate 12" in said.said
    assert {"source", "date"} <= set(said.columns)
