"""The version that is built is the one that the program tells."""

from importlib import metadata

from measure.version import VERSION


def test_what_is_installed_bears_the_version_of_its_source():
    assert metadata.version("coilsweep") == VERSION
