"""Coils of an instrument's network: what is stated of them, and derivatives by it."""

import hypothesis
import numpy as np

from fit.circuit.coil import CoilValues, coil_elements
from fit.circuit.instrument import Instrument, Pickup, stated_values
from fit.circuit.winding import stated_coil
from tests import laws


# What instrument.toml states of a coil, loops and spreads, is the coil that the fit has, at frequencies to the right too.
@laws.drawn
@hypothesis.given(laws.coils())
def test_stated_coil_is_the_coil_of_the_fit_and_passive(coil: CoilValues) -> None:
    losses = [(profile, share**0.5, 1 / (2 * np.pi * tau_s), width) for share, tau_s, width, _, profile in coil.eddies]
    pickup = Pickup(
        ends=("tip", "ground"),
        eddy_loops=tuple((k, hertz) for profile, k, hertz, _ in losses if profile == "loop"),
        eddy_spreads=tuple((k, hertz, width) for profile, k, hertz, width in losses if profile == "spread"),
    )
    instrument = Instrument(pickup={"bridge": pickup})
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"bridge.inductance": coil.inductance_h, "bridge.dcr": coil.resistance_ohm}
    stated = stated_coil(instrument, "bridge", values, laws.S_RIGHT).impedance
    expected = coil_elements([coil], laws.S_RIGHT).impedance[0, 0]
    np.testing.assert_allclose(stated, expected, rtol=1e-12, atol=1e-12 * coil.resistance_ohm)
    assert np.all(stated.real >= coil.resistance_ohm - 1e-12 * np.abs(stated))
