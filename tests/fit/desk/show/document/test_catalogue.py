"""Documents and their schemas: what scenes printed fits, what is not so does not, every key is told."""

import json
from copy import deepcopy
from itertools import chain
from pathlib import Path

import jsonschema
import msgspec
import numpy as np
import pytest

from fit.answers.figures import Contribution
from fit.desk.show.document.catalogue import DOCUMENTS, json_schema, schema_name, summary
from fit.desk.show.document.pieces import Document, Value, plain
from tests.documents import typed
from tests.golden.scenes import KEPT

FILES = sorted(KEPT.glob("*/*.json"))
SUMMARY = {"length", "numbers", "first", "last", "rms"}  # of a long list, as scenes keep it

BACK = {"AGE": 1.5, "SHA256": 64 * "0", "WHEN": "2026-01-31T12:00:00.000Z"}  # what scenes keep of what is another one each time


def printed(path: Path):
    """The document of a kept scene, short where the scene is."""
    return whole(json.loads(path.read_text(encoding="utf-8"))["document"])


def whole(value):
    if isinstance(value, list):
        return [whole(one) for one in value]
    if not isinstance(value, dict):
        return BACK.get(value, value) if isinstance(value, str) else value
    return [value["first"], value["last"]] if set(value) == SUMMARY else {key: whole(one) for key, one in value.items()}


def parts_of(name):
    return json_schema(name)["$defs"].items()


def below(kind):
    return [kind, *chain.from_iterable(below(one) for one in kind.__subclasses__())]


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_what_a_scene_printed_is_of_its_type_and_fits_its_schema(path):
    typed(printed(path))


def test_scenes_print_most_documents():
    seen = {printed(path)["schema"] for path in FILES}
    others = {f"coilsweep.{name}/1" for name in ("bench", "demo", "level", "report", "selftest")}
    assert {schema_name(name) for name in DOCUMENTS} - seen <= others
    assert len(FILES) > 100


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_key_is_told_and_nothing_else_is_allowed(name):
    for title, part in parts_of(name):
        assert part["additionalProperties"] is False, title
        assert part["description"], title
        assert "Attributes" not in part["description"], title
        for key, field in part["properties"].items():
            assert key == "schema" or field["description"], (title, key)
    assert summary(name)
    assert schema_name(name) == f"coilsweep.{name}/1"


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_number_has_a_unit(name):
    for title, part in parts_of(name):
        for key, field in part["properties"].items():
            if {"type": "number"} in (field, *field.get("anyOf", ())) or field.get("type") == "number":
                assert "[" in field["description"] or title == "Check", (title, key)


def test_all_documents_are_listed():
    forms = set(chain.from_iterable(DOCUMENTS.values()))
    extended = {base for form in forms for base in form.__mro__}
    assert set(below(Document)) <= forms | extended


def test_keys_that_are_not_always_there_are_not_required():
    (_, part), *_ = [each for each in parts_of("compare") if each[0] == "CompareDocument"]
    assert {"simulated", "outcome", "warnings", "takes"} <= set(part["required"])
    assert {"quantities", "hum", "shielding"} & set(part["required"]) == set()


def test_a_form_with_other_keys_has_a_schema_of_its_own():
    assert len(json_schema("calibrate")["anyOf"]) == 4
    refused = {"schema": "coilsweep.calibrate/1", "kind": "input", "outcome": "rejected", "written": [], "checks": []}
    typed(refused)
    with pytest.raises(jsonschema.ValidationError):
        typed(refused | {"file": "x"})


@pytest.mark.parametrize(
    "change",
    [
        lambda document: document | {"more": 1},
        lambda document: {key: value for key, value in document.items() if key != "verdict"},
        lambda document: document | {"verdict": "perhaps"},
        lambda document: document | {"schema": "coilsweep.fit/1"},
        lambda document: document | {"simulated": "yes"},
        lambda document: document | {"measured": document["measured"] | {"interval_95": [1.0]}},
        lambda document: document | {"budget": [{"source": "noise"}]},
    ],
)
def test_what_is_no_such_document_is_refused(change):
    document = printed(KEPT / "closed-guitar" / "11-confirm.json")
    typed(deepcopy(document))
    schema = json_schema("confirm")
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(change(document), schema)
    with pytest.raises((jsonschema.ValidationError, msgspec.ValidationError)):
        typed(change(document))


def test_arrays_and_numbers_of_numpy_become_lists_and_numbers():
    part = Contribution(source="noise", contribution=np.float64(0.1))
    value = Value(
        value=np.float64(2.0),
        unit="H",
        standard_uncertainty=float("inf"),
        interval_95=np.array([float("nan"), 3.0]),
        coverage_factor=-float("inf"),
        distribution="normal",
    )
    assert plain(value) == {
        "value": 2.0,
        "unit": "H",
        "standard_uncertainty": None,
        "interval_95": [None, 3.0],
        "coverage_factor": None,
        "distribution": "normal",
    }
    assert plain(part) == {"source": "noise", "contribution": 0.1}
    with pytest.raises(NotImplementedError, match="a object is no part of a document"):
        plain(Contribution(source="noise", contribution=object()))


def test_unknown_name_is_told_with_the_known_ones():
    with pytest.raises(ValueError, match='there is no document "volume", expected one of bench, calibrate, check, '):
        json_schema("volume")
