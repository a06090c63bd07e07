"""The bill of materials of what is installed here: whole, in one order, and strict about licences."""

import importlib.util
import json

import pytest

from tests.places import TOP


@pytest.fixture(scope="module")
def bill():
    spec = importlib.util.spec_from_file_location("bill", TOP / ".ci" / "bill.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("expression", "is_known"),
    [
        ("MIT", True),
        ("BSD-3-Clause AND 0BSD AND (MIT OR GPL-3.0-only)", True),
        ("Apache-2.0 WITH LLVM-exception", True),
        ("GPL-3.0-only", False),
        ("MIT AND LGPL-2.1-or-later", False),
        ("none stated", False),
        ("", False),
    ],
)
def test_a_licence_is_known_where_all_of_it_is(bill, expression, is_known):
    assert bill.is_known(expression) is is_known


def test_all_that_is_needed_is_in_it_and_what_is_not_is_left_out(bill, tmp_path, capsys):
    assert bill.main("pytest", tmp_path / "bill.json") == 0
    written = json.loads((tmp_path / "bill.json").read_text(encoding="utf-8"))
    names = [component["name"] for component in written["components"]]
    assert names == sorted(names)
    assert {"pluggy", "iniconfig", "packaging"} <= set(names)
    assert "hypothesis" not in names  # in an extra of it
    refs = {component["bom-ref"] for component in (*written["components"], written["metadata"]["component"])}
    assert refs == {one["ref"] for one in written["dependencies"]}
    assert all(set(one["dependsOn"]) <= refs for one in written["dependencies"])
    assert len(capsys.readouterr().out.splitlines()) == len(refs)


def test_a_licence_that_nobody_has_looked_at_is_named(bill, tmp_path, monkeypatch):
    monkeypatch.setattr(bill, "licence", lambda package: "GPL-3.0-only" if package.name == "pluggy" else "MIT")
    assert "pluggy" in bill.main("pytest", tmp_path / "bill.json")
