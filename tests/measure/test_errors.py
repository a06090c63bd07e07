"""The tree of errors: what one ``except`` catches, and what a device's error carries."""

import re

import numpy as np
import pytest

from measure import errors
from measure.errors import CalibrationError, DeviceError, FileError, MeasureError, NoProgressError

KINDS = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, Exception)]


def test_the_tree_is_as_drawn():
    drawn = re.findall(r"[├└]── (\w+)", errors.__doc__)
    assert sorted(drawn) == sorted(kind.__name__ for kind in KINDS if kind is not MeasureError)
    below_device = re.findall(r"│   [├└]── (\w+)", errors.__doc__)
    assert {kind.__name__ for kind in KINDS if issubclass(kind, DeviceError)} == {"DeviceError", *below_device}
    for kind in KINDS:
        assert issubclass(kind, MeasureError)
        assert not issubclass(kind, ValueError)  # which is a wrong call


def test_trouble_with_the_card_ends_a_command_with_its_own_code():
    for kind in KINDS:
        assert getattr(kind, "exit_code", None) == (4 if issubclass(kind, DeviceError) else None)


def test_what_was_recorded_goes_with_the_error():
    heard = np.ones((3, 2), dtype=np.float32)
    with pytest.raises(DeviceError, match=r"^no samples$") as caught:
        raise NoProgressError("no samples", samples=heard)
    assert caught.value.samples is heard
    assert DeviceError("gone").samples is None
    for kind in (CalibrationError, FileError):
        with pytest.raises(TypeError, match="keyword"):
            kind("wrong", samples=heard)
