"""CONTROL=VALUE: rotations, fractions, positions, tapers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.circuit.controls import AUDIO_HALF_FRACTION, read_settings, split_settings, taper_fraction
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
