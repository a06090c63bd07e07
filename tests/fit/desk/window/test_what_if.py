"""Controls, parts, leads and layouts to a curve: the same that predict prints."""

import shlex

import msgspec
import numpy as np
import pytest

from fit.answers.figures import COVERAGE
from fit.desk.window import messages
from fit.desk.window.computed import DECIMALS
from fit.desk.window.what_if import answer_what_if, open_what_if
from measure.errors import FileError
from tests.desk_bench import run_json
from tests.three_pickups import SETTINGS, lay_out

ASKED = {
    "as it is": messages.WhatIfSet(),
    "controls": messages.WhatIfSet(set=SETTINGS),
    "parts": messages.WhatIfSet(set=SETTINGS, change={"capacitor.tone": "10n", "neck.inductance": "3.1"}, cable="800p ± 5%"),
    "losses": messages.WhatIfSet(set={"selector": "neck"}, change={"neck.eddy_spread_1.coupling": "0.5"}),
    "soldered": messages.WhatIfSet(set=SETTINGS, solder=("volume=1n2 + 150k",), move=("tone-1.wiper=bridge.hot",)),
    "one pickup": messages.WhatIfSet(set={"selector": "bridge-middle"}, pickup="bridge", at=("A4", "5k")),
    "another layout": messages.WhatIfSet(set=SETTINGS, layout="two-pickups-blend", change={"capacitor.tone": "15n"}),
}


@pytest.fixture
def book(tmp_path):
    return lay_out(tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("asked", ASKED.values(), ids=ASKED)
def test_the_curve_is_that_of_the_command_it_names(book, asked, capsys):
    found = answer_what_if(open_what_if(book), asked)
    words = shlex.split(found.command)
    assert words[:2] == ["coilsweep", "predict"]
    code, document, _ = run_json(capsys, *words[1:])
    assert code == 0
    assert found.frequency_hz == pytest.approx(document["frequency_hz"], abs=1e-6)
    heard = {name: curve for name, curve in document["pickups"].items() if curve["connected"]}
    assert [curve.label for curve in found.curves] == list(heard)
    for curve in found.curves:
        db = np.array(heard[curve.label]["gain_db"])
        half = COVERAGE * np.array(heard[curve.label]["gain_db_standard_uncertainty"])
        assert np.abs(curve.db - db).max() < 1e-6
        assert np.abs(curve.low_db - (db - half)).max() < 1e-6
        assert np.abs(curve.high_db - (db + half)).max() < 1e-6
        assert half.max() > 0.01
    assert found.simulated == document["simulated"]
    for name, figures in document["figures"].items():
        if name in heard and figures["peak"]["level"] is not None:
            assert f"{name} peaks at" in found.verdict


def test_the_corner_is_that_of_the_tone_control_alone(book):
    found = answer_what_if(open_what_if(book), messages.WhatIfSet(set=SETTINGS))
    corner = next(one for one in found.corners if "tone-1" in one.label)
    assert corner.hz == pytest.approx(1 / (2 * np.pi * 0.09 * 261e3 * 21.3e-9), rel=1e-9)  # as laid out, at 4


def test_parts_tell_what_counts_and_where_from(book):
    found = answer_what_if(open_what_if(book), messages.WhatIfSet(set=SETTINGS, change={"capacitor.tone": "10n"}))
    parts = {part.key: part for part in found.parts}
    assert parts["capacitor.tone"].value == pytest.approx(10e-9)
    assert (parts["capacitor.tone"].origin, parts["capacitor.tone"].is_changed) == ("changed", True)
    assert (parts["neck.inductance"].origin, parts["neck.inductance"].is_heard) == ("measured", True)
    assert not parts["bridge.inductance"].is_heard
    assert all(part.ends[0] <= part.value <= part.ends[1] for part in found.parts)
    assert parts["neck.eddy_spread_1.coupling"].value == pytest.approx(0.33)  # as the fit found it
    assert {part.kind for part in found.parts} == {"pickup", "pot", "capacitor", "cable"}
    ends = {part.key: part.ends for part in found.parts}
    moved = answer_what_if(open_what_if(book), messages.WhatIfSet(set=SETTINGS, change={"capacitor.tone": "47n"}))
    assert ends == {part.key: part.ends for part in moved.parts}


def test_another_layout_goes_without_what_it_has_not(book):
    asked = messages.WhatIfSet(
        set={"selector": "neck", "tone-1": "3"}, change={"pot.tone-1": "500k", "capacitor.tone": "10n"}, layout="one-pickup"
    )
    found = answer_what_if(open_what_if(book), asked)
    assert [control.name for control in found.controls] == ["volume", "tone"]
    for key in ("selector", "tone-1", "pot.tone-1"):
        assert f"{key} is not in this wiring" in found.notes
    assert "capacitor.tone=10n" in found.command
    assert "pot.tone-1" not in found.command


def test_what_is_held_stands_beside_what_is_tried(book):
    opened = open_what_if(book)
    held = answer_what_if(opened, messages.Hold(set=SETTINGS), page=3, is_held=True)
    assert held.is_held
    assert ">held<" not in held.sheet_html
    beside = answer_what_if(opened, messages.WhatIfSet(set=SETTINGS | {"tone-1": "10"}), page=3)
    assert ">held<" in beside.sheet_html
    assert ">held<" not in answer_what_if(opened, messages.WhatIfSet(set=SETTINGS), page=4).sheet_html


def test_nothing_is_finer_than_a_page_shows(book):
    found = answer_what_if(open_what_if(book), messages.WhatIfSet(set=SETTINGS))
    told = np.array(found.curves[0].db)
    assert np.array_equal(told, np.round(told, DECIMALS))
    assert len(msgspec.json.encode(found)) < 60_000


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (messages.WhatIfSet(set={"volume": "11"}), "volume"),
        (messages.WhatIfSet(set={"master": "3"}), "no control"),
        (messages.WhatIfSet(change={"capacitor.tone": "green"}), "capacitor.tone"),
        (messages.WhatIfSet(change={"capacitor.bleed": "1n"}), "no part"),
        (messages.WhatIfSet(solder=("volume",)), "is not PLACE=PARTS"),
        (messages.WhatIfSet(move=("lid=jack",)), "no lead"),
        (messages.WhatIfSet(layout="none"), "no layout"),
        (messages.WhatIfSet(pickup="lid"), "no pickup"),
        (messages.WhatIfSet(at=("H9",)), "H9"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(book, asked, text):
    with pytest.raises(ValueError, match=text) as refused:
        answer_what_if(open_what_if(book), asked)
    assert "\n" not in str(refused.value)


def test_without_an_instrument_it_says_how_to_begin(tmp_path):
    lay_out(tmp_path)
    (tmp_path / "instrument.toml").unlink()
    with pytest.raises(FileError, match="coilsweep instrument --layout"):
        open_what_if(tmp_path)


def test_on_the_virtual_bench_a_common_wiring_stands_in(tmp_path):
    opened = open_what_if(tmp_path / "not there yet", is_virtual=True)
    found = answer_what_if(opened, messages.WhatIfSet(set={"selector": "neck"}))
    assert [curve.label for curve in found.curves] == ["neck"]
    assert "coilsweep instrument --layout three-singles" in found.notes[0]
    assert not list(tmp_path.iterdir())


def test_a_value_that_is_missing_is_asked_for(book):
    text = (book / "instrument.toml").read_text(encoding="utf-8").replace('marked = "22n ± 10%"\n', "")
    (book / "instrument.toml").write_text(text, encoding="utf-8")
    opened = open_what_if(book)
    found = answer_what_if(opened, messages.WhatIfSet(set={"selector": "neck", "tone-1": "4"}))
    assert found.curves == ()
    assert found.verdict == "No curve yet: no value is known of Tone capacitor."
    part = next(part for part in found.parts if part.key == "capacitor.tone")
    assert (part.value, part.origin, part.is_heard, part.ends) == (None, "not known", True, (1e-12, 1e-6))
    assert [control.at for control in found.controls] == ["neck", "10", "4", "10"]
    typed = answer_what_if(opened, messages.WhatIfSet(set={"selector": "neck", "tone-1": "4"}, change={"capacitor.tone": "22n"}))
    assert [curve.label for curve in typed.curves] == ["neck"]
