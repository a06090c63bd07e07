"""Derived data: read again whole, or as if it were not there; the oldest go; a disk that refuses stops nothing."""

import hashlib
import os

import pytest

from measure.logbook import derived
from measure.logbook.derived import keep_derived, read_derived
from measure.logbook.store import open_logbook, result_sha256, write_result

KEY = hashlib.sha256(b"what it rests on").hexdigest()
CONTENT = b"a line\nand bytes \x00\xff"


@pytest.fixture
def logbook(tmp_path):
    return open_logbook(tmp_path)


@pytest.fixture
def kept(logbook):
    keep_derived(logbook, "fit", KEY, CONTENT)
    return logbook.path / "derived" / f"fit-{KEY}"


def test_what_is_kept_is_read_again(logbook, kept):
    assert read_derived(logbook, "fit", KEY) == CONTENT
    assert list(kept.parent.iterdir()) == [kept]  # nothing unfinished is left
    keep_derived(logbook, "fit", KEY, b"")
    assert read_derived(logbook, "fit", KEY) == b""


def test_other_key_and_other_kind_are_not_there(logbook, kept):
    other = hashlib.sha256(b"something else").hexdigest()
    assert read_derived(logbook, "fit", other) is None
    assert read_derived(logbook, "response", KEY) is None
    kept.rename(kept.with_name(f"fit-{other}"))
    assert read_derived(logbook, "fit", other) is None
    kept.with_name(f"fit-{other}").rename(kept.with_name(f"response-{KEY}"))
    assert read_derived(logbook, "response", KEY) is None


@pytest.mark.parametrize("place", [0, 25, 100, -1])
def test_one_bit_turned_is_noticed_wherever_it_is(logbook, kept, place):
    content = bytearray(kept.read_bytes())
    content[place] ^= 1
    kept.write_bytes(bytes(content))
    assert read_derived(logbook, "fit", KEY) is None


@pytest.mark.parametrize("n_bytes", [0, 1, 30, 150, -1])
def test_cut_short_is_as_if_it_were_not_there(logbook, kept, n_bytes):
    kept.write_bytes(kept.read_bytes()[:n_bytes])
    assert read_derived(logbook, "fit", KEY) is None
    keep_derived(logbook, "fit", KEY, CONTENT)
    assert read_derived(logbook, "fit", KEY) == CONTENT


def test_too_large_is_not_read(logbook, kept, monkeypatch):
    monkeypatch.setattr(derived, "LIMIT_BYTES", 50)
    assert kept.exists()
    assert read_derived(logbook, "fit", KEY) is None


@pytest.mark.skipif(os.name != "posix", reason="links")
def test_links_are_not_followed(logbook, kept, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    kept.rename(elsewhere)
    kept.symlink_to(elsewhere)
    assert read_derived(logbook, "fit", KEY) is None
    keep_derived(logbook, "fit", KEY, CONTENT)  # the link is replaced
    assert not kept.is_symlink()
    assert read_derived(logbook, "fit", KEY) == CONTENT
    kept.parent.rename(tmp_path / "folder")
    kept.parent.symlink_to(tmp_path / "folder")
    assert read_derived(logbook, "fit", KEY) is None
    keep_derived(logbook, "fit", KEY, CONTENT)
    assert kept.parent.is_symlink()


def test_a_disk_that_refuses_stops_nothing(logbook):
    (logbook.path / "derived").write_text("a file where the folder should be")
    keep_derived(logbook, "fit", KEY, CONTENT)
    assert read_derived(logbook, "fit", KEY) is None


def test_oldest_of_a_kind_go(logbook, monkeypatch):
    monkeypatch.setattr(derived, "MOST_KEPT", 3)
    keys = [hashlib.sha256(bytes([n])).hexdigest() for n in range(5)]
    keep_derived(logbook, "response", KEY, CONTENT)
    for n, key in enumerate(keys):
        keep_derived(logbook, "fit", key, CONTENT)
        os.utime(logbook.path / "derived" / f"fit-{key}", (1000 + n, 1000 + n))
    assert [read_derived(logbook, "fit", key) is not None for key in keys] == [False, False, True, True, True]
    assert read_derived(logbook, "response", KEY) == CONTENT


def test_what_a_crash_left_is_removed(logbook, kept):
    left = kept.with_name(f".{kept.name}.abc.unfinished")
    left.write_bytes(b"half")
    os.utime(left, (1000, 1000))
    open_logbook(logbook.path)
    assert not left.exists()
    assert kept.exists()


@pytest.mark.parametrize("key", ["", "../../rig", KEY[:-1], KEY.upper()])
def test_key_has_to_be_one(logbook, key):
    with pytest.raises(ValueError, match="is no SHA-256"):
        read_derived(logbook, "fit", key)


def test_fingerprint_of_a_file_of_results(logbook):
    write_result(logbook, "loopback.json", b"{}")
    assert result_sha256(logbook, "loopback.json") == hashlib.sha256(b"{}").hexdigest()
    assert [result_sha256(logbook, name) for name in ("none.json", "../rig.toml", "")] == ["", "", ""]
