"""Kept takes mended as they are typed, and what follows from it for fits, predictions and placements."""

import pytest

from fit.circuit.layouts import layout_text
from measure.logbook.placement import placements
from measure.logbook.store import list_takes, open_logbook
from tests.coil_book import make_coil_book
from tests.desk_bench import run, run_json
from tests.kept_takes import keep, new_book

GUITAR = layout_text("one-pickup")


def placed(book):
    return placements(list_takes(book).takes)


@pytest.mark.long
def test_a_fit_rests_on_what_is_stated_now(capsys, tmp_path):
    """A part stated wrongly is put right: the fit is made anew, and what was predicted from the old one is said to be stale."""
    book = make_coil_book(tmp_path) / "book"
    place = ("--logbook", book)
    assert run(capsys, "takes", "amend", "plus-1n", "--add", "1.5n ± 1%", *place)[0] == 0
    _, wrong, _ = run_json(capsys, "fit", "open", "plus-1n", *place)
    kept = sorted(path.name for path in (book / "derived").glob("fit-*"))
    recordings = {path: path.read_bytes() for path in (book / "takes").rglob("*.wav")}
    code, document, _ = run_json(capsys, "takes", "amend", "plus-1n", "--add", "1n ± 1%", *place)
    assert (code, document["done"], document["stale"]) == (0, "amended", ["results/fit.json"])
    assert [(one["key"], one["before"], one["after"]) for one in document["changes"]] == [("added", "1.5n ± 1%", "1n ± 1%")]
    assert {path: path.read_bytes() for path in (book / "takes").rglob("*.wav")} == recordings
    _, right, _ = run_json(capsys, "fit", "open", "plus-1n", *place)
    values = [one["quantities"]["inductance"]["value"] for one in (wrong, right)]
    assert values[1] == pytest.approx(2.6, rel=0.01)
    assert abs(values[0] / values[1] - 1) > 0.1
    assert len(list((book / "derived").glob("response-*"))) == 2  # made once, whatever is stated
    made = sorted(path.name for path in (book / "derived").glob("fit-*"))
    assert len(made) == len(kept) + 1
    code, document, _ = run_json(capsys, "takes", "amend", "plus-1n", "--note", "n", "--item", "coil", *place)
    assert document["stale"] == []  # what is told to people alone changes no value
    run(capsys, "fit", "open", "plus-1n", *place)
    assert sorted(path.name for path in (book / "derived").glob("fit-*")) == made


@pytest.fixture
def book(tmp_path):
    book = new_book(tmp_path)
    (book.path / "instrument.toml").write_text(GUITAR, encoding="utf-8")
    keep(book, "open", controls={"volume": "7", "tone": "0"})
    return book


def amend(capsys, book, *words):
    return run(capsys, "takes", "amend", "open", *words, "--logbook", book.path)


def test_controls_that_are_not_named_stay(capsys, book):
    assert amend(capsys, book, "--set", "tone=3")[0] == 0
    (take,) = list_takes(book).takes
    assert take.conditions.controls == {"volume": "7", "tone": "3"}
    assert amend(capsys, book, "--unset", "volume")[0] == 0
    (take,) = list_takes(book).takes
    assert take.conditions.controls == {"tone": "3"}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--set", "treble=3"], 'there is no control "treble", the instrument has: volume, tone'),
        (["--coil-over", "neck"], 'there is no pickup "neck" for the exciter to stand over, the instrument has: bridge'),
        (["--series-resistor", "100k"], "--series-resistor is for --method impedance alone"),
        (["--add", "a lamp"], '"a lamp" is not a capacitance'),
        ([], "nothing to change is named"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(capsys, book, words, says):
    before = (book.path / "takes" / "open" / "take.json").read_bytes()
    code, out, err = amend(capsys, book, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err
    assert (book.path / "takes" / "open" / "take.json").read_bytes() == before


def test_a_note_can_be_amended_whatever_instrument_toml_has_now(capsys, book):
    (book.path / "instrument.toml").write_text(GUITAR.replace("pot.tone", "pot.treble"), encoding="utf-8")
    assert amend(capsys, book, "--note", "n")[0] == 0


def test_what_is_so_already_is_said(capsys, book):
    code, document, _ = run_json(capsys, "takes", "amend", "open", "--set", "tone=0", "--logbook", book.path)
    assert (code, document["done"], document["changes"]) == (0, "unchanged", [])


def test_a_bound_that_is_assumed_is_said(capsys, book):
    assert "± 10 % is assumed" in amend(capsys, book, "--add", "1n")[2]


def test_a_placement_is_not_lost_with_the_take_that_began_it(capsys, tmp_path):
    book = new_book(tmp_path)
    for name, moved in (("a", False), ("b", True), ("b-1n", False)):
        keep(book, name, coil_moved=moved)
    before = placed(book)
    assert before["b-1n"] != before["a"]
    code, document, _ = run_json(capsys, "takes", "remove", "b", "--logbook", book.path)
    assert code == 0
    (note,) = document["notes"]
    assert "takes amend b-1n --coil-moved" in note
    assert run(capsys, "takes", "amend", "b-1n", "--coil-moved", "--logbook", book.path)[0] == 0
    assert placed(book)["b-1n"] != placed(book)["a"]
    code, document, _ = run_json(capsys, "takes", "remove", "a", "--logbook", book.path)
    assert document["notes"] == []


def test_removed_and_restored(capsys, book):
    code, document, _ = run_json(capsys, "takes", "remove", "open", "--logbook", book.path)
    assert (code, document["done"], document["take"]) == (0, "removed", "open")
    assert list_takes(open_logbook(book.path)).takes == ()
    code, document, _ = run_json(capsys, "takes", "restore", "open", "--logbook", book.path)
    assert (code, document["done"], document["kept"]) == (0, "restored", str(book.path / "takes" / "open"))
    code, _, err = run(capsys, "takes", "restore", "open", "--logbook", book.path)
    assert (code, err.count("\n")) == (2, 1)


def test_a_damaged_take_is_removed_and_restored_too(capsys, book):
    (book.path / "takes" / "open" / "take.json").write_text("{", encoding="utf-8")
    assert run(capsys, "takes", "remove", "open", "--logbook", book.path)[0] == 0
    code, out, _ = run(capsys, "takes", "restore", "open", "--logbook", book.path)
    assert (code, "Next:" in out) == (0, False)


def test_a_new_name_reaches_the_results(capsys, book):
    (book.path / "results").mkdir()
    (book.path / "results" / "fit.json").write_text('{"wish": {"names": ["open"], "dcr": null, "at_hand": ""}}', encoding="utf-8")
    code, document, _ = run_json(capsys, "takes", "rename", "open", "auf", "--logbook", book.path)
    assert (code, document["done"], document["updated"]) == (0, "renamed", ["results/fit.json"])
    assert '"auf"' in (book.path / "results" / "fit.json").read_text(encoding="utf-8")
    code, document, _ = run_json(capsys, "takes", "remove", "auf", "--logbook", book.path)
    assert document["stale"] == ["results/fit.json"]
