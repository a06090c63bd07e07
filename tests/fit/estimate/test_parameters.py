"""The parameter vector: names, first values and priors, each by what is stated."""

from dataclasses import replace

import numpy as np
import pytest

from fit.circuit.controls import PotSetting, Settings
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.parameters import (
    Parameter,
    PickupModel,
    across_name,
    added_parts,
    chain_parameters,
    coil_parameters,
    fraction_name,
    leak_name,
    log_reference,
    loss_name,
    part_name,
    released_std,
    series_name,
    shunt_name,
    stop_name,
    suffix_of,
    weak,
    widen_priors,
)
from measure.quantity import Quantity, parse_quantity
from measure.response import CHANNEL_GAIN, Origin, Response

ROOT3 = 3**0.5
GRID_HZ = np.array([100.0, 200.0, 400.0])


def take(name, *, added=(), calibrated=False, method="exciter", series=None, **more):
    names = (f"{CHANNEL_GAIN}, loopback",) if calibrated else ()
    response = Response(
        frequency_hz=GRID_HZ,
        value=np.ones(3, dtype=complex),
        covariance=np.zeros((3, 2, 2)),
        shifts=np.full((len(names), 3), 0.01 + 0j),
        shift_names=names,
        origin=Origin(rate_hz=48000.0),
    )
    parts = tuple(parse_quantity(text) for text in added)
    resistor = None if series is None else parse_quantity(series, "Ω")
    return TakeEvidence(name=name, response=response, added=parts, method=method, series_resistor=resistor, **more)


def evidence_of(*takes, **more):
    stated = {"input_resistance": parse_quantity("1M ± 1%", "Ω"), "input_capacitance": parse_quantity("185p ± 3p", "F")}
    return Evidence(takes=takes, **stated, **more)


def chain(*takes, **more):
    return {one.name: one for one in chain_parameters(evidence_of(*takes, **more))}


def test_a_reference_is_its_logarithm_with_what_is_stated():
    found = log_reference("log_x", parse_quantity("2k ± 3%", "Ω"), "x")
    assert found.start == found.prior_mean == pytest.approx(np.log(2000), rel=1e-14)
    assert found.prior_std == pytest.approx(0.03 / ROOT3, rel=1e-12)  # a bound is a rectangle
    assert (found.source, found.is_bounded) == ("x", True)
    measured = Quantity(value=2e3, standard_uncertainty=20.0, bound=None, unit="Ω", text="2k")
    assert log_reference("log_x", measured, "x").prior_std == pytest.approx(0.01, rel=1e-12)
    assert not log_reference("log_x", measured, "x").is_bounded
    exact = replace(measured, standard_uncertainty=0.0)
    assert log_reference("log_x", exact, "x").prior_std == 1e-6


def test_a_reference_without_a_bound_is_refused():
    with pytest.raises(ValueError, match="x is given as 2k without a bound; write for example 2k ± 1%"):
        log_reference("log_x", parse_quantity("2k", "Ω"), "x")


def test_weak_priors_have_no_source():
    found = weak("log_inductance@neck", "log_inductance")
    assert (found.start, found.prior_mean, found.source) == (found.prior_mean, pytest.approx(np.log(3.0)), "")
    assert (weak("y", "log_second", 0.05).start, weak("y", "log_second", 0.05).prior_mean) == (0.05, 0.0)


@pytest.mark.parametrize(
    ("name", "std"),
    [
        ("log_resistance", 0.7),
        ("log_added_0", 0.7),
        ("delay", 2.0),
        ("highpass", 10.0),
        ("across_capacitor.tone", 30.0),
        ("loss_added_0", 0.1),
        ("highpass_both", None),
        ("log_gain_0", None),
        ("log_exciter_corner", None),
        ("gain_step_1", None),
        ("clock", None),
    ],
)
def test_how_wide_a_prior_becomes(name, std):
    stated = Parameter(name=name, start=0.0, prior_std=0.001, source="x")
    assert released_std(stated) == std
    assert released_std(replace(stated, source="")) is None
    kept, widened = widen_priors([replace(stated, name="log_other"), stated], [name])
    assert (kept.prior_std, widened.prior_std) == (0.001, std or 0.001)


def test_parameters_of_a_coil():
    known = {"log_resistance": (parse_quantity("8k ± 1%", "Ω"), "dcr")}
    found = {one.name: one for one in coil_parameters(PickupModel(eddies=(("spread", "loop"),)), known, suffix="@neck")}
    assert list(found) == [
        f"{name}@neck"
        for coil in (
            ("log_inductance", "log_winding_capacitance", "log_resistance"),
            ("share_0_0", "log_tau_0_0", "field_0_0", "log_width_0_0", "share_0_1", "log_tau_0_1", "field_0_1"),
        )
        for name in coil
    ]
    assert found["log_resistance@neck"].source == "dcr"
    assert found["log_resistance@neck"].start == pytest.approx(np.log(8e3))
    assert found["log_winding_capacitance@neck"].prior_mean == pytest.approx(np.log(110e-12))
    assert found["log_tau_0_0@neck"].prior_mean == pytest.approx(np.log(1 / (2 * np.pi * 6000)))


def test_a_second_coil_brings_its_ratios():
    names = [one.name for one in coil_parameters(PickupModel(eddies=(("loop",), ("loop",))), {})]
    assert names[3:] == [
        "share_0_0",
        "log_tau_0_0",
        "field_0_0",
        "share_1_0",
        "log_tau_1_0",
        "field_1_0",
        "log_second_inductance",
        "log_second_resistance",
        "log_second_winding_capacitance",
        "log_second_excitation",
        "log_coupling",
    ]


def test_the_chain_of_two_takes():
    found = chain(take("open"), take("plus"), take("moved", coil_moved=True), take("again"))
    assert list(found) == [
        "delay",
        "highpass",
        "highpass_both",
        "clock",
        "log_gain_0",
        "gain_step_1",
        "log_gain_2",
        "gain_step_3",
        "log_input_resistance",
        "log_input_capacitance",
        "loss_input_capacitance",
    ]
    assert found["delay"].prior_std == 0.05
    assert found["clock"].prior_std == pytest.approx(1e-4 / ROOT3, rel=1e-12)
    assert found["clock"].source == "sample clock ± 100 ppm"
    assert found["gain_step_1"].source == "gain of plus against open"
    assert found["gain_step_3"].source == "gain of again against moved"
    assert found["gain_step_1"].prior_std == 0.0014
    assert np.isinf(found["log_gain_0"].prior_std)
    assert found["highpass"].prior_std == 0.003
    assert found["highpass_both"].start == 5.0


def test_a_calibration_tells_delay_and_scale():
    both = chain(take("a", calibrated=True), take("z", calibrated=True, method="impedance", series="100k ± 1%"))
    assert both["delay"].prior_std == 0.002
    assert "highpass" not in both
    assert both["log_gain_1"].prior_std == 0.0005
    assert both["log_gain_1"].source == "scale of the impedance in z"
    assert both["log_series_0"].prior_std == pytest.approx(0.01 / ROOT3)
    assert (both["shift_0"].prior_std, both["shift_0"].source) == (1.0, f"{CHANNEL_GAIN}, loopback")
    one = chain(take("a", calibrated=True), take("z", method="impedance", series="100k ± 1%"))
    assert (one["delay"].prior_std, one["log_gain_1"].prior_std) == (0.05, 0.01)
    assert "highpass" in one


def test_without_a_reference_the_arrival_is_open():
    corner = parse_quantity("9k ± 5%", "Hz")
    found = chain(take("a"), reference_kind="none", exciter_corner=corner)
    assert found["delay"].prior_std == 2.0
    assert "highpass" not in found
    assert found["log_exciter_corner"].start == pytest.approx(np.log(9e3))
    assert "log_exciter_corner" in chain(take("a"), reference_kind="loopback", exciter_corner=corner)
    assert "log_exciter_corner" not in chain(take("a"), reference_kind="current", exciter_corner=corner)
    assert "log_exciter_corner" not in chain(take("a"), reference_kind="none")


def test_loss_tangents_as_stated_or_usual():
    found = chain(take("a"))["loss_input_capacitance"]
    assert (found.prior_mean, found.prior_std, found.source) == (0.005, 0.01, "loss of cable and input")
    stated = replace(parse_quantity("185p ± 3p", "F"), loss_tangent=0.02)
    evidence = replace(evidence_of(take("a")), input_capacitance=stated)
    found = {one.name: one for one in chain_parameters(evidence)}["loss_input_capacitance"]
    assert (found.start, found.prior_mean, found.prior_std) == (0.02, 0.02, 0.01)


def test_one_series_resistor_is_one_parameter():
    takes = [
        take(name, method="impedance", series=text) for name, text in (("a", "100k ± 1%"), ("b", "10k ± 1%"), ("c", "100k ± 1%"))
    ]
    evidence = evidence_of(*takes, take("d"))
    assert [series_name(evidence, one) for one in evidence.takes] == ["log_series_0", "log_series_1", "log_series_0", ""]
    names = [one.name for one in chain_parameters(evidence) if one.name.startswith("log_series")]
    assert names == ["log_series_0", "log_series_1"]
    assert series_name(evidence, replace(takes[0], method="plate")) == ""


def test_one_part_in_several_takes_is_one_parameter():
    takes = (take("a", added=("1n ± 1%",)), take("b", added=("1n ± 1%", "1n ± 1%", "150k ± 1%")), take("c", added=("1n ± 2%",)))
    per_take, parameters = added_parts(evidence_of(*takes))
    assert per_take == (
        (("log_added_0", True),),
        (("log_added_0", True), ("log_added_1", True), ("log_added_2", False)),
        (("log_added_3", True),),
    )
    assert [one.name for one in parameters] == [
        "log_added_0",
        "loss_added_0",
        "log_added_1",
        "loss_added_1",
        "log_added_2",
        "log_added_3",
        "loss_added_3",
    ]
    assert parameters[0].source.endswith("in a")
    assert (parameters[1].prior_mean, parameters[1].prior_std) == (0.001, 0.002)


def test_names():
    at = Settings(pots={"volume": PotSetting(label="6", fraction=0.3)})
    assert suffix_of("neck", ["neck"]) == ""
    assert suffix_of("neck", ["neck", "bridge"]) == "@neck"
    assert shunt_name("neck", ["neck", "bridge"]) == "shunt@neck"
    assert shunt_name("neck", ["neck"]) == "shunt"
    assert part_name("pot.volume") == "log_pot.volume"
    assert part_name("input.resistance") == "log_input_resistance"
    assert part_name("log_added_0") == "log_added_0"
    assert fraction_name("pot.volume", at) == "logit_pot.volume@6"
    assert stop_name("pot.tone", 0.0) == "stop.tone@0"
    assert stop_name("pot.tone", 1.0) == "stop.tone@10"
    assert stop_name("pot.tone", 1.0, is_hidden=True) == "reach.tone@10"
    assert loss_name("log_capacitor.tone") == "loss_capacitor.tone"
    assert across_name("capacitor.tone") == "across_capacitor.tone"
    assert leak_name(3, "neck") == "leak_3@neck"


# What the weak priors hold to be usual, one standard deviation to either side; common practice, no source.
@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        ("log_inductance", 0.669, 13.44),
        ("log_winding_capacitance", 24.5e-12, 493e-12),
        ("log_resistance", 2575.0, 19028.0),
        ("log_tau", 1 / (2 * np.pi * 16310.0), 1 / (2 * np.pi * 2207.0)),
        ("log_width", 0.607, 4.482),
        ("log_second", 0.705, 1.419),
        ("log_second_capacitance", 0.497, 2.014),
        ("log_excitation", 0.223, 1.649),
        ("log_coupling", 0.0498, 0.368),
        ("log_pot", 128.8e3, 951.4e3),
        ("log_capacitor", 8.09e-9, 59.8e-9),
        ("log_resistor", 22.3e3, 448.2e3),
    ],
)
def test_usual_range_of_what_is_positive(kind, low, high):
    one = weak("x", kind)
    found = np.exp([one.prior_mean - one.prior_std, one.prior_mean + one.prior_std])
    assert found == pytest.approx([low, high], rel=2e-3)


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        ("share", -4.5, 1.5),
        ("field", -1.0, 3.0),
        ("stop@0", -0.7, 1.3),
        ("stop@10", -49.7, 50.3),
        ("reach", 0.0, 0.02),
        ("loss_unknown", -0.005, 0.015),
        ("loss_film", 0.0, 0.006),
        ("loss_ceramic", 0.0, 0.03),
        ("loss_paper", 0.0, 0.03),
        ("loss_added", -0.001, 0.003),
        ("loss_input_capacitance", -0.005, 0.015),
    ],
)
def test_usual_range_of_what_may_be_none(kind, low, high):
    one = weak("x", kind)
    assert (one.prior_mean - one.prior_std, one.prior_mean + one.prior_std) == pytest.approx((low, high), abs=1e-12)


def test_every_prior_of_the_chain_begins_at_its_middle():
    found = chain(take("a"), take("b"), take("z", method="impedance", series="100k ± 1%"), take("c", calibrated=True))
    assert {name: one.start - one.prior_mean for name, one in found.items()} == dict.fromkeys(found, 0.0)
    nothing = {"delay", "highpass", "clock", "log_gain_0", "gain_step_1", "log_gain_2", "shift_0"}
    assert {one.start for name, one in found.items() if name in nothing} == {0.0}
