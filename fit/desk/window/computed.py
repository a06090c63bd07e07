"""What the worker answers to what pages ask of it: curves, sheets, impulse responses, the takes of a logbook."""

from typing import Any

import msgspec

from fit.desk.window.messages import Curve, Edge, Numbers, Told

DECIMALS = 7  # of a level in dB


class Control(msgspec.Struct, frozen=True, kw_only=True):
    """A pot or a switch of the instrument as it would be.

    Attributes
    ----------
    positions : tuple of str
        Of a switch; empty for a pot, which goes from 0 to 10.
    at : str
        Where it stands.
    text : str
        The same for people.
    """

    name: str
    positions: tuple[str, ...]
    at: str
    text: str = ""


class PartValue(msgspec.Struct, frozen=True, kw_only=True):
    """A value that can be changed.

    Attributes
    ----------
    key : str
        As ``--change`` names it.
    kind : str
        What it belongs to: "pickup", "pot", "capacitor", "resistor" or "cable".
    label : str
        For people.
    unit : str
        SI; empty for pure numbers.
    value : float or None
        As it counts; None where nothing is known of it. [`unit`]
    ends : tuple of float
        Of a slider; the same where there is nothing to slide between. [`unit`]
    text : str
        Value for people.
    origin : str
        Where it comes from, in words.
    is_changed : bool
        It is one of the changes that were asked for.
    is_heard : bool
        The curves rest on it as the controls stand.
    """

    key: str
    kind: str
    label: str
    unit: str
    value: float | None
    ends: tuple[float, float]
    text: str
    origin: str
    is_changed: bool
    is_heard: bool


class Corner(msgspec.Struct, frozen=True, kw_only=True):
    """1/(2πRC) of a tone control alone. [Hz]."""

    hz: float
    label: str


class Board(msgspec.Struct, frozen=True, kw_only=True):
    """What can be chosen that no change moves.

    Attributes
    ----------
    layouts : dict of str to str
        Name to meaning.
    leads, points, places : tuple of str
        What can be soldered elsewhere, where to, and across what a part can be put.
    pickups : tuple of str
        Of the instrument as it would be.
    """

    layouts: dict[str, str]
    leads: tuple[str, ...]
    points: tuple[str, ...]
    places: tuple[str, ...]
    pickups: tuple[str, ...]


class WhatIf(Told, frozen=True, kw_only=True):
    """What the instrument would do.

    Attributes
    ----------
    name : str
        Of the instrument.
    frequency_hz : tuple of float
        Of the curves. [Hz]
    curves : tuple of Curve
        One for each pickup that is heard, by its name.
    verdict : str
        In a sentence.
    sheet_html : str
        Peak, −3 dB and levels, beside those of what is held.
    notes : tuple of str
        What was assumed, and what is odd.
    command : str
        Command line that gives the same.
    is_held : bool
        This is what is kept to compare with.
    """

    name: str
    frequency_hz: Numbers
    curves: tuple[Curve, ...]
    corners: tuple[Corner, ...]
    verdict: str
    sheet_html: str
    notes: tuple[str, ...]
    controls: tuple[Control, ...]
    parts: tuple[PartValue, ...]
    board: Board
    command: str
    simulated: bool
    is_held: bool = False


class Released(Told, frozen=True, kw_only=True):
    """Nothing is held any more."""


class Impulse(Told, frozen=True, kw_only=True):
    """What a recording is to be convolved with so that it sounds as after a change.

    Attributes
    ----------
    samples : str
        Impulse response from t = 0 on, 32-bit floats with the lowest byte first, base64. [1]
    rate_hz : int
        Its sample rate. [Hz]
    change : Curve
        What it does to the level, with the 95 % band of the change.
    findings : tuple of str
        What a listener should know.
    command : str
        Command line that writes the same into a file, but for the names of the files.
    """

    samples: str
    rate_hz: int
    edge: Edge
    change: Curve
    findings: tuple[str, ...]
    command: str


class FittedTake(msgspec.Struct, frozen=True, kw_only=True):
    """A take beside the model that was fitted.

    Attributes
    ----------
    measured : Curve
        With error bars of 95 %.
    model : Curve
        At the same frequencies.
    residual : Curve
        Model less measured, with the same error bars.
    """

    take: str
    measured: Curve
    model: Curve
    residual: Curve


class Narrower(msgspec.Struct, frozen=True, kw_only=True):
    """A further take that would narrow a value.

    Attributes
    ----------
    text : str
        What to do, and what it would come to.
    added : str
        Parts across the jack.
    controls : dict of str to str
        Where controls are to stand.
    command : str
        Command line that makes it.
    """

    text: str
    added: str
    controls: dict[str, str]
    command: str


class TakeLine(msgspec.Struct, frozen=True, kw_only=True):
    """One take of a logbook.

    Attributes
    ----------
    text : str
        What is stated of it.
    level : {"good", "look", "bad"}
        Of `outcome`.
    checks : tuple of str
        What was found that is not good, with its cure.
    marks : tuple of str
        "simulated", "amended".
    picture : Curve or None
        Its response, small; None where there is none.
    """

    name: str
    time_utc: str
    text: str
    outcome: str
    level: str
    checks: tuple[str, ...]
    note: str
    marks: tuple[str, ...]
    picture: Curve | None


class Day(msgspec.Struct, frozen=True, kw_only=True):
    """Takes of one day at the bench, in the order they were made."""

    date: str
    takes: tuple[TakeLine, ...]


class Takes(Told, frozen=True, kw_only=True):
    """The takes of a logbook.

    Attributes
    ----------
    days : tuple of Day
        The latest last.
    damaged : dict of str to str
        Take that cannot be read to why.
    removed : tuple of str
        That can be restored.
    said : str
        What was done; empty where nothing was.
    """

    logbook: str
    days: tuple[Day, ...]
    damaged: dict[str, str]
    removed: tuple[str, ...]
    said: str = ""


class Result(Told, frozen=True, kw_only=True):
    """What was found.

    Attributes
    ----------
    takes : tuple of str
        That it rests on; empty where nothing was fitted yet.
    choices : tuple of str
        Takes that can be fitted.
    answer_html, sheet_html : str
        The answer in large; the table, what limits each value, and what the takes do not tell.
    narrower : tuple of Narrower
        The most helpful first.
    job : str
        Of the guide, that made these takes and can make one more; empty where they were made otherwise.
    outcome : str
        "good", "misfit", or empty where nothing was fitted.
    document : dict or None
        The same as ``coilsweep fit --json`` prints.
    """

    takes: tuple[str, ...]
    choices: tuple[str, ...]
    answer_html: str
    sheet_html: str
    fitted: tuple[FittedTake, ...]
    narrower: tuple[Narrower, ...]
    job: str
    outcome: str
    simulated: bool
    document: dict[str, Any] | None


class ChangedResponse(msgspec.Struct, frozen=True, kw_only=True):
    """A pair of takes that differ in nothing but the job.

    Attributes
    ----------
    overlay : tuple of Curve
        Before and after, as recorded.
    change : Curve
        After over before, as fitted, with its band.
    recorded : Curve
        The same as recorded, without what is common to all frequencies.
    """

    before: str
    after: str
    overlay: tuple[Curve, ...]
    change: Curve
    recorded: Curve


class Compared(Told, frozen=True, kw_only=True):
    """What a job changed.

    Attributes
    ----------
    before, after : tuple of str
        Takes of both sides; empty where nothing is compared yet.
    choices : tuple of str
        Takes that can be named.
    answer_html, sheet_html : str
        The verdict in words; part by part.
    foil : Curve or None
        Change of a foil's signal.
    document : dict or None
        The same as ``coilsweep compare --json`` prints.
    """

    before: tuple[str, ...]
    after: tuple[str, ...]
    choices: tuple[str, ...]
    answer_html: str
    sheet_html: str
    responses: tuple[ChangedResponse, ...]
    foil: Curve | None
    simulated: bool
    document: dict[str, Any] | None
