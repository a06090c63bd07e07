"""What is said to come next can be typed as it stands, and leads on: every such line of several benches is."""

import io
import shlex

import numpy as np
import pytest

from fit.desk.book.next_step import after_take, free_name
from fit.desk.book.rig import rig_of
from measure.logbook.store import open_logbook
from tests.desk_bench import RIG, run, run_json
from tests.kept_coil import response, take_text
from tests.kept_takes import keep, new_book
from tests.listed_cards import list_cards

QUICK = ("--virtual", "--duration", "1", "--no-look")


def following(text):
    """What the lines that begin with Next: say to type."""
    return [line.removeprefix("Next: ") for line in text.splitlines() if line.startswith("Next: ")]


def follow(capsys, monkeypatch, out, *, most=6):
    """Type what comes next, and what comes next after that; what was typed."""
    typed = []
    lines = following(out)
    while lines and len(typed) < most:
        (line,) = lines
        if line in typed:
            break
        typed.append(line)
        command, *words = shlex.split(line)
        assert command == "coilsweep"
        assert "..." not in line
        monkeypatch.setattr("sys.stdin", io.StringIO(""))
        list_cards(monkeypatch)  # none
        code, out, err = run(capsys, *words)
        needs_card = words[:2] == ["rig", "--ask"]  # there is none here: it says how to leave, and how to rehearse
        assert code == (4 if needs_card else 0), (line, err)
        lines = following(out)
    return [shlex.split(line)[1:] for line in typed]


def begin(capsys, folder, *rig):
    book = folder / "my bench"  # a folder whose name has to be quoted
    assert run(capsys, "rig", *RIG, "--rate", "48000", *rig, "--logbook", book)[0] == 0
    return book


def take(capsys, book, name, *words, code=0):
    got, out, err = run(capsys, "take", name, *words, *QUICK, "--logbook", book)
    assert got == code, err
    return out


@pytest.mark.long
def test_a_pickup_alone(capsys, monkeypatch, tmp_path):
    book = begin(capsys, tmp_path)
    first = take(capsys, book, "offen-Ä")
    assert follow(capsys, monkeypatch, first)[0] == ["fit", "offen-Ä", "--logbook", str(book)]
    typed = follow(capsys, monkeypatch, take(capsys, book, "plus", "--add", "1n ± 1%"))
    assert typed[0] == ["fit", "offen-Ä", "plus", "--logbook", str(book)]
    assert typed[1] == ["report", "--logbook", str(book)]
    assert (book / "report.html").is_file()


@pytest.mark.long
def test_a_guitar_of_two_pickups(capsys, monkeypatch, tmp_path):
    """Over which pickup the coil stood is asked for first; then marked parts are confirmed."""
    book = begin(capsys, tmp_path)
    assert run(capsys, "instrument", "--layout", "two-pickups-series", "--logbook", book)[0] == 0
    typed = follow(capsys, monkeypatch, take(capsys, book, "up", "--set", "tone=10"))
    assert typed[0][:4] == ["takes", "amend", "up", "--coil-over"]
    assert typed[1][:2] == ["fit", "up"]
    over = typed[0][4]
    (book / "instrument.toml").write_text((book / "instrument.toml").read_text().replace("47n ± 10%", "22n ± 10%"))
    for name, words in (("up-1n", ("--set", "tone=10", "--add", "1n ± 1%")), ("down", ("--set", "tone=0"))):
        out = take(capsys, book, name, *words, "--coil-over", over)
    typed = follow(capsys, monkeypatch, out)
    assert typed[0][:4] == ["fit", "up", "up-1n", "down"]
    assert typed[1][:2] == ["confirm", "capacitor.tone"]
    out = take(capsys, book, "silent", "--set", "volume=0", "--coil-over", over, code=3)
    assert follow(capsys, monkeypatch, out)[0][:2] == ["inspect", "silent"]


def test_what_is_still_to_be_stated_comes_first(capsys, monkeypatch, tmp_path):
    book, table = tmp_path / "bench", tmp_path / "t.csv"
    table.write_text(take_text(np.random.default_rng(1), response(0.0)), encoding="utf-8")
    code, out, _ = run(capsys, "import", "open", table, "--logbook", book)
    assert (code, follow(capsys, monkeypatch, out, most=1)) == (0, [["rig", "--ask", "--logbook", str(book)]])
    assert run(capsys, "rig", *RIG, "--logbook", book)[0] == 0
    code, out, _ = run(capsys, "import", "down", table, "--set", "tone=0", "--logbook", book)
    assert (code, follow(capsys, monkeypatch, out, most=1)) == (0, [["instrument", "--logbook", str(book)]])


def test_without_a_reference_the_exciters_corner_is_needed(capsys, monkeypatch, tmp_path):
    book = tmp_path / "bench"
    words = ("--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--reference", "none", "--rate", "48000")
    assert run(capsys, "rig", *words, "--logbook", book)[0] == 0
    assert follow(capsys, monkeypatch, take(capsys, book, "open"), most=1)[0][:2] == ["rig", "--ask"]


@pytest.mark.long
def test_takes_that_no_fit_takes_together_are_not_named_together(capsys, monkeypatch, tmp_path):
    book = begin(capsys, tmp_path)
    take(capsys, book, "first", "--item", "red one")
    take(capsys, book, "hum", "--method", "quiet")
    typed = follow(capsys, monkeypatch, take(capsys, book, "second", "--item", "blue one"), most=1)
    assert typed == [["fit", "second", "--logbook", str(book)]]
    typed = follow(capsys, monkeypatch, take(capsys, book, "third", "--item", "red one"), most=1)
    assert typed == [["fit", "first", "third", "--logbook", str(book)]]


@pytest.mark.long
def test_a_refuted_winding_resistance_is_not_typed_again(capsys, monkeypatch, tmp_path):
    """The virtual pickup's is 5.6 kΩ; with the known part the takes tell so themselves."""
    book = begin(capsys, tmp_path)
    for name, words in (("open", ()), ("plus", ("--add", "1n ± 1%")), ("more", ("--add", "2n2 ± 1%"))):
        take(capsys, book, name, *words)
    place, names = ("--logbook", str(book)), ("open", "plus", "more")
    _, out, _ = run(capsys, "fit", *names, "--dcr", "9k ± 1%", "--have", "470p ± 1%", *place)
    assert "misfit of a reference: dcr, which" in " ".join(out.split())
    typed = follow(capsys, monkeypatch, out)
    assert typed[0] == ["fit", *names, "--have", "470p ± 1%", *place]
    assert typed[1] == ["report", *place]
    found = run_json(capsys, *typed[0])[1]
    assert (found["outcome"], found["released"]) == ("good", [])


@pytest.mark.long
def test_what_is_mended_leads_on(capsys, monkeypatch, tmp_path):
    book = begin(capsys, tmp_path)
    take(capsys, book, "open")
    take(capsys, book, "plus")
    place = ("--logbook", book)
    assert run(capsys, "fit", "open", "plus", "--dcr", "6.35k ± 1%", *place)[0] == 0
    _, out, _ = run(capsys, "takes", "amend", "plus", "--add", "1n ± 1%", *place)
    assert follow(capsys, monkeypatch, out, most=1) == [["fit", "open", "plus", "--dcr", "6.35k ± 1%", "--logbook", str(book)]]
    _, out, _ = run(capsys, "takes", "rename", "plus", "plus-1n", *place)
    assert follow(capsys, monkeypatch, out, most=1) == [["fit", "open", "plus-1n", "--logbook", str(book)]]
    run(capsys, "takes", "remove", "open", *place)
    _, out, _ = run(capsys, "takes", "restore", "open", *place)
    assert follow(capsys, monkeypatch, out, most=1) == [["fit", "open", "plus-1n", "--logbook", str(book)]]


def test_a_free_name(tmp_path):
    book = new_book(tmp_path)
    assert free_name(None) == free_name(open_logbook(book.path)) == "open"
    keep(book, "open")
    assert free_name(book) == "open-2"


@pytest.mark.parametrize("method", ["plate", "quiet"])
def test_takes_of_other_methods_are_looked_at(capsys, monkeypatch, tmp_path, method):
    book = new_book(tmp_path)
    keep(book, "foil", method=method)
    line = after_take(book, "foil", rig_of(book))
    assert follow(capsys, monkeypatch, f"Next: {line}", most=1)[0][:2] == ["inspect", "foil"]
