"""Whether two answers are equal to the letter: dataclasses and structs field by field, arrays by shape, kind and every bit."""

from dataclasses import fields, is_dataclass

import msgspec
import numpy as np


def assert_same(one, other, place="answer"):
    if isinstance(one, np.ndarray):
        assert isinstance(other, np.ndarray), place
        assert (one.shape, one.dtype) == (other.shape, other.dtype), place
        np.testing.assert_array_equal(one, other, strict=True, err_msg=place)
    elif isinstance(one, float | complex | np.generic):
        assert isinstance(other, float | complex | bool | int), place
        assert np.array_equal(one, other, equal_nan=True), (place, one, other)
    elif is_dataclass(one) or isinstance(one, msgspec.Struct):
        assert type(one) is type(other), place
        names = one.__struct_fields__ if isinstance(one, msgspec.Struct) else [field.name for field in fields(one)]
        for name in names:
            assert_same(getattr(one, name), getattr(other, name), f"{place}.{name}")
    elif isinstance(one, dict):
        assert list(one) == list(other), place
        for key, value in one.items():
            assert_same(value, other[key], f"{place}[{key!r}]")
    elif isinstance(one, tuple | list):
        assert (type(one), len(one)) == (type(other), len(other)), place
        for index, (each, its) in enumerate(zip(one, other, strict=True)):
            assert_same(each, its, f"{place}[{index}]")
    else:
        assert (type(one), one) == (type(other), other), place
