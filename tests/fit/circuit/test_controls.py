"""CONTROL=VALUE: rotations, fractions, positions, tapers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.circuit.controls import AUDIO_HALF_FRACTION, Settings, read_settings, split_settings, taper_fraction
from fit.circuit.instrument import Instrument, Pickup
from fit.circuit.reading import read_instrument
from tests.instrument_texts import SOUND

INSTRUMENT = read_instrument(SOUND)


def test_what_is_not_stated_stands_at_10_and_first():
    settings = read_settings(INSTRUMENT, {})
    assert {name: pot.fraction for name, pot in settings.pots.items()} == {"volume": 1.0, "tone": 1.0}
    assert settings.switches == {"selector": "neck"}


def test_rotation_fraction_and_position():
    settings = read_settings(INSTRUMENT, split_settings(["volume=5", "tone = 35 %", "selector=both"]))
    assert settings.pots["volume"].fraction == pytest.approx(AUDIO_HALF_FRACTION, rel=1e-15)
    assert settings.pots["tone"].fraction == 0.35
    assert settings.pots["tone"].label == "35%"
    assert settings.switches == {"selector": "both"}


@pytest.mark.parametrize("taper", ["audio", "linear"])
def test_ends_of_a_taper(taper):
    assert taper_fraction(taper, 0.0) == 0.0
    assert taper_fraction(taper, 10.0) == 1.0


# Common practice, no source: an audio pot has 10 to 15 % of its track at half rotation.
def test_audio_taper_at_half_rotation():
    assert 0.10 <= taper_fraction("audio", 5.0) <= 0.15


@given(st.sampled_from(["audio", "linear"]), st.floats(0, 10), st.floats(0, 10))
def test_tapers_rise(taper, one, other):
    low, high = sorted((one, other))
    assert 0 <= taper_fraction(taper, low) <= taper_fraction(taper, high) <= 1


WRONG = {
    "volumen=7": 'there is no control "volumen", the instrument has: volume, tone, selector',
    "volume=11": 'volume: "11" is neither a rotation from 0 to 10',
    "volume=101%": 'volume: "101%" is neither',
    "volume=-1": 'volume: "-1" is neither',
    "volume=7,5": 'volume: "7,5" is neither',
    "volume=nan": 'volume: "nan" is neither',
    "volume=both": 'volume: "both" is neither',
    "selector=3": 'selector: there is no position "3", expected one of neck, both, split',
    "volume": '"volume" is not CONTROL=VALUE',
    "=7": '"=7" is not CONTROL=VALUE',
    "volume=": '"volume=" is not CONTROL=VALUE',
}


@pytest.mark.parametrize("text", WRONG)
def test_wrong_settings_are_named(text):
    with pytest.raises(ValueError, match=WRONG[text]):
        read_settings(INSTRUMENT, split_settings([text]))


def test_control_set_twice():
    with pytest.raises(ValueError, match="volume is set twice, to 3 and to 4"):
        split_settings(["volume=3", "volume=4"])


# Two straight segments, (0, 0), (5, 0.12) and (10, 1).
@pytest.mark.parametrize(("rotation", "fraction"), [(2.5, 0.06), (5.0, 0.12), (7.5, 0.56), (9.0, 0.824)])
def test_audio_taper_on_its_segments(rotation, fraction):
    assert taper_fraction("audio", rotation) == pytest.approx(fraction, rel=1e-12)


def test_linear_taper_is_in_proportion():
    assert taper_fraction("linear", 3.0) == pytest.approx(0.3, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "label", "fraction"),
    [
        ("7.0", "7", 0.472),
        ("10", "10", 1.0),
        (".5", "0.5", 0.012),
        ("0", "0", 0.0),
        ("100%", "100%", 1.0),
        ("12.5 %", "12.5%", 0.125),
        ("0%", "0%", 0.0),
    ],
)
def test_labels_and_fractions(text, label, fraction):
    pot = read_settings(INSTRUMENT, {"volume": text}).pots["volume"]
    assert pot.label == label
    assert pot.fraction == pytest.approx(fraction, rel=1e-12)


@pytest.mark.parametrize("text", ["10.01", "100.5%", "%", "1e1", "0x1", "7%%", "1234", "0.1234567891"])
def test_numbers_beyond_and_junk(text):
    with pytest.raises(ValueError, match="is neither a rotation from 0 to 10"):
        read_settings(INSTRUMENT, {"volume": text})


def test_settings_are_taken_apart_at_the_first_mark():
    assert split_settings([" selector = a=b ", "volume=7"]) == {"selector": "a=b", "volume": "7"}
    assert split_settings([]) == {}


def test_an_instrument_without_controls():
    bare = Instrument(pickup={"bridge": Pickup(ends=("tip", "ground"))})
    assert read_settings(bare, {}) == Settings()
    with pytest.raises(ValueError, match=r'there is no control "volume", the instrument has: none'):
        read_settings(bare, {"volume": "7"})
