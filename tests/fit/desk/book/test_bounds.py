"""Bounds that are taken for granted, and values written again."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.desk.book.bounds import as_text
from measure.quantity import parse_quantity


@given(st.floats(1e-12, 1e-3), st.floats(1e-3, 0.9), st.floats(1e-5, 0.99) | st.none())
def test_capacitance_written_again_is_the_same(value_f, relative, tangent):
    part = parse_quantity("1n ± 1%")
    part = replace(part, value=value_f, bound=relative * value_f, loss_tangent=tangent)
    again = parse_quantity(as_text(part), "F")
    assert again.value == pytest.approx(value_f, rel=1e-8)
    assert again.bound == pytest.approx(part.bound, rel=1e-7)
    assert again.loss_tangent == (None if tangent is None else pytest.approx(tangent, abs=1e-8))


@given(st.integers(-40, 120) | st.none())
def test_resistance_written_again_keeps_its_temperature(celsius):
    part = replace(parse_quantity("7.9k ± 1%"), temperature_c=celsius)
    assert parse_quantity(as_text(part), "Ω").temperature_c == celsius
