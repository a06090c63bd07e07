"""Pictures and pages as files: names that will not do, folders that are not there, an old file that stays."""

from dataclasses import replace
from pathlib import Path

import pytest

from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.output import require_page, require_picture, save_page, write_figure, write_page
from fit.desk.show.document.bench import RefusalDocument
from fit.desk.show.document.pieces import plain
from fit.desk.show.sheet import Picture, Sheet, Text
from measure.errors import FileError
from tests.pages import read_page


def figure():
    from matplotlib.figure import Figure

    return Figure(figsize=(2, 1))


SHEET = Sheet("An answer", (Text(("in short",)), Picture("one", "Drawn", "A figure.")))
DOCUMENT = RefusalDocument(kind="input", outcome="rejected", checks=())
OUTCOME = Outcome(document=DOCUMENT, sheet=SHEET, figures={"one": figure})


def desk_of(said):
    return Desk(logbook=Path(), say=said.append, tell=said.append, steps=lambda items, label: items)  # noqa: ARG005


@pytest.mark.parametrize(
    ("require", "name", "error", "says"),
    [
        (require_picture, "x.gif", ValueError, "PNG or SVG, give a name that ends in .png or .svg"),
        (require_picture, "x", ValueError, "ends in .png"),
        (require_page, "x.pdf", ValueError, "HTML, give a name that ends in .html"),
        (require_picture, "nowhere/x.png", FileError, "there is no folder nowhere"),
        (require_page, "no\x1bwhere/x.html", FileError, "there is no folder no�where"),
    ],
)
def test_names_that_will_not_do(require, name, error, says):
    with pytest.raises(error, match=says):
        require(Path(name))


@pytest.mark.parametrize("name", ["x.html", "X.HTM"])
def test_names_that_will_do(tmp_path, name):
    require_page(tmp_path / name)
    require_picture(tmp_path / name.lower().replace("html", "png").replace("htm", "svg"))


@pytest.mark.parametrize(("name", "begins"), [("x.png", b"\x89PNG"), ("x.SVG", b"<?xml")])
def test_the_suffix_decides_what_is_drawn(tmp_path, name, begins):
    said = []
    write_figure(desk_of(said), figure, tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert said == [f"Written: {tmp_path / name}"]


def test_a_page_replaces_an_older_one_and_is_named(tmp_path):
    said, file = [], tmp_path / "x.html"
    file.write_text("older", encoding="utf-8")
    outcome = write_page(desk_of(said), OUTCOME, file)
    assert plain(outcome.document) == plain(DOCUMENT) | {"written": [str(file)]}
    assert said == [f"Written: {file}"]
    assert [path.name for path in tmp_path.iterdir()] == ["x.html"]
    page = read_page(file.read_text(encoding="utf-8"))
    assert page.headings == ["An answer", "Drawn"]
    assert "coilsweep " in page.said


def test_a_page_may_tell_more_and_an_outcome_of_lines_has_one_too(tmp_path):
    more = replace(OUTCOME, page=lambda: Sheet("More", ()))
    save_page(more, tmp_path / "more.html")
    assert read_page((tmp_path / "more.html").read_text(encoding="utf-8")).headings == ["More"]
    save_page(Outcome(document=DOCUMENT, lines=("one", "two")), tmp_path / "lines.html")
    assert "two" in read_page((tmp_path / "lines.html").read_text(encoding="utf-8")).said


def test_an_older_page_stays_where_the_new_one_cannot_be_drawn(tmp_path):
    file = tmp_path / "x.html"
    file.write_text("older", encoding="utf-8")
    with pytest.raises(ZeroDivisionError, match="division"):
        save_page(replace(OUTCOME, figures={"one": lambda: 1 / 0}), file)
    assert file.read_text(encoding="utf-8") == "older"
    assert list(tmp_path.iterdir()) == [file]
