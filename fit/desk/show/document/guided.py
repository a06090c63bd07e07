"""What demo and guide say as JSON: what their jobs came to."""

from typing import Literal

from fit.desk.show.document.guitar import CompareDocument, WiringDocument
from fit.desk.show.document.pickup import ConfirmDocument, FitDocument
from fit.desk.show.document.pieces import Document


class DemoDocument(Document, frozen=True, kw_only=True, tag="coilsweep.demo/1"):
    """What the demonstration came to.

    Attributes
    ----------
    simulated : bool
        Always true.
    report : str
        File of the page.
    fit : FitDocument
        Of its takes.
    """

    simulated: bool
    report: str
    fit: FitDocument


Answered = FitDocument | ConfirmDocument | CompareDocument | WiringDocument


class GuideDocument(Document, frozen=True, kw_only=True, tag="coilsweep.guide/1"):
    """What a session with the guide came to.

    Attributes
    ----------
    job : {"guitar", "pickup", "capacitor", "compare", "wiring"} or None
        Which guide; null where none was chosen.
    logbook : str
        Folder of its takes.
    finished : bool
        False where it was left.
    report : str or None
        File of the page; null where it was left before.
    answer : document or None
        As the command of the job prints it; null where nothing was asked yet.
    wiring : WiringDocument or None
        Of a whole guitar: what its switch connects; null where that was not asked.
    """

    job: Literal["guitar", "pickup", "capacitor", "compare", "wiring"] | None
    logbook: str
    finished: bool
    report: str | None
    answer: Answered | None
    wiring: WiringDocument | None = None
