"""The drawing of a logbook's instrument, with what its last fit measured."""

import json

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts, measured_document
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.book.drawing import found_parts, last_found, page_with_drawing, with_instrument
from fit.desk.book.fits import RESULT_FILE
from fit.desk.book.kept_fit import text_sha256
from fit.desk.show.sheet import Drawing, Sheet
from measure.logbook.store import open_logbook
from measure.quantity import parse_quantity
from tests.instrument_texts import SOUND

INSTRUMENT = read_instrument(SOUND)
STD = 0.01  # [1] relative


def parts(**changes):
    values = {"capacitor.tone": 31.2e-9, "bridge.inductance": 3.33, "pot.tone@5": 0.13, "bridge.coupling": 0.2}
    facts = {
        "values": values,
        "names": tuple(values),
        "log_covariance": STD**2 * np.eye(len(values)),
        "takes": ("open", "plus"),
        "simulated": False,
    }
    return MeasuredParts(**(facts | changes))


def test_values_of_parts_are_taken_with_their_units_and_intervals():
    found = found_parts(INSTRUMENT, parts())
    assert set(found.measured) == {"capacitor.tone", "bridge.inductance"}
    one = found.measured["capacitor.tone"]
    assert (one.value, one.unit) == (31.2e-9, "F")
    assert one.low == pytest.approx(31.2e-9 * np.exp(-1.96 * STD), rel=1e-4)
    assert one.high == pytest.approx(31.2e-9 * np.exp(1.96 * STD), rel=1e-4)
    assert found.notes == ()


def test_what_is_simulated_or_misfits_is_said():
    notes = found_parts(INSTRUMENT, parts(simulated=True, outcome="misfit")).notes
    assert "virtual bench" in notes[0]
    assert "indicative only" in notes[1]


def test_without_a_fit_nothing_is_measured():
    assert found_parts(INSTRUMENT, None).measured == {}


@pytest.fixture
def book(tmp_path):
    (tmp_path / "instrument.toml").write_text(SOUND, encoding="utf-8")
    (tmp_path / "results").mkdir()
    return tmp_path


def keep(book, sha256):
    document = {"parts": measured_document(parts(instrument_sha256=sha256))}
    (book / "results" / RESULT_FILE).write_text(json.dumps(document), encoding="utf-8")


def test_the_last_fit_of_this_instrument_is_drawn(book):
    keep(book, text_sha256((book / "instrument.toml").read_bytes()))
    assert set(last_found(open_logbook(book), INSTRUMENT).measured) == {"capacitor.tone", "bridge.inductance"}


def test_a_fit_of_another_instrument_is_not_and_that_is_said(book):
    keep(book, text_sha256(b"another"))
    found = last_found(open_logbook(book), INSTRUMENT)
    assert found.measured == {}
    assert "another instrument.toml" in found.notes[0]


def test_a_page_has_a_drawing_where_there_is_an_instrument(book):
    sheet = page_with_drawing(
        Sheet("", ()), book / "instrument.toml", at={"selector": "both"}, asked="capacitor.tone", parts=parts()
    )
    (drawing,) = sheet.blocks
    assert isinstance(drawing, Drawing)
    assert "31.20 nF" in drawing.svg
    assert "asked" in drawing.svg
    assert page_with_drawing(Sheet("", ()), book / "none.toml").blocks == ()


def test_a_changed_part_is_drawn_as_it_would_be():
    instrument = read_instrument(layout_text("one-pickup"))
    sheet = with_instrument(
        Sheet(title="", blocks=()),
        instrument,
        at=None,
        asked="",
        parts=None,
        notes=(),
        changes={"capacitor.tone": parse_quantity("10n", "F"), "input.capacitance": parse_quantity("1n", "F")},
    )
    svg = sheet.blocks[-1].svg
    assert ">10 nF<" in svg
    assert "marked 22 nF" not in svg
    assert "500 k\u03a9" in svg
