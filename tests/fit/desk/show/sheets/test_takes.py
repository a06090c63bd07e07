"""Takes listed for people, in 80 columns whatever they are called."""

import msgspec

from fit.desk.show.document.takes import MendedDocument
from fit.desk.show.sheets.takes import change_rows, sheet_of_mended, sheet_of_takes, stated_text
from fit.desk.show.terminal import lines
from fit.desk.show.words import text_width
from measure.logbook.conditions import Conditions
from measure.logbook.take import Amendment, RecordingFile, Take

TIME = "2026-03-02T17:00:00.000Z"


def made(name, *, outcome="good", simulated=False, amended=(), **stated):
    return Take(
        name=name,
        conditions=Conditions(**stated),
        recordings=(RecordingFile(file="recording.wav"),),
        rate_hz=48000,
        time_utc=TIME,
        outcome=outcome,
        simulated=simulated,
        amended=amended,
    )


def listed(*takes, damaged=None, removed=()):
    return lines(sheet_of_takes([("2026-03-02", takes)] if takes else [], damaged=damaged or {}, removed=removed, path="book"))


def test_each_take_says_what_was_set_added_and_came_of_it():
    stated = {"controls": {"volume": "7", "tone": "0"}, "added": "1n ± 1%", "coil_over": "neck", "note": "two\nlines"}
    down = made("down", outcome="usable", **stated)
    assert listed(made("open"), down) == [
        "2026-03-02, UTC",
        "  open  17:00  nothing set or added                                     good",
        '  down  17:00  volume=7, tone=0; added 1n ± 1%; over neck; "two lines"  usable',
    ]


def test_what_all_takes_of_a_day_share_is_said_once():
    both = {"item": "red one", "operator": "me"}
    takes = [made(name, simulated=True, **both) for name in "ab"]
    assert listed(*takes)[0] == "2026-03-02, UTC; red one; by me; simulated"
    first, second = listed(made("a", item="red one"), made("b", item="blue one", simulated=True))[1:]
    assert "red one" in first
    assert "simulated" not in first
    assert "blue one; simulated" in second


def test_nothing_is_wider_than_80_columns():
    controls = {f"control {n}": "first position" for n in range(8)}
    long = {"controls": controls, "note": "n" * 200, "item": "an item with a long name"}
    names = ("x" * 64, "漢" * 60, "a")
    shown = listed(*(made(name, outcome="rejected", **long) for name in names), made("b"))
    assert max(map(text_width, shown)) <= 80
    text = "".join(shown)
    assert (text.count("x"), text.count("漢")) == (64, 60)  # no name is cut off
    assert sum("rejected" in line for line in shown) == 3


def test_an_empty_logbook_damaged_and_removed_takes():
    assert listed() == ["No take is kept in book yet."]
    shown = listed(made("a"), damaged={"bad": "take.json is no take"}, removed=("old",))
    assert "  bad: take.json is no take" in shown
    assert shown[-1] == "Removed, and can be restored: old"


def test_everything_that_is_stated_is_told():
    everything = Conditions(
        method="impedance", added="1n", controls={"tone": "0"}, coil_over="neck", coil_moved=True, is_after=True,
        series_resistor="100k", temperature_c=-4.0,
    )  # fmt: skip
    said = "tone=0; added 1n; over neck; coil moved; method impedance; through 100k; winding at −4 °C; after the job"
    assert stated_text(everything) == said
    untold = {"item", "operator", "note", "dcr"}  # told beside it, or by nobody
    plain = Conditions()
    for key in set(Conditions.__struct_fields__) - untold:
        one = msgspec.structs.replace(plain, **{key: getattr(everything, key)})
        assert stated_text(one) != stated_text(plain), key


def test_changes_are_put_in_words():
    changes = (
        Amendment(time_utc=TIME, key="controls", before={}, after={"tone": "3"}),
        Amendment(time_utc=TIME, key="coil_moved", before=True, after=False),
        Amendment(time_utc=TIME, key="temperature_c", before=None, after=24.0),
        Amendment(time_utc=TIME, key="note", before="a\nb", after=""),
    )
    assert change_rows(changes) == (
        ("", "before", "now"),
        ("set", "-", "tone=3"),
        ("coil moved", "yes", "no"),
        ("temperature", "-", "winding at 24 °C"),
        ("note", "a b", "-"),
    )


def test_what_was_mended_says_what_follows():
    found = MendedDocument(
        done="removed", take="a", kept="book/removed/a~1", changes=(), updated=(), stale=("results/fit.json",), notes=("Look.",)
    )
    assert lines(sheet_of_mended(found, back="coilsweep takes restore a")) == [
        "Removed: take a, kept in book/removed/a~1",
        "results/fit.json rests on the take as it was before.",
        "Look.",
        "To bring it back: coilsweep takes restore a",
    ]
