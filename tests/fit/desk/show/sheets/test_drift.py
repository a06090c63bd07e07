"""How far a kept coil has drifted, in words."""

from fit.desk.show.sheets.drift import change_text


def test_changes_are_written_with_their_sign():
    assert change_text(-59.0, 5900.0, "Hz") == "−1 %"
    assert change_text(0.12, 13.4, "dB") == "+0.12 dB"
