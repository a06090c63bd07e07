"""The references of a fit: what the rig, the takes and the person state in ohms and farads, each with a bound."""

import math
from collections.abc import Sequence
from dataclasses import replace

import msgspec

from fit.desk.takes import RIG_OPTIONS, rig_of
from fit.estimate.evidence import Evidence, TakeEvidence
from measure.errors import FileError
from measure.logbook.placement import placements
from measure.logbook.rig import Rig, exciter_corner, input_capacitance, input_resistance
from measure.logbook.store import Logbook, list_takes
from measure.logbook.take import Take
from measure.quantity import Quantity, parse_parts, parse_quantity
from measure.response import Response

ASSUMED_BOUNDS = {"Ω": 0.05, "F": 0.10, "Hz": 0.05}  # [1] common for parts without a marking; no source


def gather_evidence(
    logbook: Logbook, takes: Sequence[Take], responses: Sequence[Response], *, dcr: str | None, at_hand: str
) -> tuple[Evidence, tuple[str, ...]]:
    """Put takes and references together for the estimate.

    Parameters
    ----------
    logbook : Logbook
        Open.
    takes : sequence of Take
        In the order they were made.
    responses : sequence of Response
        One a take.
    dcr : str or None
        As written.
    at_hand : str
        Parts for a further take, as written.

    Returns
    -------
    evidence : Evidence
        Every reference with a bound.
    warnings : tuple of str
        Bounds that were taken for granted, and what does not fit together.

    Raises
    ------
    ValueError
        If a quantity cannot be read, or a take was made through a guitar's controls.
    FileError
        If the rig does not state what is needed, or the takes were made with different inputs.
    """
    _refuse_instrument(takes)
    warnings: list[str] = []
    rig = _common_rig(takes, rig_of(logbook), warnings)
    placed = placements(list_takes(logbook).takes)
    before: int | None = None
    rows = []
    for take, response in zip(takes, responses, strict=True):
        added = tuple(_bounded(part, f"added in {take.name}", warnings) for part in parse_parts(take.added))
        moved = before is not None and placed[take.name] != before
        before = placed[take.name]
        rows.append(TakeEvidence(name=take.name, response=response, added=added, coil_moved=moved))
    resistance, capacitance = input_resistance(rig), input_capacitance(rig)
    if resistance is None or capacitance is None:
        key = "input.resistance" if resistance is None else "input.capacitance"
        example = "1M ± 1%" if resistance is None else "185p ± 3p"
        msg = f'rig.toml does not state {key} (input and cable together): coilsweep rig {RIG_OPTIONS[key]} "{example}"'
        raise FileError(msg)
    kind = rig.reference.kind or "current"
    evidence = Evidence(
        takes=tuple(rows),
        input_resistance=_bounded(resistance, "input resistance", warnings),
        input_capacitance=_bounded(capacitance, "input capacitance", warnings),
        dcr=None if dcr is None else _bounded(parse_quantity(dcr, "Ω"), "dcr", warnings),
        reference_kind=kind,
        exciter_corner=None if kind == "current" else _corner(rig, warnings),
        parts_at_hand=tuple(_bounded(part, "at hand", warnings) for part in parse_parts(at_hand)),
    )
    return evidence, tuple(warnings)


# Pots and tone capacitor would be taken for losses of the coil, and its inductance come out wrong by several percent.
def _refuse_instrument(takes: Sequence[Take]) -> None:
    for take in takes:
        if take.controls:
            settings = ", ".join(f"{name}={value}" for name, value in take.controls.items())
            msg = (
                f'the take "{take.name}" was made through controls ({settings}); only a bare pickup at the jack can be fitted yet'
            )
            raise ValueError(msg)


def assumption(part: Quantity, what: str) -> str:
    """Say which bound is taken for granted for a value without ±.

    Parameters
    ----------
    part : Quantity
        Without a bound.
    what : str
        Which value it is.

    Returns
    -------
    str
        One line.
    """
    percent = 100 * ASSUMED_BOUNDS[part.unit]
    return f"{part.text} ({what}) was given without ±; ± {percent:.0f} % is assumed. A measured bound makes the result better."


def _bounded(part: Quantity, what: str, warnings: list[str]) -> Quantity:
    if part.bound is None:
        warnings.append(assumption(part, what))
        bound = ASSUMED_BOUNDS[part.unit] * part.value
        return replace(part, bound=bound, standard_uncertainty=bound / math.sqrt(3))  # rectangular: JCGM 100, 4.3.7
    return part


def _has_no_reference(take: Take) -> bool:
    return bool(take.recordings) and all(recording.reference_channel is None for recording in take.recordings)


def _corner(rig: Rig, warnings: list[str]) -> Quantity:
    corner = exciter_corner(rig)
    if corner is None:
        how = 'coilsweep rig --exciter-corner "9k ± 5%"'
        msg = f"rig.toml does not state exciter.corner_hz, needed where the exciter's current is not recorded: {how}"
        raise FileError(msg)
    return _bounded(corner, "exciter corner", warnings)


# What a take was made with stands in the take; where it says nothing, the logbook's rig does.
def _common_rig(takes: Sequence[Take], now: Rig, warnings: list[str]) -> Rig:
    stated = {}
    for key in ("input.resistance", "input.capacitance", "reference.kind", "exciter.corner_hz"):
        section, name = key.split(".")
        current = getattr(getattr(now, section), name)
        own = {take.name: getattr(getattr(take.rig, section), name) if take.rig else None for take in takes}
        if key == "reference.kind":  # a take whose reference was not recorded has none, whatever the rig says
            own |= {take.name: "none" for take in takes if _has_no_reference(take)}
        values = {value if value is not None else current for value in own.values()}
        if len(values) > 1:
            each = ", ".join(f"{name} {value or current}" for name, value in own.items())
            msg = f"the takes were made with different {key} ({each}): fit them apart"
            raise FileError(msg)
        stated[key] = values.pop()
        if current is not None and stated[key] != current:
            warnings.append(f"rig.toml now says {key} = {current}; the takes were made with {stated[key]}, which is used.")
    return msgspec.structs.replace(
        now,
        input=msgspec.structs.replace(now.input, resistance=stated["input.resistance"], capacitance=stated["input.capacitance"]),
        reference=msgspec.structs.replace(now.reference, kind=stated["reference.kind"]),
        exciter=msgspec.structs.replace(now.exciter, corner_hz=stated["exciter.corner_hz"]),
    )
