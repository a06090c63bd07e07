"""The command history, and what a fit tells of the day before: from takes of three days to lines."""

from datetime import timedelta

import numpy as np
import pytest

from tests import kept_coil
from tests.desk_bench import run, run_json
from tests.pages import read_page

PLACES = ({}, {"kelvin": 8.0}, {"stray_f": 30e-12})
ADDED = ("--add", "1n ± 1%")


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A coil in March, warmed in May, with 30 pF more across it in June."""
    book, rng = kept_coil.new_book(tmp_path_factory.mktemp("bench") / "book"), np.random.default_rng(1)
    for index, places in enumerate(PLACES):
        at = kept_coil.FIRST + timedelta(days=60 * index)
        stated = ("--item", "neck", "--temperature", f"{20 + places.get('kelvin', 0.0)}C")
        for name, added_f, more in ((f"n{index}", 0.0, ("--coil-moved",)), (f"n{index}-1n", kept_coil.ADDED_F, ADDED)):
            text = kept_coil.take_text(rng, kept_coil.response(added_f, **places))
            kept_coil.keep(book, name, text, *stated, *more, at=at + timedelta(minutes=bool(added_f)))
    return book


def fit(capsys, book, index):
    code, document, err = run_json(capsys, "fit", f"n{index}", f"n{index}-1n", "--logbook", book)
    assert code == 0, err
    return document


@pytest.mark.long
def test_the_same_pickup_in_march(capsys, book, tmp_path):
    assert "earlier" not in fit(capsys, book, 0)
    assert fit(capsys, book, 1)["earlier"]["measured_utc"].startswith("2026-03-02")
    _, out, _ = run(capsys, "fit", "n2", "n2-1n", "--logbook", book)
    said = out.partition("Measured before: neck, 2026-05-01, takes n1, n1-1n\n")[2].splitlines()[:3]
    assert [line.split("  ")[-1].strip() for line in said] == ["as before", "changed since", "as before"]
    code, document, _ = run_json(capsys, "history", "--logbook", book)
    assert (code, document["item"], len(document["results"])) == (0, "neck", 3)
    assert document["changed"]["inductance"] == [None, False, False]
    assert document["changed"]["winding_capacitance"] == [None, False, True]
    assert document["changed"]["dc_resistance"] == [None, False, False]  # 8 K are 3 %, and are stated
    page = tmp_path / "history.html"
    assert run(capsys, "history", "neck", "--logbook", book, "--page", page)[0] == 0
    assert "<title>History: neck (simulated)</title>" in page.read_text(encoding="utf-8")
    report = tmp_path / "report.html"
    assert run(capsys, "report", report, "--logbook", book)[0] == 0
    headings = read_page(report.read_text(encoding="utf-8")).headings
    assert "Measured before: neck, 2026-05-01, takes n1, n1-1n" in headings


@pytest.mark.long
def test_it_lasts_where_derived_does_not(capsys, book):
    for index in range(3):
        fit(capsys, book, index)
    for file in (book / "derived").iterdir():
        file.unlink()
    code, document, _ = run_json(capsys, "history", "--logbook", book)
    assert (code, len(document["results"])) == (0, 3)
    fit(capsys, book, 0)  # made anew: it takes the place of the one before
    _, document, _ = run_json(capsys, "history", "--all", "--logbook", book)
    assert len(document["results"]) == 3


@pytest.mark.long
def test_what_nothing_is_kept_of(capsys, book):
    fit(capsys, book, 0)
    code, _, err = run(capsys, "history", "bridge", "--logbook", book)
    assert (code, err.count("\n")) == (2, 1)
    assert 'no result is kept of "bridge"; items: neck' in err


def test_an_empty_logbook(capsys, tmp_path):
    code, out, _ = run(capsys, "history", "--logbook", tmp_path)
    assert (code, out) == (0, "No good result is kept yet: coilsweep fit keeps one with every fit.\n")


@pytest.mark.long
def test_a_damaged_history_does_not_spoil_a_fit(capsys, tmp_path):
    book, rng = kept_coil.new_book(tmp_path / "book"), np.random.default_rng(1)
    kept_coil.keep(book, "open", kept_coil.take_text(rng, kept_coil.response(0.0)), at=kept_coil.FIRST)
    (book / "results").mkdir()
    (book / "results" / "history.json").write_text("{", encoding="utf-8")
    code, document, _ = run_json(capsys, "fit", "open", "--logbook", book)
    assert code == 0
    assert any("history.json is damaged" in warning for warning in document["warnings"])
