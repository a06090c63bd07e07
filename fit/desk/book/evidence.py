"""The takes that are to be fitted: their responses and references."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fit.answers.pickup.characterisation import PickupAnswer, characterise_pickup
from fit.desk.book.card import calibration_warnings
from fit.desk.book.desk import Desk
from fit.desk.book.drift import drift_warnings
from fit.desk.book.references import gather_evidence
from fit.desk.book.response import take_response
from fit.desk.book.take import take_to_fit
from fit.estimate.evidence import Evidence
from fit.estimate.joint import load_beside
from measure.errors import FileError
from measure.logbook.kept import findings_of_take
from measure.logbook.store import Logbook, list_takes

if TYPE_CHECKING:
    pass

RESULT_FILE = "fit.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWish:
    """What is to be fitted, as it was typed.

    Attributes
    ----------
    names : tuple of str
        Takes.
    dcr : str or None
        From a multimeter.
    at_hand : str
        Parts for a further take.
    """

    names: tuple[str, ...]
    dcr: str | None = None
    at_hand: str = ""


def answer_for(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[PickupAnswer, tuple[str, ...]]:
    """Fit the takes.

    Parameters
    ----------
    desk : Desk
        Where.
    logbook : Logbook
        Open.
    wish : FitWish
        Takes and references.

    Returns
    -------
    answer : PickupAnswer
        What was found.
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    """
    evidence, warnings = collect_evidence(desk, logbook, wish)
    return characterise_pickup(evidence), warnings


def collect_evidence(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[Evidence, tuple[str, ...]]:
    """Responses and references of the takes that are to be fitted.

    Parameters
    ----------
    desk : Desk
        Where.
    logbook : Logbook
        Open.
    wish : FitWish
        Takes and references.

    Returns
    -------
    evidence : Evidence
        For the fit.
    warnings : tuple of str
        What was noticed on the way, one line each.

    Raises
    ------
    ValueError
        If a take is named twice.
    """
    twice = [name for name in wish.names if wish.names.count(name) > 1]
    if twice:
        msg = f'the take "{twice[0]}" is named twice: it would count double; name each take once'
        raise ValueError(msg)
    order = {take.name: place for place, take in enumerate(list_takes(logbook).takes)}
    takes = sorted((take_to_fit(logbook, name) for name in wish.names), key=lambda take: order[take.name])
    load_beside()
    responses = [take_response(logbook, take) for take in desk.steps(takes, "responses")]
    evidence, warnings = gather_evidence(logbook, takes, responses, dcr=wish.dcr, at_hand=wish.at_hand)
    noticed = tuple(
        f"take {take.name}: {finding.text}" for take in takes for finding in findings_of_take(take) if finding.severity == "warn"
    )
    told = [f"take {take.name}: {text}" for take, one in zip(takes, responses, strict=True) for text in calibration_warnings(one)]
    return evidence, (*warnings, *noticed, *told, *drift_warnings(logbook, takes))


def last_wish(logbook: Logbook, *, is_needed: bool) -> FitWish:
    """Tell what was fitted last.

    Parameters
    ----------
    logbook : Logbook
        Open.
    is_needed : bool
        Without it, a wish without takes stands for no fit.

    Returns
    -------
    FitWish
        As it was typed.

    Raises
    ------
    FileError
        If it is needed and not there, or damaged.
    """
    import msgspec

    path = logbook.path / "results" / RESULT_FILE
    if not path.is_file():
        if is_needed:
            msg = f"no fit is kept in {logbook.path}: run `coilsweep fit NAME...` first, or name the takes"
            raise FileError(msg)
        return FitWish(names=())
    try:
        return msgspec.convert(msgspec.json.decode(path.read_bytes())["wish"], FitWish)
    except (msgspec.DecodeError, msgspec.ValidationError, KeyError, TypeError) as err:
        msg = f"{path} is damaged: run `coilsweep fit NAME...` again"
        raise FileError(msg) from err
