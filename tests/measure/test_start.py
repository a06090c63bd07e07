"""Who answers to the names of the two packages: ours, a stranger, or what overwrote ours."""

import base64
import hashlib
import importlib.util
import signal
import sys
import time
from importlib import metadata
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import SimpleNamespace

import pytest

from measure import start
from tests.places import TOP

OWN = str(TOP / "fit" / "__init__.py")


def lies(monkeypatch, origin, *, folders=()):
    """Let another file, or a folder without one, answer to every name."""
    spec = ModuleSpec("fit", None, origin=origin, is_package=bool(folders))
    if folders:
        spec.submodule_search_locations = list(folders)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: spec)


@pytest.mark.parametrize("name", ["fit", "measure"])
def test_our_own_are_no_strangers(name):
    assert start.find_stranger(name) is None


def test_another_file_and_a_bare_folder_are(monkeypatch, tmp_path):
    lies(monkeypatch, str(tmp_path / "fit.py"))
    assert start.find_stranger("fit") == str(tmp_path / "fit.py")
    lies(monkeypatch, None, folders=(str(tmp_path / "fit"),))
    assert start.find_stranger("fit") == str(tmp_path / "fit")
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert start.find_stranger("fit") is None


def test_our_own_through_a_link_is_no_stranger(monkeypatch, tmp_path):
    (tmp_path / "linked").symlink_to(TOP)
    lies(monkeypatch, str(tmp_path / "linked" / "fit" / "__init__.py"))
    assert start.find_stranger("fit") is None


class Installed(SimpleNamespace):
    """A file as the list of an installed package has it."""

    def as_posix(self):
        return self.name

    def locate(self):
        return self.path


def installed(monkeypatch, *, digest, path=OWN, mode="sha256"):
    kept = Installed(name="fit/__init__.py", path=Path(path), hash=SimpleNamespace(mode=mode, value=digest))
    monkeypatch.setattr(metadata, "files", lambda _name: [Installed(name="fit/api.py", path=Path(path), hash=None), kept])


def test_a_first_file_that_is_not_the_one_installed_was_overwritten(monkeypatch):
    digest = base64.urlsafe_b64encode(hashlib.sha256(Path(OWN).read_bytes()).digest()).rstrip(b"=").decode()
    installed(monkeypatch, digest=digest)
    assert start.find_overwritten("fit") is None
    assert start.find_overwritten("measure") is None  # of which the list says nothing
    installed(monkeypatch, digest="A" * 43)
    assert start.find_overwritten("fit") == OWN


def test_sources_that_are_not_installed_cannot_be_overwritten(monkeypatch, tmp_path):
    installed(monkeypatch, digest="A" * 43, path=tmp_path / "__init__.py")  # another copy is
    assert start.find_overwritten("fit") is None
    installed(monkeypatch, digest="A" * 43, mode="md5")
    assert start.find_overwritten("fit") is None
    monkeypatch.setattr(metadata, "files", lambda _name: None)
    assert start.find_overwritten("fit") is None

    def missing(name):
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "files", missing)
    assert start.find_overwritten("fit") is None


def test_a_stranger_is_warned_of_in_one_line_but_not_to_the_command(monkeypatch, tmp_path):
    lies(monkeypatch, str(tmp_path / "fit.py"))
    with pytest.warns(UserWarning, match=r"fit\.py is not coilsweep's own package fit and stands in its way: rename it"):
        start.warn_of_stranger("fit")
    monkeypatch.setattr(sys, "argv", ["/somewhere/bin/coilsweep"])
    start.warn_of_stranger("fit")  # a warning would be an error here


@pytest.mark.parametrize(("found", "cure"), [("elsewhere", "rename it, or run elsewhere"), (OWN, "install coilsweep again")])
def test_the_command_ends_before_it_imports_anything(monkeypatch, capsys, found, cure):
    monkeypatch.setattr(start, "find_stranger", lambda name: found if name == "fit" else None)
    monkeypatch.setattr(start.importlib, "import_module", lambda name: pytest.fail(name))
    with pytest.raises(SystemExit) as caught:
        start.run()
    assert caught.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"coilsweep: {found} is not coilsweep's own package fit and stands in its way: {cure}")
    assert said.err.count("\n") == 1


def test_the_command_runs_where_nothing_is_in_the_way(monkeypatch):
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)
    ran = []
    monkeypatch.setattr(start.importlib, "import_module", lambda name: SimpleNamespace(run=lambda: ran.append(name)))
    for name in ("find_stranger", "find_overwritten"):
        monkeypatch.setattr(start, name, lambda _name: None)
    start.run()
    assert ran == ["fit.desk.command.main"]


class Tidied:
    """Something that is interrupted where Python lets nothing be raised."""

    def __init__(self, kind):
        self.kind = kind

    def __del__(self):
        if self.kind is KeyboardInterrupt:
            signal.raise_signal(signal.SIGINT)
        raise self.kind


def test_an_interrupt_that_python_loses_comes_again(monkeypatch):
    others = []
    monkeypatch.setattr(sys, "unraisablehook", lambda lost: others.append(lost.exc_type))
    start.repeat_lost_interrupts()
    Tidied(OSError)
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - it comes a little later
        Tidied(KeyboardInterrupt)
        time.sleep(10.0)  # ends by it
    assert others == [OSError]


def test_an_interrupt_beside_the_command_is_told_in_one_line(monkeypatch, capsys):
    def run():
        raise KeyboardInterrupt

    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)
    monkeypatch.setattr(start.importlib, "import_module", lambda _name: SimpleNamespace(run=run))
    for name in ("find_stranger", "find_overwritten"):
        monkeypatch.setattr(start, name, lambda _name: None)
    with pytest.raises(SystemExit) as caught:
        start.run()
    assert caught.value.code == 130
    assert capsys.readouterr().err == "coilsweep: interrupted\n"
