"""What a prediction rests on: measured, changed, stated, marked, and their covariance."""

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts, keep_parts
from fit.answers.parts.known import TAPER_BOUND, Basis, Known, gather_known, spread_of, std_of
from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_instrument
from fit.estimate.parameters import STATED_LOSS_STD
from measure.quantity import parse_quantity
from tests.found_parts import INSTRUMENT, LOAD, found_parts, real_parts, tied_capacitances


def predict(controls, **options):
    return predict_instrument(INSTRUMENT, controls, load=LOAD, **options)


def test_measured_values_stand_in_for_stated_and_marked_ones_but_not_for_changes():
    parts = found_parts()
    changes = read_changes(INSTRUMENT, ["pot.tone=250k ± 1%", "bridge.inductance=3"])
    plain = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=parts)
    changed = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=parts, changes=changes)
    assert {one.origin for one in plain.basis.values()} == {"measured"}
    assert plain.marked == plain.unbounded == ()
    assert plain.basis["pot.tone@6"].value == 0.22
    assert changed.basis["pot.tone"].origin == changed.basis["bridge.inductance"].origin == "changed"
    assert changed.unbounded == ("bridge.inductance",)
    # another pot has another track: at 6 it stands where its taper says, 0.296 (12 % at 5, all at 10)
    assert changed.basis["pot.tone@6"].origin == "taper"
    assert changed.basis["pot.tone@6"].value == pytest.approx(0.296, rel=1e-12)
    assert plain.measured is parts
    assert predict_instrument(INSTRUMENT, {}, load=LOAD).measured is None


def test_changed_part_is_correlated_with_nothing():
    tied = tied_capacitances()
    changes = read_changes(INSTRUMENT, ["bridge.winding_capacitance=95p"])
    curve = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=tied, changes=changes).pickups["bridge"]
    alone = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=keep_parts(tied, ["input.capacitance"]), changes=changes)
    assert curve.peak_frequency.standard_uncertainty == alone.pickups["bridge"].peak_frequency.standard_uncertainty > 20.0


@pytest.mark.long
def test_tolerance_of_marked_parts_counts_where_it_is_asked_for():
    exact = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    options = {"load": exact, "at_hz": (2000.0,)}
    without = predict_instrument(INSTRUMENT, {"tone": "4"}, **options)
    level = predict_instrument(INSTRUMENT, {"tone": "4"}, with_tolerance=True, **options)
    assert without.pickups["bridge"].levels[2000.0].standard_uncertainty == 0.0
    assert level.with_tolerance
    assert level.basis["capacitor.tone"].relative_std == pytest.approx(0.1 / 3**0.5, rel=1e-12)
    assert level.basis["pot.tone@4"].relative_std == pytest.approx((1 - 0.096) * TAPER_BOUND / 3**0.5, rel=1e-12)
    rng, drawn = np.random.default_rng(8), []
    case = Case(settings=read_settings(INSTRUMENT, {"tone": "4"}), frequency_hz=np.array([2000.0]))
    values = {key: one.quantity.value for key, one in stated_values(INSTRUMENT).items()}
    values |= {key: quantity.value for key, quantity in exact.items()}
    for _ in range(600):
        volume, tone, capacitor, taper = rng.uniform(-1, 1, 4)
        moved = values | {"pot.volume": 500e3 * (1 + 0.2 * volume), "pot.tone": 500e3 * (1 + 0.2 * tone)}
        logit = np.log(0.096 / 0.904) + TAPER_BOUND * taper
        moved |= {"capacitor.tone": 22e-9 * (1 + 0.1 * capacitor), "pot.tone@4": 1 / (1 + np.exp(-logit))}
        drawn.append(20 * np.log10(abs(solve_instrument(INSTRUMENT, [case], values=moved)[0].voltage[0, 0])))
    stated = level.pickups["bridge"].levels[2000.0].standard_uncertainty
    assert np.std(drawn) == pytest.approx(stated, rel=0.15)  # 20 % is far: the second order counts


# Coils that oppose each other have a negative coupling, of which the covariance is that of the value itself.
def test_negative_coupling_carries_its_own_standard_deviation():
    text = layout_text("humbucker-modes")
    instrument = read_instrument(text)
    (name,) = instrument.pickup
    answers = []
    for coupling in (-0.2, 0.2):
        parts = MeasuredParts(
            values={f"{name}.coupling": coupling},
            names=(f"{name}.coupling",),
            log_covariance=np.array([[0.03**2]]),
            takes=("open",),
            simulated=False,
        )
        answers.append(predict_instrument(instrument, {}, load=LOAD, measured=parts).basis[f"{name}.coupling"])
    assert [one.value for one in answers] == [-0.2, 0.2]
    assert [one.relative_std for one in answers] == pytest.approx([0.15, 0.15], rel=1e-12)


@pytest.mark.long
@pytest.mark.parametrize(
    ("change", "gone"),
    [
        ("capacitor.tone=10n", {"capacitor.tone.loss_tangent", "capacitor.tone.leak"}),
        ("pot.tone=250k", {"pot.tone.stop_0"}),  # nothing of the pot is left in the circuit
        ("pot.volume=250k", {"pot.volume.stop_10"}),
        ("bridge.inductance=3", set()),
    ],
)
def test_what_belongs_to_a_changed_part_goes_with_it(change, gone):
    parts = real_parts()
    before = predict({"tone": "0"}, measured=parts)
    after = predict({"tone": "0"}, measured=parts, changes=read_changes(INSTRUMENT, [change]))
    assert set(before.basis) - set(after.basis) == gone


def test_another_cable_has_another_loss():
    known = gather_known(
        INSTRUMENT,
        load=LOAD,
        changes={"input.capacitance": parse_quantity("900p", "F")},
        measured=real_parts(),
        with_tolerance=False,
        settings=read_settings(INSTRUMENT, {}),
    )
    assert known.basis["input.capacitance"].value == 900e-12
    assert "input.loss_tangent" not in known.basis
    assert known.basis["input.resistance"].origin == "measured"


@pytest.mark.long
def test_stated_loss_tangents_count_without_a_fit():
    instrument = read_instrument(layout_text("one-pickup").replace('"22n ± 10%"', '"22n ± 10% tan 2%"'))
    load = LOAD | {"input.capacitance": parse_quantity("470p ± 10p tan 1%", "F")}
    answer = predict_instrument(instrument, {"tone": "0"}, load=load, with_tolerance=True)
    found = {name: (one.value, one.std, one.origin) for name, one in answer.basis.items() if name.endswith("loss_tangent")}
    assert found == {
        "capacitor.tone.loss_tangent": (0.02, STATED_LOSS_STD * 0.02, "marked"),
        "input.loss_tangent": (0.01, STATED_LOSS_STD * 0.01, "stated"),
    }
    values = {name: one.value for name, one in answer.basis.items()}
    case = Case(settings=read_settings(instrument, {"tone": "0"}), frequency_hz=answer.frequency_hz)
    np.testing.assert_array_equal(
        answer.pickups["bridge"].gain, solve_instrument(instrument, [case], values=values)[0].voltage[0]
    )
    plain = predict_instrument(instrument, {"tone": "0"}, load=load)
    assert plain.basis["capacitor.tone.loss_tangent"].is_exact  # a marking is a claim
    changed = read_changes(instrument, ["capacitor.tone=22n tan 0.1%"])
    assert predict_instrument(instrument, {"tone": "0"}, load=load, changes=changed).basis[
        "capacitor.tone.loss_tangent"
    ].value == pytest.approx(0.001)
    # what a fit found stands in for what was stated
    measured = predict_instrument(instrument, {"tone": "0"}, load=load, measured=real_parts())
    assert measured.basis["capacitor.tone.loss_tangent"].value == 0.012


def gathered(*, changes=None, measured=None, with_tolerance=False, controls=None, instrument=INSTRUMENT):
    return gather_known(
        instrument, load=LOAD, changes=changes or {}, measured=measured, with_tolerance=with_tolerance,
        settings=read_settings(instrument, controls or {}),
    )  # fmt: skip


def known_of(covariance):
    return Known(basis={}, names=("a", "b"), log_covariance=np.array(covariance))


# u² = a²·4 + 2ab·1 + b²·9
def test_covariance_is_propagated_to_figures():
    known = known_of([[4.0, 1.0], [1.0, 9.0]])
    slopes = {"a": np.array([1.0, 0.0, 2.0]), "b": np.array([0.0, 1.0, -1.0]), "unknown": np.array([9.0, 9.0, 9.0])}
    np.testing.assert_allclose(spread_of(known, slopes), np.sqrt([4.0, 9.0, 16 - 4 + 9]), rtol=1e-12)
    assert std_of(known, {"b": -2.0}) == pytest.approx(6.0, rel=1e-12)
    assert std_of(known, {"unknown": 1.0}) == 0.0
    assert std_of(known, {}) == 0.0


def test_what_cancels_is_not_below_nothing():
    known = known_of([[1.0, 1.0 + 1e-15], [1.0 + 1e-15, 1.0]])
    assert spread_of(known, {"a": np.array([1.0]), "b": np.array([-1.0])})[0] == pytest.approx(0.0, abs=1e-7)


def test_bounds_are_rectangular_and_markings_are_claims():
    known = gathered()
    resistance = known.basis["input.resistance"]
    assert (resistance.value, resistance.unit, resistance.origin) == (1e6, "Ω", "stated")
    assert resistance.relative_std == pytest.approx(0.01 / 3**0.5, rel=1e-12)
    assert known.basis["input.capacitance"].relative_std == pytest.approx(10 / 470 / 3**0.5, rel=1e-12)
    assert known.basis["pot.tone"].origin == "marked"
    assert known.basis["pot.tone"].is_exact
    assert not resistance.is_exact
    assert set(known.names) == {"input.resistance", "input.capacitance"}
    assert known.values["capacitor.tone"] == pytest.approx(22e-9, rel=1e-12, abs=0)
    counted = gathered(with_tolerance=True)
    assert counted.basis["pot.tone"].relative_std == pytest.approx(0.2 / 3**0.5, rel=1e-12)
    np.testing.assert_allclose(
        np.sqrt(np.diag(counted.log_covariance)), [counted.basis[name].relative_std for name in counted.names], rtol=1e-12
    )


def test_tapers_count_between_their_ends():
    known = gathered(with_tolerance=True, controls={"tone": "4.5", "volume": "35%"})
    fractions = {name: one for name, one in known.basis.items() if "@" in name}
    assert {name for name in fractions if name.startswith("pot.tone@")} == {f"pot.tone@{one}" for one in (*range(1, 10), "4.5")}
    assert {name for name in fractions if name.startswith("pot.volume@")} <= {f"pot.volume@{one}" for one in range(1, 10)}
    half = fractions["pot.tone@5"]
    assert (half.value, half.origin) == (pytest.approx(0.12, rel=1e-12), "taper")
    assert half.relative_std == pytest.approx(0.88 * 0.231 / 3**0.5, rel=1e-12)
    assert not [name for name in gathered(controls={"tone": "4.5"}).basis if "@" in name]
    at_ends = gathered(with_tolerance=True, controls={"tone": "0", "volume": "10"})
    assert not {"pot.tone@0", "pot.volume@10"} & set(at_ends.basis)


def test_measured_values_bring_their_units_and_deviations():
    basis = gathered(measured=real_parts()).basis
    units = {
        "bridge.inductance": "H", "bridge.dcr": "Ω", "bridge.winding_capacitance": "F", "bridge.eddy_spread_1.coupling": "",
        "bridge.eddy_spread_1.corner": "Hz", "bridge.eddy_spread_1.half_width": "", "pot.volume": "Ω", "pot.tone@6": "",
        "capacitor.tone": "F", "input.resistance": "Ω", "input.capacitance": "F", "pot.tone.stop_0": "Ω",
        "capacitor.tone.leak": "Ω", "capacitor.tone.loss_tangent": "", "input.loss_tangent": "",
    }  # fmt: skip
    assert {name: basis[name].unit for name in units} == units
    assert (basis["pot.tone.stop_0"].std, basis["pot.tone.stop_0"].relative_std) == (pytest.approx(6.0), None)
    assert (basis["capacitor.tone.leak"].std, basis["capacitor.tone.leak"].relative_std) == (None, pytest.approx(0.05))
    assert basis["bridge.inductance"].relative_std == pytest.approx(0.01, rel=1e-9)


def test_covariance_of_a_change_stands_beside_the_measured_one():
    parts = found_parts()
    known = gathered(measured=parts, changes={"pot.tone": parse_quantity("250k ± 3%")})
    assert known.names[-1] == "pot.tone"
    assert known.log_covariance[-1, -1] == pytest.approx(0.03**2 / 3, rel=1e-12)
    assert not known.log_covariance[-1, :-1].any()
    kept = [parts.names.index(name) for name in known.names[:-1]]
    np.testing.assert_array_equal(known.log_covariance[:-1, :-1], parts.log_covariance[np.ix_(kept, kept)])
    assert not {"pot.tone", "pot.tone@6"} & set(known.names[:-1])


def test_a_coupling_of_nothing_has_no_logarithm():
    parts = MeasuredParts(
        values={"bridge.coupling": 0.0, "bridge.dcr": 8e3}, names=("bridge.coupling", "bridge.dcr"),
        log_covariance=np.diag([1e-4, 1e-4]), takes=("open",), simulated=False,
    )  # fmt: skip
    assert "bridge.coupling" not in gathered(measured=parts).names
    coupled = MeasuredParts(
        values={"bridge.coupling": -0.5, "bridge.dcr": 8e3}, names=("bridge.coupling", "bridge.dcr"),
        log_covariance=np.array([[0.01, 0.002], [0.002, 1e-2]]), takes=("open",), simulated=False,
    )  # fmt: skip
    known = gathered(measured=coupled)
    place = [known.names.index(name) for name in coupled.names]
    np.testing.assert_allclose(known.log_covariance[np.ix_(place, place)], [[0.04, -0.004], [-0.004, 0.01]], rtol=1e-12)
    assert known.basis["bridge.coupling"].relative_std == pytest.approx(0.2, rel=1e-12)


def test_what_may_be_0_has_its_own_deviation():
    assert Basis(value=0.0, unit="Ω", origin="measured", relative_std=None, std=3.0).is_exact is False
    assert Basis(value=0.0, unit="Ω", origin="measured", relative_std=None).is_exact
