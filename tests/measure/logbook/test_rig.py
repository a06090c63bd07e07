"""rig.toml: read, checked, changed without losing the user's comments."""

import os
from pathlib import Path

import msgspec
import pytest

from measure.errors import FileError
from measure.logbook.rig import (
    Calibration,
    Input,
    Interface,
    Reference,
    Rig,
    ValueOrigin,
    card_channel,
    clock_bound,
    input_capacitance,
    input_resistance,
    missing,
    read_rig,
    sense_resistor,
    write_rig,
)

on_posix = pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX systems")
WHOLE = """\
# the rig in the attic
[interface]
device = "two-channel card"   # the small one
host_api = "some api"
rate_hz = 96000
output_channel = 1
pickup_channel = 1
reference_channel = 2

[reference]
kind = "current"
sense_resistor = "100 ± 1%"   # measured

[input]
resistance = "1M ± 1%"
capacitance = "185p ± 3p"
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(WHOLE, encoding="utf-8")
    return path


def test_reads_every_field(file: Path) -> None:
    rig = read_rig(file)
    assert rig == Rig(
        interface=Interface(
            device="two-channel card",
            host_api="some api",
            rate_hz=96000,
            output_channel=1,
            pickup_channel=1,
            reference_channel=2,
        ),
        reference=Reference(kind="current", sense_resistor="100 ± 1%"),
        input=Input(resistance="1M ± 1%", capacitance="185p ± 3p"),
    )
    quantities = [sense_resistor(rig), input_resistance(rig), input_capacitance(rig)]
    assert [(q.value, q.bound, q.unit) for q in quantities if q is not None] == [
        (100.0, 1.0, "Ω"),
        (1e6, 1e4, "Ω"),
        (185e-12, 3e-12, "F"),
    ]
    assert missing(rig, for_sound_card=True) == {}


def test_a_rig_may_be_incomplete_and_says_what_is_missing(file: Path) -> None:
    file.write_text('[reference]\nkind = "loopback"\n', encoding="utf-8")
    rig = read_rig(file)
    assert sense_resistor(rig) is None
    assert input_resistance(rig) is None
    assert input_capacitance(rig) is None
    assert list(missing(rig)) == [
        "input.resistance",
        "input.capacitance",
        "interface.pickup_channel",
        "interface.reference_channel",
        "exciter.corner_hz",
    ]
    assert set(missing(rig, for_sound_card=True)) - set(missing(rig)) == {
        "interface.device",
        "interface.rate_hz",
        "interface.output_channel",
    }
    assert "interface.reference_channel" not in missing(Rig(reference=Reference(kind="none")))
    assert {"reference.kind", "reference.sense_resistor"} <= set(missing(Rig()))


def test_changes_keep_comments_layout_and_everything_else(file: Path) -> None:
    rig = write_rig(file, {"reference.sense_resistor": "47 ± 1%", "exciter.corner_hz": 9e3, "interface.host_api": None})
    assert rig == read_rig(file)
    text = file.read_text(encoding="utf-8")
    expected = WHOLE.replace('"100 ± 1%"', '"47 ± 1%"').replace('host_api = "some api"\n', "")
    assert text.startswith(expected)
    assert text[len(expected) :].split() == ["[exciter]", "corner_hz", "=", "9000.0"]
    assert "# the small one" in text


@pytest.mark.parametrize("written", ["20ppm", "20 ppm", "± 20 ppm", "+-20ppm", "20", 20, 20.0])
def test_clock_is_a_bound_in_millionths(file: Path, written: str | float) -> None:
    assert clock_bound(read_rig(file)) is None
    assert clock_bound(write_rig(file, {"interface.clock": written})) == pytest.approx(20e-6, rel=1e-12, abs=0)
    assert read_rig(file).interface.clock == written


def test_line_ends_and_byte_order_mark_do_no_harm(file: Path) -> None:
    file.write_bytes(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode())
    assert write_rig(file, {"interface.rate_hz": 48000}).interface.rate_hz == 48000
    content = file.read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") == WHOLE.count("\n")


def test_a_new_rig_explains_itself(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    rig = write_rig(path, {"input.resistance": "1M ± 1%", "reference.kind": "current"})
    assert 'clock = "20ppm"' in path.read_text(encoding="utf-8")
    assert read_rig(path) == rig == Rig(input=Input(resistance="1M ± 1%"), reference=Reference(kind="current"))
    assert "input and cable together" in path.read_text(encoding="utf-8")
    assert os.listdir(tmp_path) == ["rig.toml"]  # noqa: PTH208


@on_posix
def test_what_a_link_leads_to_is_left_alone(file: Path, tmp_path: Path) -> None:
    link = tmp_path / "logbook" / "rig.toml"
    link.parent.mkdir()
    link.symlink_to(file)
    before = file.read_bytes()
    write_rig(link, {"interface.rate_hz": 44100})
    assert not link.is_symlink()
    assert read_rig(link).interface.rate_hz == 44100
    assert file.read_bytes() == before


@pytest.mark.parametrize(
    ("key", "value", "match"),
    [
        ("input.resistance", "3p", r"rig.toml, input.resistance: .3p. is not a resistance such as 4k7 ± 1%"),
        ("input.capacitance", "1M ± 1%", "input.capacitance: .* is not a capacitance"),
        ("input.resistance", 1000000, "input.resistance: expected str, got int"),
        ("reference.sense_resistor", "100 ± 200%", "reference.sense_resistor: .*below 100 %"),
        ("reference.kind", "voltage", 'reference.kind: invalid .*expected "current", "loopback" or "none"'),
        ("interface.rate_hz", "96000", "interface.rate_hz: expected int, got str"),
        ("interface.rate_hz", 96, "interface.rate_hz: 96 is not a sample rate, expected 8000 to 768000 Hz"),
        ("interface.rate_hz", True, "interface.rate_hz: expected int, got bool"),
        ("interface.pickup_channel", 0, "interface.pickup_channel: 0 is not a channel, expected 1 to 256"),
        ("interface.pickup_channel", 2, "interface.reference_channel: 2 is the pickup's channel too"),
        ("interface.device", "\x1b[31m", "interface.device: expected at most 200 printable characters"),
        ("interface.device", "x" * 201, "interface.device: expected at most 200 printable"),
        ("exciter.corner_hz", -1.0, "exciter.corner_hz: -1 is not a corner"),
        ("exciter.corner_hz", float("nan"), "exciter.corner_hz: nan is not a corner"),
        ("interface.clock", "fast", 'interface.clock: "fast" is not the bound of a sample clock, expected 0.001 to 1000 ppm'),
        ("interface.clock", "20%", 'interface.clock: "20%" is not the bound'),
        ("interface.clock", 2e-5, "interface.clock: 2e-05 is not the bound"),
        ("interface.clock", "0ppm", 'interface.clock: "0ppm" is not the bound'),
        ("interface.clock", float("nan"), "interface.clock: nan is not the bound"),
        ("interface.clock", True, "interface.clock: expected float"),
        ("input.inductance", "1", "input.inductance: no such key"),
        ("speaker.size", 12, "no key speaker.size in a rig"),
        ("input", "1M", "no key input in a rig"),
        ("input.resistance.bound", "1", "no key input.resistance.bound in a rig"),
    ],
)
def test_a_wrong_change_is_refused_and_nothing_written(file: Path, key: str, value: str | float, match: str) -> None:
    with pytest.raises(ValueError, match=match) as caught:
        write_rig(file, {key: value})
    assert str(caught.value).isprintable()
    assert file.read_text(encoding="utf-8") == WHOLE


@pytest.mark.parametrize(
    ("content", "match"),
    [
        pytest.param(b"[interface\n", "rig.toml is not TOML", id="broken"),
        pytest.param(b"a = 1\n", "rig.toml, a: no such key", id="unknown key"),
        pytest.param(b"input = 3\n", "rig.toml, input: expected object, got int", id="no table"),
        pytest.param(b"[interface]\nrate_hz = 1\nrate_hz = 2\n", "rig.toml is not TOML", id="twice"),
        pytest.param(b"[interface]\nrate_hz = " + b"9" * 90_000 + b"\n", "rig.toml", id="huge number"),
        pytest.param(b"a = " + b"[" * 90_000, "rig.toml is not TOML", id="deep"),
        pytest.param(b'[interface]\ndevice = "\xff"\n', "not UTF-8 text: byte 22 is 0xff", id="not UTF-8"),
        pytest.param(b"# " + b"x" * 200_000, "larger than the 100000 bytes", id="large"),
        pytest.param(b"\x00" * 100, "rig.toml is not TOML", id="zeros"),
        pytest.param(b'[calibration]\ndate = "today"\n', "calibration: object missing required field", id="half a calibration"),
    ],
)
def test_a_damaged_file_gives_one_line(file: Path, content: bytes, match: str) -> None:
    file.write_bytes(content)
    for work in (lambda: read_rig(file), lambda: write_rig(file, {"interface.rate_hz": 48000})):
        with pytest.raises(FileError, match=match) as caught:
            work()
        assert str(caught.value).isprintable()
        assert len(str(caught.value)) < 600
        assert file.read_bytes() == content


@on_posix
def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"rig.toml not read: No such file"):
        read_rig(tmp_path / "rig.toml")
    with pytest.raises(FileError, match="is not a file"):
        read_rig(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="is not a file"):
        read_rig(tmp_path / "pipe")
    with pytest.raises(FileError, match="not written, left as it was: No such file"):
        write_rig(tmp_path / "nowhere" / "rig.toml", {"interface.rate_hz": 48000})


def test_a_calibration_is_read(file: Path) -> None:
    file.write_text(
        WHOLE + '\n[calibration]\ndate = "2026-01-31"\nrate_hz = 96000\ndevice = "two-channel card"\n', encoding="utf-8"
    )
    assert read_rig(file).calibration == Calibration(date="2026-01-31", rate_hz=96000, device="two-channel card")


def test_where_values_are_from(file: Path) -> None:
    """A date may stand as TOML has it or as text; a rig without any of it stays as it was."""
    without = read_rig(file)
    more = '[part."1n ± 1%"]\nsource = "certificate 12"\ndate = "2026-03"\n'
    text = WHOLE.replace('resistance = "1M', 'source = "meter no. 3"\ndate = 2026-03-01\nresistance = "1M') + more
    file.write_text(text, encoding="utf-8")
    rig = read_rig(file)
    assert (rig.input.source, rig.input.date) == ("meter no. 3", "2026-03-01")
    assert rig.part == {"1n ± 1%": ValueOrigin(source="certificate 12", date="2026-03")}
    assert msgspec.structs.replace(rig, input=without.input, part={}) == without
    assert write_rig(file, {"interface.rate_hz": 48000}).part == rig.part
    assert b"source" not in msgspec.json.encode(without)
    assert msgspec.json.decode(msgspec.json.encode(rig), type=Rig) == rig


@pytest.mark.parametrize(
    ("line", "match"),
    [('source = ""', "input.source: expected 1 to 200 printable"), ('date = "yesterday"', 'input.date: "yesterday" is no date')],
)
def test_an_origin_that_cannot_be_told_gives_one_line(file: Path, line: str, match: str) -> None:
    file.write_text(f"[input]\n{line}\n", encoding="utf-8")
    with pytest.raises(FileError, match=match):
        read_rig(file)


@pytest.mark.parametrize(
    ("pickup", "reference", "found"),
    [
        (None, None, (1, 2)),
        (None, 1, (2, 1)),  # the other one of the first two
        (None, 2, (1, 2)),
        (None, 3, (1, 3)),
        (1, None, (1, 2)),
        (2, None, (2, 1)),
        (3, None, (3, 2)),
        (4, 3, (4, 3)),
    ],
)
def test_inputs_that_are_not_stated_are_the_first_two(pickup, reference, found):
    rig = Rig(interface=Interface(pickup_channel=pickup, reference_channel=reference))
    assert (card_channel(rig, "pickup"), card_channel(rig, "reference")) == found
