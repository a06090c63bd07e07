"""Names that every system can keep, and those that none should."""

from pathlib import Path

import pytest

from measure.logbook.naming import check_name, kept_name
from measure.logbook.take import ResponseFile, Take


@pytest.mark.parametrize("name", ["a", "open", "plus-1n", "Take_2.b", "x" * 64, "7"])
def test_names_that_every_system_can_keep(name: str) -> None:
    check_name(name)


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", ".hidden", "-rf", "a/b", "a\\b", "../x", "/etc", "a b", "a\n", "a\x00", "ä", "x" * 65, "con", "NUL.txt",
     "com1", "a.", "a:b"],
)  # fmt: skip
def test_names_that_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="cannot be a name: expected 1 to 64 letters"):
        check_name(name)
    with pytest.raises(ValueError, match="cannot be a name"):
        Take(name=name, kind="response", response_file=ResponseFile(file="response.csv"))


def test_names_of_kept_files() -> None:
    assert kept_name("recording", Path("/some where/My Take.WAV")) == "recording.wav"
    assert kept_name("recording", Path("b.flac"), index=2) == "recording-2.flac"
    assert kept_name("response", Path("b.S1P")) == "response.s1p"
    with pytest.raises(ValueError, match=r"b.mp3 cannot be kept as a recording: expected a file that ends in .wav"):
        kept_name("recording", Path("b.mp3"))
