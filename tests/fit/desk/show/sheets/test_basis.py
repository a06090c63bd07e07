"""What a prediction rests on, value by value: how sure, how known, and no digits that nobody measured."""

from dataclasses import replace

import pytest

from fit.answers.parts.known import Basis
from fit.answers.predict.prediction import predict_instrument
from fit.desk.show.sheet import Sheet, Table
from fit.desk.show.sheets.basis import basis_section, sureness_text, value_text
from fit.desk.show.terminal import lines
from tests.found_parts import INSTRUMENT, LOAD, found_parts

PREDICTED = {
    with_tolerance: predict_instrument(
        INSTRUMENT, {"tone": "6"}, load=LOAD, measured=found_parts(), with_tolerance=with_tolerance
    )
    for with_tolerance in (False, True)
}
PLAIN = predict_instrument(INSTRUMENT, {}, load=LOAD)


def rows_of(answer):
    (table,) = [block for block in basis_section(answer).blocks if isinstance(block, Table)]
    return {row[0]: row[1:] for row in table.rows}


def text_of(answer):
    return " ".join(lines(Sheet(title="x", blocks=(basis_section(answer),)), with_details=True, width=1000))


def test_every_value_has_a_row_with_how_it_is_known():
    rows = rows_of(PREDICTED[True])
    assert set(rows) == set(PREDICTED[True].basis)
    assert rows["bridge.inductance"][-1] == "measured"
    assert rows["pot.volume"][1:] == ("± 2 %", "measured")  # 1.96 · 1 %
    assert rows_of(PLAIN)["capacitor.tone"][-1] == "only marked"
    assert rows_of(PLAIN)["input.resistance"][1:] == ("± 1 %", "stated")  # the bound as it was written


def test_what_was_measured_names_its_takes():
    assert "measured: by the last fit, takes open, tone-5, ± of 95 %; simulated data" in text_of(PREDICTED[True])
    assert "simulated" not in text_of(replace(PREDICTED[True], measured=replace(found_parts(), simulated=False)))
    assert "by the last fit" not in text_of(PLAIN)


def test_claims_count_or_are_said_to_be_left_out():
    counted = predict_instrument(INSTRUMENT, {}, load=LOAD, with_tolerance=True)
    assert "--no-tolerance leaves them out" in text_of(counted)
    assert "left out of the intervals above, which are too narrow by that" in text_of(PLAIN)
    assert rows_of(PLAIN)["capacitor.tone"][1] == "not counted"


@pytest.mark.parametrize(
    ("half", "text"),
    [(0.0, "exact"), (1e-10, "exact"), (0.021, "± 2.1 %"), (0.49, "± 49 %"), (0.5, "× or ÷ 1.6"), (1e6, "× or ÷ 4.9e+08")],
)
def test_how_sure_a_value_is(half, text):
    assert sureness_text(half) == text


@pytest.mark.parametrize(
    ("key", "basis", "text"),
    [
        ("pot.tone", Basis(value=512345.0, unit="Ω", origin="stated", relative_std=0.01), "512.3 kΩ"),
        ("pot.tone", Basis(value=512345.0, unit="Ω", origin="measured", relative_std=0.1), "510 kΩ"),
        ("pot.tone@5", Basis(value=0.12345, unit="", origin="stated", relative_std=None), "12.3 %"),
        ("capacitor.tone.loss_tangent", Basis(value=0.0123, unit="", origin="stated", relative_std=None), "1.23 %"),
    ],
)
def test_a_measured_value_has_no_more_digits_than_its_interval_allows(key, basis, text):
    assert value_text(key, basis) == text


def test_an_interval_that_reaches_far_is_told_by_its_ends():
    """Ohms left at the end of a pot: 38 ± 30, not ± 80 %."""
    wide = Basis(value=38.0, unit="Ω", origin="measured", relative_std=None, std=15.0)
    answer = replace(PLAIN, basis={"pot.tone.stop_0": wide})
    assert rows_of(answer)["pot.tone.stop_0"][1] == "8 … 68 Ω"
