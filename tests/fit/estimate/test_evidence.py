"""What is known of the takes: temperatures of the winding by copper's 0.393 % a kelvin, and where a placement begins."""

import numpy as np
import pytest

from fit.estimate.evidence import Evidence, TakeEvidence, dcr_in_takes, warmth_of
from measure.quantity import Quantity, parse_quantity
from tests.toy_problem import toy_evidence

RESPONSE = toy_evidence(10).takes[0].response


def evidence_at(*celsius):
    takes = tuple(TakeEvidence(name=f"take {n}", response=RESPONSE, temperature_c=each) for n, each in enumerate(celsius))
    return Evidence(
        takes=takes, input_resistance=parse_quantity("1M ± 1%", "Ω"), input_capacitance=parse_quantity("185p ± 1%", "F")
    )


def dcr(celsius=None, std=10.0):
    return Quantity(value=8000.0, standard_uncertainty=std, bound=None, unit="Ω", text="8k", temperature_c=celsius)


def test_warmth_is_that_over_the_first_take_that_states_one():
    found = warmth_of(evidence_at(None, 20.0, 30.0, None, 10.0))
    np.testing.assert_allclose(found, [1.0, 1.0, 1.0393, 1.0, 0.9607], rtol=1e-12)
    assert warmth_of(evidence_at(None, None)).tolist() == [1.0, 1.0]
    np.testing.assert_allclose(warmth_of(evidence_at(30.0, 20.0)), [1.0, 1 / 1.0393], rtol=1e-12)


def test_a_reading_is_carried_to_the_temperature_of_the_takes():
    found = dcr_in_takes(evidence_at(None, 30.0), dcr(20.0))
    assert found.value == pytest.approx(8000 * 1.0393, rel=1e-12)
    # both thermometers ± 1 K: √2/√3 K at 0.393 % of the value at 20 °C a kelvin
    by_kelvin = found.value * 0.00393 / 1.0393 * np.sqrt(2 / 3)
    assert found.standard_uncertainty == pytest.approx(np.hypot(10 * 1.0393, by_kelvin), rel=1e-12)


@pytest.mark.parametrize(
    ("of_take", "of_reading", "slope"), [(None, None, 0.00393), (None, 20.0, 0.00393), (30.0, None, 0.00393 / 1.0393)]
)
def test_a_reading_without_temperatures_may_be_a_little_warmer(of_take, of_reading, slope):
    found = dcr_in_takes(evidence_at(of_take), dcr(of_reading))
    assert found.value == 8000.0
    assert found.standard_uncertainty == pytest.approx(np.hypot(10.0, 8000 * slope * 1.5 / np.sqrt(3)), rel=1e-12)


def test_a_reading_without_uncertainty_stays_without():
    assert dcr_in_takes(evidence_at(20.0), dcr(20.0, std=None)).standard_uncertainty is None


@pytest.mark.parametrize(
    ("changed", "begins"),
    [({}, False), ({"coil_moved": True}, True), ({"method": "impedance"}, True), ({"method": "plate"}, True)],
)
def test_a_placement_begins_with_another_place_or_method(changed, begins):
    assert TakeEvidence(name="take", response=RESPONSE, **changed).begins_placement is begins
