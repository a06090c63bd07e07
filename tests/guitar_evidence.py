"""Drawn guitars as evidence for a fit."""

from fit.circuit.controls import read_settings
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import AS_IT_STANDS, Evidence, TakeEvidence
from measure.marking import parse_parts
from measure.quantity import parse_quantity


def evidence_of_guitar(case, *, names=None):
    """Takes in which the pickup under the exciter is connected; those of other methods last."""
    instrument = read_instrument(case.instrument_toml) if case.instrument_toml else None
    bare_dcr = next(iter(case.dcr.values())) if instrument is None else ""
    takes = []
    for take in case.takes.values():
        if (names is not None and take.name not in names) or not take.is_heard:
            continue
        takes.append(
            TakeEvidence(
                name=take.name,
                response=take.response,
                added=parse_parts(take.added) if take.added else (),
                settings=read_settings(instrument, take.settings) if instrument else AS_IT_STANDS,
                coil_over=take.coil_over,
                coil_moved=take.coil_moved,
                method=take.method,
                series_resistor=parse_quantity(take.series_resistor, "Ω") if take.series_resistor else None,
                is_after=take.is_after,
            )
        )
    takes.sort(key=lambda take: take.method != "exciter")
    return Evidence(
        takes=tuple(takes),
        input_resistance=parse_quantity(case.input_resistance, "Ω"),
        input_capacitance=parse_quantity(case.input_capacitance, "F"),
        dcr=parse_quantity(bare_dcr, "Ω") if bare_dcr else None,
        instrument=instrument,
    )
