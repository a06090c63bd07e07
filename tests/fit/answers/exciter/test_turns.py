"""Turns on one axis: reciprocity, dipoles, scaling, Maxwell's and Neumann's limits."""

import numpy as np
import pytest

from fit.answers.exciter.turns import (
    MU0,
    Turns,
    coil_inductance_h,
    mutual_of_circles_h,
    mutual_of_rectangles_h,
    mutual_of_turns_h,
)
from tests.exciter_setups import layers


@pytest.mark.parametrize("is_round", [True, False])
def test_mutual_inductance_is_the_same_both_ways_and_falls_with_distance(is_round):
    draw = np.random.default_rng(1)
    for _ in range(20):
        sides = draw.uniform(2e-3, 50e-3, size=4)
        one = Turns(half_width_m=sides[0], half_depth_m=sides[1], n=1, is_round=is_round)
        other = Turns(half_width_m=sides[2], half_depth_m=sides[3], n=1, is_round=False)
        distance_m = np.geomspace(1e-3, 1.0, 30)
        there, back = mutual_of_turns_h(one, other, distance_m), mutual_of_turns_h(other, one, distance_m)
        np.testing.assert_allclose(there, back, rtol=1e-12)
        assert np.all(there > 0)
        assert np.all(np.diff(there) < 0)


def test_far_apart_two_turns_are_two_dipoles():
    # mu0·A·B/(2π·h³), the flux of a dipole through a small area on its axis.
    h = np.array(2.0)
    dipoles_h = MU0 * (np.pi * 0.01**2) * (4 * 0.02 * 0.005) / (2 * np.pi * float(h) ** 3)
    coil = Turns(half_width_m=0.01, half_depth_m=0.01, n=1, is_round=True)
    pickup = Turns(half_width_m=0.02, half_depth_m=0.005, n=1, is_round=False)
    assert float(mutual_of_turns_h(coil, pickup, h)) == pytest.approx(dipoles_h, rel=5e-4, abs=0)
    round_h = mutual_of_circles_h(np.array(0.01), np.array(0.02), h)
    assert float(round_h) == pytest.approx(MU0 * np.pi * 0.01**2 * 0.02**2 / (2 * 2.0**3), rel=5e-4, abs=0)
    square_h = mutual_of_rectangles_h((np.array(0.01),) * 2, (np.array(0.02), np.array(0.005)), h)
    assert float(square_h) == pytest.approx(MU0 * 4e-4 * 4e-4 / (2 * np.pi * 8.0), rel=5e-4, abs=0)


@pytest.mark.parametrize("is_round", [True, False])
def test_a_coil_cut_in_two_is_its_halves_and_twice_their_mutual_inductance(is_round):
    whole, half = layers(3, turns=24, is_round=is_round), layers(3, turns=12, is_round=is_round)
    pitch_m, wire_m = 2.2e-4, 2e-4
    mutual_h = sum(
        float(np.sum(mutual_of_turns_h(a, b, np.abs((np.arange(12)[:, None] - np.arange(12)[None, :] - 12) * pitch_m))))
        for a in half for b in half
    )  # fmt: skip
    parts_h = 2 * coil_inductance_h(half, pitch_m=pitch_m, wire_diameter_m=wire_m) + 2 * mutual_h
    assert coil_inductance_h(whole, pitch_m=pitch_m, wire_diameter_m=wire_m) == pytest.approx(parts_h, rel=1e-12)


@pytest.mark.parametrize("is_round", [True, False])
def test_coils_of_one_shape_scale_with_their_size(is_round):
    small = coil_inductance_h(layers(4, is_round=is_round), pitch_m=2.2e-4, wire_diameter_m=2e-4)
    large = coil_inductance_h(layers(4, radius_m=0.03, step_m=6e-4, is_round=is_round), pitch_m=6.6e-4, wire_diameter_m=6e-4)
    assert large == pytest.approx(3 * small, rel=1e-12)


def test_inductance_grows_with_the_square_of_the_turns_in_the_same_room():
    # Twice as thin a wire: four times the turns in the same section; what is left is the wire's own field.
    coarse = coil_inductance_h(layers(10, turns=20, step_m=4e-4), pitch_m=4e-4, wire_diameter_m=3.6e-4)
    fine = coil_inductance_h(layers(20, radius_m=0.01 - 1e-4, turns=40, step_m=2e-4), pitch_m=2e-4, wire_diameter_m=1.8e-4)
    assert fine == pytest.approx(16 * coarse, rel=3e-3)


def test_one_turn_of_round_wire():
    # mu0·R·(ln(8R/a) − 7/4) for a circle, 2·mu0·s/π·(ln(s/a) − 0.77401 + 1/4) for a square of side s: Grover, from memory.
    circle = (Turns(half_width_m=0.1, half_depth_m=0.1, n=1, is_round=True),)
    found_h = coil_inductance_h(circle, pitch_m=1e-3, wire_diameter_m=1e-3)
    assert found_h == pytest.approx(MU0 * 0.1 * (np.log(8 * 0.1 / 0.5e-3) - 1.75), rel=1e-4)
    square = (Turns(half_width_m=0.1, half_depth_m=0.1, n=1, is_round=False),)
    found_h = coil_inductance_h(square, pitch_m=1e-3, wire_diameter_m=1e-3)
    assert found_h == pytest.approx(2 * MU0 * 0.2 / np.pi * (np.log(0.2 / 0.5e-3) - 0.52401), rel=5e-3)


def test_a_small_loop_feels_the_field_on_the_axis():
    # B on the axis of a rectangle of half sides w, d at height h: mu0/π · w·d/r · (1/(h² + w²) + 1/(h² + d²)), r² = h² + w² + d².
    w, d, h, small = 0.03, 0.006, 0.005, 1e-5
    field = MU0 / np.pi * w * d / np.sqrt(h**2 + w**2 + d**2) * (1 / (h**2 + w**2) + 1 / (h**2 + d**2))
    rectangle = Turns(half_width_m=w, half_depth_m=d, n=1, is_round=False)
    circle = Turns(half_width_m=small, half_depth_m=small, n=1, is_round=True)
    probe = Turns(half_width_m=small, half_depth_m=2 * small, n=1, is_round=False)
    assert float(mutual_of_turns_h(circle, rectangle, np.array(h))) == pytest.approx(field * np.pi * small**2, rel=1e-4, abs=0)
    assert float(mutual_of_turns_h(probe, rectangle, np.array(h))) == pytest.approx(field * 8 * small**2, rel=1e-3, abs=0)
    ring = Turns(half_width_m=w, half_depth_m=w, n=1, is_round=True)
    field = MU0 * w**2 / (2 * (w**2 + h**2) ** 1.5)
    assert float(mutual_of_turns_h(ring, circle, np.array(h))) == pytest.approx(field * np.pi * small**2, rel=1e-4, abs=0)


def test_layers_of_unlike_length_count_each_pair_of_turns_once():
    # Two turns and one above them: each alone, and twice the mutual inductance of every pair.
    def alone_h(radius_m):
        turn = Turns(half_width_m=radius_m, half_depth_m=radius_m, n=1, is_round=True)
        return coil_inductance_h((turn,), pitch_m=1e-3, wire_diameter_m=8e-4)

    def pair_h(first_m, second_m, distance_m):
        return float(mutual_of_circles_h(np.array(first_m), np.array(second_m), np.array(distance_m)))

    coil = (
        Turns(half_width_m=0.010, half_depth_m=0.010, n=2, is_round=True),
        Turns(half_width_m=0.012, half_depth_m=0.012, n=1, is_round=True),
    )
    pairs_h = pair_h(0.010, 0.010, 1e-3) + pair_h(0.010, 0.012, 0.0) + pair_h(0.010, 0.012, 1e-3)
    whole_h = 2 * alone_h(0.010) + alone_h(0.012) + 2 * pairs_h
    assert coil_inductance_h(coil, pitch_m=1e-3, wire_diameter_m=8e-4) == pytest.approx(whole_h, rel=1e-12)
