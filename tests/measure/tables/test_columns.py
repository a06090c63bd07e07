"""What columns are by the line that names them, and the complex values they make."""

import pytest

from measure.tables.columns import column_words, recognise_columns


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Re(Z)/Ohm", ["re", "z", "ohm"]),
        ("|H| (dB)", ["magnitude", "db"]),
        ("f/kHz", ["f", "khz"]),
        ("f (MHz)", ["f", "megahz"]),
        ("Z [MΩ]", ["z", "megohm"]),
        ("Z [\N{OHM SIGN}]", ["z", "ohm"]),
        ("u (σ)", ["u", "sigma"]),
    ],
)
def test_words_of_a_column(name, words):
    assert column_words(name) == words


def test_scales_of_frequency_and_ohms():
    columns, _ = recognise_columns(["f (MHz)", "Re Z (MΩ)", "Im Z (mΩ)"])
    assert (columns["frequency"].scale, columns["real"].scale, columns["imaginary"].scale) == (1e6, 1e6, 1e-3)
