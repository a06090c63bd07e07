"""Names that every system can keep, and those that none should."""

from pathlib import Path

import pytest

from measure.logbook.naming import alike_name, check_name, kept_name, usual_form
from measure.logbook.take import ResponseFile, Take


@pytest.mark.parametrize(
    "name",
    [
        "a",
        "open",
        "plus-1n",
        "Take_2.b",
        "x" * 64,
        "7",
        "ä",
        "Brücke-offen",
        "гриф",
        "首拾音器",
        "ネック",
        "गले-1n",
        "صقر",
        "naïve",
    ],
)
def test_names_that_every_system_can_keep(name: str) -> None:
    check_name(name)


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", ".hidden", "-rf", "a/b", "a\\b", "../x", "/etc", "a b", "a\n", "a\x00", "a\u0308", "\u0301a", "½", "²",
     "a\u200db", "a\u202eb", "\u3164", "a\ufe0f", "a\U000e0101", "\ud800", "漢" * 64 + "字", "\U0001d49c" * 51, "x" * 65,
     "con", "NUL.txt", "com1", "a.", "a:b"],
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


def test_an_accent_typed_as_a_character_of_its_own_is_the_same() -> None:
    assert usual_form("Bru\u0308cke") == "Brücke"
    check_name(usual_form("Bru\u0308cke"))


@pytest.mark.parametrize(
    ("name", "alike"), [("OPEN", "open"), ("Äpfel", "äpfel"), ("STRASSE", "straße"), ("plus-1N", "plus-1n"), ("open", "open")]
)
def test_names_that_some_system_keeps_in_one_place(name: str, alike: str) -> None:
    assert alike_name(name, ["other", alike]) == alike
    assert alike_name(name, ["other"]) is None


@pytest.mark.parametrize("code", [0x034F, 0x180B, 0x3164, 0xFE00, 0xFE0F, 0xE0100, 0xE01EF, 0xFFA0])
def test_letters_and_marks_without_a_shape_are_refused(code):
    """Variation selectors (Unicode 15, 23.4) and fillers: two names would look the same."""
    with pytest.raises(ValueError, match="name"):
        check_name(f"a{chr(code)}b")
