"""What is printed on parts, entry by entry, with what it has to mean and where that is laid down; and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.kinds import KINDS, PRINTED, assume_tolerance, kind_of
from measure.marking import parse_parts, read_part, read_value

IEC_62, TRADE = "IEC 60062", "common practice, no source"
SI = "SI prefix and unit, ISO 80000-1"
K10, J5, M20 = 0.10, 0.05, 0.20

# Kind, as printed or typed, value [F or Ω], relative tolerance, taper, where it is laid down.
MARKINGS = [
    ("capacitor", ".022", 22e-9, None, None, TRADE),
    ("capacitor", "0.047", 47e-9, None, None, TRADE),
    ("capacitor", ".1", 100e-9, None, None, TRADE),
    ("capacitor", ".033K", 33e-9, K10, None, TRADE),
    ("capacitor", "0.05J", 50e-9, J5, None, TRADE),
    ("capacitor", ".1M", 100e-9, M20, None, TRADE),
    ("capacitor", ".033MFD", 33e-9, None, None, TRADE),
    ("capacitor", "0.05 MFD 200V", 50e-9, None, None, TRADE),
    ("capacitor", "0.1MF", 100e-9, None, None, TRADE),
    ("capacitor", ".02 mfd", 20e-9, None, None, TRADE),
    ("capacitor", "500 MMF", 500e-12, None, None, TRADE),
    ("capacitor", "500MMFD", 500e-12, None, None, TRADE),
    ("capacitor", "250\u00b5\u00b5F", 250e-12, None, None, TRADE),
    ("capacitor", "250uuF", 250e-12, None, None, TRADE),
    ("capacitor", "22 kpF", 22e-9, None, None, TRADE),
    ("capacitor", "22n", 22e-9, None, None, SI),
    ("capacitor", "33N", 33e-9, None, None, TRADE),
    ("capacitor", "100N", 100e-9, None, None, TRADE),
    ("capacitor", "22nF", 22e-9, None, None, SI),
    ("capacitor", "0.022uF", 22e-9, None, None, SI),
    ("capacitor", "0.022\u00b5F", 22e-9, None, None, SI),
    ("capacitor", "22000pF", 22e-9, None, None, SI),
    ("capacitor", "22 nF 5%", 22e-9, J5, None, SI),
    ("capacitor", "22n ± 10%", 22e-9, K10, None, SI),
    ("capacitor", ".022 ± .001", 22e-9, 1 / 22, None, TRADE),
    ("capacitor", "3.3e-8", 33e-9, None, None, SI),
    ("capacitor", "n47", 470e-12, None, None, IEC_62),
    ("capacitor", "N47", 470e-12, None, None, TRADE),
    ("capacitor", "2n2", 2.2e-9, None, None, IEC_62),
    ("capacitor", "2n2K", 2.2e-9, K10, None, IEC_62),
    ("capacitor", "4n7J", 4.7e-9, J5, None, IEC_62),
    ("capacitor", "p47", 0.47e-12, None, None, IEC_62),
    ("capacitor", "u1", 100e-9, None, None, IEC_62),
    ("capacitor", "\u00b51", 100e-9, None, None, IEC_62),
    ("capacitor", "104", 100e-9, None, None, IEC_62),
    ("capacitor", "470", 47e-12, None, None, IEC_62),
    ("capacitor", "471", 470e-12, None, None, IEC_62),
    ("capacitor", "229", 2.2e-12, None, None, IEC_62),
    ("capacitor", "472J", 4.7e-9, J5, None, IEC_62),
    ("capacitor", "223K", 22e-9, K10, None, IEC_62),
    ("capacitor", "223k", 22e-9, K10, None, IEC_62),
    ("capacitor", "223 K", 22e-9, K10, None, IEC_62),
    ("capacitor", "473M", 47e-9, M20, None, IEC_62),
    ("capacitor", "333N", 33e-9, 0.30, None, IEC_62),
    ("capacitor", "333G", 33e-9, 0.02, None, IEC_62),
    ("capacitor", "333F", 33e-9, 0.01, None, IEC_62),
    ("capacitor", "479C", 4.7e-12, 0.25 / 4.7, None, IEC_62),
    ("capacitor", "333K 100V", 33e-9, K10, None, IEC_62),
    ("capacitor", "333K/100V", 33e-9, K10, None, IEC_62),
    ("capacitor", "333K100", 33e-9, K10, None, TRADE),
    ("capacitor", "104J 250VDC", 100e-9, J5, None, IEC_62),
    ("capacitor", "250V 104K", 100e-9, K10, None, IEC_62),
    ("capacitor", ".022K400", 22e-9, K10, None, TRADE),
    ("capacitor", "0.047/400", 47e-9, None, None, TRADE),
    ("capacitor", "2A333K", 33e-9, K10, None, TRADE),
    ("capacitor", "2A 333K", 33e-9, K10, None, TRADE),
    ("capacitor", "333K2A", 33e-9, K10, None, TRADE),
    ("capacitor", "2E473J", 47e-9, J5, None, TRADE),
    ("capacitor", "1H104", 100e-9, None, None, TRADE),
    ("capacitor", "2J.022K", 22e-9, K10, None, TRADE),
    ("capacitor", "4700", 4.7e-9, None, None, TRADE),
    ("capacitor", "2200J", 2.2e-9, J5, None, TRADE),
    ("pot", "500K", 500e3, None, None, IEC_62),
    ("pot", "500k", 500e3, None, None, SI),
    ("pot", "1M", 1e6, None, None, SI),
    ("pot", ".5M", 500e3, None, None, SI),
    ("pot", "1Meg", 1e6, None, None, TRADE),
    ("pot", "504", 500e3, None, None, IEC_62),
    ("pot", "254", 250e3, None, None, IEC_62),
    ("pot", "105", 1e6, None, None, IEC_62),
    ("pot", "500000", 500e3, None, None, SI),
    ("pot", "A500K", 500e3, None, "audio", TRADE),
    ("pot", "B250K", 250e3, None, "linear", TRADE),
    ("pot", "500KA", 500e3, None, "audio", TRADE),
    ("pot", "250KB", 250e3, None, "linear", TRADE),
    ("pot", "500K-A", 500e3, None, "audio", TRADE),
    ("pot", "A504", 500e3, None, "audio", TRADE),
    ("pot", "504A", 500e3, None, "audio", TRADE),
    ("pot", "A1M", 1e6, None, "audio", TRADE),
    ("pot", "250k lin", 250e3, None, "linear", TRADE),
    ("pot", "500K LOG", 500e3, None, "audio", TRADE),
    ("pot", "500k audio taper", 500e3, None, "audio", TRADE),
    ("pot", "A500K lin", 500e3, None, "linear", TRADE),
    ("pot", "C500K", 500e3, None, None, TRADE),
    ("pot", "B500K 20%", 500e3, M20, "linear", TRADE),
    ("pot", "A500K ± 10%", 500e3, K10, "audio", TRADE),
    ("pot", "500KM", 500e3, M20, None, IEC_62),
    ("resistor", "223K", 223e3, None, None, IEC_62),  # in E192
    ("pot", "251k ± 1%", 251e3, 0.01, None, SI),
    ("resistor", "472", 4700.0, None, None, IEC_62),
    ("resistor", "472J", 4700.0, J5, None, IEC_62),
    ("resistor", "4701F", 4700.0, 0.01, None, IEC_62),
    ("resistor", "4k7", 4700.0, None, None, IEC_62),
    ("resistor", "4K7J", 4700.0, J5, None, IEC_62),
    ("resistor", "150K", 150e3, None, None, IEC_62),
    ("resistor", "150KJ", 150e3, J5, None, IEC_62),
    ("resistor", "1MK", 1e6, K10, None, IEC_62),
    ("resistor", "R47", 0.47, None, None, IEC_62),
    ("resistor", "470R", 470.0, None, None, IEC_62),
    ("resistor", "1500", 1500.0, None, None, SI),
    ("resistor", "470 ± 5%", 470.0, J5, None, SI),
    ("resistor", "150k 1/4W", 150e3, None, None, TRADE),
    ("dcr", "6.35k ± 1%", 6350.0, 0.01, None, SI),
    ("dcr", "6.35k 1%", 6350.0, 0.01, None, SI),
    ("dcr", "6k35", 6350.0, None, None, IEC_62),
    ("dcr", "6350", 6350.0, None, None, SI),
    ("input resistance", "1M", 1e6, None, None, SI),
    ("input capacitance", "185p ± 3p", 185e-12, 3 / 185, None, SI),
    ("corner", "9k ± 5%", 9e3, 0.05, None, SI),
    ("inductance", "2.4", 2.4, None, None, SI),
]


@pytest.mark.parametrize(("kind", "text", "value", "tolerance", "taper", "source"), MARKINGS)
def test_a_marking_means(kind, text, value, tolerance, taper, source):
    read = read_value(text, kind)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert (read.unit, read.text, read.taper) == (KINDS[kind].unit, text, taper)
    assert read.bound == (None if tolerance is None else pytest.approx(tolerance * value, rel=1e-12))
    assert source
    assert read.understood.isprintable()


@pytest.mark.parametrize(
    ("kind", "text", "told"),
    [
        ("capacitor", ".033K", "33 nF ± 10 %, from .033 and K"),
        ("capacitor", "2A333K", "33 nF ± 10 %, 100 V, from 333, K and 2A"),
        ("capacitor", "3V104K", "100 nF ± 10 %, 3500 V, from 104, K and 3V"),
        ("capacitor", "104K2V", "100 nF ± 10 %, 350 V, from 104, K and 2V"),
        ("capacitor", "104K 2V", "100 nF ± 10 %, 2 V, from 104, K and 2V"),
        ("capacitor", "3V 104K", "100 nF ± 10 %, 3 V, from 104, K and 3V"),
        ("capacitor", "100n 3V", "100 nF, 3 V, from 100n and 3V"),
        ("capacitor", "333K 1.5kV", "33 nF ± 10 %, 1500 V, from 333, K and 1.5kV"),
        ("capacitor", "0J476", "47 \u00b5F, 6.3 V, from 476 and 0J"),
        ("capacitor", "1H104J", "100 nF ± 5 %, 50 V, from 104, J and 1H"),
        ("capacitor", "479C", "4.7 pF ± 0.25 pF, from 479 and C"),
        ("capacitor", "333 ± 5", "33 nF ± 5 %, from 333 and ± 5%"),
        ("capacitor", "2A104 +- 10", "100 nF ± 10 %, 100 V, from 104, 2A and ± 10%"),
        ("capacitor", "22n", ""),
        ("capacitor", "22n ± 10%", ""),
        ("pot", "A500K", "500 kΩ, audio taper, from A and 500K"),
        ("pot", "504", "500 kΩ, from 504"),
        ("resistor", "472J", "4.7 kΩ ± 5 %, from 472 and J"),
    ],
)
def test_what_was_understood_is_said(kind, text, told):
    assert read_value(text, kind).understood == told


@pytest.mark.parametrize(
    ("kind", "text", "doubt"),
    [
        ("pot", "A500K", "on older European ones A is linear"),
        ("pot", "B250K", "on older European ones B is logarithmic"),
        ("pot", "C500K", "neither audio nor linear"),
        ("pot", "4k7", "4.7 kΩ is odd for a pot: below 10 kΩ"),
        ("capacitor", "4u7", "4.7 \u00b5F is odd for a capacitor: above 1 \u00b5F"),
        ("dcr", "6.35 ohm", "6.35 Ω is odd for a winding: below 100 Ω"),
    ],
)
def test_what_is_odd_or_differs_by_region_is_told(kind, text, doubt):
    assert doubt in read_value(text, kind).doubt


@pytest.mark.parametrize("text", ["500k lin", "500k audio", "A500K lin", "22n", "504"])
def test_what_is_plain_raises_no_doubt(text):
    assert read_value(text, "capacitor" if text == "22n" else "pot").doubt == ""


# What no such part has, and what says too little, with what it could mean.
@pytest.mark.parametrize(
    ("kind", "text", "meant"),
    [
        ("capacitor", "33m", "no capacitor has 33 mF; is 33p or 33n meant"),
        ("capacitor", "33mF", "no capacitor has 33 mF; is 33p or 33n meant"),
        ("capacitor", "0.022mF", "22 \u00b5F or, as old parts have it, 0.022 \u00b5F, 22 nF"),
        ("capacitor", "22k", "where k is thousand picofarads, as on some old parts, write 22n"),
        ("capacitor", "220k", "write 220n; as a code 22 pF ± 10 %"),
        ("capacitor", "47", "the unit is missing; is 47p or 47n meant"),
        ("capacitor", "2.2", "the unit is missing; is 2.2n meant"),
        ("capacitor", "104Z", "−20/\\+80 %: write the middle and half the range"),
        ("capacitor", "104S", "−20/\\+50 %"),
        ("capacitor", "471 ± 5", "may be 470 pF ± 5 % .write 470p ± 5%. or ± 5 pF .write 470p ± 5p"),
        ("capacitor", "333 ± 60", "may be 33 nF ± 60 % .write 33n ± 60%. or ± 60 pF .write 33n ± 60p"),
        ("capacitor", "333K ± 5%", "states two tolerances, ± 5% and K"),
        ("capacitor", "333K 5%", "states two tolerances, K and 5%"),
        ("capacitor", "0,022", "write a point, not a comma"),
        ("capacitor", "K", "is not a capacitance"),
        ("capacitor", "4k7 ± 1%", "is not a capacitance"),
        ("capacitor", "thirty-three", "is not a capacitance"),
        ("pot", "500", "no pot has 50 Ω; is 500k meant"),
        ("pot", "504 ohm", "no pot has 504 Ω; is 504k or 500k, the code 504, meant"),
        ("pot", "504 ± 5%", "no pot has 504 Ω; is 504k ± 5% or 500k, the code 504, meant"),
        ("pot", "A250", "no pot has 25 Ω; is 250k meant"),
        ("pot", ".25", "no pot has 250 mΩ; is .25M meant"),
        ("pot", "33n", "is not a resistance"),
        ("resistor", "470", "470 Ω .write 470R., or as a code 47 Ω .write 47R"),
        ("pot", "504K", "504 kΩ .write 504k., or a code with K for ± 10 % .write 500k ± 10%"),
        ("resistor", "472K", "472 kΩ .write 472k., or a code with K for ± 10 % .write 4.7k ± 10%"),
        ("resistor", "47", "47 Ω is odd for a resistor; is 47k meant. Otherwise write the unit"),
        ("dcr", "6.35", "6.35 Ω is odd for a winding; is 6.35k meant. Otherwise write the unit"),
        ("dcr", "6.35 ± 1%", "is 6.35k ± 1% meant"),
        ("dcr", "6.35 ± 0.06", "is 6.35k ± 0.06k meant"),
        ("input resistance", "1", "1 Ω is odd for an input; is 1M meant"),
        ("input capacitance", "185", "no input has 185 F; is 185p meant"),
        ("input capacitance", "185 ± 3", "is 185p ± 3p meant"),
        ("winding capacitance", "110", "no winding has 110 F; is 110p meant"),
        ("inductance", "3100", "is 3100m meant"),
        ("corner", "9", "9 Hz is odd for an exciter; is 9k meant"),
    ],
)
def test_refused_with_what_it_could_mean(kind, text, meant):
    with pytest.raises(ValueError, match=meant) as caught:
        read_value(text, kind)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 220


@pytest.mark.parametrize(
    ("text", "value", "unit", "bound"),
    [
        (".022", 22e-9, "F", None),
        ("n47", 470e-12, "F", None),
        ("33N", 33e-9, "F", None),
        (".033MFD", 33e-9, "F", None),
        ("223K", 22e-9, "F", 2.2e-9),  # 223 kΩ is in no series
        ("104J", 100e-9, "F", 5e-9),
        ("2A333K", 33e-9, "F", 3.3e-9),
        ("333K 100V", 33e-9, "F", 3.3e-9),
        ("150K", 150e3, "Ω", None),
        ("4K7J", 4700.0, "Ω", 235.0),
        ("100RJ", 100.0, "Ω", 5.0),
        ("680p ± 1%", 680e-12, "F", 6.8e-12),
    ],
)
def test_a_part_of_unknown_kind(text, value, unit, bound):
    read = read_part(text)
    assert (read.value, read.unit, read.bound) == (pytest.approx(value), unit, bound if bound is None else pytest.approx(bound))


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("104", "100 nF .write 100n. or 100 kΩ .write 100k"),
        ("470", "47 pF .write 47p. or 470 Ω .write 470R"),
        ("223 ± 5%", "22 nF .write 22n. or 22 kΩ .write 22k"),
        ("223 +- 5%", "22 nF .write 22n. or 22 kΩ .write 22k"),
        ("223+/-5%", "22 nF .write 22n. or 22 kΩ .write 22k"),
        ("332K", "3.3 nF ± 10 % .write 3.3n ± 10%. or 332 kΩ .write 332k"),
        ("22", "it has no unit"),
        ("A500K", "is not a capacitance such as 1n ± 1% or a resistance"),
    ],
)
def test_a_part_that_may_be_either_is_refused_with_both(text, meant):
    with pytest.raises(ValueError, match=meant):
        read_part(text)


# One rule for what is left out, whatever command asks.
def test_a_tolerance_left_out_is_that_of_the_kind():
    typed = {"capacitor": "22n", "pot": "500k", "resistor": "150k", "dcr": "7k9", "input capacitance": "185p"}
    assumed = {kind: assume_tolerance(read_value(text, kind), kind) for kind, text in typed.items()}
    shares = {kind: round(one.bound / one.value, 12) for kind, one in assumed.items()}
    assert shares == {"capacitor": 0.10, "pot": 0.20, "resistor": 0.05, "dcr": 0.05, "input capacitance": 0.10}
    stated = read_value("223J", "capacitor")
    assert assume_tolerance(stated, "capacitor") is stated


def test_a_kind_follows_from_the_name():
    names = {
        "capacitor.tone": "capacitor",
        "pot.volume.marked": "pot",
        "bridge.dcr": "dcr",
        "bridge.second.winding_capacitance": "winding capacitance",
        "input.capacitance": "input capacitance",
        "bridge.eddy_loop_1.corner": None,
    }
    assert {name: kind_of(name) for name in names} == names


@given(st.text(max_size=40) | st.text(alphabet="0123456789.KJMAB nupVR±%/", max_size=14), st.sampled_from(list(KINDS)))
def test_any_text_gives_a_possible_value_or_one_line(text, kind):
    message = ""
    try:
        read = read_value(text, kind)
    except ValueError as err:
        message = str(err)
        read = None
    assert not message or message.isprintable()
    if read is not None:
        low, high = KINDS[kind].possible
        assert low <= read.value <= high
        assert read.bound is None or 0 < read.bound < read.value
        assert kind in PRINTED or not read.understood


def test_parts_in_parallel_keep_order_kinds_and_doubles() -> None:
    parts = parse_parts("680p±1%, 150k±1%,680p ± 1%")
    assert [(part.value, part.unit, part.text) for part in parts] == [
        (680e-12, "F", "680p±1%"),
        (150e3, "Ω", "150k±1%"),
        (680e-12, "F", "680p ± 1%"),
    ]
    assert parse_parts("") == parse_parts("  ") == ()


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("1n,", '"" is not a capacitance'),
        ("1n,,2n", '"" is not a capacitance'),
        ("1n, 4", '" 4" is not a capacitance .* it has no unit'),
        ("1n, 2H", "is in H: expected a capacitor or a resistor"),
        ("1n; 2n", "is not a capacitance"),
        (",".join(["1n"] * 21), "not a list of parts: expected at most 20"),
        pytest.param("1n," * 1_000_000, "not a list of parts", id="3 MB"),
        (None, "NoneType.* is not a list of parts"),
    ],
)
def test_refuses_parts_that_are_none(text: str, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        parse_parts(text)


def test_twenty_parts_are_read_and_no_more():
    assert len(parse_parts(", ".join(["1n ± 1%"] * 20))) == 20
    with pytest.raises(ValueError, match="expected at most 20"):
        parse_parts(", ".join(["1n ± 1%"] * 21))
