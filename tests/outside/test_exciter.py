"""Coils and copper against published tables, textbook constants and another package (cfsem, MIT)."""

import numpy as np
import pytest

from fit.answers.exciter.conductor import enamelled_diameter_m, gauge_diameter_m, wire_resistance_ohm
from fit.answers.exciter.solenoid import nagaoka_coefficient, nagaoka_inductance_h, wheeler_multilayer_h
from fit.answers.exciter.turns import (
    MU0,
    ROUND_WIRE_GMD,
    Turns,
    coil_inductance_h,
    mutual_of_circles_h,
    mutual_of_rectangles_h,
    mutual_of_turns_h,
)
from fit.circuit.copper import resistance_at

NEEDS_CFSEM = "cfsem is not installed: pip install '.[test]'"
SQUARE_GMD = 0.44705  # [1] of a square from itself, over its side: Maxwell 1873, §692 (from memory)
BROOKS = 1.6994e-6  # [H/m] L = 1.6994e-6·a·N²: H. B. Brooks, Bur. Stand. J. Res. 7, 1931 (from memory)

# H. Nagaoka, J. Coll. Sci. Tokyo 27, 1909: coefficient against diameter / length.
NAGAOKA = [
    (0.25, 0.901649), (0.5, 0.818136), (1.0, 0.688423), (1.5, 0.595045),
    (2.0, 0.525510), (2.5, 0.471865), (3.0, 0.429199), (5.0, 0.319825),
]  # fmt: skip
# Copies of the table print these last digits otherwise than Nagaoka's own formula gives them.
MISPRINTED = [(4.0, 0.365438, 0.365432), (6.0, 0.285406, 0.285410), (10.0, 0.203315, 0.203324)]

# Maxwell's formula, by another package and by NIST DLMF eq. 19.34.5: a, b, h in metres, M in nanohenry.
CIRCLES = [
    (0.25, 0.20, 0.10, 248.787359), (0.25, 0.25, 0.20, 167.085784),
    (0.25, 0.25, 0.01, 1036.664849), (0.02, 0.005, 0.01, 1.764492),
]  # fmt: skip


@pytest.mark.parametrize(("ratio", "printed"), NAGAOKA)
def test_nagaoka_table(ratio, printed):
    assert nagaoka_coefficient(ratio) == pytest.approx(printed, abs=2e-6)


@pytest.mark.parametrize(("ratio", "printed", "by_formula"), MISPRINTED)
def test_nagaoka_table_where_copies_are_misprinted(ratio, printed, by_formula):
    assert nagaoka_coefficient(ratio) == pytest.approx(by_formula, abs=1e-6)
    assert abs(nagaoka_coefficient(ratio) - printed) > 3e-6


def test_a_handbook_solenoid():
    # A published worked example: r 2.7 mm, l 9 mm, N 100.
    assert nagaoka_inductance_h(100, radius_m=2.7e-3, length_m=9e-3) == pytest.approx(25.21506e-6, rel=4e-7)


@pytest.mark.parametrize(("length_over_radius", "off"), [(0.8, -0.0054), (1.0, -0.0012), (2.0, -0.0010), (5.0, -0.0056)])
def test_wheeler_single_layer_is_as_far_from_nagaoka_as_published(length_over_radius, off):
    # H. A. Wheeler, Proc. IRE 16, 1928: r²N²/(9r + 10l) in inches and microhenry, claims 1 % for l > 0.8 r.
    radius_m, length_m = 0.01, 0.01 * length_over_radius
    wheeler_h = 1e-6 * (radius_m * 80) ** 2 / (9 * radius_m + 10 * length_m) / 0.0254
    assert wheeler_h / nagaoka_inductance_h(80, radius_m=radius_m, length_m=length_m) - 1 == pytest.approx(off, abs=6e-5)


def test_wheeler_multilayer_on_the_brooks_coil():
    wheeler_h = wheeler_multilayer_h(250, radius_m=0.015, length_m=0.01, depth_m=0.01)
    assert wheeler_h / (BROOKS * 0.015 * 250**2) - 1 == pytest.approx(-0.007, abs=5e-4)


def brooks_coil(n, *, side_m=0.01):
    out_m = side_m + (np.arange(n) + 0.5) * side_m / n
    return tuple(Turns(half_width_m=r, half_depth_m=r, n=n, is_round=True) for r in out_m)


def test_sum_over_turns_gives_the_brooks_coil():
    # 40 × 40 square turns that fill the section: their mean geometric distance in place of the round wire's.
    diameter_m = SQUARE_GMD / ROUND_WIRE_GMD * 0.01 / 40
    found_h = coil_inductance_h(brooks_coil(40), pitch_m=0.01 / 40, wire_diameter_m=diameter_m)
    assert found_h / (0.015 * 1600**2) == pytest.approx(BROOKS, rel=1e-4)


def test_brooks_coil_beside_cfsem():
    cfsem = pytest.importorskip("cfsem", reason=NEEDS_CFSEM)
    lyle_h = cfsem.self_inductance_lyle6(0.015, 0.01, 0.01, 1600)
    diameter_m = SQUARE_GMD / ROUND_WIRE_GMD * 0.01 / 40
    assert coil_inductance_h(brooks_coil(40), pitch_m=0.01 / 40, wire_diameter_m=diameter_m) == pytest.approx(lyle_h, rel=1e-4)


@pytest.mark.parametrize("turns", [10, 20, 50, 100])
def test_sum_over_turns_of_one_layer_is_nagaoka_with_rosas_corrections(turns):
    # E. B. Rosa, Bull. Bur. Stand. 2, 1906: L = L_sheet − mu0·a·N·(A + B), A = ln(1.7452·d/p), B by turns (from memory).
    b = {10: 0.2664, 20: 0.2974, 50: 0.3186, 100: 0.3280}[turns]
    radius_m, pitch_m, wire_m = 0.0101, 0.00023, 0.0002
    layer = Turns(half_width_m=radius_m, half_depth_m=radius_m, n=turns, is_round=True)
    found_h = coil_inductance_h((layer,), pitch_m=pitch_m, wire_diameter_m=wire_m)
    sheet_h = nagaoka_inductance_h(turns, radius_m=radius_m, length_m=turns * pitch_m)
    corrected_h = sheet_h - MU0 * radius_m * turns * (np.log(1.7452 * wire_m / pitch_m) + b)
    assert found_h == pytest.approx(corrected_h, rel=5e-4)  # B is printed for the limit of thin wire on a large circle


@pytest.mark.parametrize(("a", "b", "h", "nanohenry"), CIRCLES)
def test_coaxial_circles(a, b, h, nanohenry):
    found_h = mutual_of_circles_h(np.array(a), np.array(b), np.array(h))
    assert 1e9 * float(found_h) == pytest.approx(nanohenry, rel=4e-7)


@pytest.mark.parametrize(("a", "b", "h", "nanohenry"), CIRCLES)
def test_coaxial_circles_beside_cfsem(a, b, h, nanohenry):
    cfsem = pytest.importorskip("cfsem", reason=NEEDS_CFSEM)
    other_h = cfsem.mutual_inductance_of_circular_filaments(np.array([a, 0.0, 1.0]), np.array([b, h, 1.0]))
    assert float(mutual_of_circles_h(np.array(a), np.array(b), np.array(h))) == pytest.approx(other_h, rel=5e-9)
    assert other_h == pytest.approx(1e-9 * nanohenry, rel=4e-7)


def polygon(corners, pieces):
    """Start points and steps of a closed line, each side cut into so many pieces."""
    corners = np.asarray(corners, dtype=float)
    sides = np.roll(corners, -1, axis=0) - corners
    share = np.arange(pieces)[:, None] / pieces
    starts = np.concatenate([corner + share * side for corner, side in zip(corners, sides, strict=True)])
    return tuple(starts.T.copy()), tuple(np.repeat(sides / pieces, pieces, axis=0).T.copy())


def rectangle(half_width, half_depth, height):
    signs = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    return polygon([(x * half_width, y * half_depth, height) for x, y in signs], 400)


def circle(radius, height):
    angle = 2 * np.pi * np.arange(1600) / 1600
    return polygon(np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full_like(angle, height)], axis=1), 1)


@pytest.mark.long
@pytest.mark.parametrize(
    ("one", "other", "h"),
    [((0.035, 0.006), (0.029, 0.005), 0.005), ((0.01, 0.01), (0.029, 0.005), 0.01), ((0.02, 0.01), (0.02, 0.01), 0.004)],
)
def test_coaxial_rectangles_beside_cfsem(one, other, h):
    cfsem = pytest.importorskip("cfsem", reason=NEEDS_CFSEM)
    found_h = mutual_of_rectangles_h(one, other, np.array(h))
    summed_h = cfsem.inductance_piecewise_linear_filaments(*rectangle(*one, 0.0), *rectangle(*other, h))
    assert float(found_h) == pytest.approx(summed_h, rel=1e-4)  # its sum is over 400 pieces a side


@pytest.mark.long
@pytest.mark.parametrize(("radius", "h"), [(0.005, 0.005), (0.01, 0.002), (0.01, 0.01), (0.015, 0.005), (0.05, 0.02)])
def test_a_circle_and_a_rectangle_beside_cfsem(radius, h):
    cfsem = pytest.importorskip("cfsem", reason=NEEDS_CFSEM)
    coil = Turns(half_width_m=radius, half_depth_m=radius, n=1, is_round=True)
    pickup = Turns(half_width_m=0.029, half_depth_m=0.005, n=1, is_round=False)
    summed_h = cfsem.inductance_piecewise_linear_filaments(*circle(radius, 0.0), *rectangle(0.029, 0.005, h))
    assert float(mutual_of_turns_h(coil, pickup, np.array(h))) == pytest.approx(summed_h, rel=1e-4)  # its sum is over pieces
    assert float(mutual_of_turns_h(pickup, coil, np.array(h))) == float(mutual_of_turns_h(coil, pickup, np.array(h)))


@pytest.mark.parametrize(("side", "wire"), [(0.1, 1e-3), (0.05, 2e-4)])
def test_one_square_turn(side, wire):
    # F. W. Grover, Inductance Calculations, 1946: L = (2mu0·s/π)·[ln(s/r) − 0.52401] for a square of round wire (from memory).
    square = Turns(half_width_m=side / 2, half_depth_m=side / 2, n=1, is_round=False)
    found_h = coil_inductance_h((square,), pitch_m=1.0, wire_diameter_m=wire)
    assert found_h == pytest.approx(2 * MU0 * side / np.pi * (np.log(2 * side / wire) - 0.52401), rel=2e-3)  # its r/s is left out


# ASTM B258: 0.127·92^((36 − n)/39) mm; 0 and 4 from a handbook's wire table.
@pytest.mark.parametrize(("gauge", "mm"), [(0, 8.252), (4, 5.189), (36, 0.12700), (42, 0.06334), (43, 0.05641), (44, 0.05023)])
def test_american_wire_gauge(gauge, mm):
    assert 1e3 * gauge_diameter_m(gauge) == pytest.approx(mm, abs=6e-4 if gauge < 10 else 6e-6)


# Annealed copper of IEC 60028 (from memory), 1.7241e-8 Ω·m at 20 °C.
@pytest.mark.parametrize(("gauge", "ohm"), [(42, 5.4715), (43, 6.8995), (44, 8.7001), (36, 1.36102)])
def test_annealed_copper_a_metre(gauge, ohm):
    assert wire_resistance_ohm(gauge_diameter_m(gauge), length_m=1.0) == pytest.approx(ohm, rel=1e-5)


def test_wire_of_0_063_mm():
    # IEC 60317 winding wire, 0.063 mm at 58.5 MS/m: 5.484 Ω/m (from memory); 58.0 MS/m is the annealed copper of IEC 60028.
    assert wire_resistance_ohm(0.063e-3, length_m=1.0) * 58.0 / 58.5 == pytest.approx(5.484, rel=2e-4)


def test_rounded_and_pure_copper_tables_differ():
    # Wire tables round gauge 42 to 2.5 mil: 1659 Ω per 1000 ft (from memory); tables of pure copper use 1.678e-8, 2.7 % less.
    assert wire_resistance_ohm(2.5 * 25.4e-6, length_m=304.8) == pytest.approx(1659, rel=5e-4)
    assert wire_resistance_ohm(gauge_diameter_m(42), length_m=1.0) / 5.4715 == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize(("celsius", "ohm"), [(20.0, 7900.0), (25.0, 8055.2), (30.0, 8210.5)])
def test_a_wound_wire_warms_as_copper_does(celsius, ohm):
    length_m = 7900.0 / wire_resistance_ohm(gauge_diameter_m(42), length_m=1.0)
    found_ohm = wire_resistance_ohm(gauge_diameter_m(42), length_m=length_m, celsius=celsius)
    assert found_ohm == pytest.approx(ohm, abs=0.06)
    assert found_ohm == pytest.approx(resistance_at(7900.0, from_celsius=20.0, to_celsius=celsius), rel=1e-12)


# IEC 60317-0-1, grade 1: bare diameter and the largest over the enamel, mm (from memory).
GRADE_1 = [
    (0.050, 0.060), (0.063, 0.076), (0.071, 0.084), (0.100, 0.117), (0.125, 0.144), (0.200, 0.226),
    (0.250, 0.281), (0.315, 0.349), (0.400, 0.439), (0.500, 0.544), (0.710, 0.762), (1.000, 1.062),
]  # fmt: skip


@pytest.mark.parametrize(("bare_mm", "outer_mm"), GRADE_1)
def test_enamel_of_grade_1(bare_mm, outer_mm):
    assert 1e3 * enamelled_diameter_m(bare_mm / 1e3) == pytest.approx(outer_mm, abs=0.003)
