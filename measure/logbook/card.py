"""The card taken out of a take's response, by the calibration that the take's own rig names."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.errors import CalibrationError, FileError
from measure.logbook.curves import read_loopback
from measure.logbook.disk import one_line
from measure.logbook.rig import Rig, card_channel
from measure.logbook.store import Logbook
from measure.logbook.take import Take, time_now
from measure.response import BAND_HZ, Finding, Response
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep
from measure.transfer.calibration import EDGE_OCTAVES, Calibration, apply_calibration, judge_age, require_match

CODE = "calibration"  # begins the codes of what is found here


def without_card(logbook: Logbook, take: Take, response: Response) -> Response:
    """Take the card out of a response.

    Parameters
    ----------
    take : Take
        Of recordings; its rig as it was then says which calibration holds.

    Returns
    -------
    Response
        As `freed_response`.
    """
    if take.rig is None or not take.recordings:
        return response
    first = take.recordings[0]
    is_live = isinstance(take.stimulus, Sweep)
    inputs = inputs_of(take.rig, (first.pickup_channel, first.reference_channel), is_live=is_live)
    use = CardUse(rate_hz=take.rate_hz or 0, inputs=inputs, time_utc=take.time_utc)
    return freed_response(logbook, take.rig, response, use)


def device_of(rig: Rig) -> str:
    """Name what recordings are made with.

    Returns
    -------
    str
        The card; of an output here and an input there, both; empty where none is stated.
    """
    interface = rig.interface
    name = interface.device or ""
    return name if interface.input_device in (None, interface.device) else f"{name} to {interface.input_device}"


def freeing(logbook: Logbook, rig: Rig, recordings: Sequence[Recording], *, is_live: bool) -> Callable[[Response], Response]:
    """Give what takes the card out of the response of recordings that are being kept.

    Returns
    -------
    callable
        Response as recorded to that without the card.
    """
    first = recordings[0]
    inputs = inputs_of(rig, (first.pickup_channel, first.reference_channel), is_live=is_live)
    use = CardUse(rate_hz=first.rate_hz, inputs=inputs, time_utc=time_now())

    def free(response: Response) -> Response:
        try:
            return freed_response(logbook, rig, response, use)
        except FileError as err:  # the take is to be kept all the same
            return _with_findings(response, Finding(code=f"{CODE}-refused", severity="warn", text=str(err)))

    return free


def inputs_of(rig: Rig, channels: tuple[int, int | None], *, is_live: bool) -> tuple[int, int | None]:
    """Tell which inputs of the card a recording was made by.

    Parameters
    ----------
    rig : Rig
        That it was made with.
    channels : tuple
        Pickup's and reference channel of the recording, from 1; None where the reference was not recorded.
    is_live : bool
        Recorded here: its channels are those of the rig, in this order. Those of a file are taken as the card's.

    Returns
    -------
    tuple
        Pickup's and reference input, from 1.
    """
    if not is_live:
        return channels
    return card_channel(rig, "pickup"), None if channels[1] is None else card_channel(rig, "reference")


@dataclass(frozen=True, slots=True, kw_only=True)
class CardUse:
    """How a response was recorded.

    Attributes
    ----------
    rate_hz : int
        Sample rate. [Hz]
    inputs : tuple
        Pickup's and reference input, from 1; None where the reference was not recorded.
    time_utc : str
        When. ISO 8601, UTC.
    """

    rate_hz: int
    inputs: tuple[int, int | None]
    time_utc: str


def freed_response(logbook: Logbook, rig: Rig, response: Response, use: CardUse) -> Response:
    """Take the card out of a response, by the loopback that a rig names.

    Parameters
    ----------
    rig : Rig
        That the response was recorded with.

    Returns
    -------
    Response
        Unchanged where the rig names no loopback. Where one does not fit, unchanged with a warning that says so.
    """
    calibration = read_loopback(logbook, rig)
    if calibration is None:
        return response
    pickup, reference = use.inputs
    is_referred = reference is not None
    try:
        require_match(
            calibration,
            rate_hz=use.rate_hz,
            device=device_of(rig),
            pickup_channel=pickup,
            reference_channel=reference,
        )
        kept, findings = _within(response, calibration, is_referred=is_referred)
        applied = apply_calibration(kept, calibration, is_referred=is_referred)
    except CalibrationError as err:
        text = f"the calibration was not applied: {one_line(err, 400)}"
        return _with_findings(response, Finding(code=f"{CODE}-refused", severity="warn", text=text))
    age = judge_age(calibration, at_utc=use.time_utc)
    origin = replace(applied.origin, simulated=applied.origin.simulated or calibration.simulated)
    return replace(_with_findings(applied, *findings, age), origin=origin)


def calibration_warnings(response: Response) -> tuple[str, ...]:
    """List what was noticed while the card was taken out."""
    return tuple(one.text for one in response.findings if one.code.startswith(CODE) and one.severity != "pass")


def _within(response: Response, calibration: Calibration, *, is_referred: bool) -> tuple[Response, tuple[Finding, ...]]:
    """Cut a response to what the loopback reaches; a loss inside the band that fits use is said."""
    curve = calibration.channels if is_referred else calibration.card
    if curve is None:
        return response, ()
    reach = 2.0 ** (EDGE_OCTAVES / 2)
    low_hz, high_hz = curve.frequency_hz[0] / reach, curve.frequency_hz[-1] * reach
    frequency_hz = response.frequency_hz
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    lost = ~inside & (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    if not inside.any() or inside.all():
        return response, ()
    kept = replace(
        response,
        frequency_hz=frequency_hz[inside],
        value=response.value[inside],
        covariance=response.covariance[inside],
        shifts=response.shifts[:, inside],
    )
    if not np.any(lost):
        return kept, ()
    text = (
        f"the loopback reaches only from {low_hz:.0f} to {high_hz:.0f} Hz, and {np.count_nonzero(lost)} frequencies of the take "
        "beyond were left out: record the loopback with the same sweep"
    )
    return kept, (Finding(code=f"{CODE}-narrow", severity="warn", text=text, figure=float(np.count_nonzero(lost))),)


def _with_findings(response: Response, *findings: Finding) -> Response:
    return replace(response, findings=(*response.findings, *findings))
