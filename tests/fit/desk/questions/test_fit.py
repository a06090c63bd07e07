"""What a fit rests on: references with their bounds, placements, one rig; and how figures are put for people."""

import math

import numpy as np
import pytest

from fit.answers.figures import Estimate
from fit.desk.book.references import gather_evidence
from fit.desk.book.take import RejectedError, kept_recordings, take_to_fit
from fit.desk.show.sheets.fit import limiting_source, not_told
from fit.desk.show.words import estimate_texts, headline_keys, in_order, plain_text, quantity_name, quantity_texts, table_lines
from fit.estimate.evidence import CLOCK_BOUND
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.rig import write_rig
from measure.logbook.store import open_logbook, read_take, rig_path, write_take
from measure.logbook.take import RecordingFile, Take
from measure.response import Finding, Response
from measure.source.files import write_recording
from tests.answer_by_hand import answer

RIG = {"input.resistance": "1M ± 1%", "input.capacitance": "185p ± 3p", "reference.kind": "current"}
RATE_HZ = 8000


@pytest.fixture
def book(tmp_path):
    logbook = open_logbook(tmp_path / "book", create=True)
    write_rig(rig_path(logbook), RIG)
    return logbook


def keep(logbook, name, *, rig=None, outcome="good", findings=(), **stated):
    path = logbook.path.parent / f"{name}.wav"
    write_recording(path, np.random.default_rng(1).normal(size=(RATE_HZ, 2)) * 0.01, RATE_HZ)
    take = Take(
        name=name,
        conditions=Conditions(**stated),
        recordings=(RecordingFile(file="recording.wav"),),
        rate_hz=RATE_HZ,
        rig=rig or write_rig(rig_path(logbook), {}),
        outcome=outcome,
        findings=findings,
    )
    return write_take(logbook, take, {"recording.wav": path})


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


def test_rejected_take_is_refused_with_its_reasons(book):
    findings = (Finding(code="clipped", severity="reject", text="Input clipped: 37 samples."),)
    keep(book, "loud", outcome="rejected", findings=findings)
    with pytest.raises(RejectedError, match="37 samples"):
        take_to_fit(book, "loud")


def test_changed_recording_is_not_read(book):
    take = keep(book, "open")
    path = book.path / "takes" / "open" / "recording.wav"
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.chmod(0o644)
    path.write_bytes(content)
    with pytest.raises(FileError, match="has changed"):
        kept_recordings(book, take)


@pytest.mark.parametrize(
    ("value", "std", "unit", "texts"),
    [
        (2.8743, 0.0208, "H", ("2.874 H", "2.833 … 2.916 H")),
        (92.4e-12, 1.8e-12, "F", ("92.4 pF", "88.8 … 96.0 pF")),
        (6352.0, 30.0, "Ω", ("6.352 kΩ", "6.293 … 6.411 kΩ")),
        (4.3, 0.08, "1", ("4.30", "4.14 … 4.46")),
        (-3.25, 0.1, "dB", ("−3.25 dB", "−3.45 … −3.05 dB")),
        (5701.612345, 1e-6, "Hz", ("5.70161 kHz", "exact")),
    ],
)
def test_value_and_interval_share_prefix_and_places(value, std, unit, texts):
    made = Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std)
    assert estimate_texts(made) == texts


def test_limiting_source_is_the_largest_share_of_the_variance():
    assert limiting_source(answer(), "inductance") == "added 1n in plus-1n (92 %)"
    assert limiting_source(answer(), "q_unloaded") == ""


def test_what_is_not_told_comes_with_its_next_take():
    ((names, why, following),) = not_told(answer())
    assert names == "Sharing"
    assert why == "both halves look alike from the jack"
    assert following == "a take with 470p ± 1% across the jack; it would tell sharing to ± 0.78 %"


def test_quantities_stand_in_the_order_people_ask():
    assert in_order(["eddy_loop_1.corner", "q_unloaded", "inductance"]) == ["inductance", "q_unloaded", "eddy_loop_1.corner"]
    assert quantity_name("eddy_loop_1.corner") == "Eddy loop 1, corner"


def test_what_a_part_has_beside_its_value_stands_right_behind_it():
    keys = [
        "inductance", "pot.volume", "pot.tone", "pot.tone@5", "capacitor.tone", "pot.tone.stop_10", "pot.volume.stop_10",
        "pot.tone.stop_0", "capacitor.bleed.leak", "capacitor.tone.leak", "capacitor.tone.loss_tangent", "capacitor.bleed",
    ]  # fmt: skip
    assert [quantity_name(key) for key in in_order(keys)] == [
        "Inductance",
        "Volume pot",
        "Volume pot, ohms left at 10",
        "Tone pot",
        "Tone pot, ohms left at 0",
        "Tone pot, ohms left at 10",
        "Tone pot at 5, share of its track",
        "Tone capacitor",
        "Tone capacitor, loss angle (tan δ)",
        "Leak across the tone capacitor",
        "Bleed capacitor",
        "Leak across the bleed capacitor",
    ]
    assert headline_keys(keys, ("inductance",)) == ["inductance", "pot.volume", "pot.tone", "capacitor.tone", "capacitor.bleed"]


def test_loss_tangent_is_told_in_percent():
    made = Estimate(value=0.0191, unit="1", standard_uncertainty=4.5e-5, low=0.01901, high=0.01919)
    assert quantity_texts("capacitor.tone.loss_tangent", made) == ("1.9100 %", "1.9010 … 1.9190 %")
    assert quantity_texts("q_loaded", made) == estimate_texts(made)


def test_text_from_outside_cannot_steer_the_terminal():
    assert "\x1b" not in plain_text("a\x1b]0;title\x07b\nc\u202ed")
    assert plain_text("a\nb") == "a�b"
    assert plain_text("Ω ± 1 %") == "Ω ± 1 %"


def test_table_lines_up_wide_and_combining_characters():
    first, second = table_lines([("線", "x"), ("a\u0301b", "y")], indent="")
    assert first == "線  x"
    assert second == "a\u0301b  y"
