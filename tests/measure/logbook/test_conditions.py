"""What is stated of a take is checked once, when it is stated."""

import msgspec
import pytest

from measure.logbook.conditions import Conditions


@pytest.mark.parametrize(
    ("stated", "match"),
    [
        ({"method": "hammer"}, 'method: "hammer" is none of exciter, impedance, plate, quiet'),
        ({"added": "a lamp"}, '"a lamp" is not a capacitance'),
        ({"dcr": "1n"}, '"1n" is not a resistance'),
        ({"series_resistor": "1n"}, '"1n" is not a resistance'),
        ({"temperature_c": 297.15}, "temperature_c: 297.15 is not the temperature of a winding, expected -40 to 120"),
        ({"controls": {"volume": ""}}, "controls and coil_over: .*expected printable text"),
        ({"controls": {f"pot {i}": "1" for i in range(101)}}, "controls: 101 is more than the 100"),
        ({"coil_over": ""}, "controls and coil_over: .*expected printable text"),
        ({"note": "\x1b[2J"}, "note: expected printable text"),
    ],
)
def test_what_cannot_be_is_refused(stated: dict[str, object], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        Conditions(**stated)
    with pytest.raises(ValueError, match=match):
        msgspec.structs.replace(Conditions(note="a warm day"), **stated)


def test_nothing_stated_is_a_take_by_the_exciter() -> None:
    assert Conditions() == Conditions(method="exciter", added="", controls={}, coil_over=None, coil_moved=False, is_after=False)
