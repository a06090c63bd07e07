"""Changes are made where code runs and nowhere else, and each is tried on a copy."""

import shutil
import sys
from pathlib import Path

import pytest

from tests.mutation import (
    EQUIVALENT,
    HANGS,
    KILLED,
    SURVIVED,
    Bench,
    Finder,
    Mutant,
    draw,
    enclosing,
    known_equivalent,
    mutants_of,
    neighbours,
    reached,
)
from tests.places import TOP, mirrored

SOURCE = '''"""Twice 2."""

from typing import Literal

LIMIT_HZ: Literal[3] = 3  # 4


def half(x: float = 0.5, *, is_whole: bool = True) -> float:
    """Half, at most 7."""
    if not is_whole and x >= 1:
        raise ValueError(f"{x + 8} is more than {9 * x}")
    text = "ö" + f"{x - 6}"
    return max(x, -LIMIT_HZ) / 2 if text else x
'''


def changes(source):
    return {(one.line, one.kind, one.change) for one in Finder("a.py", source).all()}


def test_what_runs_is_changed_and_nothing_that_is_only_said():
    assert changes(SOURCE) == {
        (5, "constant", "3 -> 4"),
        (8, "constant", "0.5 -> 1.0"),
        (8, "constant", "True -> False"),
        (10, "boolean", "not  -> "),
        (10, "boolean", "and -> or"),
        (10, "boundary", ">= -> >"),
        (10, "comparison", ">= -> <"),
        (10, "constant", "1 -> 2"),
        (13, "opposite", "max -> min"),
        (13, "sign", "- -> "),
        (13, "operator", "/ -> *"),
        (13, "constant", "2 -> 3"),
        (13, "boolean", "text -> (not text)"),
        (13, "return", "max(x, -LIMIT_HZ) / 2 if text else x -> None"),
    }


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("a = (1 +  # plus - one\n    b)", "a = (1 -  # plus - one\n    b)"),
        ("π = é ** b", "π = é * b"),
        ("a = b not  in c", "a = b in c"),
        ("a //= b", "a *= b"),
        ("a = np.any(b)", "a = np.all(b)"),
        ("a = zip(b, c[1], strict=True)", "a = zip(b, c[2], strict=True)"),
    ],
)
def test_a_change_stands_in_its_place(before, after):
    assert after in {one.applied(before) for one in Finder("a.py", before).all()}


def test_a_guard_that_only_a_wrong_call_meets_stays():
    assert changes("for a, b in zip(c, d, strict=True):\n    pass") == set()


def test_the_draw_is_by_its_seed():
    candidates = mutants_of("fit/circuit/coil.py")
    assert draw(candidates, 5, 1) == draw(candidates, 5, 1)
    assert draw(candidates, 5, 1) != draw(candidates, 5, 2)
    assert len(set(draw(candidates, len(candidates), 3))) == len(candidates)


def test_functions_in_which_a_line_stands():
    source = "A = 1\n\n\n@cache\ndef f(b=2):\n    def g():\n        return 3\n\n    return g\n"
    assert [enclosing(source, line) for line in (1, 5, 7, 9)] == [set(), set(), {4, 6}, {4}]
    inner = Mutant("a.py", 7, "constant", 0, 0, "3", "4", "return 3")
    assert reached(inner, source, {"x": {("a.py", 4)}, "y": {("b.py", 4)}, "z": set()}) == ["x"]
    assert reached(Mutant("a.py", 1, "constant", 0, 0, "1", "2", "A = 1"), source, {"x": {("a.py", 4)}, "y": set()}) == ["x"]


def test_neighbours_import_the_module():
    found = neighbours("measure/signal/spectra.py")
    assert found
    assert str(mirrored(Path("measure/signal/spectra.py"))) not in found
    assert all("spectra" in (TOP / one).read_text(encoding="utf-8") for one in found)


def test_what_is_called_equivalent_can_be_drawn_and_has_a_reason():
    for (file, line, change), reason in known_equivalent().items():
        assert (line, change) in {(one.context, one.change) for one in mutants_of(file)}, f"{EQUIVALENT.name}: {file}: {line}"
        assert len(reason) > 20


@pytest.fixture
def tree(tmp_path):
    """A project of one module and its test."""
    top = tmp_path / "top"
    (top / "tests" / "measure").mkdir(parents=True)
    (top / "measure").mkdir()
    for folder in ("measure", "tests", "tests/measure"):
        (top / folder / "__init__.py").write_text("")
    (top / "measure" / "a.py").write_text("def half(x):\n    while x > 100:\n        x -= 1\n    return x / 2 + 0 * x\n")
    (top / "tests" / "measure" / "test_a.py").write_text(
        "from measure.a import half\n\n\ndef test_half():\n    assert half(102) == 50\n    assert half(3) == 1.5\n"
    )
    (top / "pyproject.toml").write_text('[tool.pytest.ini_options]\nmarkers = ["slow", "soundcard", "browser"]\n')
    return top


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="needs a system that can fork")
def test_tests_that_test_kill_and_a_tree_stays_as_it_is(tree, tmp_path, monkeypatch):
    monkeypatch.setattr("tests.mutation.FIRST_LIMIT", 3)
    bench = Bench(tree, tmp_path / "bench")
    rounds = [("own", ["tests/measure/test_a.py"])]
    before = (tree / "measure" / "a.py").read_text()
    fates = {one.change: bench.try_one(one, rounds) for one in mutants_of("measure/a.py", tree)}
    assert fates["/ -> *"].fate == KILLED
    assert fates["/ -> *"].by == "own"
    assert fates["-= -> +="].fate == HANGS
    assert fates["0 -> 1"].fate == KILLED
    assert fates["* -> /"].fate == SURVIVED
    assert fates["> -> >="].fate == KILLED
    assert (tree / "measure" / "a.py").read_text() == (bench.folder / "measure" / "a.py").read_text() == before


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="needs a system that can fork")
def test_tests_that_fail_anyway_kill_nothing(tree, tmp_path, capfd):
    shutil.copy(tree / "tests" / "measure" / "test_a.py", tree / "tests" / "measure" / "test_b.py")
    (tree / "tests" / "measure" / "test_a.py").write_text("def test_half():\n    assert False\n")
    bench = Bench(tree, tmp_path / "bench")
    mutant = next(one for one in mutants_of("measure/a.py", tree) if one.change == "/ -> *")
    assert bench.try_one(mutant, [("own", ["tests/measure/test_a.py"])]).fate == SURVIVED
    assert "does not pass on the tree as it is" in capfd.readouterr().err
    assert bench.try_one(mutant, [("own", ["tests/measure/test_a.py"]), ("outside", ["tests/measure/test_b.py"])]).by == "outside"
