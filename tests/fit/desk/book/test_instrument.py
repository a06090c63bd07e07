"""instrument.toml is read or named in one line; what the jack sees comes from the rig."""

import pytest

from fit.circuit.layouts import layout_text
from fit.desk.book.instrument import LIMIT_BYTES, load_of_rig, read_instrument_file
from measure.errors import FileError
from measure.logbook.rig import Input, Rig

RIG = Rig(input=Input(resistance="1M ± 1%", capacitance="470p ± 10p"))


def test_a_file_is_read_with_or_without_a_byte_order_mark(tmp_path):
    path = tmp_path / "instrument.toml"
    for mark in (b"", b"\xef\xbb\xbf"):
        path.write_bytes(mark + layout_text("one-pickup").encode())
        assert list(read_instrument_file(path).pickup) == ["bridge"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe", "is not UTF-8 text: byte 0 is 0xff"),
        (b"[pickup", r"instrument\.toml, "),
        (b"output = 3", r"instrument\.toml, "),
        (b"#" * (LIMIT_BYTES + 1), r"instrument\.toml"),
    ],
)
def test_what_is_no_instrument_is_named_in_one_line(tmp_path, content, says):
    path = tmp_path / "instrument.toml"
    path.write_bytes(content)
    with pytest.raises(FileError, match=says) as err:
        read_instrument_file(path)
    assert "\n" not in str(err.value)


@pytest.mark.parametrize(
    ("stated", "options"),
    [
        ({}, "--input-resistance … --input-capacitance …"),
        ({"resistance": "1M ± 1%"}, "coilsweep rig --input-capacitance …"),
        ({"capacitance": "1n ± 1%"}, "coilsweep rig --input-resistance …"),
    ],
)
def test_a_rig_that_does_not_state_the_input_is_told_how_to(stated, options):
    with pytest.raises(ValueError, match=options):
        load_of_rig(Rig(input=Input(**stated)))


def test_the_load_is_input_and_cable():
    load = load_of_rig(RIG)
    assert {name: one.value for name, one in load.items()} == {
        "input.resistance": 1e6,
        "input.capacitance": pytest.approx(470e-12),
    }
