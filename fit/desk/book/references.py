"""The references of a fit: what the rig, the takes and the person state in ohms and farads, each with a bound."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec

from fit.answers.calibrate.input import doubt_input
from fit.circuit.instrument import Instrument
from fit.desk.book.bounds import bounded
from fit.desk.book.rig import RIG_OPTIONS, rig_of
from fit.desk.book.through_controls import instrument_of_takes, take_evidence, with_dcr
from fit.estimate.evidence import CLOCK_BOUND, Evidence, TakeEvidence
from measure.errors import FileError
from measure.logbook.placement import placements
from measure.logbook.rig import Rig, clock_bound, exciter_corner, input_capacitance, input_resistance
from measure.logbook.store import Logbook, list_takes
from measure.logbook.take import Take
from measure.marking import parse_parts, read_value
from measure.quantity import Quantity
from measure.response import Response

# A cable of some metres into an amplifier: common practice, no source. Only what is told of the pickup behind them rests on it.
USUAL_INPUT = ("1M ± 10%", "500p ± 30%")


def gather_evidence(
    logbook: Logbook, takes: Sequence[Take], responses: Sequence[Response], *, dcr: str | None, at_hand: str
) -> tuple[Evidence, tuple[str, ...]]:
    """Put takes and references together for the estimate.

    Parameters
    ----------
    takes : sequence of Take
        In the order they were made.
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
        If a quantity cannot be read.
    FileError
        If the rig does not state what is needed, the takes were made with different inputs, or their controls are not those of
        instrument.toml.
    """
    warnings: list[str] = []
    instrument = instrument_of_takes(logbook, takes, warnings)
    if instrument is not None and dcr is not None:
        instrument, dcr = with_dcr(instrument, dcr, warnings), None
    rig = _common_rig(takes, rig_of(logbook), warnings)
    rows = join_takes(takes, responses, placements(list_takes(logbook).takes), instrument, warnings)
    resistance, capacitance = input_resistance(rig), input_capacitance(rig)
    is_heard = any(row.is_loaded for row in rows)
    if not is_heard and (resistance is None or capacitance is None):
        resistance, capacitance = usual_input(warnings)
    if resistance is None or capacitance is None:
        key = "input.resistance" if resistance is None else "input.capacitance"
        example = "1M ± 1%" if resistance is None else "185p ± 3p"
        msg = f'rig.toml does not state {key} (input and cable together): coilsweep rig {RIG_OPTIONS[key]} "{example}"'
        raise FileError(msg)
    low = doubt_input(resistance.value)
    if low is not None:
        warnings.append(low.text)
    kind = (rig.reference.kind if is_heard else None) or "current"
    further = parse_parts(at_hand)
    warnings += [f"at hand: {part.understood}" for part in further if part.understood]
    whole = Evidence(
        takes=rows,
        input_resistance=bounded(resistance, "input resistance", warnings, "input resistance"),
        input_capacitance=bounded(capacitance, "input capacitance", warnings, "input capacitance"),
        dcr=None if dcr is None else bounded(read_value(dcr, "dcr"), "dcr", warnings, "dcr"),
        reference_kind=kind,
        exciter_corner=None if kind == "current" else _corner(rig, warnings),
        parts_at_hand=tuple(bounded(part, "at hand", warnings) for part in further),
        instrument=instrument,
        clock_bound=_widest_clock(takes, rig),
    )
    return whole, tuple(warnings)


def usual_input(warnings: list[str]) -> tuple[Quantity, Quantity]:
    """Take what a pickup usually plays into, where no take rests on it.

    Parameters
    ----------
    warnings : list of str
        What is assumed is added to it.

    Returns
    -------
    resistance, capacitance : Quantity
        [Ω], [F]
    """
    resistance, capacitance = read_value(USUAL_INPUT[0], "input resistance"), read_value(USUAL_INPUT[1], "input capacitance")
    warnings.append(
        "no input is stated, and these takes need none; the resonance behind cable and input is told for the usual "
        f"{resistance.text} and {capacitance.text} (common practice)"
    )
    return resistance, capacitance


def join_takes(
    takes: Sequence[Take],
    responses: Sequence[Response],
    placed: Mapping[str, int],
    instrument: Instrument | None,
    warnings: list[str],
) -> tuple[TakeEvidence, ...]:
    """Give each take what it tells of the parts: what was added with a bound, and whether the coil moved since the take before.

    Raises
    ------
    FileError
        If none of them tells anything of a part.
    """
    before: int | None = None
    rows: list[TakeEvidence] = []
    for take, response in zip(takes, responses, strict=True):
        evidence = take_evidence(take, response, instrument, warnings)
        if evidence is None:
            continue
        added = tuple(bounded(part, f"added in {take.name}", warnings) for part in parse_parts(take.conditions.added))
        moved = before is not None and placed[take.name] != before
        before = placed[take.name] if evidence.method == "exciter" else before
        rows.append(replace(evidence, added=added, coil_moved=moved))
    if not rows:
        msg = "none of these takes tells anything of a part: the pickup under the exciter reaches the jack in none"
        raise FileError(msg)
    return tuple(sorted(rows, key=lambda row: row.method != "exciter"))  # those of other methods come last


def _has_no_reference(take: Take) -> bool:
    return bool(take.recordings) and all(recording.reference_channel is None for recording in take.recordings)


def _widest_clock(takes: Sequence[Take], now: Rig) -> float:
    """Bound of the sample clock: of several that the takes state the widest, since they share one parameter."""
    own = [clock_bound(take.rig) if take.rig is not None else None for take in takes]
    return max(bound or clock_bound(now) or CLOCK_BOUND for bound in own)


def _corner(rig: Rig, warnings: list[str]) -> Quantity:
    corner = exciter_corner(rig)
    if corner is None:
        how = 'coilsweep rig --exciter-corner "9k ± 5%"'
        msg = f"rig.toml does not state exciter.corner_hz, needed where the exciter's current is not recorded: {how}"
        raise FileError(msg)
    return bounded(corner, "exciter corner", warnings)


# What a take was made with stands in the take; where it says nothing, the logbook's rig does.
def _common_rig(takes: Sequence[Take], now: Rig, warnings: list[str]) -> Rig:
    stated = {}
    for key in ("input.resistance", "input.capacitance", "reference.kind", "exciter.corner_hz"):
        section, name = key.split(".")
        current = getattr(getattr(now, section), name)
        own = {take.name: getattr(getattr(take.rig, section), name) if take.rig else None for take in takes if take.hears_input}
        if key == "reference.kind":  # a take whose reference was not recorded has none, whatever the rig says
            own |= {take.name: "none" for take in takes if _has_no_reference(take)}
        values = {value if value is not None else current for value in own.values()} or {current}
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
