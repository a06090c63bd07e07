"""How turns lie on a former, by hand, and values that make no sense."""

import math
from dataclasses import replace

import pytest

from fit.answers.exciter.setup import check_setup, layers_that_fit, turn_length_m, turns_per_layer, wound_layers
from tests.exciter_setups import DRIVE, PICKUP, SETUP, WINDING, wound


def test_turns_and_layers_that_have_room():
    # 8 mm and 3 mm by 0.225 mm: 35.6 and 13.3
    assert turns_per_layer(WINDING) == 35
    assert layers_that_fit(WINDING) == 13


def test_what_fits_exactly_fits_though_the_quotient_is_rounded():
    snug = replace(WINDING, enamelled_m=1e-4, length_m=6e-4, room_m=3e-4)  # in floats 3e-4/1e-4 is 2.9999999999999996
    assert (turns_per_layer(snug), layers_that_fit(snug)) == (6, 3)
    one = replace(WINDING, enamelled_m=3e-3, length_m=3e-3, room_m=3e-3)
    assert (turns_per_layer(one), layers_that_fit(one)) == (1, 1)


@pytest.mark.parametrize("changes", [{"enamelled_m": 0.0031}, {"length_m": 2e-4}, {"enamelled_m": 0.0}])
def test_a_wire_without_room_is_refused(changes):
    with pytest.raises(ValueError, match="has no room in a winding space of"):
        turns_per_layer(replace(WINDING, **changes))


def test_room_is_told_in_millimetres():
    with pytest.raises(ValueError, match=r"a wire of 3\.1 mm with its enamel has no room in a winding space of 8 mm by 3 mm"):
        turns_per_layer(replace(WINDING, enamelled_m=0.0031))


def test_layers_lie_half_a_wire_above_each_other():
    first, second = wound_layers(WINDING, 35)
    assert (first.n, second.n) == (35, 25)
    assert (first.half_width_m, second.half_width_m) == pytest.approx((10.1125e-3, 10.3375e-3), rel=1e-12)
    assert first.is_round
    assert [layer.n for layer in wound_layers(replace(WINDING, turns=70), 35)] == [35, 35]
    block = replace(WINDING, is_round=False, former_width_m=0.06, former_depth_m=0.01)
    (only,) = wound_layers(replace(block, turns=1), 35)
    assert (only.half_width_m, only.half_depth_m) == pytest.approx((30.1125e-3, 5.1125e-3), rel=1e-12)
    assert not only.is_round


def test_length_of_a_turn():
    assert turn_length_m(WINDING, 0) == pytest.approx(math.pi * 20.225e-3, rel=1e-12)
    assert turn_length_m(WINDING, 1) == pytest.approx(math.pi * 20.675e-3, rel=1e-12)
    block = replace(WINDING, is_round=False, former_width_m=0.06, former_depth_m=0.01)  # the wire bends round each corner
    assert turn_length_m(block, 1) == pytest.approx(0.14 + 2 * math.pi * 0.3375e-3, rel=1e-12)


def test_most_and_fewest_turns():
    check_setup(wound(turns=1))
    check_setup(wound(turns=3000))
    for turns in (0, 3001):
        with pytest.raises(ValueError, match=f"{turns} turns: expected 1 to 3000"):
            check_setup(wound(turns=turns))


def test_enamel_makes_no_wire_thinner():
    check_setup(wound(enamelled_m=0.2e-3))
    with pytest.raises(ValueError, match=r"a wire of 0\.2 mm cannot be 0\.1 mm thick"):
        check_setup(wound(enamelled_m=1e-4))
    with pytest.raises(ValueError, match="a wire of 0 mm cannot be"):
        check_setup(wound(wire_m=0.0))


@pytest.mark.parametrize(
    ("setup", "said"),
    [
        (wound(former_width_m=0.0), "former is 0"),
        (wound(former_depth_m=-1.0), "former is -1"),
        (replace(SETUP, drive=replace(DRIVE, level_v=math.nan)), "level is nan"),
        (replace(SETUP, drive=replace(DRIVE, sense_ohm=0.0)), "sense resistor is 0"),
        (replace(SETUP, drive=replace(DRIVE, rating_w=math.inf)), "resistor's rating is inf"),
        (replace(SETUP, pickup=replace(PICKUP, gap_m=0.0)), "distance is 0"),
        (replace(SETUP, pickup=replace(PICKUP, turns=0.0)), "pickup's turns is 0"),
        (replace(SETUP, pickup=replace(PICKUP, height_m=0.0)), "pickup's height is 0"),
        (replace(SETUP, pickup=replace(PICKUP, build_m=0.011)), r"pickup's inner size is -0\.001"),
    ],
)
def test_what_must_be_above_0(setup, said):
    with pytest.raises(ValueError, match=f"the {said}, it must be above 0"):
        check_setup(setup)
