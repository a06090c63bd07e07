"""Notes and frequencies, as typed."""

import pytest

from fit.desk.book.pitch import pitch_hz, pitch_text


# ISO 16: A4 is 440 Hz; a semitone is the twelfth root of 2.
@pytest.mark.parametrize(
    ("typed", "text", "hz"),
    [
        ("A4", "A4", 440.0),
        ("e2", "E2", 440 * 2 ** (-29 / 12)),
        ("Bb3", "B♭3", 440 * 2 ** (-11 / 12)),
        ("F#4", "F♯4", 440 * 2 ** (-3 / 12)),
        ("d#3", "E♭3", 440 * 2 ** (-18 / 12)),
        ("3k", "3k", 3000.0),
        ("100 Hz", "100 Hz", 100.0),
    ],
)
def test_notes_and_frequencies(typed, text, hz):
    assert pitch_text(typed) == text
    assert pitch_hz(typed) == pytest.approx(hz, rel=1e-6)


@pytest.mark.parametrize("typed", ["H9", "0.2", "2M", "loud", "E"])
def test_what_is_neither_is_refused(typed):
    with pytest.raises(ValueError, match="frequency"):
        pitch_hz(typed)
