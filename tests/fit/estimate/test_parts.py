"""Parameters of an instrument: what is stated of pickups and parts, and what a job may have changed."""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.parameters import Parameter, PickupModel
from fit.estimate.parts import change_parameters, field_parameters, part_parameters, pickup_parameters
from measure.quantity import parse_quantity
from tests.instrument_texts import SOUND
from tests.toy_problem import toy_evidence

RESPONSE = toy_evidence(4).takes[0].response
TWO = read_instrument(SOUND.replace("33n ± 10%", "33n ± 10% tan 2%"))
ROOT3 = 3**0.5


def evidence_of(instrument, *stated, dcr=None, celsius=(), after=()):
    takes = tuple(
        TakeEvidence(
            name=f"take {n}",
            response=RESPONSE,
            settings=read_settings(instrument, one),
            is_after=n in after,
            temperature_c=celsius[n] if celsius else None,
        )
        for n, one in enumerate(stated or ({},))
    )
    return Evidence(
        takes=takes,
        input_resistance=parse_quantity("1M ± 1%", "Ω"),
        input_capacitance=parse_quantity("185p ± 1%", "F"),
        dcr=dcr,
        instrument=instrument,
    )


def named(parameters):
    return {one.name: one for one in parameters}


def test_what_is_stated_of_each_pickup_is_its_prior():
    models = {"neck": PickupModel(), "bridge": PickupModel(eddies=((), ()))}
    found = named(pickup_parameters(evidence_of(TWO), models))
    neck = found["log_inductance@neck"]
    assert (neck.prior_mean, neck.prior_std) == (pytest.approx(np.log(3.1)), pytest.approx(0.01 / ROOT3))
    assert neck.source == "inductance of neck as stated"
    assert found["log_winding_capacitance@neck"].prior_mean == pytest.approx(np.log(110e-12))
    # of the dcr, what the room may have changed since it was read counts too: ± 1.5 K
    expected = np.hypot(0.01 / ROOT3, 0.00393 * 1.5 / ROOT3)
    assert found["log_resistance@neck"].prior_std == pytest.approx(expected, rel=1e-9)
    assert found["log_inductance@bridge"].source == ""
    assert "log_coupling@bridge" in found
    assert "log_coupling@neck" not in found


def test_resistances_of_two_coils_add_up():
    text = SOUND.replace('ends = ["bridge hot", "bridge middle"]', 'ends = ["bridge hot", "bridge middle"]\ndcr = "4k ± 100Ω"')
    text = text.replace(
        'ends = ["bridge middle", "ground"]', 'ends = ["bridge middle", "ground"]\ndcr = "5k ± 200Ω"\ninductance = "2 ± 1%"'
    )
    found = named(pickup_parameters(evidence_of(read_instrument(text)), {"bridge": PickupModel(eddies=((), ()))}))
    one = found["log_resistance@bridge"]
    assert one.prior_mean == pytest.approx(np.log(9e3))
    expected = np.hypot(np.hypot(100, 200) / ROOT3 / 9e3, 0.00393 * 1.5 / ROOT3)
    assert (one.prior_std, one.is_bounded) == (pytest.approx(expected, rel=1e-9), False)
    assert found["log_inductance@bridge"].source == ""


def test_a_multimeter_reading_is_that_of_the_one_pickup():
    dcr = parse_quantity("6k ± 1%", "Ω")
    one = read_instrument('[pickup.only]\nends = ["tip", "ground"]\ndcr = "9k ± 1%"\n')
    found = named(pickup_parameters(evidence_of(one, dcr=dcr), {"only": PickupModel()}))
    assert (found["log_resistance"].prior_mean, found["log_resistance"].source) == (pytest.approx(np.log(6e3)), "dcr")
    found = named(pickup_parameters(evidence_of(TWO, dcr=dcr), {"neck": PickupModel()}))
    assert found["log_resistance@neck"].prior_mean == pytest.approx(np.log(7.9e3))


def part(name, *stated, instrument=TWO):
    (found,) = part_parameters(evidence_of(instrument, *stated), [name])
    assert found.name == name
    return found


def test_measured_parts_are_references_and_marked_ones_a_place_to_begin():
    volume = part("log_pot.volume")
    assert (volume.prior_mean, volume.prior_std) == (pytest.approx(np.log(500e3)), pytest.approx(0.01 / ROOT3))
    assert volume.source == "pot.volume as stated"
    tone = part("log_pot.tone")
    assert (tone.prior_mean, tone.start) == (pytest.approx(np.log(250e3)),) * 2
    assert (tone.prior_std, tone.source) == (1.0, "")


def test_parts_of_which_nothing_is_stated_are_weak():
    bare = read_instrument(SOUND.replace('marked = "250k ± 20%"\n', "").replace('value = "150k ± 5%"\n', ""))
    assert (part("log_pot.tone", instrument=bare).prior_mean, part("log_pot.tone", instrument=bare).prior_std) == (
        pytest.approx(np.log(350e3)),
        1.0,
    )
    assert part("log_resistor.bleed", instrument=bare).prior_mean == pytest.approx(np.log(100e3))


def test_what_parts_have_beside_their_values():
    assert (part("shunt@neck").prior_mean, part("shunt@neck").prior_std, part("shunt@neck").source) == (0.0, 10.0, "")
    assert (part("across_capacitor.tone").prior_std, part("across_capacitor.tone").source) == (
        0.002,
        "insulation of capacitor.tone",
    )
    assert (part("leak_0@neck").prior_std, part("leak_0@neck").source) == (0.1, "")
    stop, reach = part("stop.tone@0"), part("reach.tone@10")
    assert (stop.prior_mean, stop.prior_std, stop.source) == (0.3, 1.0, "ohms left at 0 of tone")
    assert (reach.prior_mean, reach.prior_std, reach.source) == (0.01, 0.01, "travel of tone at 10")
    assert part("stop.tone@10").prior_std == 50.0


@pytest.mark.parametrize(
    ("text", "mean", "std"),
    [
        ("33n ± 10% tan 2%", 0.02, 0.01),
        ("33n ± 10%", 0.005, 0.01),
        ('33n ± 10%"\nkind = "paper', 0.015, 0.015),
        ('33n ± 10%"\nkind = "film', 0.003, 0.003),
    ],
)
def test_loss_of_a_capacitor_as_stated_or_of_its_kind(text, mean, std):
    found = part("loss_capacitor.tone", instrument=read_instrument(SOUND.replace("33n ± 10%", text)))
    assert (found.prior_mean, found.prior_std) == (pytest.approx(mean), pytest.approx(std))
    assert found.source == "loss of capacitor.tone"


def test_fractions_of_a_track_by_rotation_and_by_measurement():
    turned = part("logit_pot.volume@5", {"volume": "5"})
    assert turned.prior_mean == turned.start == pytest.approx(np.log(0.12 / 0.88))
    assert (turned.prior_std, turned.source) == (0.6, "taper of volume at 5")
    measured = part("logit_pot.volume@35%", {}, {"volume": "35%"})
    assert (measured.prior_mean, measured.prior_std) == (pytest.approx(np.log(0.35 / 0.65)), 0.05)
    assert measured.source == "volume set to 35%"
    with pytest.raises(ValueError, match=r"no take has the setting of logit_pot\.volume@7"):
        part("logit_pot.volume@7", {"volume": "5"})


def test_each_later_placement_has_fields_of_its_own():
    pickups = [
        Parameter(name=name, start=0.0) for name in ("field_0_0@neck", "field_0_1@neck", "field_0_0@bridge", "share_0_0@neck")
    ]
    found = field_parameters(pickups, {"@neck": ["2", "3"], "@bridge": []})
    assert [one.name for one in found] == ["field_0_0#2@neck", "field_0_0#3@neck", "field_0_1#2@neck", "field_0_1#3@neck"]
    assert {(one.start, one.prior_std, one.source) for one in found} == {(0.0, 0.15, "place of the exciter")}
    assert [one.name for one in field_parameters(pickups[2:3], {"@bridge": ["1"]})] == ["field_0_0#1@bridge"]


def test_a_job_may_change_every_part_and_the_warmth():
    names = ("log_inductance@neck", "log_winding_capacitance@neck", "log_resistance@neck", "log_pot.tone", "log_capacitor.tone")
    parameters = [
        Parameter(name=name, start=0.0) for name in (*names, "log_resistor.bleed", "log_input_resistance", "share_0_0@neck")
    ]
    assert change_parameters(evidence_of(TWO, {}, {}), parameters) == []
    warmer, *changes = change_parameters(evidence_of(TWO, {}, {}, after=(1,)), parameters)
    changed = ("log_inductance@neck", "log_resistance@neck", "log_pot.tone", "log_capacitor.tone", "log_resistor.bleed")
    assert [one.name for one in changes] == [f"change_{name}" for name in changed]
    assert {(one.start, one.prior_mean, one.prior_std) for one in changes} == {(0.0, 0.0, 1.0)}
    # ± 3 K on either side, or ± 1 K of either thermometer
    assert (warmer.name, warmer.prior_std) == ("warmer_after", pytest.approx(0.00393 * 3 * 2**0.5 / ROOT3))
    warmer, *_ = change_parameters(evidence_of(TWO, {}, {}, after=(1,), celsius=(20.0, 21.0)), parameters)
    assert warmer.prior_std == pytest.approx(0.00393 * 2**0.5 / ROOT3)
