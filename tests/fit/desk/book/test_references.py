"""The references of a fit: bounds, placements, clocks, one rig for all takes."""

import math

import numpy as np
import pytest

from fit.desk.book.references import gather_evidence
from fit.estimate.evidence import CLOCK_BOUND
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.rig import write_rig
from measure.logbook.store import open_logbook, read_take, rig_path
from measure.logbook.take import ResponseFile, Take
from measure.response import Response
from tests.kept_takes import keep, new_book


@pytest.fixture
def book(tmp_path):
    return new_book(tmp_path)


def response():
    return Response(frequency_hz=np.array([100.0]), value=np.array([1 + 0j]), covariance=np.zeros((1, 2, 2)))


def gather(logbook, *names, dcr=None, at_hand=""):
    takes = [read_take(logbook, name) for name in names]
    return gather_evidence(logbook, takes, [response() for _ in takes], dcr=dcr, at_hand=at_hand)


def test_references_come_from_rig_take_and_words(book):
    keep(book, "open")
    keep(book, "plus", added="680p±1%, 150k±1%")
    evidence, warnings = gather(book, "open", "plus", dcr="6.35k ± 1%", at_hand="2n2 ± 2%")
    assert warnings == ()
    assert [take.name for take in evidence.takes] == ["open", "plus"]
    assert evidence.input_capacitance.value == pytest.approx(185e-12)
    # JCGM 100:2008, 4.3.7: a bound is a rectangular distribution, u = bound / √3
    assert evidence.input_capacitance.standard_uncertainty == pytest.approx(3e-12 / math.sqrt(3))
    assert evidence.dcr.standard_uncertainty == pytest.approx(63.5 / math.sqrt(3))
    assert [part.unit for part in evidence.takes[1].added] == ["F", "Ω"]
    assert evidence.takes[0].added == ()
    assert [part.text for part in evidence.parts_at_hand] == ["2n2 ± 2%"]


def test_temperatures_go_from_take_and_words_to_the_estimate(book):
    keep(book, "cold", temperature_c=20.0)
    keep(book, "unsaid")
    evidence, _ = gather(book, "cold", "unsaid", dcr="6.35k ± 0.5% at 24C")
    assert [take.temperature_c for take in evidence.takes] == [20.0, None]
    assert evidence.dcr.temperature_c == 24.0


def test_loss_tangents_go_from_added_parts_and_parts_at_hand_to_the_estimate(book):
    keep(book, "plus", added="1n ± 1% tan 0.1%, 150k±1%")
    evidence, warnings = gather(book, "plus", at_hand="2n2 tan 0.5%")
    assert [part.loss_tangent for part in evidence.takes[0].added] == [pytest.approx(1e-3), None]
    (part,) = evidence.parts_at_hand
    assert (part.loss_tangent, part.bound) == (pytest.approx(5e-3), pytest.approx(0.22e-9))
    assert len(warnings) == 1


def test_take_made_through_controls_is_not_fitted_as_a_bare_pickup(book):
    keep(book, "tone-up", controls={"volume": "10", "tone": "10"})
    with pytest.raises(FileError, match=r"made through controls \(volume=10, tone=10\) and there is no instrument.toml: state"):
        gather(book, "tone-up")


def test_value_without_bound_gets_the_stated_default(book):
    keep(book, "plus", added="1n, 150k")
    evidence, warnings = gather(book, "plus")
    capacitor, resistor = evidence.takes[0].added
    assert capacitor.bound == pytest.approx(0.1e-9)
    assert capacitor.standard_uncertainty == pytest.approx(0.1e-9 / math.sqrt(3))
    assert resistor.bound == pytest.approx(7500)
    assert len(warnings) == 2
    assert "1n (added in plus)" in warnings[0]
    assert "± 10 %" in warnings[0]
    assert "± 5 %" in warnings[1]


def test_coil_moved_at_a_take_that_is_not_fitted_still_begins_a_placement(book):
    keep(book, "a")
    keep(book, "b", coil_moved=True)
    keep(book, "c")
    evidence, _ = gather(book, "a", "c")
    assert [take.coil_moved for take in evidence.takes] == [False, True]
    evidence, _ = gather(book, "b", "c")
    assert [take.coil_moved for take in evidence.takes] == [False, False]


def test_takes_of_different_inputs_are_not_mixed(book):
    keep(book, "a")
    write_rig(rig_path(book), {"input.capacitance": "300p ± 3p"})
    keep(book, "b")
    with pytest.raises(FileError, match=r"different input\.capacitance \(a 185p ± 3p, b 300p ± 3p\)"):
        gather(book, "a", "b")
    evidence, warnings = gather(book, "a")
    assert evidence.input_capacitance.value == pytest.approx(185e-12)
    assert "rig.toml now says input.capacitance = 300p ± 3p" in warnings[0]


def test_clock_of_the_rig_reaches_the_estimate_and_the_widest_counts(book):
    keep(book, "unsaid")
    assert gather(book, "unsaid")[0].clock_bound == CLOCK_BOUND
    write_rig(rig_path(book), {"interface.clock": "20ppm"})
    keep(book, "tight")
    assert gather(book, "unsaid", "tight")[0].clock_bound == pytest.approx(20e-6)
    write_rig(rig_path(book), {"interface.clock": 50})
    keep(book, "loose")
    assert gather(book, "tight")[0].clock_bound == pytest.approx(20e-6)
    assert gather(book, "tight", "loose")[0].clock_bound == pytest.approx(50e-6)


def impedance_table(name, **conditions):
    """A take of an impedance that was measured elsewhere."""
    conditions = Conditions(method="impedance", **conditions)
    return Take(name=name, conditions=conditions, kind="response", response_file=ResponseFile(file="response.csv"))


def test_an_impedance_measured_elsewhere_needs_no_rig(tmp_path):
    book = open_logbook(tmp_path, create=True)
    takes = [impedance_table("open"), impedance_table("plus", added="1n ± 1%")]
    evidence, warnings = gather_evidence(book, takes, [response() for _ in takes], dcr=None, at_hand="")
    assert [row.is_loaded for row in evidence.takes] == [False, False]
    assert (evidence.input_resistance.value, evidence.input_capacitance.value) == (1e6, pytest.approx(500e-12))
    assert len(warnings) == 1
    assert "no input is stated" in warnings[0]
    # what a rig says of an exciter is of no meaning for it
    write_rig(rig_path(book), {"reference.kind": "loopback", "input.resistance": "470k ± 1%", "input.capacitance": "200p ± 5p"})
    evidence, warnings = gather_evidence(book, takes, [response() for _ in takes], dcr=None, at_hand="")
    assert (evidence.input_resistance.value, evidence.reference_kind, evidence.exciter_corner) == (470e3, "current", None)
    assert warnings == ()


def test_a_recorded_impedance_hears_the_input_and_needs_it(tmp_path):
    book = open_logbook(tmp_path, create=True)
    keep(book, "jack", method="impedance", series_resistor="100k ± 1%")
    with pytest.raises(FileError, match=r"does not state input\.resistance"):
        gather(book, "jack")
