"""Nothing in the two packages stands there unused, but for a list with its reasons; and nothing on that list without need."""

import ast

import pytest

from tests.places import TOP

LIST = TOP / "tests" / "unused_allowed.py"
LEAST_CONFIDENCE = 60  # [%] of vulture: names that nothing reads anywhere


PACKAGES = (TOP / "measure", TOP / "fit")


def unused(*where):
    vulture = pytest.importorskip("vulture")
    found = vulture.Vulture()
    found.scavenge([str(path) for path in where])
    return [one for one in found.get_unused_code(min_confidence=LEAST_CONFIDENCE) if not is_key(one)]


def is_key(one):
    """The fields of documents and messages are the keys of their JSON, which other programs and pages read."""
    is_message = one.filename.parent.name == "window" and one.filename.name in ("messages.py", "computed.py")
    return one.typ == "variable" and ("document" in one.filename.parts or is_message)


@pytest.mark.long
def test_nothing_is_unused_but_what_the_list_allows():
    assert [f"{one.filename}:{one.first_lineno} {one.name}" for one in unused(*PACKAGES, LIST)] == []


@pytest.mark.long
def test_the_list_names_nothing_that_is_used():
    listed = {node.value.id for node in ast.parse(LIST.read_text(encoding="utf-8")).body if hasattr(node.value, "id")}
    assert listed - {one.name for one in unused(*PACKAGES)} == set()


def test_what_nobody_uses_is_found(tmp_path):
    (tmp_path / "idle.py").write_text("def nobody_calls_this():\n    pass\n", encoding="utf-8")
    assert [one.name for one in unused(tmp_path)] == ["nobody_calls_this"]
