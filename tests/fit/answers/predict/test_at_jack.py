"""Each pickup at the jack: where the switch lets it be heard by itself, with all controls, as a prediction there says."""

import msgspec
import pytest

from fit.answers.predict.at_jack import predict_at_jack
from fit.answers.predict.prediction import predict_instrument
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from tests.found_parts import INSTRUMENT, LOAD, found_parts


def test_each_pickup_of_three_is_heard_by_itself():
    guitar = read_instrument(layout_text("three-singles"))
    found = predict_at_jack(guitar, load=LOAD, measured=None)
    assert [one.pickup for one in found] == list(guitar.pickup)
    assert all(one.beside == () for one in found)
    for one in found:
        there = predict_instrument(guitar, one.positions, load=LOAD, with_tolerance=True)
        assert [name for name, curve in there.pickups.items() if curve.is_connected] == [one.pickup]
        assert there.pickups[one.pickup].peak_frequency.value == pytest.approx(one.curve.peak_frequency.value, rel=1e-12)


def test_what_was_measured_counts_and_pots_stand_at_10():
    (one,) = predict_at_jack(INSTRUMENT, load=LOAD, measured=found_parts())
    alone = predict_instrument(INSTRUMENT, {"volume": "10", "tone": "10"}, load=LOAD, measured=found_parts(), with_tolerance=True)
    assert one.positions == {}
    assert one.curve.peak_frequency.value == pytest.approx(alone.pickups["bridge"].peak_frequency.value, rel=1e-12)
    assert one.answer.measured is not None


@pytest.mark.long
def test_a_pickup_that_is_never_alone_is_told_with_what_is_beside_it():
    guitar = read_instrument(layout_text("three-singles"))
    (switch,) = guitar.switch.values()
    both = {name: links for name, links in switch.positions.items() if len(links) > 2}
    only_together = msgspec.structs.replace(guitar, switch={"selector": msgspec.structs.replace(switch, positions=both)})
    beside = {one.pickup: one.beside for one in predict_at_jack(only_together, load=LOAD, measured=None)}
    assert beside == {"bridge": ("middle",), "middle": ("bridge",), "neck": ("middle",)}


def test_a_pickup_of_which_a_value_is_missing_is_left_out():
    text = layout_text("three-singles").replace("inductance", "# inductance", 1)
    guitar = read_instrument(text)
    found = [one.pickup for one in predict_at_jack(guitar, load=LOAD, measured=None)]
    assert found == list(guitar.pickup)[1:]
