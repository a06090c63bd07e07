"""One thing, one record: no two of them share four field names or more, but for a listed few."""

import ast
from itertools import combinations
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ALIKE = 4  # shared field names from which on two records say the same thing twice
ROOMS = ("measure/logbook", "fit/desk/bench", "fit/desk/guide", "fit/desk/book")  # no exception between these
READ = "as written by a person, and as read into quantities with their bounds"
OUTCOME = "what is common to all answers of a fit; each is a document of its own, and its fields are those of its JSON"
NOTEBOOK = "a take or a recording as a notebook states it"
EXCEPTIONS = {
    ("Conditions", "TakeEvidence"): READ,
    ("Interface", "SoundCard"): "what rig.toml may leave open, and a card that is to be opened",
    ("Interface", "Calibration"): "what rig.toml states now, and the inputs that a loopback of another day holds for",
    ("Recording", "Calibration"): "samples with their channels, and the inputs that a loopback holds for",
    ("Origin", "Calibration"): "where a response came from, and where a loopback did: the one goes with every response",
    ("Origin", "Take"): "a take in words, as any response carries it, also one without a logbook",
    ("Order", "Sweep"): "an order leaves open what the rig settles; a sweep is whole",
    ("Device", "Found"): "a device for people, and as the audio library lists it",
    ("Pickup", "SecondCoil"): "a pickup is one coil or two; the keys are those of instrument.toml",
    ("Part", "Pot"): "the keys of instrument.toml, each part by its own",
    ("Excited", "Solution"): "one network solved, and the same for several ways to excite it",
    ("Drive", "Strain"): "what is asked, and what came of it, in one table",
    ("MeasuredParts", "_Document"): "arrays, and the form that JSON has them in",
    ("Checked", "Repeated"): "two tables of fits take by take",
    ("Heard", "PredictAnswer"): "one side of a comparison by ear, and a prediction",
    ("CompareAnswer", "PickupAnswer"): OUTCOME,
    ("CornerAnswer", "InputAnswer"): OUTCOME,
    ("CornerAnswer", "PickupAnswer"): OUTCOME,
    ("InputAnswer", "PickupAnswer"): OUTCOME,
    ("Conditions", "Take"): NOTEBOOK,
    ("Recording", "Take"): NOTEBOOK,
    ("Take", "TakeEvidence"): NOTEBOOK,
}


def is_record(node: ast.AST) -> bool:
    if not isinstance(node, ast.ClassDef):
        return False
    marks = [*node.decorator_list, *node.bases]
    return any(word in ast.unparse(mark) for mark in marks for word in ("dataclass", "Struct", "NamedTuple", "TypedDict"))


def fields_of(text: str) -> dict[str, set[str]]:
    return {
        node.name: {item.target.id for item in node.body if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)}
        for node in ast.walk(ast.parse(text))
        if is_record(node)
    }


def alike(records: list[tuple[str, str, set[str]]]) -> dict[tuple[str, str], set[str]]:
    """Pairs of records, in the order of their names, that share too much."""
    found = {}
    for (_, one, mine), (_, other, theirs) in combinations(sorted(records, key=lambda record: record[1]), 2):
        if len(mine & theirs) >= ALIKE:
            found[one, other] = mine & theirs
    return found


def all_records() -> list[tuple[str, str, set[str]]]:
    files = sorted(path for package in ("measure", "fit") for path in (ROOT / package).rglob("*.py"))
    return [
        (str(path.relative_to(ROOT)), name, fields)
        for path in files
        for name, fields in fields_of(path.read_text(encoding="utf-8")).items()
    ]


@pytest.mark.long
def test_no_two_records_say_the_same() -> None:
    found = alike(all_records())
    listed = {tuple(sorted(pair)) for pair in EXCEPTIONS}
    assert {pair: names for pair, names in found.items() if pair not in listed} == {}
    assert listed <= set(found), "an exception that is no longer needed"


@pytest.mark.long
def test_a_take_is_described_once() -> None:
    records = [record for record in all_records() if record[0].startswith(ROOMS)]
    assert len(records) > 20
    assert alike(records) == {}


def test_twins_are_found() -> None:
    text = """
class First(msgspec.Struct, frozen=True):
    name: str
    added: str = ""
    method: str = ""
    note: str = ""

@dataclass(frozen=True)
class Second:
    note: str
    method: str
    added: str
    name: str
    level: float

class NoRecord:
    name: str
    added: str
    method: str
    note: str
"""
    records = [("", name, fields) for name, fields in fields_of(text).items()]
    assert alike(records) == {("First", "Second"): {"name", "added", "method", "note"}}
