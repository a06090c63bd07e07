"""What the stages of a guide share: how consents, quantities and parts are read, and which stage is next."""

import pytest

from fit.desk.guide.scene import read_parts, read_quantity


def test_temperatures_and_loss_angles_are_kept_as_they_were_typed():
    assert read_quantity("Ω")("7.9k ± 1% at 24C") == "7.9k ± 1% at 24C"
    assert read_parts(may_be_none=False)("1n ± 1% tan 0.1%") == "1n ± 1% tan 0.1%"
    with pytest.raises(ValueError, match=r'for example "1n ± 1% tan 0\.1%"; \+- will do'):
        read_parts(may_be_none=False)("1n tan 0.1%")
    with pytest.raises(ValueError, match="at is the temperature of a resistance, -40 to 120"):
        read_quantity("Ω")("7.9k ± 1% at 240C")
