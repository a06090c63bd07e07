"""The filter from one state of an instrument to another: magnitude, causality, limits, what is refused and noticed."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.listen.impulse import HIGHEST_HZ, LEVEL_HIGH_HZ, LEVEL_LOW_HZ, MOST_BOOST, Side, change_std, design_change
from fit.answers.listen.minimum_phase import (
    design_size,
    filter_gain,
    minimum_phase_spectrum,
)
from fit.answers.predict.prediction import predict_instrument
from fit.circuit.instrument import Instrument
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from measure.quantity import parse_quantity
from tests.draws import some
from tests.found_parts import INSTRUMENT as MARKED
from tests.found_parts import LOAD, found_parts, real_parts

RATES_HZ = [8000, 44100, 192000]
CHANGES = {
    "capacitor": ("one-pickup", {"tone": "3"}, {"tone": "3"}, {"capacitor.tone": parse_quantity("10n", "F")}),
    "tone down": ("one-pickup", {}, {"tone": "5"}, {}),
    "volume down": ("one-pickup", {}, {"volume": "3"}, {}),
    "coil": ("one-pickup", {}, {}, {"bridge.inductance": parse_quantity("2.2", "H")}),
    "blend": ("three-singles-blend", {}, {"blend": "4"}, {}),
    "other pickups": ("three-singles", {"selector": "neck-middle"}, {"selector": "neck", "tone-1": "6"}, {}),
    "series": ("two-pickups-series", {"selector": "bridge"}, {"selector": "series"}, {}),
}


def instrument_of(layout: str) -> Instrument:
    return read_instrument(layout_text(layout))


def change(layout, before, after, changes=None, *, rate_hz=48000, excite=""):
    instrument = instrument_of(layout)
    return design_change(
        Side(instrument=instrument, controls=before, load=LOAD),
        Side(instrument=instrument, controls=after, load=LOAD, changes=changes or {}),
        rate_hz=rate_hz,
        excite=excite,
    )


def opposed(*, inductance_h="3.4", dcr="5k"):
    """Three pickups, the bridge turned round, with a larger inductance and a smaller resistance than the others."""
    text = layout_text("three-singles").replace('["bridge hot", "ground"]', '["ground", "bridge hot"]')
    return read_instrument(text.replace('"2.4"', f'"{inductance_h}"', 1).replace('"6.2k"', f'"{dcr}"', 1))


@pytest.mark.parametrize("rate_hz", some(RATES_HZ, 1))
@pytest.mark.parametrize("case", CHANGES)
def test_filter_has_the_level_of_the_circuit(case, rate_hz):
    layout, before, after, changes = CHANGES[case]
    answer = change(layout, before, after, changes, rate_hz=rate_hz)
    assert answer.limited_hz is None
    is_band = (answer.frequency_hz >= 30) & (answer.frequency_hz <= 15e3)
    off_db = 20 * np.log10(np.abs(answer.given) / np.abs(answer.asked))[is_band]
    assert np.max(np.abs(off_db)) < 0.02  # dB; what is left is the bend at 20 kHz


@pytest.mark.parametrize("case", CHANGES)
def test_filter_has_the_phase_of_the_circuit(case):
    layout, before, after, changes = CHANGES[case]
    answer = change(layout, before, after, changes, rate_hz=96000)
    is_band = (answer.frequency_hz >= 60) & (answer.frequency_hz <= 5e3)
    off_rad = np.angle(answer.given / answer.asked)[is_band]
    delay_s = np.sum(off_rad * answer.frequency_hz[is_band]) / np.sum(answer.frequency_hz[is_band] ** 2) / (2 * np.pi)
    assert abs(delay_s) < 10e-6  # holding the ratio above 20 kHz leaves less than half a sample of a 48 kHz recording
    assert np.max(np.abs(off_rad - 2 * np.pi * delay_s * answer.frequency_hz[is_band])) < np.radians(1.5)


@pytest.mark.long
@pytest.mark.parametrize("case", CHANGES)
def test_changing_back_gives_back_what_was(case):
    layout, before, after, changes = CHANGES[case]
    instrument = instrument_of(layout)
    sides = (
        Side(instrument=instrument, controls=before, load=LOAD),
        Side(instrument=instrument, controls=after, load=LOAD, changes=changes),
    )
    there = design_change(*sides, rate_hz=48000).impulse
    back = design_change(*sides[::-1], rate_hz=48000).impulse
    both = np.convolve(there, back)
    both[0] -= 1.0
    # The limit bends a boost by up to 2⁻³⁰, the end of each is cut at 10⁻⁶ of its size.
    assert np.max(np.abs(both)) < 1e-4


@pytest.mark.parametrize("rate_hz", some(RATES_HZ, 1))
@pytest.mark.parametrize("case", CHANGES)
def test_nothing_sounds_before_the_string_is_struck(case, rate_hz):
    """Pre-ringing is below −180 dB of the peak, what is cut off the end below −100 dB."""
    layout, before, after, changes = CHANGES[case]
    answer = change(layout, before, after, changes, rate_hz=rate_hz)
    n = design_size(rate_hz)
    whole = np.fft.irfft(np.exp(minimum_phase_spectrum(np.abs(np.fft.rfft(answer.impulse, n)))), n)
    early = whole[n // 2 :]  # times before 0 stand at the end
    assert np.max(np.abs(early)) < 1e-9 * np.max(np.abs(whole))
    np.testing.assert_allclose(np.abs(whole[: len(answer.impulse)]), np.abs(answer.impulse), atol=1e-5 * np.max(np.abs(whole)))
    assert np.argmax(np.abs(answer.impulse)) < 1e-3 * rate_hz  # the peak comes within a millisecond
    assert np.max(np.abs(answer.impulse[-5:])) < 1e-5 * np.max(np.abs(answer.impulse))


def test_above_the_band_the_ratio_is_held():
    answer = change("one-pickup", {}, {"tone": "5"}, rate_hz=192000)
    above_hz = np.array([22e3, 26e3, 40e3, 60e3, 90e3])
    level_db = 20 * np.log10(np.abs(filter_gain(answer.impulse, 192000, above_hz)))
    assert np.ptp(level_db[1:]) < 0.02
    asked_db = 20 * np.log10(abs(answer.asked[answer.frequency_hz <= HIGHEST_HZ][-1]))
    assert level_db[-1] == pytest.approx(asked_db, abs=0.1)


def test_boost_is_limited_and_said():
    answer = change("one-pickup", {"tone": "0"}, {"tone": "10"})
    asked_db, given_db = (20 * np.log10(np.abs(curve)) for curve in (answer.asked, answer.given))
    is_level = (answer.frequency_hz >= LEVEL_LOW_HZ) & (answer.frequency_hz <= LEVEL_HIGH_HZ)
    most_db = given_db.max() - 20 * np.log10(MOST_BOOST)
    assert asked_db.max() > given_db.max() + 6  # a tone capacitor of 22 nF has taken far more than that
    assert given_db[is_level].min() - 1 < most_db < given_db[is_level].max() + 1
    assert answer.limited_hz is not None
    low_hz, high_hz = answer.limited_hz
    is_short = given_db < asked_db - 0.7
    assert low_hz <= answer.frequency_hz[is_short].min()
    assert high_hz >= answer.frequency_hz[is_short].max()
    is_free = answer.frequency_hz < low_hz / 1.6
    np.testing.assert_allclose(given_db[is_free], asked_db[is_free], atol=0.05)
    assert [finding.code for finding in answer.findings] == ["boost-limited"]
    assert "30 dB" in answer.findings[0].text
    assert np.all(np.isfinite(answer.impulse))


def test_turning_everything_up_is_no_boost_of_the_colour():
    answer = change("one-pickup", {"volume": "1"}, {"volume": "10"})
    assert answer.limited_hz is None
    assert 20 * np.log10(abs(answer.given[0])) > 30
    assert answer.findings == ()


@pytest.mark.long
def test_each_pickup_has_its_own_ratio():
    instrument = instrument_of("three-singles-blend")
    middle = {"bridge.inductance": parse_quantity("3.3", "H")}
    curves = [
        predict_instrument(instrument, controls, load=LOAD, changes=middle).pickups
        for controls in ({"blend": "10"}, {"blend": "4"})
    ]
    shown_hz = None
    for excite in ("", "bridge", "neck"):
        answer = design_change(
            Side(instrument=instrument, controls={"blend": "10"}, load=LOAD, changes=middle),
            Side(instrument=instrument, controls={"blend": "4"}, load=LOAD, changes=middle),
            rate_hz=48000,
            excite=excite,
        )
        names = [excite] if excite else list(instrument.pickup)
        old, new = (sum(curve[name].gain for name in names) for curve in curves)
        predicted_hz = predict_instrument(instrument, {}, load=LOAD).frequency_hz
        shown_hz = answer.frequency_hz[answer.frequency_hz < 15e3]
        expected = np.exp(np.interp(np.log(shown_hz), np.log(predicted_hz), np.log(np.abs(new / old))))
        np.testing.assert_allclose(
            np.abs(answer.asked[: len(shown_hz)]), expected, rtol=2e-3
        )  # straight lines between 24 an octave
        assert answer.before.pickups == ((excite,) if excite else ("bridge", "neck"))


def test_another_instrument_is_heard_in_place_of_the_first():
    before, after = instrument_of("three-singles"), instrument_of("three-singles-bridge-tone")
    answer = design_change(
        Side(instrument=before, controls={"selector": "bridge"}, load=LOAD),
        Side(instrument=after, controls={"selector": "bridge", "tone-2": "5"}, load=LOAD),
        rate_hz=48000,
    )
    level_db = 20 * np.log10(np.abs(answer.given))
    assert level_db[answer.frequency_hz > 4e3][0] < -8  # the bridge has a tone control now, and it is down
    assert abs(level_db[0]) < 0.2


def test_turned_round_is_turned_round():
    text = layout_text("one-pickup")
    turned = read_instrument(text.replace('["bridge hot", "ground"]', '["ground", "bridge hot"]'))
    answer = design_change(
        Side(instrument=read_instrument(text), controls={}, load=LOAD),
        Side(instrument=turned, controls={}, load=LOAD),
        rate_hz=48000,
    )
    np.testing.assert_allclose(answer.given, -1.0, atol=1e-6)


def test_pickups_against_each_other_keep_the_level_and_lose_the_phase():
    """sL and R of the difference have unlike signs: a zero in the right half plane, whose inverse would not be stable."""
    sides = [Side(instrument=opposed(), controls={"selector": position}, load=LOAD) for position in ("bridge-middle", "middle")]
    answer = design_change(*sides, rate_hz=48000)
    is_band = (answer.frequency_hz >= 30) & (answer.frequency_hz <= 15e3)
    np.testing.assert_allclose(np.abs(answer.given / answer.asked)[is_band], 1.0, atol=3e-3)
    codes = [finding.code for finding in answer.findings]
    assert "phase-replaced" in codes
    figure = next(finding.figure for finding in answer.findings if finding.code == "phase-replaced")
    assert 90 < figure <= 181
    energy = np.cumsum(answer.impulse**2)
    assert energy[int(0.4 * len(energy))] > 0.999 * energy[-1]  # it dies away


def test_cancelling_pickups_are_refused_and_nearly_cancelling_ones_named():
    same = opposed(inductance_h="2.4", dcr="6.2k")
    sides = [Side(instrument=same, controls={"selector": position}, load=LOAD) for position in ("bridge-middle", "middle")]
    # The middle's tone control hangs on neither coil alone, so they are equal and cancel to rounding.
    with pytest.raises(ValueError, match=r"before the change the pickups bridge and middle cancel .* --excite"):
        design_change(*sides, rate_hz=48000)
    with pytest.raises(ValueError, match=r"after the change the pickups bridge and middle cancel"):
        design_change(*sides[::-1], rate_hz=48000)
    assert design_change(*sides, rate_hz=48000, excite="middle").before.pickups == ("middle",)
    nearly = opposed(inductance_h="2.5", dcr="6.2k")
    sides = [Side(instrument=nearly, controls={"selector": position}, load=LOAD) for position in ("bridge-middle", "middle")]
    assert "cancelling" in [finding.code for finding in design_change(*sides, rate_hz=48000).findings]


def test_other_pickups_are_said():
    answer = change("three-singles", {"selector": "bridge"}, {"selector": "neck"})
    assert [finding.code for finding in answer.findings] == ["other-pickups"]
    assert answer.before.pickups == ("bridge",)
    assert answer.after.pickups == ("neck",)


def test_only_marked_values_are_named():
    answer = change("one-pickup", {}, {}, {"capacitor.tone": parse_quantity("10n", "F")})
    assert answer.before.marked == ("capacitor.tone", "pot.tone", "pot.volume")
    assert answer.after.marked == ("pot.tone", "pot.volume")


WRONG = {
    "nothing before": (
        ({"volume": "0"}, {}),
        {},
        "none of the pickups is heard before the change, so there is nothing to divide by",
    ),
    "nothing after": (({}, {"volume": "0"}), {}, "none of the pickups is heard after the change, so there would be silence"),
    "not connected": (
        ({"selector": "neck"}, {"selector": "bridge"}),
        {"excite": "bridge"},
        'the pickup "bridge" is not heard before',
    ),
    "unknown pickup": (({}, {}), {"excite": "top"}, 'there is no pickup "top", the instrument has: bridge, middle, neck'),
    "unknown control": (({"tone": "3"}, {}), {}, 'there is no control "tone"'),
    "unknown position": (({}, {"selector": "6"}), {}, 'there is no position "6"'),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_heard_is_refused(case):
    controls, more, said = WRONG[case]
    with pytest.raises(ValueError, match=said) as error:
        change("three-singles", *controls, **more)
    assert "\n" not in str(error.value)


def test_missing_value_is_named():
    instrument = read_instrument(layout_text("one-pickup").replace('inductance = "4.4"', ""))
    side = Side(instrument=instrument, controls={}, load=LOAD)
    with pytest.raises(ValueError, match=r"no value is known of bridge\.inductance"):
        design_change(side, side, rate_hz=48000)


def test_what_is_heard_has_them_too():
    parts, heard_hz = real_parts(), (300.0, 2000.0, 6000.0)
    before = Side(instrument=MARKED, controls={"tone": "10"}, load=LOAD, measured=parts)
    answer = design_change(before, replace(before, controls={"tone": "0"}), rate_hz=48000)
    assert {"pot.tone.stop_0", "capacitor.tone.loss_tangent", "input.loss_tangent"} <= set(answer.after.measured)
    up, down = (
        predict_instrument(MARKED, {"tone": tone}, load=LOAD, measured=parts, at_hz=heard_hz).pickups["bridge"]
        for tone in ("10", "0")
    )
    for hertz in heard_hz:
        asked = np.interp(np.log(hertz), np.log(answer.frequency_hz), 20 * np.log10(np.abs(answer.asked)))
        assert asked == pytest.approx(down.levels[hertz].value - up.levels[hertz].value, abs=0.02)


@pytest.mark.long
def test_uncertainty_of_a_change_is_the_spread_of_drawn_changes():
    parts, grid = found_parts(), np.geomspace(100.0, 10e3, 12)
    changes = {"capacitor.tone": parse_quantity("10n ± 3%", "F")}

    def sides(measured, after):
        before = Side(instrument=MARKED, controls={"tone": "6"}, load=LOAD, measured=measured)
        return before, replace(before, changes=after)

    std = change_std(*sides(parts, changes), grid)
    rng = np.random.default_rng(4)
    drawn = []
    for logs in rng.multivariate_normal(np.zeros(len(parts.names)), parts.log_covariance, size=400):
        values = {name: parts.values[name] * np.exp(log) for name, log in zip(parts.names, logs, strict=True)}
        new = parse_quantity(f"{10e-9 * (1 + 0.03 * rng.uniform(-1, 1)):.9g}", "F")
        moved = replace(parts, values=values)
        gains = [
            predict_instrument(
                one.instrument, one.controls, load=LOAD, measured=moved, changes=one.changes, at_hz=grid, is_gain_alone=True
            ).pickups["bridge"]
            for one in sides(moved, {"capacitor.tone": new})
        ]
        drawn.append([(gains[1].levels[hz].value - gains[0].levels[hz].value) / 8.685889638 for hz in grid.tolist()])
    assert std == pytest.approx(np.std(drawn, axis=0), rel=0.15, abs=1e-5)  # 400 draws: 4 standard deviations
    assert change_std(*sides(parts, {}), grid).max() < 1e-12


@pytest.mark.parametrize("edge", ["low", "high"])
def test_an_edge_is_off_by_its_interval(edge):
    before = Side(instrument=MARKED, controls={}, load=LOAD, measured=found_parts())
    after = replace(before, controls={"tone": "3"})
    middle, end = (design_change(before, after, rate_hz=48000, edge=one) for one in ("middle", edge))
    half = 1.96 * change_std(before, after, end.frequency_hz)
    sign = 1.0 if edge == "high" else -1.0
    np.testing.assert_allclose(np.log(np.abs(end.asked / middle.asked)), sign * half, atol=2e-4)
