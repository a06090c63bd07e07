"""What an instrument.toml says that positions connect, and where takes say otherwise."""

import numpy as np
import pytest

from fit.answers.wiring.arrangement import joined_text
from fit.answers.wiring.expected import expect_wiring, find_differences, out_of_phase
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import read_wiring
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from tests.drawn_wirings import Guitar, five_positions


# By the instrument's own file: what each layout's positions connect.
@pytest.mark.parametrize(
    ("layout", "switch", "texts"),
    [
        (
            "three-singles",
            "selector",
            ("bridge", "bridge parallel to middle", "middle", "middle parallel to neck", "neck"),
        ),
        ("two-pickups-series", "selector", ("bridge", "bridge parallel to neck", "neck", "bridge in series with neck")),
        ("two-pickups-tone-after", "selector", ("bridge", "bridge parallel to neck", "neck")),
        ("humbucker-modes", "mode", ("bridge", "half of bridge", "half of bridge")),
    ],
)
def test_expected_by_the_instrument(layout, switch, texts):
    expected = expect(layout, switch)
    assert tuple(joined_text(one.joined) for one in expected.positions) == texts
    if layout == "humbucker-modes":
        assert [one.halves for one in expected.positions] == [{}, {"bridge": ""}, {"bridge": ""}]


def expect(layout, switch, change=("", "")):
    instrument = read_instrument(layout_text(layout).replace(*change))
    controls = {f"{switch}={position}": {switch: position} for position in instrument.switch[switch].positions}
    return expect_wiring(instrument, controls)


def test_takes_that_agree_with_the_instrument():
    guitar = Guitar(np.random.default_rng(12), ("bridge", "middle", "neck"), signs={"bridge": -1, "middle": -1, "neck": -1})
    answer = read_wiring(guitar.takes(five_positions()))
    controls = {one.label: {"selector": one.label.removeprefix("selector=")} for one in answer.positions}
    expected = expect_wiring(read_instrument(layout_text("three-singles")), controls)
    assert find_differences(answer, expected) == {}


def test_where_takes_differ_from_the_instrument():
    signs = {"bridge": 1, "middle": 1, "neck": -1}
    guitar = Guitar(np.random.default_rng(13), ("bridge", "middle", "neck"), signs=signs)
    positions = five_positions() | {"bridge-middle": ("series", ["bridge", "middle"]), "neck": ("parallel", ["bridge", "neck"])}
    positions |= {"middle": "middle", "bridge": "bridge"}
    takes = [*guitar.takes(positions), *(guitar.take(name, "alone", "neck") for name in guitar.names)]
    answer = read_wiring(takes)
    instrument = read_instrument(layout_text("three-singles").replace("neck = [", 'alone = [["neck hot", "bus"]]\nneck = ['))
    controls = {one.label: {"selector": one.label.removeprefix("selector=")} for one in answer.positions}
    found = find_differences(answer, expect_wiring(instrument, controls))
    assert found == {
        "selector=bridge-middle": ("bridge in series with middle, by instrument.toml bridge parallel to middle",),
        "selector=neck-middle": ("polarity: neck out of phase, by instrument.toml all in phase",),
        "selector=neck": ("bridge is connected, by instrument.toml it is not",),
    }


def test_out_of_phase_with_most_of_the_pickups():
    guitar = Guitar(np.random.default_rng(14), ("bridge", "neck"), signs={"bridge": -1, "neck": 1})
    answer = read_wiring(guitar.takes({"bridge": "bridge", "neck": "neck", "both": ("parallel", ["bridge", "neck"])}))
    assert out_of_phase(answer.positions[2].readings) == ("neck",)
    assert out_of_phase(answer.positions[0].readings) == ()


def test_signs_by_the_instrument():
    turned = expect("three-singles", "selector", ('["middle hot", "ground"]', '["ground", "middle hot"]'))
    signs = {one.label: {name: reading.sign for name, reading in one.readings.items()} for one in turned.positions}
    assert signs["selector=bridge-middle"] == {"bridge": 1, "middle": -1, "neck": 0}
    assert out_of_phase(turned.positions[1].readings) == ("middle",)
    assert out_of_phase(expect("three-singles", "selector").positions[1].readings) == ()


def test_values_that_are_not_stated_are_usual_ones():
    text = layout_text("two-pickups-series")
    begins = ("dcr", "inductance", "winding_capacitance", "marked")
    bare = read_instrument("\n".join(line for line in text.splitlines() if not line.startswith(begins)))
    controls = {f"selector={position}": {"selector": position} for position in bare.switch["selector"].positions}
    found = expect_wiring(bare, controls)
    assert [joined_text(one.joined) for one in found.positions] == [
        joined_text(one.joined) for one in expect("two-pickups-series", "selector").positions
    ]
    in_series = found.positions[3].readings["bridge"].level
    # two pots of 250 kΩ and an input of 1 MΩ are 111 kΩ, behind 14 kΩ in series, behind 7 kΩ alone
    assert in_series == pytest.approx((1 + 7 / 111.1) / (1 + 14 / 111.1), abs=0.005)


def test_out_of_phase_needs_two_signs():
    plus, minus, none = Reading(is_connected=True, sign=1), Reading(is_connected=True, sign=-1), Reading(is_connected=False)
    untold = Reading(is_connected=True, sign=0)
    assert out_of_phase({"bridge": plus, "middle": minus, "neck": none}) == ("middle",)
    assert out_of_phase({"bridge": minus, "neck": minus}) == ()
    assert out_of_phase({"bridge": minus, "neck": none}) == ()
    assert out_of_phase({"bridge": minus, "neck": untold}) == ()


def test_a_pickup_that_the_instrument_does_not_have():
    guitar = Guitar(np.random.default_rng(17), ("bridge", "piezo"))
    answer = read_wiring(guitar.takes({"bridge": "bridge", "neck": "piezo"}))
    controls = {one.label: {"selector": one.label.removeprefix("selector=")} for one in answer.positions}
    found = find_differences(answer, expect_wiring(read_instrument(layout_text("three-singles")), controls))
    assert found["selector=bridge"] == ("piezo is not in instrument.toml",)


def test_what_was_not_told_is_no_difference():
    guitar = Guitar(np.random.default_rng(18), ("bridge", "middle", "neck"))
    takes = [take for take in guitar.takes(five_positions()) if take.name != "neck-bridge"]
    answer = read_wiring(takes)
    controls = {one.label: {"selector": one.label.removeprefix("selector=")} for one in answer.positions}
    expected = expect_wiring(read_instrument(layout_text("three-singles")), controls)
    assert "selector=bridge" not in find_differences(answer, expected)


def test_a_control_that_the_instrument_does_not_have():
    with pytest.raises(ValueError, match='there is no control "way"'):
        expect_wiring(read_instrument(layout_text("three-singles")), {"way=1": {"way": "1"}})
