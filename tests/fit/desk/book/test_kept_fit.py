"""What the last fit measured, for predictions: of this instrument, by this rig, and sound."""

import hashlib
import json

import pytest

from fit.answers.parts.fitted import measured_document
from fit.desk.book.kept_fit import LastFit, last_fit, text_sha256
from measure.errors import FileError
from measure.logbook.store import open_logbook
from measure.quantity import parse_quantity
from tests.found_parts import LOAD, found_parts

INSTRUMENT = b'name = "x"\n'


@pytest.fixture
def book(tmp_path):
    (tmp_path / "instrument.toml").write_bytes(INSTRUMENT)
    (tmp_path / "results").mkdir()
    return open_logbook(tmp_path)


def keep(book, **options):
    stated = {
        "instrument_sha256": text_sha256(INSTRUMENT),
        "input_stated": {"input.resistance": 1e6, "input.capacitance": 470e-12},
    }
    document = {"wish": {}, "parts": measured_document(found_parts(**(stated | options)))}
    (book.path / "results" / "fit.json").write_text(json.dumps(document), encoding="utf-8")


def last(book, load=LOAD):
    return last_fit(book, book.path / "instrument.toml", load=load)


def test_a_fingerprint_is_of_the_bytes():
    assert text_sha256(INSTRUMENT) == hashlib.sha256(INSTRUMENT).hexdigest()


def test_the_parts_of_the_last_fit_are_used(book):
    keep(book)
    found = last(book)
    assert found.notes == ()
    assert found.parts.values == found_parts().values
    assert found.parts.simulated


def test_without_a_fit_or_an_instrument_there_is_nothing_to_say(book):
    assert last(book) == LastFit()
    keep(book)
    (book.path / "instrument.toml").unlink()
    assert last(book) == LastFit()


@pytest.mark.parametrize("content", ['{"wish": {}}', "[]", '{"parts": null}'])
def test_a_fit_without_parts_is_none_of_an_instrument(book, content):
    (book.path / "results" / "fit.json").write_text(content, encoding="utf-8")
    assert last(book) == LastFit()


def test_a_fit_of_a_pickup_alone_is_none_of_an_instrument(book):
    keep(book, instrument_sha256="")
    assert last(book) == LastFit()


def test_another_instrument_is_said_and_not_used(book):
    keep(book)
    (book.path / "instrument.toml").write_bytes(INSTRUMENT + b"# changed\n")
    found = last(book)
    assert found.parts is None
    (note,) = found.notes
    assert note.startswith("The last fit (takes open, tone-5) is of another instrument.toml and is not used")


def test_a_misfit_is_used_and_said(book):
    keep(book, outcome="misfit")
    found = last(book)
    assert found.parts is not None
    assert "misfits: what rests on its values is indicative only" in found.notes[0]


def test_another_cable_leaves_the_fitted_input_out_and_nothing_else(book):
    keep(book)
    found = last(book, LOAD | {"input.capacitance": parse_quantity("900p ± 20p")})
    assert found.notes == ("The rig states another input or cable than at the last fit: that of the rig counts",)
    assert set(found_parts().names) - set(found.parts.names) == {"input.resistance", "input.capacitance"}


def test_an_input_of_nothing_is_another_one(book):
    keep(book, input_stated={"input.resistance": 0.0, "input.capacitance": 470e-12})
    assert last(book).notes == ("The rig states another input or cable than at the last fit: that of the rig counts",)


@pytest.mark.parametrize("content", ["", "{", '{"parts": []}', '{"parts": {"schema": "coilsweep.parts/1"}}', "[" * 5000])
def test_a_damaged_file_is_named_with_its_cure(book, content):
    (book.path / "results" / "fit.json").write_text(content, encoding="utf-8")
    with pytest.raises(FileError, match=r"fit\.json: .*; run coilsweep fit again, or predict --stated") as err:
        last(book)
    assert "\n" not in str(err.value)
