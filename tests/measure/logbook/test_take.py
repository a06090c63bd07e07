"""Takes: what they may hold, and the form they are kept in."""

import json
import math
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.disk import reading
from measure.logbook.rig import Input, Rig
from measure.logbook.take import (
    CHOICES,
    Amendment,
    FileStimulus,
    RecordingFile,
    ResponseFile,
    Take,
    decode_take,
    encode_take,
    kept_files,
    with_sha256,
)
from measure.response import Finding
from measure.signal.stimulus import Sweep

TAKE_JSON = Path("takes/open/take.json")
HASH = "0123456789abcdef" * 4
WHOLE = Take(
    name="plus-1n",
    conditions=Conditions(
        method="exciter",
        added="1n ± 1%, 150k±1%",
        controls={"volume": "7", "tone": "35%", "selector": "both"},
        coil_over="bridge",
        coil_moved=True,
        dcr="6.35k±1%",
        temperature_c=24.5,
        note="warm day\nsecond try",
    ),
    time_utc="2026-01-31T12:00:00.000Z",
    sequence=3,
    recordings=(
        RecordingFile(file="recording.wav", sha256=HASH),
        RecordingFile(file="recording-2.wav", pickup_channel=3, reference_channel=None, sha256=HASH),
    ),
    rate_hz=96000,
    stimulus=Sweep(rate_hz=96000, level=0.25),
    rig=Rig(input=Input(resistance="1M ± 1%")),
    simulated=True,
    outcome="usable",
    findings=(Finding(code="hum", severity="warn", figure=-50.0, unit="dBFS", text="Move away from the transformer."),),
    tool_version="0.1.0",
)


def as_read(content):
    with reading(TAKE_JSON, "a take", CHOICES):
        return decode_take(content)


# As the version before conditions became one record wrote it.
OLD = r"""
{
 "schema": "coilsweep.take/1",
 "name": "plus-1n",
 "method": "exciter",
 "kind": "recording",
 "added": "1n ± 1%, 150k±1%",
 "controls": {
  "volume": "7",
  "tone": "35%",
  "selector": "both"
 },
 "coil_over": "bridge",
 "coil_moved": true,
 "note": "warm day\nsecond try",
 "time_utc": "2026-01-31T12:00:00.000Z",
 "sequence": 3,
 "recordings": [
  {
   "file": "recording.wav",
   "pickup_channel": 1,
   "reference_channel": 2,
   "sha256": "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
  },
  {
   "file": "recording-2.wav",
   "pickup_channel": 3,
   "reference_channel": null,
   "sha256": "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
  }
 ],
 "response_file": null,
 "rate_hz": 96000,
 "stimulus": {
  "kind": "sweep",
  "rate_hz": 96000,
  "start_hz": 15.0,
  "stop_hz": 44160.0,
  "duration_s": 3.0,
  "before_s": 0.7,
  "after_s": 0.5,
  "level": 0.25
 },
 "rig": {
  "input": {
   "resistance": "1M ± 1%"
  }
 },
 "dcr": "6.35k±1%",
 "series_resistor": null,
 "temperature_c": 24.5,
 "simulated": true,
 "outcome": "usable",
 "findings": [
  {
   "name": "hum",
   "outcome": "warn",
   "figure": -50.0,
   "unit": "dBFS",
   "advice": "Move away from the transformer."
  }
 ],
 "tool_version": "0.1.0"
}
"""


def test_a_take_reads_back_as_it_was() -> None:
    content = encode_take(WHOLE)
    assert as_read(content) == WHOLE
    document = json.loads(content)
    assert next(iter(document.items())) == ("schema", "coilsweep.take/1")
    assert document["stimulus"] == {
        "kind": "sweep", "rate_hz": 96000, "start_hz": 15.0, "stop_hz": 44160.0, "duration_s": 3.0, "before_s": 0.7,
        "after_s": 0.5, "level": 0.25,
    }  # fmt: skip
    assert document["findings"] == [
        {"name": "hum", "outcome": "warn", "figure": -50.0, "unit": "dBFS", "advice": "Move away from the transformer."}
    ]
    assert (document["added"], document["temperature_c"]) == ("1n ± 1%, 150k±1%", 24.5)
    assert not {"is_after", "item", "operator", "amended"} & set(document)  # older versions know no such keys
    stated = msgspec.structs.replace(WHOLE.conditions, is_after=True, item="red one", operator="me")
    change = {"time_utc": "2026-02-01T12:00:00.000Z", "key": "temperature_c", "before": None, "after": 24.5}
    after = msgspec.structs.replace(WHOLE, conditions=stated, amended=(Amendment(**change),))
    assert as_read(encode_take(after)) == after
    assert json.loads(encode_take(after))["amended"] == [change]
    wrong = json.loads(encode_take(after))
    wrong["amended"][0]["key"] = "sha256"
    with pytest.raises(FileError, match='amended: "sha256" is nothing that a take states'):
        as_read(json.dumps(wrong).encode())


def test_a_take_of_an_older_version_is_still_read() -> None:
    """Written by the version before conditions became one record."""
    old = as_read(OLD.encode())
    assert old == WHOLE
    assert json.loads(encode_take(old)) == json.loads(OLD)


def test_a_take_from_before_temperatures_were_kept_is_still_read() -> None:
    document = json.loads(encode_take(WHOLE))
    assert document.pop("temperature_c") == 24.5
    old = as_read(json.dumps(document).encode())
    assert old.conditions.temperature_c is None
    warm = msgspec.structs.replace(old.conditions, temperature_c=24.5)
    assert msgspec.structs.replace(old, conditions=warm) == WHOLE


def test_a_response_measured_elsewhere_is_a_take_too() -> None:
    take = Take(name="elsewhere", kind="response", response_file=ResponseFile(file="response.s1p"))
    assert as_read(encode_take(take)) == take
    assert kept_files(take) == {"response.s1p": ""}


def test_hashes_are_filled_in_for_every_file() -> None:
    take = Take(
        name="a",
        recordings=(RecordingFile(file="recording.flac"),),
        rate_hz=48000,
        stimulus=FileStimulus(file="stimulus.wav"),
    )
    assert kept_files(take) == {"recording.flac": "", "stimulus.wav": ""}
    hashes = {"recording.flac": HASH, "stimulus.wav": HASH[::-1]}
    assert kept_files(with_sha256(take, hashes)) == hashes


def test_findings_are_kept_and_come_back() -> None:
    findings = [
        Finding(code="clipped", severity="reject", text="37 samples at full scale. Lower the gain.", figure=37.0),
        Finding(code="hum", severity="pass", text="fine", figure=math.nan, unit="dBFS"),
    ]
    take = msgspec.structs.replace(WHOLE, findings=tuple(findings))
    back = as_read(encode_take(take)).findings
    assert [(f.code, f.severity, f.text, f.figure, f.unit) for f in back] == [
        ("clipped", "reject", "37 samples at full scale. Lower the gain.", 37.0, ""),
        ("hum", "pass", "fine", None, "dBFS"),
    ]


CHANGES: list[tuple[dict[str, Any], str]] = [
    ({"name": "../../x"}, 'take.json, "../../x" cannot be a name'),
    ({"schema": "coilsweep.take/2"}, "take.json, schema: invalid enum value .* a newer version of coilsweep may have made it"),
    ({"method": "hammer"}, "take.json, method: invalid enum value .*expected .exciter., .impedance., .plate. or .quiet."),
    ({"outcome": "fine"}, "take.json, outcome: invalid enum value"),
    ({"extra": 1}, "take.json, extra: no such key"),
    ({"coil_moved": "no"}, "take.json, coil_moved: expected bool, got str"),
    ({"added": "1n ± 1000%"}, "below 100 %"),
    ({"added": "a lamp"}, '"a lamp" is not a capacitance'),
    ({"dcr": "1n"}, '"1n" is not a resistance'),
    ({"time_utc": "yesterday"}, 'time_utc "yesterday" is not a time in UTC'),
    ({"time_utc": "2026-01-31T12:00:00+05:00"}, "is not a time in UTC"),
    ({"time_utc": "2026-01-31T12:00:00"}, "is not a time in UTC"),
    ({"rate_hz": 0}, "rate_hz: 0 is not a sample rate"),
    ({"rate_hz": None}, "recordings: a take of recordings needs them and their rate_hz"),
    ({"recordings": []}, "recordings: a take of recordings needs them"),
    ({"kind": "response"}, "response_file: a take that is a response measured elsewhere needs it"),
    ({"recordings": [{"file": "../../etc.wav", "sha256": HASH}]}, "cannot be a name"),
    ({"recordings": [{"file": "take.json", "sha256": HASH}]}, "expected a name that ends in .wav"),
    ({"recordings": [{"file": "a.wav", "sha256": "XYZ"}]}, "sha256 of a.wav: expected 64 hexadecimal digits"),
    ({"recordings": [{"file": "a.wav", "pickup_channel": 2}]}, "expected two different ones, counted from 1"),
    ({"recordings": [{"file": "a.wav", "pickup_channel": 0}]}, "expected two different ones, counted from 1"),
    ({"recordings": [{"file": "a.wav"}, {"file": "a.wav"}]}, "two files of the take have the same name"),
    ({"recordings": [{"file": f"{i}.wav"} for i in range(101)]}, "recordings: 101 is more than the 100"),
    ({"stimulus": {"kind": "noise"}}, "stimulus.kind: invalid value 'noise'"),
    ({"stimulus": {"kind": "file", "file": "/etc/passwd"}}, "cannot be a name"),
    ({"controls": {"volume": 7}}, "controls.*expected str, got int"),
    ({"controls": {"a\x1b[31m": "7"}}, "expected printable text"),
    ({"controls": {"": "7"}}, "expected printable text"),
    ({"coil_over": "x" * 2000}, "expected printable text"),
    ({"note": "\x1b]0;x\x07"}, "note: expected printable text"),
    ({"note": "x" * 20_000}, "note: 20000 is more than the 10000"),
    ({"findings": [{"name": "a", "outcome": "pass", "advice": "\x1b[2J"}]}, "expected printable text"),
    ({"findings": [{"name": "a", "outcome": "pass", "advice": "", "figure": "1"}]},
     r"take.json, findings\[0\].figure: expected float, got str"),
    ({"findings": [{"name": "a", "outcome": "fine", "advice": ""}]}, r"take.json, findings\[0\].outcome: invalid enum value"),
    ({"findings": [{"name": "a", "outcome": "pass"}]}, r"take.json, findings\[0\]: object missing required field advice"),
    ({"findings": [{"code": "a"}]}, "take.json, findings.code: no such key"),
    ({"findings": ["clipped"]}, r"take.json, findings\[0\]: expected object, got str"),
    ({"conditions": {"added": "1n ± 1%"}}, "take.json, conditions: no such key"),
    ({"stimulus": {"kind": "sweep", "rate_hz": 48000}}, "take.json, stimulus: object missing required field start_hz"),
    ({"rig": {"input": {"resistance": "1p"}}}, "input.resistance: .1p. is not a resistance"),
    ({"sequence": -1}, "sequence: -1 is below 0"),
    ({"temperature_c": 297.15}, "temperature_c: 297.15 is not the temperature of a winding, expected -40 to 120"),
    ({"temperature_c": "24C"}, "temperature_c: expected float, got str"),
]  # fmt: skip


def test_a_finding_may_name_a_file_with_any_space_in_its_name() -> None:
    """Some systems write a narrow one before AM and PM, and East Asian ones wide ones."""
    findings = [{"name": "a", "outcome": "warn", "advice": "3.04\u202fPM.wav, \u9732\u3000\u97f3.wav: low"}]
    document = {**json.loads(encode_take(WHOLE)), "findings": findings}
    assert as_read(json.dumps(document).encode()).findings[0].text == findings[0]["advice"]


@pytest.mark.parametrize(("change", "match"), CHANGES, ids=[f"{i}-{next(iter(c))}" for i, (c, _) in enumerate(CHANGES)])
def test_a_take_that_was_tampered_with_gives_one_line(change: dict[str, Any], match: str) -> None:
    document = {**json.loads(encode_take(WHOLE)), **change}
    with pytest.raises(FileError, match=match) as caught:
        as_read(json.dumps(document).encode())
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 700


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"null", id="null"),
        pytest.param(b"[]", id="list"),
        pytest.param(b"{", id="broken"),
        pytest.param(b"\xff\xfe", id="not UTF-8"),
        pytest.param(b"[" * 1_000_000, id="deep"),
        pytest.param(b'{"name": ' * 300_000, id="deep objects"),
        pytest.param(b'{"extra": ' + b"[" * 300_000, id="deep in an unknown field"),
        pytest.param(b'{"rate_hz": 1' + b"0" * 100_000 + b"}", id="huge number"),
        pytest.param(b'{"name": "' + b"x" * 1_000_000 + b'"}', id="huge text"),
        pytest.param(encode_take(WHOLE)[:-40], id="cut off"),
    ],
)
def test_what_is_no_take_gives_one_line(content: bytes) -> None:
    with pytest.raises(FileError, match=r"takes.open.take.json") as caught:
        as_read(content)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 700


@given(st.binary(max_size=200) | st.text(max_size=100).map(str.encode))
def test_any_bytes_give_a_take_or_a_file_error(content: bytes) -> None:
    with pytest.raises(FileError, match=r"take.json"):
        as_read(content)


@given(st.integers(0, len(encode_take(WHOLE)) - 1), st.integers(0, 255))
def test_one_wrong_byte_gives_a_sound_take_or_a_file_error(place: int, byte: int) -> None:
    content = bytearray(encode_take(WHOLE))
    content[place] = byte
    try:
        take = as_read(bytes(content))
    except FileError:
        return
    assert as_read(encode_take(take)) == take
