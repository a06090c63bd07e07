"""Loopbacks on the disk: exact both ways, named by their content, verified, and what rig.toml says of them."""

import hashlib
import json
from dataclasses import fields, replace

import numpy as np
import pytest

from measure.errors import FileError
from measure.logbook.curves import (
    KeptFile,
    decode_loopback,
    encode_loopback,
    keep_result,
    read_loopback,
    state_calibration,
)
from measure.logbook.rig import read_rig, write_rig
from measure.logbook.store import open_logbook, rig_path
from measure.transfer.calibration import Calibration, Curve
from tests.same import assert_same

DATE = "2026-03-01T12:00:00.000Z"


def curve(seed):
    rng = np.random.default_rng(seed)
    value = rng.standard_normal(9) + 1j * rng.standard_normal(9)
    return Curve(frequency_hz=np.cumsum(rng.uniform(1, 999, 9)), value=value, relative_std=rng.uniform(1e-9, 1e-3, 9))


WHOLE = Calibration(
    channels=curve(1),
    card=curve(2),
    gain_std=2.1e-4,
    delay_std_s=1.05e-8,
    rate_hz=96000,
    device="card",
    pickup_channel=2,
    reference_channel=1,
    time_utc=DATE,
    latency_s=0.0123,
    floor_dbfs=(-97.1, None),
    recording_sha256=("0" * 64,),
    simulated=True,
)
BARE = Calibration(channels=curve(3), gain_std=0.1, delay_std_s=1e-9, rate_hz=44100, time_utc=DATE)


@pytest.fixture
def logbook(tmp_path):
    return open_logbook(tmp_path)


@pytest.mark.parametrize("calibration", [WHOLE, BARE])
def test_a_loopback_comes_back_to_the_last_bit(calibration):
    back = decode_loopback(encode_loopback(calibration), "a.json")
    for field in fields(Calibration):
        assert_same(getattr(back, field.name), getattr(calibration, field.name), field.name)


def test_the_file_is_json_with_a_line_for_each_field():
    content = encode_loopback(WHOLE)
    plain = json.loads(content)
    assert plain["schema"] == "coilsweep.loopback/1"
    assert set(plain) == {"schema", *(field.name for field in fields(Calibration))}
    assert plain["channels"]["imaginary"] == WHOLE.channels.value.imag.tolist()
    assert content.endswith(b"\n")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"schema": "coilsweep.loopback/2"}, "schema: .*expected coilsweep.loopback/1"),
        ({"gain_std": None}, "gain_std: expected float"),
        ({"gain_std": 2.0}, "gain_std of a calibration out of its range"),
        ({"delay_std_s": 0.0}, "delay_std_s of a calibration out of its range"),
        ({"more": 1}, "more: no such key"),
        ({"time_utc": "yesterday"}, "yesterday"),
        ({"channels": None}, "channels"),
        ({"card": {"frequency_hz": [1.0]}}, "missing required field"),
    ],
)
def test_what_is_damaged_is_one_line_with_the_file(change, said):
    plain = json.loads(encode_loopback(WHOLE)) | change
    with pytest.raises(FileError, match=rf"^a\.json.*{said}") as caught:
        decode_loopback(json.dumps(plain).encode(), "a.json")
    assert "\n" not in str(caught.value)


def test_parts_of_a_curve_have_one_length():
    plain = json.loads(encode_loopback(WHOLE))
    plain["card"]["imaginary"].pop()
    with pytest.raises(FileError, match="card: a curve has 9 real and 8 imaginary parts"):
        decode_loopback(json.dumps(plain).encode(), "a.json")
    for key in ("gain_std", "schema"):
        less = {name: value for name, value in json.loads(encode_loopback(WHOLE)).items() if name != key}
        with pytest.raises(FileError, match=f"missing required field {key}"):
            decode_loopback(json.dumps(less).encode(), "a.json")
    for content in (b"", b"[]", b"{", b"null"):
        with pytest.raises(FileError, match=r"^a\.json"):
            decode_loopback(content, "a.json")


def test_a_result_is_named_by_kind_day_and_content(logbook):
    kept = keep_result(logbook, "input", b"{}", date=DATE)
    sha256 = hashlib.sha256(b"{}").hexdigest()
    assert kept == KeptFile(name=f"input-2026-03-01-{sha256[:12]}.json", sha256=sha256)
    assert (logbook.path / "results" / kept.name).read_bytes() == b"{}"
    assert keep_result(logbook, "input", b"{}", date=DATE) == kept
    assert keep_result(logbook, "input", b"[]", date=DATE).name != kept.name


def stated(logbook, calibration=WHOLE, *, device="card", date=DATE):
    kept = keep_result(logbook, "loopback", encode_loopback(calibration), date=date)
    rig = state_calibration(logbook, "loopback", kept, date=date, rate_hz=96000, device=device, changes={})
    return kept, rig


def test_the_loopback_that_a_rig_names_is_read(logbook):
    assert read_loopback(logbook, None) is None
    write_rig(rig_path(logbook), {"interface.rate_hz": 96000})
    assert read_loopback(logbook, read_rig(rig_path(logbook))) is None
    _, rig = stated(logbook)
    np.testing.assert_array_equal(read_loopback(logbook, rig).channels.value, WHOLE.channels.value)


def test_a_loopback_that_changed_or_went_is_refused(logbook):
    kept, rig = stated(logbook)
    path = logbook.path / "results" / kept.name
    path.write_bytes(path.read_bytes().replace(b"0.0123", b"0.0124"))
    with pytest.raises(FileError, match="has changed since the calibration: run coilsweep calibrate loopback again"):
        read_loopback(logbook, rig)
    path.unlink()
    with pytest.raises(FileError, match="not read: No such file"):
        read_loopback(logbook, rig)


def test_an_older_rig_keeps_its_own_loopback(logbook):
    _, older = stated(logbook)
    _, newer = stated(logbook, replace(WHOLE, latency_s=0.5), date="2026-04-01T12:00:00.000Z")
    assert read_loopback(logbook, older).latency_s == 0.0123
    assert read_loopback(logbook, newer).latency_s == 0.5


def test_what_was_calibrated_with_another_card_is_no_longer_named(logbook):
    _, rig = stated(logbook)
    found = KeptFile(name="input-2026-03-02-0.json", sha256="0" * 64)
    common = {"date": "2026-03-02T00:00:00.000Z", "rate_hz": 48000}
    same = state_calibration(logbook, "input", found, **common, device="card", changes={"input.resistance": "1M ± 1%"})
    assert same.input.resistance == "1M ± 1%"
    assert (same.calibration.loopback, same.calibration.input) == (rig.calibration.loopback, found.name)
    assert same.calibration.rate_hz == 96000  # the loopback's: an input's holds at any
    assert same.calibration.date == common["date"]
    other = state_calibration(logbook, "input", found, **common, device="another", changes={})
    assert (other.calibration.loopback, other.calibration.loopback_sha256) == (None, None)
    assert (other.calibration.input, other.calibration.device, other.calibration.rate_hz) == (found.name, "another", 48000)
    assert read_rig(rig_path(logbook)) == other


def test_a_name_that_leaves_the_folder_is_refused(logbook):
    _, rig = stated(logbook)
    path = rig_path(logbook)
    path.write_text(path.read_text(encoding="utf-8").replace(rig.calibration.loopback, "../rig.toml"), encoding="utf-8")
    with pytest.raises(FileError, match=r'calibration.loopback of the rig: "\.\./rig\.toml" cannot be a name'):
        read_loopback(logbook, read_rig(path))
