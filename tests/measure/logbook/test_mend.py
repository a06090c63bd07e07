"""Takes mended: never a recording touched, never half a change, and what was stated before is kept."""

import json
import os
from pathlib import Path

import numpy as np
import pytest

from measure.errors import FileError
from measure.logbook import disk, mend, store
from measure.logbook.conditions import Conditions
from measure.logbook.mend import amend_take, name_in_results, remove_take, rename_take, restore_take
from measure.logbook.store import Logbook, kept_path, list_takes, open_logbook, read_take, write_result, write_take
from measure.logbook.take import RecordingFile, Take, parse_time

SOUND = np.random.default_rng(1).bytes(3000)


class CrashError(BaseException):
    """The power is gone."""


@pytest.fixture
def logbook(tmp_path: Path) -> Logbook:
    return open_logbook(tmp_path / "bench", create=True)


def keep(logbook: Logbook, name: str, **stated: object) -> Take:
    source = logbook.path.parent / "incoming.wav"
    source.write_bytes(SOUND)
    take = Take(name=name, recordings=(RecordingFile(file="recording.wav"),), rate_hz=48000, conditions=Conditions(**stated))
    return write_take(logbook, take, {"recording.wav": source})


def content(logbook: Logbook) -> dict[str, bytes]:
    return {str(path.relative_to(logbook.path)): path.read_bytes() for path in sorted(logbook.path.rglob("*")) if path.is_file()}


def folders(logbook: Logbook) -> list[str]:
    return sorted(path.name for path in (logbook.path / "takes").iterdir())


def test_what_was_stated_is_changed_and_kept(logbook: Logbook) -> None:
    before = keep(logbook, "plus", added="1n", controls={"tone": "0"})
    after = amend_take(logbook, "plus", {"added": "1.1n ± 1%", "controls": {"tone": "3"}, "temperature_c": 24.0})
    assert read_take(logbook, "plus") == after
    assert [(one.key, one.before, one.after) for one in after.amended] == [
        ("added", "1n", "1.1n ± 1%"),
        ("controls", {"tone": "0"}, {"tone": "3"}),
        ("temperature_c", None, 24.0),
    ]
    assert all(parse_time(one.time_utc) >= parse_time(before.time_utc) for one in after.amended)
    assert kept_path(logbook, after, "recording.wav").read_bytes() == SOUND
    assert (after.time_utc, after.sequence, after.recordings) == (before.time_utc, before.sequence, before.recordings)
    again = amend_take(logbook, "plus", {"note": "warm"})
    assert [one.key for one in again.amended] == ["added", "controls", "temperature_c", "note"]


def test_what_is_so_already_is_no_change(logbook: Logbook) -> None:
    keep(logbook, "plus", added="1n")
    before = content(logbook)
    assert amend_take(logbook, "plus", {"added": "1n"}).amended == ()
    assert content(logbook) == before


@pytest.mark.parametrize("changes", [{"added": "a lamp"}, {"note": "\x1b[2J"}, {"item": ""}, {"operator": "a\nb"}])
def test_what_cannot_be_stated_changes_nothing(logbook: Logbook, changes: dict[str, str]) -> None:
    keep(logbook, "plus")
    before = content(logbook)
    with pytest.raises(ValueError, match=r"is not a capacitance|expected printable text"):
        amend_take(logbook, "plus", changes)
    assert content(logbook) == before


def test_a_take_whose_recording_changed_is_not_amended(logbook: Logbook) -> None:
    keep(logbook, "plus")
    (logbook.path / "takes" / "plus" / "recording.wav").write_bytes(b"other")
    with pytest.raises(FileError, match="has changed since the take was made"):
        amend_take(logbook, "plus", {"note": "x"})


def test_a_crash_while_amending_leaves_the_old_take(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(logbook, "plus", added="1n")
    before = read_take(logbook, "plus")

    def crash(path: Path, content: bytes) -> None:
        path.write_bytes(content[:10])
        raise CrashError

    monkeypatch.setattr(disk, "write_new", crash)
    with pytest.raises(CrashError):
        amend_take(logbook, "plus", {"added": "2n"})
    assert read_take(open_logbook(logbook.path), "plus") == before
    left = logbook.path / "takes" / "plus" / ".take.json.0123456789ab.unfinished"
    left.write_bytes(b"half")  # as after a power cut
    os.utime(left, (0, 0))
    assert read_take(open_logbook(logbook.path), "plus") == before
    assert not left.exists()


def test_a_take_gets_another_name(logbook: Logbook) -> None:
    keep(logbook, "first", added="1n")
    keep(logbook, "other")
    after = rename_take(logbook, "first", "Bru\u0308cke")
    assert after.name == "Brücke"
    assert read_take(logbook, "Bru\u0308cke") == after
    assert [take.name for take in list_takes(logbook).takes] == ["Brücke", "other"]
    assert kept_path(logbook, after, "recording.wav").read_bytes() == SOUND
    with pytest.raises(FileError, match=r'no take "first" .* it was renamed, and is "Brücke" now'):
        read_take(logbook, "first")
    assert rename_take(logbook, "other", "OTHER").name == "OTHER"  # its own name in other letters is free
    assert "OTHER" in folders(logbook)


@pytest.mark.parametrize(
    ("new", "match"),
    [
        ("other", 'there is a take "other" already'),
        ("OTHER", 'there is a take "other" already, and some systems cannot tell it from "OTHER"'),
        ("first", 'the take "first" has that name already'),
        ("../out", "cannot be a name"),
        ("a/b", "cannot be a name"),
        ("a\x07", "cannot be a name"),
        ("nul.txt", "cannot be a name"),
    ],
)
def test_names_that_are_not_free(logbook: Logbook, new: str, match: str) -> None:
    keep(logbook, "first")
    keep(logbook, "other")
    before = content(logbook)
    with pytest.raises((FileError, ValueError), match=match):
        rename_take(logbook, "first", new)
    assert content(logbook) == before


def test_a_new_take_that_some_system_cannot_tell_from_another_is_refused(logbook: Logbook) -> None:
    keep(logbook, "Übung")
    with pytest.raises(FileError, match='there is a take "Übung" already, and some systems cannot tell it from "übung"'):
        keep(logbook, "übung")
    with pytest.raises(FileError, match=r'no take "übung" .*; there is "Übung"'):
        read_take(logbook, "übung")


@pytest.mark.parametrize("looks", ["list", "new", "old"])
def test_a_renaming_that_a_crash_cut_short_is_ended(logbook: Logbook, monkeypatch: pytest.MonkeyPatch, looks: str) -> None:
    keep(logbook, "first")

    def crash(*_: object) -> None:
        raise CrashError

    with monkeypatch.context() as patched:
        patched.setattr(mend, "move_folder", crash)
        with pytest.raises(CrashError):
            rename_take(logbook, "first", "second")
    assert folders(logbook) == ["first"]
    if looks == "list":
        assert [take.name for take in list_takes(logbook).takes] == ["second"]
    elif looks == "old":
        with pytest.raises(FileError, match=r'take "second"|is "second" now'):
            read_take(logbook, "first")
    assert read_take(logbook, "second").name == "second"
    assert folders(logbook) == ["second"]


def test_a_renaming_that_another_look_ended_is_well(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(logbook, "first")
    move = store.move_folder

    def late(source: Path, target: Path, name: str) -> None:
        list_takes(logbook)  # another process, between the two steps
        move(source, target, name)

    monkeypatch.setattr(mend, "move_folder", late)
    assert rename_take(logbook, "first", "second").name == "second"
    assert read_take(logbook, "second").name == "second"


def test_a_folder_moved_by_hand_is_none_that_was_renamed(logbook: Logbook) -> None:
    keep(logbook, "first")
    rename_take(logbook, "first", "second")
    (logbook.path / "takes" / "second").rename(logbook.path / "takes" / "third")
    assert list(list_takes(logbook).damaged) == ["third"]


def test_a_removed_take_comes_back_as_it_was(logbook: Logbook) -> None:
    keep(logbook, "first", added="1n")
    keep(logbook, "other")
    before = content(logbook)
    folder = remove_take(logbook, "first")
    assert folder.parent == logbook.path / "removed"
    assert [take.name for take in list_takes(logbook).takes] == ["other"]
    with pytest.raises(FileError, match=r'no take "first" .* it was removed; coilsweep takes restore first brings it back'):
        read_take(logbook, "first")
    open_logbook(logbook.path)  # tidies up what a crash left, not this
    assert restore_take(logbook, "first") == logbook.path / "takes" / "first"
    assert content(logbook) == before


def test_of_several_removed_under_one_name_the_last_comes_back_first(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    times = iter(["2026-03-01T12:00:00.000Z", "2026-03-02T12:00:00.000Z"])
    for note in ("old", "new"):
        keep(logbook, "first", note=note)
        with monkeypatch.context() as patched:
            patched.setattr(mend, "time_now", lambda: next(times))
            remove_take(logbook, "first")
    restore_take(logbook, "first")
    assert read_take(logbook, "first").conditions.note == "new"
    with pytest.raises(FileError, match='there is a take "first" already'):
        restore_take(logbook, "first")
    rename_take(logbook, "first", "newer")
    restore_take(logbook, "first")
    assert read_take(logbook, "first").conditions.note == "old"
    with pytest.raises(FileError, match=r'no take "first" was removed from .*; there are: none'):
        restore_take(logbook, "first")


def test_a_damaged_take_can_be_laid_aside(logbook: Logbook) -> None:
    keep(logbook, "first")
    (logbook.path / "takes" / "first" / "take.json").write_text("{", encoding="utf-8")
    remove_take(logbook, "first")
    assert list_takes(logbook).damaged == {}


@pytest.mark.skipif(os.name != "posix", reason="links of POSIX systems")
def test_links_are_not_followed(logbook: Logbook, tmp_path: Path) -> None:
    keep(logbook, "first")
    (tmp_path / "elsewhere").mkdir()
    (logbook.path / "takes" / "link").symlink_to(logbook.path / "takes" / "first")
    for step in (lambda: remove_take(logbook, "link"), lambda: amend_take(logbook, "link", {"note": "x"})):
        with pytest.raises(FileError, match="links and devices are not followed"):
            step()
    (logbook.path / "removed").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(FileError, match="links and devices are not followed"):
        remove_take(logbook, "first")
    with pytest.raises(ValueError, match="cannot be a name"):
        remove_take(logbook, "../takes/first")


def test_results_get_the_new_name_where_they_name_takes_alone(logbook: Logbook) -> None:
    fit = {
        "wish": {"names": ["bridge.dcr", "b"], "dcr": None},
        "parts": {"takes": ["bridge.dcr"], "names": ["bridge.dcr"], "values": [1.0]},
        "stated": {"bridge.dcr": "0" * 64},
        "answer": {"curves": [{"take": "bridge.dcr"}], "model": "bridge.dcr"},
    }
    guide = {"entries": [{"key": "take.open", "answer": "bridge.dcr"}, {"key": "part", "answer": "bridge.dcr"}]}
    for name, document in (("fit.json", fit), ("guide-pickup.json", guide), ("other.json", {"take": "b"})):
        write_result(logbook, name, json.dumps(document).encode())
    write_result(logbook, "bad.json", b"{")
    before = (logbook.path / "results" / "fit.json").read_bytes()
    with pytest.raises(FileError, match="no take"), name_in_results(logbook, "bridge.dcr", "neu"):
        read_take(logbook, "neu")
    assert (logbook.path / "results" / "fit.json").read_bytes() == before
    with name_in_results(logbook, "bridge.dcr", "neu") as changed:
        assert changed == ("results/fit.json", "results/guide-pickup.json")
    written = json.loads((logbook.path / "results" / "fit.json").read_bytes())
    assert written == {
        "wish": {"names": ["neu", "b"], "dcr": None},
        "parts": {"takes": ["neu"], "names": ["bridge.dcr"], "values": [1.0]},
        "stated": {"neu": "0" * 64},
        "answer": {"curves": [{"take": "neu"}], "model": "bridge.dcr"},
    }
    written = json.loads((logbook.path / "results" / "guide-pickup.json").read_bytes())
    assert written == {"entries": [{"key": "take.open", "answer": "neu"}, {"key": "part", "answer": "bridge.dcr"}]}
