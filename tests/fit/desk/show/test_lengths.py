"""Lengths, wires and levels as people write them."""

import pytest

from fit.desk.show.lengths import read_length, read_level_v, read_wire, wires_to_choose


# dBu: 1 mW in 600 Ω, 0.7746 V; dBV: 1 V (IEC 60027-3, from memory). Peak and peak to peak of a sine.
@pytest.mark.parametrize(
    ("text", "volt"),
    [
        ("1", 1.0), ("1 V", 1.0), ("0.5Vrms", 0.5), ("250 mV", 0.25), ("1.414214 V peak", 1.0), ("2.828427Vpp", 1.0),
        ("0 dBu", 0.774597), ("4dBu", 1.227653), ("-10 dBV", 0.316228), ("\N{MINUS SIGN}10 dBV", 0.316228),
    ],
)  # fmt: skip
def test_levels(text, volt):
    assert read_level_v(text) == pytest.approx(volt, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "metre", "bound"),
    [
        ("20", 0.02, None), ("20mm", 0.02, None), ("2 cm", 0.02, None), ("0.8in", 0.02032, None), ('0.8"', 0.02032, None),
        ("2.5 mil", 63.5e-6, None), ("63um", 63e-6, None), ("20 ± 0.5", 0.02, 0.025), ("20 mm +- 1%", 0.02, 0.01),
        ("2 cm ± 1 mm", 0.02, 0.05),
    ],
)  # fmt: skip
def test_lengths(text, metre, bound):
    length = read_length(text, of="former")
    assert length.value_m == pytest.approx(metre, rel=1e-12)
    assert length.bound == (None if bound is None else pytest.approx(bound, rel=1e-12))


def test_wires():
    assert read_wire("32awg").name == read_wire("AWG 32").name == "AWG 32"
    assert read_wire("0.2").name == "0.2 mm"
    assert [wire.name for wire in wires_to_choose("AWG")][:2] == ["AWG 38", "AWG 36"]
    assert len(wires_to_choose("mm")) == 13
    assert wires_to_choose("AWG 30")[0].bare_m == pytest.approx(0.2546e-3, abs=1e-7)
