"""The tests mirror the tree: each module has its test at the mirrored path, and no test file lives on another."""

import ast
from pathlib import Path

import pytest

from tests.places import TOP, mirrored

MODULES = sorted(
    path.relative_to(TOP)
    for package in ("measure", "fit")
    for path in (TOP / package).rglob("*.py")
    if path.name != "__init__.py"
)
# Types alone, with what fills them: tests/fit/desk/show/document/test_catalogue.py walks all of them, and their schemas.
STILL_MISSING = {
    f"fit/desk/show/document/{name}.py"
    for name in ("bench", "exciter", "guided", "guitar", "history", "pickup", "pieces", "selftest", "takes")
}
TEST_FILES = sorted(path.relative_to(TOP) for path in (TOP / "tests").rglob("test_*.py"))

CLOCKS = {"monotonic", "perf_counter", "process_time"}
HANGS = {
    Path("tests/measure/source/test_soundcard.py")
}  # sees that nothing hangs, by a limit far beyond what a slow machine takes


def imported(source: str) -> set[str]:
    """Modules that a text imports, each as a dotted name, however deep the import stands."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module or ''}.{alias.name}" for alias in node.names} | {"." * node.level + (node.module or "")}
    return names


def lives_on_a_test_file(source: str) -> list[str]:
    return sorted(name for name in imported(source) if any(part.startswith("test_") for part in name.split(".")))


def times_measured(source: str) -> list[str]:
    """Differences in which a clock is read; a moment up to which somebody waits is none."""
    differences = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Sub)]
    ends = [(one, end) for one in differences for end in (one.left, one.right) if isinstance(end, ast.Call)]
    return [ast.unparse(one) for one, end in ends if ast.unparse(end.func).rpartition(".")[2] in CLOCKS]


def test_each_module_has_its_test_at_the_mirrored_path():
    missing = {str(module) for module in MODULES if not (TOP / mirrored(module)).is_file()}
    assert missing == STILL_MISSING


def test_no_test_file_imports_from_another():
    living = {str(file): lives_on_a_test_file((TOP / file).read_text(encoding="utf-8")) for file in TEST_FILES}
    assert {file: names for file, names in living.items() if names} == {}


def test_no_test_measures_wall_time():
    """What is measured in seconds stands in tests/benchmarks, which judge nothing in a check."""
    judged = [file for file in TEST_FILES if "benchmarks" not in file.parts and file not in HANGS]
    timed = {str(file): times_measured((TOP / file).read_text(encoding="utf-8")) for file in judged}
    assert {file: times for file, times in timed.items() if times} == {}


def test_a_mirrored_file_holds_tests():
    texts = {str(file): (TOP / mirrored(file)).read_text(encoding="utf-8") for file in MODULES if str(file) not in STILL_MISSING}
    assert [file for file, text in texts.items() if "\ndef test_" not in text] == []


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("from tests.fit.test_a import b", ["tests.fit.test_a", "tests.fit.test_a.b"]),
        ("from tests.fit import test_a", ["tests.fit.test_a"]),
        ("def f():\n    import tests.test_a", ["tests.test_a"]),
        ("from .test_a import b", [".test_a", "test_a.b"]),
        ("from tests.desk_bench import run", []),
    ],
)
def test_an_import_from_a_test_file_is_seen(source, names):
    assert lives_on_a_test_file(source) == names


@pytest.mark.parametrize(
    ("source", "n"),
    [
        ("assert time.monotonic() - start < 2", 1),
        ("took = perf_counter() - start", 1),
        ("while time.monotonic() < end: pass", 0),
        ("end = time.monotonic() + 5", 0),
    ],
)
def test_a_measured_time_is_seen(source, n):
    assert len(times_measured(source)) == n
