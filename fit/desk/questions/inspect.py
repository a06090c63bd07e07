"""A kept take, checked again."""

from functools import partial

from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.noise import noise_of
from fit.desk.book.response import inspect_response
from fit.desk.show.document.bench import InspectDocument
from fit.desk.show.document.pieces import checks_of, named_takes
from fit.desk.show.figures.noise import noise_figure
from fit.desk.show.sheets.inspect import NOISE, sheet_of_inspect
from measure.logbook.card import without_card
from measure.logbook.recordings import card_findings, kept_recordings
from measure.logbook.store import open_logbook, read_take
from measure.transfer.assessment import assess, join_findings


def inspect_take(desk: Desk, name: str) -> Outcome:
    """Check the recordings of a kept take again, and tell its noise."""
    logbook = open_logbook(desk.logbook)
    take = read_take(logbook, name)
    if take.kind == "response":
        return inspect_response(logbook, take)
    recordings, stimulus = kept_recordings(logbook, take)
    method = take.conditions.method
    looked = assess(recordings, stimulus=stimulus, method=method, free=lambda found: without_card(logbook, take, found))
    looked = join_findings(looked, card_findings(take))
    noise = noise_of(recordings, stimulus=stimulus, method=method)
    document = InspectDocument(
        takes=named_takes((take.name,), "inspected"),
        outcome=looked.outcome,
        simulated=take.simulated,
        checks=checks_of(looked.findings),
        noise=noise,
    )
    draw = partial(noise_figure, noise, is_simulated=take.simulated)
    return Outcome(document=document, sheet=sheet_of_inspect(take, looked, noise=noise), figures={NOISE.name: draw})
