"""What a docstring lists says more than the signature: no entry of three words or fewer without a unit, a number or a name."""

import ast
import re

import pytest

from tests.places import TOP

SECTION = re.compile(r"^(Parameters|Returns|Attributes|Yields)\n-+\n(.*?)(?=^\w[^\n]*\n-{3,}\n|\Z)", re.MULTILINE | re.DOTALL)
ENTRY = re.compile(r"^(\S[^\n]*)\n((?:[ ]+[^\n]*\n?|\n)*)", re.MULTILINE)
FEW = 3  # words
# hold types that JSON has as they are
ENCODED = {"figures.py", "arrangement.py", "setup.py", "rig.py", "levels.py", "messages.py", "computed.py"}


def thin_entries(text: str) -> list[str]:
    """Entries of a docstring that only repeat what the signature says."""
    told = [entry for _, body in SECTION.findall(f"{text}\n") for entry in ENTRY.findall(body)]
    return [head for head, words in told if len(words.split()) <= FEW and not re.search(r"[\[\d`]|shape \(", head + words)]


def test_thin_entries_are_seen():
    text = "Do it.\n\nParameters\n----------\nname : str\n    Of the take.\nlength : float\n    [m]\n"
    assert thin_entries(text) == ["name : str"]


@pytest.mark.long
def test_docstrings_do_not_repeat_the_signature():
    """The public names, and the types of JSON, list all they have: there an entry may be as short as it likes."""
    thin = []
    for package in ("measure", "fit"):
        for path in sorted((TOP / package).rglob("*.py")):
            if path.name == "api.py" or path.parent.name == "document" or path.name in ENCODED:
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.FunctionDef | ast.ClassDef):
                    thin += [(path.name, node.name, head) for head in thin_entries(ast.get_docstring(node) or "")]
    assert thin == []
