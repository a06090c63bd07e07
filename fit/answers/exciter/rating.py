"""What an exciter does: a coil without iron behind a sense resistor, driven by an output, over a pickup.

Resistance, inductance, corner, current, warmth, and the voltage to expect in the pickup; each with the uncertainty that
comes from what was typed or assumed.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fit.answers.exciter.conductor import wire_resistance_ohm
from fit.answers.exciter.limits import Strain, check_exciter
from fit.answers.exciter.setup import Setup, Winding, check_setup, layers_that_fit, turn_length_m, turns_per_layer, wound_layers
from fit.answers.exciter.solenoid import nagaoka_inductance_h, wheeler_multilayer_h
from fit.answers.exciter.turns import Turns, coil_inductance_h, mutual_of_turns_h
from fit.answers.figures import Estimate
from measure.quantity import COVERAGE_95
from measure.response import Finding

STEP = 1e-3  # [1] relative, of the differences that carry uncertainty; their error is of its square
AXIAL_NODES, RADIAL_NODES = 4, 3  # [1] Gauss-Legendre: a pickup's winding by twelve turns, within 1 % from 1 mm on
COOLING_W_PER_M2_K = 10.0  # [W/(m²·K)] of still air with radiation, common practice, no source; holds within a factor of 2
WINDING_BOUND = 0.03  # [1] of L: turns wound by hand lie neither close nor in circles; common practice, no source


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ExciterAnswer:
    """What an exciter does.

    Attributes
    ----------
    quantities : dict
        Name to figure: wire_length, resistance, inductance, corner, corner_with_source, load, current, sense_voltage,
        coil_power, sense_power, coil_rise, mutual_inductance.
    emf : dict
        Frequency in hertz to the RMS voltage induced in the pickup.
    build_m : float
        Depth of the winding. [m]
    fill : float
        Share of the winding room that wire and enamel take. [1]
    formula : str
        A textbook's formula for this shape; empty where there is none.
    formula_h : float
        The inductance by it. [H]
    findings : tuple of Finding
        What is outside of its limits, and the cure.
    """

    setup: Setup
    quantities: dict[str, Estimate]
    emf: dict[float, Estimate]
    layers: int
    turns_per_layer: int
    build_m: float
    fill: float
    formula: str
    formula_h: float
    findings: tuple[Finding, ...]


UNITS = {
    "wire_length": "m", "resistance": "Ω", "inductance": "H", "corner": "Hz", "corner_with_source": "Hz", "load": "Ω",
    "current": "A", "sense_voltage": "V", "coil_power": "W", "sense_power": "W", "coil_rise": "K", "mutual_inductance": "H",
}  # fmt: skip


def analyse_exciter(setup: Setup, *, bounds: Mapping[str, float], at_hz: tuple[float, ...]) -> ExciterAnswer:
    """Find what an exciter does.

    Parameters
    ----------
    bounds : mapping
        Name such as ``"winding.wire_m"`` to the relative bound of that value: a rectangular distribution of its logarithm.
    at_hz : tuple of float
        Where the pickup's voltage is told. [Hz]

    Returns
    -------
    ExciterAnswer
        Its figures and what is outside of its limits.

    Raises
    ------
    ValueError
        If a value is not above 0, a wire is thicker than the room, or there are too many turns.
    """
    per_layer = turns_per_layer(setup.winding)
    check_setup(setup)
    found = setup_figures(setup, per_layer, at_hz=at_hz)
    slopes = {name: _slopes(setup, name, per_layer, at_hz=at_hz) for name in bounds}
    std = {key: math.hypot(*(slopes[name][key] * bound / math.sqrt(3) for name, bound in bounds.items())) for key in found}
    for key in ("inductance", "corner", "corner_with_source"):
        std[key] = math.hypot(std[key], WINDING_BOUND / math.sqrt(3))
    layers = math.ceil(setup.winding.turns / per_layer)
    build_m = layers * setup.winding.enamelled_m
    formula, formula_h = textbook_inductance(setup.winding, per_layer)
    room_m2 = setup.winding.length_m * setup.winding.room_m
    return ExciterAnswer(
        setup=setup,
        quantities={key: _estimate(found[key], std[key], unit) for key, unit in UNITS.items()},
        emf={hz: _estimate(found[emf_key(hz)], std[emf_key(hz)], "V") for hz in at_hz},
        layers=layers,
        turns_per_layer=per_layer,
        build_m=build_m,
        fill=setup.winding.turns * math.pi / 4 * setup.winding.enamelled_m**2 / room_m2,
        formula=formula,
        formula_h=formula_h,
        findings=check_exciter(_strain(setup, found, most=per_layer * layers_that_fit(setup.winding))),
    )


def setup_figures(setup: Setup, per_layer: int, *, at_hz: tuple[float, ...]) -> dict[str, float]:
    """Calculate all figures once.

    Parameters
    ----------
    at_hz : tuple of float
        Where the pickup's voltage is told. [Hz]

    Returns
    -------
    dict
        As in `ExciterAnswer.quantities`, and one ``emf_key`` for each frequency; SI units.
    """
    figures = coil_figures(setup, per_layer)
    mutual_h = _mutual_with_pickup_h(setup, wound_layers(setup.winding, per_layer))
    figures["mutual_inductance"] = mutual_h
    for hz in at_hz:
        at_corner = hz / figures["corner_with_source"]
        figures[emf_key(hz)] = 2 * math.pi * hz * mutual_h * figures["current"] / math.hypot(1.0, at_corner)
    return figures


def coil_figures(setup: Setup, per_layer: int) -> dict[str, float]:
    """Calculate the figures of the coil and its drive alone, without the pickup.

    Returns
    -------
    dict
        Those of `setup_figures` that ask for no pickup; SI units.
    """
    winding, drive = setup.winding, setup.drive
    layers = wound_layers(winding, per_layer)
    length_m = sum(layer.n * turn_length_m(winding, i) for i, layer in enumerate(layers))
    resistance_ohm = wire_resistance_ohm(winding.wire_m, length_m=length_m, celsius=winding.celsius)
    inductance_h = coil_inductance_h(layers, pitch_m=winding.enamelled_m, wire_diameter_m=winding.wire_m)
    load_ohm = resistance_ohm + drive.sense_ohm
    current_a = drive.level_v / (load_ohm + drive.source_ohm)
    coil_power_w = current_a**2 * resistance_ohm
    surface_m2 = turn_length_m(winding, len(layers)) * winding.enamelled_m * max(layer.n for layer in layers)
    return {
        "wire_length": length_m,
        "resistance": resistance_ohm,
        "inductance": inductance_h,
        "corner": load_ohm / (2 * math.pi * inductance_h),
        "corner_with_source": (load_ohm + drive.source_ohm) / (2 * math.pi * inductance_h),
        "load": load_ohm,
        "current": current_a,
        "sense_voltage": current_a * drive.sense_ohm,
        "coil_power": coil_power_w,
        "sense_power": current_a**2 * drive.sense_ohm,
        "coil_rise": coil_power_w / (COOLING_W_PER_M2_K * surface_m2),
    }


def emf_key(frequency_hz: float) -> str:
    """Name of the pickup's voltage at a frequency among the figures.

    Parameters
    ----------
    frequency_hz : float
        Above 0. [Hz]
    """
    return f"emf@{frequency_hz:g}"


def textbook_inductance(winding: Winding, per_layer: int) -> tuple[str, float]:
    """Inductance by the textbook's formula for the shape, beside the sum over turns.

    Returns
    -------
    formula : str
        Nagaoka's for one layer, Wheeler's for more, empty for a rectangle.
    inductance_h : float
        By it; not a number for a rectangle. [H]
    """
    if not winding.is_round:
        return "", math.nan
    if winding.turns <= per_layer:
        radius_m = (winding.former_width_m + winding.enamelled_m) / 2
        length_m = winding.turns * winding.enamelled_m
        return "Nagaoka's formula", nagaoka_inductance_h(winding.turns, radius_m=radius_m, length_m=length_m)
    depth_m = winding.turns / per_layer * winding.enamelled_m
    radius_m = (winding.former_width_m + depth_m) / 2
    length_m = per_layer * winding.enamelled_m
    wheeler_h = wheeler_multilayer_h(winding.turns, radius_m=radius_m, length_m=length_m, depth_m=depth_m)
    return "Wheeler's formula for many layers", wheeler_h


# Both windings by a few turns at the nodes of Gauss and Legendre; the exciter's near face is where its layers begin.
def _mutual_with_pickup_h(setup: Setup, layers: tuple[Turns, ...]) -> float:
    pickup, pitch_m = setup.pickup, setup.winding.enamelled_m
    axial, axial_weight = np.polynomial.legendre.leggauss(AXIAL_NODES)
    radial, radial_weight = np.polynomial.legendre.leggauss(RADIAL_NODES)
    below_m = pickup.height_m / 2 * (1 + axial)
    total = 0.0
    for out, weight in zip(radial * pickup.build_m / 2, radial_weight / 2, strict=True):
        turn = Turns(half_width_m=pickup.width_m / 2 + out, half_depth_m=pickup.depth_m / 2 + out, n=1, is_round=pickup.is_round)
        for layer in layers:
            above_m = layer.n * pitch_m / 2 * (1 + axial)
            mutual_h = mutual_of_turns_h(layer, turn, pickup.gap_m + below_m[:, None] + above_m[None, :])
            total += weight * layer.n * float(axial_weight @ mutual_h @ axial_weight) / 4
    return total * pickup.turns * pickup.iron


# d ln figure / d ln value, for every figure.
def _slopes(setup: Setup, name: str, per_layer: int, *, at_hz: tuple[float, ...]) -> dict[str, float]:
    part, _, field = name.partition(".")
    group = getattr(setup, part)
    up, down = (
        setup_figures(replace(setup, **{part: replace(group, **{field: getattr(group, field) * factor})}), per_layer, at_hz=at_hz)
        for factor in (math.exp(STEP), math.exp(-STEP))
    )
    return {key: math.log(up[key] / down[key]) / (2 * STEP) for key in up}


# The logarithm is Gaussian: some of these are known within a factor of two only.
def _estimate(value: float, relative_std: float, unit: str) -> Estimate:
    factor = math.exp(COVERAGE_95 * relative_std)
    return Estimate(value=value, unit=unit, standard_uncertainty=value * relative_std, low=value / factor, high=value * factor)


def _strain(setup: Setup, found: Mapping[str, float], *, most: int) -> Strain:
    hz = 5e3
    emf_v = 2 * math.pi * hz * found["mutual_inductance"] * found["current"] / math.hypot(1.0, hz / found["corner_with_source"])
    return Strain(
        turns=setup.winding.turns,
        most_turns=most,
        level_v=setup.drive.level_v,
        source_ohm=setup.drive.source_ohm,
        sense_ohm=setup.drive.sense_ohm,
        load_ohm=found["load"],
        minimum_load_ohm=setup.drive.minimum_load_ohm,
        sense_power_w=found["sense_power"],
        rating_w=setup.drive.rating_w,
        coil_rise_k=found["coil_rise"],
        corner_hz=found["corner"],
        emf_v=emf_v,
    )
