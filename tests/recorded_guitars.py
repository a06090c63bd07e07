"""Takes of closed guitars from an independent circuit simulation, as evidence for a fit (fixtures/recordings/README.md)."""

import json

from fit.circuit.controls import read_settings
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from measure.marking import parse_parts
from measure.quantity import parse_quantity
from tests.recorded import RECORDINGS, response_of

# lugs as fixtures/recordings/README.md states them
WIRING = """
output = "tip"
[pickup.bridge]
ends = ["hot", "ground"]
[pot.volume]
marked = "{volume} ± 20%"
taper = "audio"
cw = "hot"
wiper = "tip"
ccw = "ground"
[pot.tone]
marked = "{tone} ± 20%"
taper = "audio"
wiper = "hot"
ccw = "tone link"
[capacitor.tone]
marked = "{capacitor} ± 10%"
between = ["tone link", "ground"]
"""


def recorded_guitar(case, names, *, after=()):
    """Evidence of a recorded case; `after` names the takes from after the job."""
    written = json.loads((RECORDINGS / case / "case.json").read_text(encoding="utf-8"))
    instrument = read_instrument(WIRING.format(**written["marked"]))
    takes = []
    for name in names:
        stated = written["takes"][name]
        takes.append(
            TakeEvidence(
                name=name,
                response=response_of(case, name),
                added=parse_parts(stated["add"]) if stated["add"] else (),
                settings=read_settings(instrument, {control: str(value) for control, value in stated["controls"].items()}),
                is_after=name in after,
                coil_moved=bool(after) and name == after[0],
            )
        )
    evidence = Evidence(
        takes=tuple(takes),
        input_resistance=parse_quantity(written["input"]["resistance"], "Ω"),
        input_capacitance=parse_quantity(written["input"]["capacitance"], "F"),
        dcr=parse_quantity(written["dc_resistance"], "Ω"),
        instrument=instrument,
    )
    return evidence, written["actual"]
