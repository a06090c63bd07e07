"""A logbook with takes from before and after a job, made once."""

import shutil

import pytest

from tests.guided import Script, guided


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("compared") / "book"
    folder.mkdir()
    guided(folder, "compare", Script())
    return folder


@pytest.fixture
def compared(made, tmp_path):
    """A copy, to be written in."""
    return shutil.copytree(made, tmp_path / "book")
