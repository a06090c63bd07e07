"""Numbers with a unit and a range, as typed."""

import click
import pytest

from fit.desk.command.amounts import Amount

RATE = Amount("Hz", 8000, 768000, is_whole=True)


@pytest.mark.parametrize(
    ("typed", "amount", "value"),
    [
        ("48000", RATE, 48000),
        ("48k", RATE, 48000),
        ("44.1kHz", RATE, 44100),
        ("96 kHz", RATE, 96000),
        ("20", Amount("Hz", 1), 20.0),
        ("3 s", Amount("s", 0.5, 300), 3.0),
        ("3", Amount("s", 0.5, 300), 3.0),
        ("-60 dB", Amount("dB", -120, 0), -60.0),
        ("\u221260", Amount("dB", -120, 0), -60.0),
        ("24C", Amount("°C", -40, 150), 24.0),
        ("24 °C", Amount("°C", -40, 150), 24.0),
        ("0.5", Amount(above=0, high=1), 0.5),
        ("5e-1", Amount(above=0, high=1), 0.5),
    ],
)
def test_what_people_type_is_read(typed, amount, value):
    found = amount.convert(typed, None, None)
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize(
    ("typed", "amount", "message"),
    [
        ("4k", RATE, "4k is too low: expected 8 kHz to 768 kHz"),
        ("1M", RATE, "1M is too high: expected 8 kHz to 768 kHz"),
        ("44100.5", RATE, '"44100.5" is not a frequency such as 20k: expected 8 kHz to 768 kHz'),
        ("48kk", RATE, "is not a frequency"),
        ("1.2.3", RATE, "is not a frequency"),
        ("nan", Amount(), '"nan" is not a number'),
        ("1e999", Amount(), "is not a number"),
        ("0", Amount(above=0, high=1), "0 is too low: expected more than 0, at most 1"),
        ("0.2", Amount("Hz", 1), "too low: expected at least 1 Hz"),
        ("5", Amount("dB", -120, 0), "too high: expected \u2212120 dB to 0 dB"),
        ("3k", Amount("s", 0.5), "is not a time in seconds"),
        ("", Amount(high=3), '"" is not a number: expected at most 3'),
        ("1", Amount(above=1), "too low: expected more than 1"),
    ],
)
def test_what_is_wrong_names_the_range(typed, amount, message):
    with pytest.raises(click.BadParameter, match=r".*") as error:
        amount.convert(typed, None, None)
    assert message in error.value.message


def test_defaults_go_through():
    assert Amount("Hz", 1).convert(15.0, None, None) == 15.0
    assert RATE.convert(48000, None, None) == 48000
