"""Responses measured elsewhere: from the file that a take keeps to a Response, and its checks."""

from dataclasses import replace

import msgspec

from fit.desk.book.derived import kept_or_made, response_key
from fit.desk.book.desk import Outcome
from fit.desk.show.document.bench import InspectResponseDocument, KeptResponse
from fit.desk.show.document.pieces import checks_of, named_takes
from fit.desk.show.sheets.inspect import sheet_of_inspect
from measure.logbook.recordings import response_of_recordings
from measure.logbook.responses import UNIT_WORDS, look_at_file, response_of_take
from measure.logbook.store import Logbook
from measure.logbook.take import Take
from measure.response import Response


def take_response(logbook: Logbook, take: Take, *, is_whole: bool = False) -> Response:
    """Response of a take, from its recordings or from the file of a response measured elsewhere.

    Parameters
    ----------
    is_whole : bool
        As for `response_of_take`.

    Returns
    -------
    Response
        With its noise; of recordings, with the card taken out where the take's rig names a loopback, and made once.
    """
    if take.kind == "response":
        return response_of_take(logbook, take, is_whole=is_whole)
    return kept_or_made(logbook, "response", response_key(logbook, take), Response, lambda: response_of_recordings(logbook, take))


def keep_response(logbook: Logbook, take: Take, response: Response) -> None:
    """Keep the response that the checks of recordings from files came to, so that no fit transforms them again."""
    as_kept = replace(response, origin=replace(response.origin, time_utc=take.time_utc))
    kept_or_made(logbook, "response", response_key(logbook, take), Response, lambda: as_kept)


def inspect_response(logbook: Logbook, take: Take) -> Outcome:
    """Say what a take of a response measured elsewhere holds, and check it again."""
    looked = look_at_file(logbook, take)
    file = None if take.response_file is None else take.response_file.file
    told = KeptResponse(file=file, method=take.conditions.method)
    if looked.response is not None:
        frequency = looked.response.frequency_hz
        told = msgspec.structs.replace(
            told,
            unit=looked.response.unit,
            n_frequencies=len(frequency),
            lowest_hz=float(frequency[0]),
            highest_hz=float(frequency[-1]),
        )
    document = InspectResponseDocument(
        takes=named_takes((take.name,), "inspected"),
        response=told,
        outcome=looked.outcome,
        simulated=take.simulated,
        checks=checks_of(looked.findings),
    )
    return Outcome(document=document, sheet=sheet_of_inspect(take, looked, content=content_line(take, looked.response)))


def content_line(take: Take, response: Response | None) -> str:
    """Say in one line what a response measured elsewhere is.

    Parameters
    ----------
    response : Response or None
        None where it cannot be used.

    Returns
    -------
    str
        Kind, unit, number and range of frequencies.
    """
    file = take.response_file.file if take.response_file is not None else ""
    line = f"A response measured elsewhere ({file}), method {take.conditions.method}"
    if response is None:
        return line
    frequency = response.frequency_hz
    what = f"{UNIT_WORDS[response.unit]} in {response.unit}"
    return f"{line}: {what}, {len(frequency)} frequencies, {frequency[0]:.5g} Hz to {frequency[-1]:.5g} Hz"
