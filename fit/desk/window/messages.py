"""All that a page and the server say to each other over the socket: JSON, told apart by `kind`.

What a page sends is refused whole where it has a field too many, a wrong type, or more than its limits allow.
"""

import re
from typing import Annotated, Any, Literal

import msgspec

from fit.desk.guide.session import MAX_ANSWER, Job

MAX_MESSAGE_BYTES = 65_536  # of what a page sends
MOST_PARTS = 64  # of anything that a page lists
Identity = Annotated[int, msgspec.Meta(ge=0, le=2**53)]
Name = Annotated[str, msgspec.Meta(max_length=200)]
Line = Annotated[str, msgspec.Meta(max_length=MAX_ANSWER)]
Names = Annotated[tuple[Name, ...], msgspec.Meta(max_length=MOST_PARTS)]
Lines = Annotated[tuple[Line, ...], msgspec.Meta(max_length=MOST_PARTS)]
Settings = Annotated[dict[Name, Line], msgspec.Meta(max_length=MOST_PARTS)]
Edge = Literal["middle", "low", "high"]
Numbers = tuple[float | None, ...]


def kind_of(name: str) -> str:
    """Put the name of a message's class as its kind, for example ``level_start``."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


class Asked(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag=kind_of):
    """What a page sends.

    Attributes
    ----------
    id : int
        Comes back in what answers it, as `answers`.
    """

    id: Identity = 0


class Alive(Asked, frozen=True, kw_only=True):
    """A sign of life, to be sent each second."""


class CardTake(Asked, frozen=True, kw_only=True):
    """Have the card from now on, though another page has it."""


class Stop(Asked, frozen=True, kw_only=True):
    """Fade to silence now; a take that sounds is not kept. Any page may ask for that."""


class LevelStart(Asked, frozen=True, kw_only=True):
    """Listen to the inputs.

    Attributes
    ----------
    what : {"tone", "quiet"}
        Whether a quiet tone plays meanwhile.
    """

    what: Literal["tone", "quiet"] = "tone"


class LevelStop(Asked, frozen=True, kw_only=True):
    """Enough listened."""


class GuideOpen(Asked, frozen=True, kw_only=True):
    """Begin a job of the guide, or go on with it.

    Attributes
    ----------
    added : str
        Parts across the jack of one more take that the job is to make; beside `controls` empty for none.
    controls : dict of str to str
        Control of that take to where it is turned.
    """

    job: Job
    added: Line = ""
    controls: Settings = {}


class GuideAnswer(Asked, frozen=True, kw_only=True):
    """Answer the guide's question.

    Attributes
    ----------
    key : str
        Of the question; where another one stands by now it is refused.
    text : str
        As a person types it at a terminal; empty: what Enter takes.
    """

    key: Name
    text: Line = ""


class GuideDo(Asked, frozen=True, kw_only=True):
    """Go on as Enter does: take what the guide proposes, or make the take now."""

    key: Name


class GuideBack(Asked, frozen=True, kw_only=True):
    """Take the latest answer back."""


class GuideLeave(Asked, frozen=True, kw_only=True):
    """Leave the guide; the session is kept, and gone on with when it is opened again."""


class Change(Asked, frozen=True, kw_only=True):
    """What is changed of an instrument, each as the options of ``coilsweep predict`` take it.

    Attributes
    ----------
    set : dict of str to str
        Control to its position.
    change : dict of str to str
        Part to its value.
    solder, move : tuple of str
        ``PLACE=PARTS`` and ``LEAD=POINT``.
    pickup : str
        That is listened to; empty: all that are connected.
    cable : str
        Capacitance of cable and input; empty: as the rig states it.
    at : tuple of str
        Notes or frequencies where the level is told; empty: the usual ones.
    """

    set: Settings = {}
    change: Settings = {}
    solder: Lines = ()
    move: Lines = ()
    layout: Name = ""
    pickup: Name = ""
    cable: Name = ""
    at: Names = ()


class ResultOpen(Asked, frozen=True, kw_only=True):
    """Show what was found.

    Attributes
    ----------
    takes : tuple of str
        That it is to rest on; empty: those of the latest fit.
    dcr : str
        From a multimeter; empty: none, or that of the latest fit.
    """

    takes: Names = ()
    dcr: Name = ""


class WhatIfOpen(Asked, frozen=True, kw_only=True):
    """Open the page of what would happen if: its controls, and the curve as it is."""


class WhatIfSet(Change, frozen=True, kw_only=True):
    """Set controls and parts; the curve follows."""


class Hold(Change, frozen=True, kw_only=True):
    """Keep this curve as a ghost to compare with.

    Attributes
    ----------
    is_held : bool
        False lets it go.
    """

    is_held: bool = True


class CompareOpen(Asked, frozen=True, kw_only=True):
    """Compare takes of before and after a job; empty: all that are marked so."""

    before: Names = ()
    after: Names = ()


class Sound(Change, frozen=True, kw_only=True):
    """Ask for the impulse response of a change.

    Attributes
    ----------
    edge : {"middle", "low", "high"}
        Of the interval.
    recorded : dict of str to str
        Control to where it stood in the recording.
    rate_hz : int
        Of the recording that it is to be played through. [Hz]
    """

    edge: Edge = "middle"
    recorded: Settings = {}
    rate_hz: Annotated[int, msgspec.Meta(ge=8000, le=192_000)] = 48_000


class TakesList(Asked, frozen=True, kw_only=True):
    """List the logbook's takes."""


class TakeAmend(Asked, frozen=True, kw_only=True):
    """Put another note on a take."""

    name: Name
    note: Line


class BookOpen(Asked, frozen=True, kw_only=True):
    """Work in another logbook from now on."""

    folder: Line


Played = CardTake | LevelStart | LevelStop | GuideOpen | GuideAnswer | GuideDo | GuideBack | GuideLeave
Computed = ResultOpen | WhatIfOpen | WhatIfSet | Hold | CompareOpen | Sound | TakesList | TakeAmend
FromPage = Alive | Stop | Played | Computed | BookOpen


class Told(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag=kind_of):
    """What the server sends.

    Attributes
    ----------
    answers : int or None
        Identity of the message that it answers.
    """

    answers: int | None = None


class Refused(Told, frozen=True, kw_only=True):
    """Why something was not done, in one line."""

    text: str


class Welcome(Told, frozen=True, kw_only=True):
    """The first message on a socket.

    Attributes
    ----------
    page : int
        Number of this page.
    is_virtual : bool
        All takes are simulated.
    """

    page: int
    logbook: str
    is_virtual: bool


class Card(Told, frozen=True, kw_only=True):
    """Who has the sound card.

    Attributes
    ----------
    owner : bool
        This page has it.
    held_by : int or None
        Number of the page that has it; None: nobody, so whoever first plays something.
    activity : {"idle", "level", "guide"}
        What is done with it.
    is_playing : bool
        Something sounds, or is recorded, right now.
    """

    owner: bool
    held_by: int | None
    activity: Literal["idle", "level", "guide"] = "idle"
    is_playing: bool = False


class Meter(msgspec.Struct, frozen=True, kw_only=True):
    """One input; a full-scale sine is 0 dBFS, its peak too (AES17).

    Attributes
    ----------
    name : {"pickup", "reference"}
        Which.
    rms_db, peak_db : float
        Of the last tenth of a second. [dBFS]
    hold_db : float
        Largest peak of the last seconds. [dBFS]
    is_clipped : bool
        A sample reached full scale in that time.
    """

    name: str
    rms_db: float
    peak_db: float
    hold_db: float
    is_clipped: bool


class Spectrum(msgspec.Struct, frozen=True, kw_only=True):
    """Spectrum of the inputs from 20 Hz to 20 kHz, in bands of equal width in octaves.

    Attributes
    ----------
    frequency_hz : tuple of float
        Middles of the bands. [Hz]
    db : tuple of tuple of float
        Largest line in each band, one row for each input. [dBFS]
    mains_hz : tuple of float
        Mains lines that stand out; empty where none is heard. [Hz]
    """

    frequency_hz: Numbers
    db: tuple[Numbers, ...]
    mains_hz: tuple[float, ...] = ()


class Level(Told, frozen=True, kw_only=True):
    """What the inputs hear, ten times a second or more.

    Attributes
    ----------
    advice : str
        One sentence: what to do, or that all is well.
    is_fine : bool
        Nothing has to be done.
    spectrum : Spectrum or None
        Some times a second only.
    """

    inputs: tuple[Meter, ...]
    advice: str = ""
    is_fine: bool = False
    spectrum: Spectrum | None = None


class LevelEnded(Told, frozen=True, kw_only=True):
    """Nothing is listened to any more; `text` says why where it was not asked for."""

    text: str = ""


class GuideTold(Told, frozen=True, kw_only=True):
    """What the guide tells, line by line as at a terminal; tables keep their runs of spaces."""

    lines: tuple[str, ...]


class Setup(msgspec.Struct, frozen=True, kw_only=True):
    """What is connected for a take.

    Attributes
    ----------
    method : str
        As of ``coilsweep take``.
    added : str
        Parts clipped across the jack; empty for none.
    coil_over : str
        Pickup that the exciter lies on; empty for the only one.
    is_guitar : bool
        The pickup is in a guitar.
    """

    method: str = "exciter"
    added: str = ""
    coil_over: str = ""
    is_guitar: bool = False


class GuideAsk(Told, frozen=True, kw_only=True):
    """The guide's question.

    Attributes
    ----------
    key : str
        Names it.
    before : tuple of str
        To be read first, as at a terminal.
    text : str
        The question itself.
    default : str
        What Enter takes; empty where something has to be typed.
    choices : tuple of str
        Where one of a few words is wanted; "yes" alone: Enter goes on; empty: it is typed.
    help : tuple of str
        An explanation.
    is_take : bool
        Enter plays and records.
    heading : str
        Which of the takes this is, and what it is for.
    todo : tuple of str
        What to connect, to lay and to turn before it.
    count, of : int
        Take number `count` of `of`; 0 where it is about no take.
    can_go_back : bool
        There is an answer to be taken back.
    drawing_svg : str
        What is connected where; empty where there is no drawing.
    wrong : str
        Why what was answered before will not do; empty where nothing is wrong.
    """

    key: str
    text: str
    before: tuple[str, ...] = ()
    default: str = ""
    choices: tuple[str, ...] = ()
    help: tuple[str, ...] = ()
    is_take: bool = False
    heading: str = ""
    todo: tuple[str, ...] = ()
    count: int = 0
    of: int = 0
    can_go_back: bool = False
    setup: Setup | None = None
    drawing_svg: str = ""
    wrong: str = ""


class GuideBusy(Told, frozen=True, kw_only=True):
    """The guide works.

    Attributes
    ----------
    progress : float or None
        From 0 to 1; None where it is not known.
    """

    text: str
    progress: float | None = None


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """What was found of a take, with its cure.

    Attributes
    ----------
    severity : {"pass", "warn", "reject"}
        How bad.
    """

    code: str
    severity: str
    text: str


class TakeResponse(msgspec.Struct, frozen=True, kw_only=True):
    """Response of one take with its error bars.

    Attributes
    ----------
    magnitude_db : tuple of float
        Magnitude. [dB]
    interval_db : tuple of float
        Half the width of its 95 % interval. [dB]
    """

    frequency_hz: Numbers
    magnitude_db: Numbers
    interval_db: Numbers


class TakeMade(Told, frozen=True, kw_only=True):
    """A take that was made.

    Attributes
    ----------
    outcome : str
        "good", "usable" or "rejected".
    response : TakeResponse or None
        None where it was rejected, or is quiet.
    """

    name: str
    outcome: str
    findings: tuple[Check, ...] = ()
    response: TakeResponse | None = None


class GuideDone(Told, frozen=True, kw_only=True):
    """The guide's end.

    Attributes
    ----------
    is_finished : bool
        False where it was left: it goes on from there when it is opened again.
    text : str
        How it ended, where it was left.
    report : str
        File of the report.
    sheet_html : str
        The answer.
    document : dict or None
        The same as ``coilsweep guide --json`` prints.
    """

    is_finished: bool
    text: str = ""
    report: str = ""
    sheet_html: str = ""
    document: dict[str, Any] | None = None


OfCard = Refused | Level | LevelEnded | GuideTold | GuideAsk | GuideBusy | TakeMade | GuideDone


class Curve(msgspec.Struct, frozen=True, kw_only=True):
    """A curve over frequency with its 95 % band.

    Attributes
    ----------
    db : tuple of float
        Magnitude. [dB]
    low_db, high_db : tuple of float
        Its 95 % interval; empty where there is none. [dB]
    label : str
        For the legend.
    """

    db: Numbers
    low_db: Numbers = ()
    high_db: Numbers = ()
    label: str = ""
    frequency_hz: Numbers = ()
