"""instrument.toml: what is read, and the one line that each mistake gets."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.circuit.instrument import stated_values
from fit.circuit.reading import LIMIT_CHARACTERS, read_instrument
from fit.circuit.soundness import part_ends
from tests.instrument_texts import SOUND


def test_everything_is_read():
    instrument = read_instrument(SOUND)
    values = stated_values(instrument)
    assert values["neck.inductance"].quantity.value == 3.1
    assert values["neck.winding_capacitance"].quantity.standard_uncertainty == pytest.approx(5e-12 / 3**0.5, rel=1e-12)
    assert values["neck.eddy_loop_1.corner"].quantity.value == 9e3
    assert values["bridge.second.dcr"].quantity is None
    assert values["bridge.coupling"].quantity.value == 0.3
    assert values["pot.tone"].is_marked
    assert not values["pot.volume"].is_marked
    assert values["capacitor.tone"].quantity.unit == "F"
    assert part_ends(instrument)["pot.tone"] == ("bus", "tone link")
    assert list(instrument.switch["selector"].positions) == ["neck", "both", "split"]


def test_spreads_of_eddy_loops_are_read_beside_loops():
    text = SOUND.replace("[[0.42, 9e3]]", "[[0.42, 9e3]]\neddy_spreads = [[0.35, 9.9e3, 1.2], [0.1, 500, 0.5]]")
    values = stated_values(read_instrument(text))
    names = [key.removeprefix("neck.eddy_") for key in values if key.startswith("neck.eddy_")]
    assert names == [
        "loop_1.coupling",
        "loop_1.corner",
        *(f"spread_{number}.{what}" for number in (1, 2) for what in ("coupling", "corner", "half_width")),
    ]
    assert values["neck.eddy_spread_1.half_width"].quantity.value == 1.2
    assert values["neck.eddy_spread_2.corner"].quantity.value == 500
    assert values["neck.eddy_spread_2.corner"].unit == "Hz"


def test_measured_value_goes_before_the_marked_one():
    text = SOUND.replace('marked = "33n ± 10%"', 'marked = "33n ± 10%"\nvalue = "30.6n ± 1%"')
    stated = stated_values(read_instrument(text))["capacitor.tone"]
    assert stated.quantity.value == pytest.approx(30.6e-9, rel=1e-12)
    assert not stated.is_marked


def test_kind_and_loss_tangent_of_a_capacitor():
    assert read_instrument(SOUND).capacitor["tone"].kind is None
    assert read_instrument(SOUND).capacitor["tone"].loss_tangent is None
    text = SOUND.replace('marked = "33n ± 10%"', 'marked = "33n ± 10% tan 0.4%"\nkind = "film"')
    part = read_instrument(text).capacitor["tone"]
    assert (part.kind, part.loss_tangent) == ("film", pytest.approx(4e-3))
    bare = read_instrument(SOUND.replace('marked = "33n ± 10%"', 'value = "33e-9 ± 10% tan 0.4%"'))  # in SI, without a unit
    assert bare.capacitor["tone"].loss_tangent == pytest.approx(4e-3)
    winding = read_instrument(SOUND.replace('dcr = "7.9k ± 1%"', 'dcr = "7.9k ± 1% at 24C"'))
    assert stated_values(winding)["neck.dcr"].quantity.temperature_c == 24.0


MANY = "\n".join(f"[capacitor.c{i}]\nbetween=['bus','tip']" for i in range(60))
MISTAKES = {
    "node that goes nowhere": (
        'between = ["tone link", "ground"]',
        'between = ["tone nod", "ground"]',
        'pot.tone: point "tone link" goes nowhere',
    ),
    "node of a switch": (
        'neck = [["neck hot", "bus"]]',
        'neck = [["neck hott", "bus"]]',
        'switch.selector: point "neck hott" goes nowhere, only "bus"',
    ),
    "pickup that no position reaches": (
        '["neck hot", "bus"]',
        '["bridge hot", "bus"]',
        'pickup.neck: point "neck hot" goes nowhere',
    ),
    "a part twice": ("[resistor.bleed]", "[capacitor.tone]", "a part is stated twice"),
    "a pot and a switch of one name": (
        "[switch.selector.positions]",
        "[switch.tone.positions]",
        "switch.tone: there is a pot.tone too",
    ),
    "unknown key of a part": ('marked = "33n ± 10%"', 'mark = "33n ± 10%"', r"capacitor\.\*\.mark: no such key"),
    "unknown section": ("[resistor.bleed]", "[resistors.bleed]", "resistors: no such key"),
    "wrong unit": ('"150k ± 5%"', '"150n ± 5%"', 'resistor.bleed.value: "150n ± 5%" is not a resistance'),
    "no quantity": ('"3.1 ± 1%"', '"three"', 'pickup.neck.inductance: "three" is not an inductance'),
    "a number for a text": ('"3.1 ± 1%"', "3.1", r"pickup\.\*\.inductance: expected str, got float"),
    "missing ends": ('ends = ["neck hot", "ground"]', "", r"pickup\.\*\.ends: is missing"),
    "three ends": ('ends = ["neck hot", "ground"]', 'ends = ["a", "b", "c"]', r"pickup\.\*\.ends: expected array of length 2"),
    "joined to itself": ('between = ["bus", "tip"]', 'between = ["bus", "bus"]', 'resistor.bleed: is joined to itself at "bus"'),
    "lug joined to itself": ('cw = "bus"', 'cw = "tip"', 'pot.volume: is joined to itself at "tip", leave one lug out'),
    "one lug": ('ccw = "tone link"\n', "", "pot.tone: 1 lug is used, expected at least two"),
    "unknown taper": ('taper = "linear"', 'taper = "log"', r'pot\.\*\.taper: expected "audio" or "linear"'),
    "unknown kind": (
        'marked = "33n ± 10%"',
        'marked = "33n ± 10%"\nkind = "foil"',
        r'kind: expected "film", "ceramic" or "paper"',
    ),
    "kind of a resistor": (
        'value = "150k ± 5%"',
        'value = "150k ± 5%"\nkind = "film"',
        "resistor.bleed.kind: only a capacitor has",
    ),
    "temperature of a pot": ('"500k ± 1%"', '"500k ± 1% at 24C"', "pot.volume.value: only a winding's dcr has a temperature"),
    "loss tangent of a winding": (
        '"110p ± 5p"',
        '"110p ± 5p tan 1%"',
        "winding_capacitance: only capacitors that are parts have",
    ),
    "loss tangent of a resistor": ('"150k ± 5%"', '"150k ± 5% tan 1%"', "tan is the loss tangent of a capacitor"),
    "loss tangent beyond reason": ('"33n ± 10%"', '"33n ± 10% tan 120%"', "above 0 and below 100 %"),
    "floating output": ('output = "tip"', 'output = "jack"', 'output: point "jack" floats, no part and no switch'),
    "output on the sleeve": ('output = "tip"', 'output = "ground"', 'output: the output cannot be "ground"'),
    "passive no more": ("[[0.42, 9e3]]", "[[0.8, 9e3], [0.7, 1e3]]", "pickup.neck.eddy_loops: 2 loops with Σk² 1.13"),
    "no loop": ("[[0.42, 9e3]]", "[[0.42, nan]]", r"pickup.neck.eddy_loops: \[0.42, nan\] is no loop"),
    "loops and spreads together": (
        "[[0.42, 9e3]]",
        "[[0.8, 9e3]]\neddy_spreads = [[0.7, 1e3, 1.2]]",
        "pickup.neck.eddy_loops and eddy_spreads: 2 loops with Σk² 1.13, expected at most 8 and below 1",
    ),
    "a spread without a width": (
        "[[0.42, 9e3]]",
        "[]\neddy_spreads = [[0.42, 9e3, 0.0]]",
        r"pickup.neck.eddy_spreads: \[0.42, 9000, 0\] is no spread, expected \[k, corner, half-width\] with k between 0 and 1",
    ),
    "a spread that is too wide": ("[[0.42, 9e3]]", "[]\neddy_spreads = [[0.42, 9e3, inf]]", "half-width from 0.001 to 10"),
    "a loop among the spreads": (
        "eddy_loops = [[0.42, 9e3]]",
        "eddy_spreads = [[0.42, 9e3]]",
        r"pickup\.\*\.eddy_spreads\[0\]: expected array of length 3, got 2",
    ),
    "no coupling": ("coupling = 0.3", "coupling = 1.3", "pickup.bridge.second.coupling: 1.3 is no coupling"),
    "no ratio": ("coupling = 0.3", "excitation = inf", "pickup.bridge.second.excitation: inf is no ratio"),
    "node joined to itself in a switch": (
        '["bridge middle", "ground"]]',
        '["ground", "ground"]]',
        'split: "ground" is joined to itself',
    ),
    "no positions": (SOUND[SOUND.index("neck = [[") :], "", "switch.selector.positions: expected 1 to 32 positions, got 0"),
    "name with a dot": ("[resistor.bleed]", '[resistor."a.b"]', "resistor.a.b: a name has at most 40"),
    "name with an escape": ("[resistor.bleed]", '[resistor."a\\u001b[31m"]', r"resistor.a\?\[31m: a name has at most 40"),
    "reserved name": ("[pickup.neck]", "[pickup.input]", "pickup.input: a pickup cannot be called input"),
    "node with a line break": ('ccw = "tone link"', 'ccw = "a\\nb"', "pot.tone: a point has a name of at most 60 printable"),
    "no TOML": ("[pickup.neck]", "[pickup.neck", "not TOML: "),
    "nested too deep": ("eddy_loops = [[0.42, 9e3]]", f"eddy_loops = {'[' * 20000}", "not TOML: nested too deep"),
    "too long": (
        "[pickup.neck]",
        f"#{'x' * LIMIT_CHARACTERS}\n[pickup.neck]",
        "characters are no instrument, expected at most 50000",
    ),
    "no pickup": (SOUND[SOUND.index("[pickup.neck]") : SOUND.index("[pot.volume]")], "", "pickup: none is stated"),
    "too many parts": ("[resistor.bleed]", f"{MANY}\n[resistor.bleed]", "67 parts are too many, expected at most 64"),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_mistakes_are_named_in_one_line(case):
    old, new, said = MISTAKES[case]
    assert old in SOUND
    with pytest.raises(ValueError, match=said) as caught:
        read_instrument(SOUND.replace(old, new))
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300
    assert str(caught.value).isprintable()


def test_output_that_no_way_leads_to():
    text = """
    output = "tip"
    [pickup.neck]
    ends = ["tip", "a"]
    [resistor.r]
    value = "1k"
    between = ["tip", "a"]
    """
    with pytest.raises(ValueError, match='output: point "tip" floats, no way leads from it to "ground"'):
        read_instrument(text)


def test_pickup_straight_to_the_jack_is_sound():
    assert part_ends(read_instrument('[pickup.neck]\nends = ["tip", "ground"]')) == {"pickup.neck": ("tip", "ground")}


@pytest.mark.parametrize("junk", ["\x00", "a = 1e999999", f"a = {'9' * 5000}", "[[pickup]]", "pickup = 3", "a.b.c = 1\na = 2"])
def test_junk_is_refused_in_one_line(junk):
    with pytest.raises(ValueError, match=re.compile("not TOML|no such key|expected object|pickup")) as caught:
        read_instrument(junk)
    assert "\n" not in str(caught.value)


# A slip anywhere in the file: it is read, or refused in one line, and nothing else happens.
@pytest.mark.long
@given(st.integers(0, len(SOUND) - 1), st.integers(0, 12), st.text(max_size=8))
def test_slips_are_read_or_refused_in_one_line(place, n_lost, put):
    text = SOUND[:place] + put + SOUND[place + n_lost :]
    said = ""
    try:
        assert part_ends(read_instrument(text))
    except ValueError as err:
        said = str(err)
    assert len(said.splitlines()) <= 1
    assert len(said) < 700


def test_where_values_are_from():
    text = SOUND.replace('value = "500k ± 1%"', 'value = "500k ± 1%"\nsource = "meter no. 3"\ndate = 2026-03-01')
    assert "meter no. 3" in text
    pot = read_instrument(text).pot["volume"]
    assert (pot.source, pot.date) == ("meter no. 3", "2026-03-01")
    assert (read_instrument(SOUND).pot["volume"].source, read_instrument(SOUND).pickup["neck"].date) == (None, None)
    with pytest.raises(ValueError, match=r'pot.volume.date: "2026-13" is no date, expected one such as 2026-03-01'):
        read_instrument(text.replace("2026-03-01", '"2026-13"'))


@pytest.mark.parametrize(
    ("loop", "is_good"),
    [
        ("[0.42, 1.0]", True),
        ("[0.42, 0.99]", False),
        ("[0.42, 1e9]", True),
        ("[0.42, 1.1e9]", False),
        ("[0.999, 9e3]", True),
        ("[1.0, 9e3]", False),  # would take all of the inductance
        ("[0.0, 9e3]", False),
        ("[-0.1, 9e3]", False),
    ],
)
def test_limits_of_an_eddy_loop(loop, is_good):
    text = SOUND.replace("eddy_loops = [[0.42, 9e3]]", f"eddy_loops = [{loop}]")
    assert loop in text
    if is_good:
        read_instrument(text)
    else:
        with pytest.raises(ValueError, match="neck"):
            read_instrument(text)
