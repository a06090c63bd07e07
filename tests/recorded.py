"""Takes from an independent circuit simulation, as evidence for a fit (fixtures/recordings/README.md)."""

import json
from functools import cache
from pathlib import Path
from typing import Any

from fit.estimate.evidence import Evidence, TakeEvidence
from measure.marking import parse_parts
from measure.quantity import parse_quantity
from measure.response import Response
from measure.source.files import read_recording
from measure.transfer.response import estimate_response

RECORDINGS = Path(__file__).parents[1] / "fixtures" / "recordings"


@cache
def response_of(case: str, take: str) -> Response:
    return estimate_response([read_recording(RECORDINGS / case / f"{take}.flac")])


def read_case(case: str) -> dict[str, Any]:
    return json.loads((RECORDINGS / case / "case.json").read_text(encoding="utf-8"))


def evidence_of(case: str, names: list[str], *, has_dcr: bool = True) -> Evidence:
    written = read_case(case)
    takes = []
    for name in names:
        parts = written["takes"][name]["add"]
        takes.append(TakeEvidence(name=name, response=response_of(case, name), added=parse_parts(parts) if parts else ()))
    return Evidence(
        takes=tuple(takes),
        input_resistance=parse_quantity(written["input"]["resistance"], unit="Ω"),
        input_capacitance=parse_quantity(written["input"]["capacitance"], unit="F"),
        dcr=parse_quantity(written["dc_resistance"], unit="Ω") if has_dcr else None,
    )
