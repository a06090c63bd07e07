"""Responses measured elsewhere: from the file that a take keeps to a Response, and its checks."""

from measure.logbook.store import Logbook
from measure.logbook.take import Take
from measure.response import Response


def take_response(logbook: Logbook, take: Take) -> Response:
    """Response of a take, from its recordings or from the file of a response measured elsewhere.

    Parameters
    ----------
    logbook : Logbook
        Open.
    take : Take
        As read.

    Returns
    -------
    Response
        With its noise.
    """
    from fit.desk.takes import kept_recordings
    from measure.transfer import estimate_response

    recordings, stimulus = kept_recordings(logbook, take)
    return estimate_response(recordings, stimulus=stimulus, time_utc=take.time_utc)
