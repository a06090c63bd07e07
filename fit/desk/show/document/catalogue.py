"""All documents by name, and their JSON Schema, made from the types; descriptions and units come from their docstrings."""

import inspect
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from fit.desk.show.document import bench, exciter, guided, guitar, history, pickup, selftest, takes
from fit.desk.show.document.pieces import Document, Piece

DIALECT = "https://json-schema.org/draft/2020-12/schema"
PLACE = "#/$defs/{name}"
# What a command prints with --json; several types where its document has several forms.
DOCUMENTS: dict[str, tuple[type[Document], ...]] = {
    "bench": (bench.BenchDocument,),
    "calibrate": (bench.LoopbackDocument, bench.InputDocument, bench.CornerDocument, bench.RefusalDocument),
    "check": (pickup.CheckDocument,),
    "compare": (guitar.CompareDocument,),
    "confirm": (pickup.ConfirmDocument,),
    "demo": (guided.DemoDocument,),
    "devices": (bench.DevicesDocument,),
    "error": (bench.ErrorDocument,),
    "exciter": (exciter.ExciterDocument,),
    "export": (guitar.ExportDocument,),
    "fit": (pickup.FitDocument,),
    "guide": (guided.GuideDocument,),
    "history": (history.HistoryDocument,),
    "import": (bench.ImportDocument,),
    "inspect": (bench.InspectDocument, bench.InspectResponseDocument),
    "instrument": (guitar.InstrumentDocument, guitar.LayoutsDocument),
    "level": (bench.LevelDocument,),
    "listen": (guitar.ListenDocument,),
    "predict": (guitar.PredictDocument,),
    "repeat": (pickup.RepeatDocument,),
    "report": (pickup.ReportDocument,),
    "rig": (bench.RigDocument,),
    "selftest": (selftest.SelftestDocument,),
    "stimulus": (bench.StimulusDocument,),
    "take": (bench.TakeDocument,),
    "takes": (takes.TakesDocument, takes.MendedDocument),
    "wiring": (guitar.WiringDocument,),
}


def schema_name(name: str) -> str:
    """Name a document as it stands under ``schema``."""
    return str(DOCUMENTS[name][0].__struct_config__.tag)


def summary(name: str) -> str:
    """Say in one line what a document is, form by form."""
    return " Or: ".join(_sentence(form.__doc__ or "") for form in DOCUMENTS[name])


def json_schema(name: str) -> dict[str, Any]:
    """JSON Schema of a document.

    Parameters
    ----------
    name : str
        For example ``"fit"``.

    Returns
    -------
    dict
        By JSON Schema 2020-12; a key that a document may lack is not among those required, and others are not allowed.

    Raises
    ------
    ValueError
        If there is no such document.
    """
    if name not in DOCUMENTS:
        msg = f'there is no document "{name[:60]}", expected one of {", ".join(DOCUMENTS)}'
        raise ValueError(msg)
    forms, parts = msgspec.json.decode(msgspec.json.encode(msgspec.json.schema_components(DOCUMENTS[name], ref_template=PLACE)))
    kinds = {kind.__name__: kind for kind in _kinds(Piece)}
    for title, part in parts.items():
        kind = kinds.get(title)
        _describe(part, [part["description"]] if kind is None else _docstrings(kind))
    root = forms[0] if len(forms) == 1 else {"anyOf": list(forms)}
    return {"$schema": DIALECT, "title": schema_name(name), "description": summary(name), **root, "$defs": parts}


def _kinds(kind: type[Piece]) -> Iterator[type[Piece]]:
    yield kind
    for below in kind.__subclasses__():
        yield from _kinds(below)


# A type's docstring tells its own fields, those of the types that it extends the others.
def _docstrings(kind: type[Piece]) -> list[str]:
    return [one.__doc__ or "" for one in reversed(kind.__mro__) if issubclass(one, Piece)]


def _describe(part: dict[str, Any], docstrings: Sequence[str]) -> None:
    told = {name: text for docstring in docstrings for name, text in _field_texts(docstring).items()}
    part["description"] = _sentence(docstrings[-1])
    for name, field in part["properties"].items():
        if name in told:
            field["description"] = told[name]
    if "additionalProperties" not in part:  # a dataclass is written whole
        part |= {"required": list(part["properties"]), "additionalProperties": False}


def _field_texts(docstring: str) -> dict[str, str]:
    found: dict[str, str] = {}
    names: list[str] = []
    for line in inspect.cleandoc(docstring).partition("Attributes\n----------\n")[2].splitlines():
        if not line.startswith(" "):
            names = line.partition(" : ")[0].split(", ")
            found |= dict.fromkeys(names, "")
        else:
            found |= {name: f"{found[name]} {line.strip()}".strip() for name in names}
    return found


def _sentence(docstring: str) -> str:
    return inspect.cleandoc(docstring).partition("\n\n")[0].replace("\n", " ")
