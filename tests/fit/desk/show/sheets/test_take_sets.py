"""Takes put together to sets, and how they are named."""

from fit.desk.show.sheets.take_sets import named


def test_many_takes_are_named_shortly():
    assert named(["a"] * 9) == "takes a, a, a, a and 5 more"
