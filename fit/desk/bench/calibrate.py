"""The command calibrate: from recordings, of files or of the card, to what rig.toml keeps.

Each function takes something that records when it is called, so that it does not matter where the samples come from.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import msgspec

from fit.answers.calibrate.exciter_corner import current_response, find_corner
from fit.answers.calibrate.input import characterise_input
from fit.desk.bench.recordings import Batch, InputLoad, read_by_rig
from fit.desk.book.bounds import bounded
from fit.desk.book.desk import DONE, REJECTED, Desk, Outcome
from fit.desk.book.rig import rig_of
from fit.desk.show.document.bench import CornerDocument, CornerResult, InputDocument, InputResult, RefusalDocument
from fit.desk.show.document.pieces import Document, checks_of, named_takes, plain, value_of
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.calibrate import (
    bounded_text,
    loopback_document,
    sheet_of_corner,
    sheet_of_input,
    sheet_of_loopback,
    sheet_of_refusal,
)
from fit.desk.show.words import plain_text
from fit.estimate.evidence import TakeEvidence
from measure.errors import CalibrationError
from measure.logbook.card import CardUse, calibration_warnings, device_of, freed_response, inputs_of
from measure.logbook.curves import Kind, encode_loopback, keep_result, state_calibration
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook, rig_path
from measure.response import Finding, Response

SENSELESS = ("swapped",)  # two inputs on one point, or on both ends of a resistor, may look exchanged


Listen = Callable[[], Batch]


def calibrate_loopback(desk: Desk, listen: Listen) -> Outcome:
    """Compare the two inputs, both on the output, and keep their ratio.

    Returns
    -------
    Outcome
        What was found; exit code 3 where it is no loopback, and nothing is written then.
    """
    from measure.transfer.loopback import solve_loopback

    logbook = open_logbook(desk.logbook, create=True)
    rig = rig_of(logbook)
    batch = listen()
    _require_rig(rig, batch)
    findings = _checks(batch)
    if not _is_rejected(findings):
        device = device_of(rig)
        found = solve_loopback(batch.repeats, stimulus=batch.played, device=device, time_utc=batch.time_utc)
        findings += found.findings
    if _is_rejected(findings):
        return _rejected(desk, "loopback", findings)
    pickup, reference = _use(rig, batch).inputs
    reference = reference or found.calibration.reference_channel
    calibration = replace(found.calibration, pickup_channel=pickup, reference_channel=reference)
    written = _write(desk, logbook, rig, batch, _Result(kind="loopback", content=encode_loopback(calibration)))
    document = partial(loopback_document(calibration), file=written, rig={})
    lay_out = partial(sheet_of_loopback, calibration, has_stimulus=batch.played is not None)
    return _done(lay_out, document, findings)


def calibrate_input(desk: Desk, loads: Sequence[InputLoad], listen: Callable[[InputLoad], Batch]) -> Outcome:
    """Find resistance and capacitance of the pickup's input, cable included, and write them to rig.toml.

    Parameters
    ----------
    listen : callable
        Records both ends of the resistor: the pickup's input on the one, the reference input on the driven one.

    Returns
    -------
    Outcome
        Values with their intervals; exit code 3 where they may not be used, and nothing is written then.
    """
    logbook = open_logbook(desk.logbook, create=True)
    rig = rig_of(logbook)
    warnings: list[str] = []
    takes: list[TakeEvidence] = []
    findings: tuple[Finding, ...] = ()
    first: Batch | None = None
    for load in loads:
        batch = listen(load)
        _require_rig(rig, batch, first)
        first = first or batch
        own = _named(_checks(batch), load.name)
        findings += own
        if not _is_rejected(own):
            response = _response(logbook, rig, batch, warnings)
            added = tuple(bounded(part, f"added in {load.name}", warnings) for part in load.added)
            series = bounded(load.series, f"series resistor in {load.name}", warnings)
            takes.append(TakeEvidence(name=load.name, response=response, added=added, method="impedance", series_resistor=series))
    if first is None or _is_rejected(findings):
        return _rejected(desk, "input", findings)
    answer = characterise_input(takes)
    findings += answer.findings
    for text in dict.fromkeys(warnings):
        desk.say(f"warning: {plain_text(text)}")
    if _is_rejected(findings):
        return _rejected(desk, "input", findings)
    changes: dict[str, str | float] = {
        "input.resistance": bounded_text(answer.resistance),
        "input.capacitance": bounded_text(answer.capacitance),
    }
    result = InputResult(
        kind="input",
        simulated=answer.simulated,
        takes=named_takes((load.name for load in loads), "load"),
        quantities={"resistance": value_of(answer.resistance), "capacitance": value_of(answer.capacitance)},
        budget=answer.budget,
        floor=answer.floor,
    )
    written = _write(desk, logbook, rig, first, _Result(kind="input", content=_json(result), changes=changes))
    lay_out = partial(sheet_of_input, answer, changes, takes=[load.name for load in loads])
    document = partial(InputDocument, **msgspec.structs.asdict(result), file=written, rig=changes)
    return _done(lay_out, document, findings, warnings=warnings)


def calibrate_exciter(desk: Desk, by_output: Listen, by_current: Listen | None = None) -> Outcome:
    """Find the exciter's corner and write it to rig.toml.

    Parameters
    ----------
    by_output : callable
        Records the output on the reference input; on the pickup's input the sense resistor, or with `by_current` a pickup.
    by_current : callable, optional
        Records the same pickup, with the sense resistor on the reference input; the coil stays where it is.

    Returns
    -------
    Outcome
        The corner with its interval; exit code 3 where it may not be used, and nothing is written then.
    """
    logbook = open_logbook(desk.logbook, create=True)
    rig = rig_of(logbook)
    warnings: list[str] = []
    responses: list[Response] = []
    findings: tuple[Finding, ...] = ()
    first: Batch | None = None
    for name, listen in (("by the output", by_output), ("by the current", by_current)):
        if listen is not None:
            batch = listen()
            _require_rig(rig, batch, first)
            first = first or batch
            own = _named(_checks(batch), name)
            findings += own
            if not _is_rejected(own):
                responses.append(_response(logbook, rig, batch, warnings))
    if first is None or _is_rejected(findings):
        return _rejected(desk, "exciter", findings)
    answer = find_corner(responses[0] if by_current is None else current_response(responses[0], responses[1]))
    findings += answer.findings
    if _is_rejected(findings):
        return _rejected(desk, "exciter", findings)
    changes: dict[str, str | float] = {"exciter.corner_hz": bounded_text(answer.corner)}
    result = CornerResult(
        kind="exciter",
        simulated=answer.simulated,
        quantities={"corner": value_of(answer.corner)},
        budget={"corner": answer.budget},
        floor=answer.floor,
    )
    written = _write(desk, logbook, rig, first, _Result(kind="exciter", content=_json(result), changes=changes))
    lay_out = partial(sheet_of_corner, answer, changes)
    document = partial(CornerDocument, **msgspec.structs.asdict(result), file=written, rig=changes)
    return _done(lay_out, document, findings, warnings=warnings)


def calibrate_exciter_files(
    desk: Desk, files: tuple[Path | None, Path | None, Path | None], stimulus_file: Path | None, *, live: Listen
) -> Outcome:
    """Find the exciter's corner from files, or from the card where none is given.

    Parameters
    ----------
    files : tuple of (Path or None)
        The first alone: sense resistor and output; or the other two: a pickup by the output, and by the current.
    live : callable
        Records the sense resistor and the output here.

    Returns
    -------
    Outcome
        As `calibrate_exciter`.

    Raises
    ------
    ValueError
        If other files are given.
    """
    alone, by_output, by_current = files
    if not any(files):
        return calibrate_exciter(desk, live)
    if alone is not None and by_output is None and by_current is None:
        return calibrate_exciter(desk, lambda: read_by_rig(desk, [alone], stimulus_file))
    if alone is None and by_output is not None and by_current is not None:
        return calibrate_exciter(
            desk,
            lambda: read_by_rig(desk, [by_output], stimulus_file),
            lambda: read_by_rig(desk, [by_current], stimulus_file),
        )
    msg = "give either --from FILE, or --by-output FILE and --by-current FILE"
    raise ValueError(msg)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Result:
    """What is to be kept."""

    kind: Kind
    content: bytes
    changes: dict[str, str | float] | None = None


def _require_rig(rig: Rig, batch: Batch, first: Batch | None = None) -> None:
    """Refuse recordings at another rate than rig.toml states, or than each other.

    Raises
    ------
    CalibrationError
        If rates differ, or the reference input was not recorded.
    """
    recording = batch.repeats[0]
    stated = rig.interface.rate_hz
    if stated is not None and recording.rate_hz != stated:
        msg = f"rig.toml states {stated} Hz, the recording has {recording.rate_hz} Hz: record at the rate of the takes to come"
        raise CalibrationError(msg)
    if first is not None and recording.rate_hz != first.repeats[0].rate_hz:
        msg = f"the recordings have different sample rates, {first.repeats[0].rate_hz} and {recording.rate_hz} Hz: use one"
        raise CalibrationError(msg)
    if recording.reference_channel is None:
        msg = "a calibration needs both inputs: state interface.reference_channel (coilsweep rig --reference-channel N)"
        raise CalibrationError(msg)


def _checks(batch: Batch) -> tuple[Finding, ...]:
    from measure.checks.recording import check_recording

    found = [one for recording in batch.repeats for one in check_recording(recording, stimulus=batch.played)]
    return (*batch.findings, *(one for one in found if one.code not in SENSELESS and one.severity != "pass"))


def _use(rig: Rig, batch: Batch) -> CardUse:
    first = batch.repeats[0]
    inputs = inputs_of(rig, (first.pickup_channel, first.reference_channel), is_live=batch.is_live)
    return CardUse(rate_hz=first.rate_hz, inputs=inputs, time_utc=batch.time_utc)


def _named(findings: Sequence[Finding], name: str) -> tuple[Finding, ...]:
    return tuple(replace(one, text=f"{name}: {one.text}") for one in findings)


def _is_rejected(findings: Sequence[Finding]) -> bool:
    return any(finding.severity == "reject" for finding in findings)


def _response(logbook: Logbook, rig: Rig, batch: Batch, warnings: list[str]) -> Response:
    from measure.transfer.response import estimate_response

    response = estimate_response(batch.repeats, stimulus=batch.played)
    response = freed_response(logbook, rig, response, _use(rig, batch))
    warnings += calibration_warnings(response)
    return response


def _write(desk: Desk, logbook: Logbook, rig: Rig, batch: Batch, result: _Result) -> str:
    kept = keep_result(logbook, result.kind, result.content, date=batch.time_utc)
    state_calibration(
        logbook,
        result.kind,
        kept,
        date=batch.time_utc,
        rate_hz=batch.repeats[0].rate_hz,
        device=device_of(rig),
        changes=result.changes or {},
    )
    file = logbook.path / "results" / kept.name
    desk.say(f"Written: {file}, {rig_path(logbook)}")
    return str(file)


def _rejected(desk: Desk, kind: Kind, findings: Sequence[Finding]) -> Outcome:
    for finding in findings:
        if finding.severity != "pass":
            word = "rejected" if finding.severity == "reject" else "warning"
            desk.say(f"{word}: {finding.code}: {plain_text(finding.text)}")
    document = RefusalDocument(kind=kind, outcome="rejected", checks=checks_of(findings))
    page = partial(sheet_of_refusal, kind, tuple(findings))
    return Outcome(document=document, sheet=sheet_of_refusal(kind), page=page, exit_code=REJECTED)


def _done(
    lay_out: Callable[..., Sheet],
    document: Callable[..., Document],
    findings: Sequence[Finding],
    *,
    warnings: Sequence[str] = (),
) -> Outcome:
    noticed = [*dict.fromkeys(warnings), *(one.text for one in findings if one.severity == "warn")]
    outcome = "usable" if noticed else "good"
    whole = document(outcome=outcome, warnings=tuple(noticed), checks=checks_of(findings))
    return Outcome(document=whole, sheet=lay_out(warnings=noticed), exit_code=DONE)


def _json(document: Document) -> bytes:
    return (json.dumps(plain(document), ensure_ascii=False, indent=1) + "\n").encode()
