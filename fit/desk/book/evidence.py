"""The takes that are to be fitted: their responses and references."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fit.desk.book.desk import Desk
from fit.desk.book.take import take_to_fit
from measure.errors import FileError
from measure.logbook.disk import one_line
from measure.logbook.store import Logbook, list_takes
from measure.logbook.take import Take

if TYPE_CHECKING:
    from fit.estimate.evidence import Evidence

RESULT_FILE = "fit.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWish:
    """What is to be fitted, as it was typed.

    Attributes
    ----------
    at_hand : str
        Parts for a further take.
    """

    names: tuple[str, ...]
    dcr: str | None = None
    at_hand: str = ""


def takes_of(logbook: Logbook, names: Sequence[str]) -> list[Take]:
    """Read the takes that are to be fitted, in the order they were made.

    Raises
    ------
    ValueError
        If a take is named twice, or they are of different items.
    """
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        msg = f'the take "{twice[0]}" is named twice: it would count double; name each take once'
        raise ValueError(msg)
    order = {take.name: place for place, take in enumerate(list_takes(logbook).takes)}
    takes = sorted((take_to_fit(logbook, name) for name in names), key=lambda take: order[take.name])
    require_one_item(takes)
    return takes


def require_one_item(takes: Sequence[Take]) -> None:
    """See that takes are of one item, as far as that is stated.

    Raises
    ------
    ValueError
        If they are not: no value may rest on two guitars.
    """
    known = [take for take in takes if take.conditions.item is not None]
    other = next((take for take in known if take.conditions.item != known[0].conditions.item), None)
    if other is not None:
        first, second = (f'take {take.name} is of "{one_line(take.conditions.item, 40)}"' for take in (known[0], other))
        msg = f"{first}, {second}: name takes of one item; a slip is mended by coilsweep takes amend NAME --item TEXT"
        raise ValueError(msg)


def collect_evidence(
    desk: Desk, logbook: Logbook, takes: Sequence[Take], *, dcr: str | None, at_hand: str = ""
) -> "tuple[Evidence, tuple[str, ...]]":
    """Responses and references of the takes that are to be fitted.

    Parameters
    ----------
    takes : sequence of Take
        As `takes_of` gives them.
    at_hand : str
        Parts for a further take.

    Returns
    -------
    warnings : tuple of str
        What was noticed on the way, one line each.
    """
    from fit.desk.book.card import calibration_warnings
    from fit.desk.book.references import gather_evidence
    from fit.desk.book.response import take_response
    from fit.estimate.joint import load_beside

    load_beside()
    responses = [take_response(logbook, take) for take in desk.steps(takes, "responses")]
    evidence, warnings = gather_evidence(logbook, takes, responses, dcr=dcr, at_hand=at_hand)
    noticed = tuple(
        f"take {take.name}: {finding.text}" for take in takes for finding in take.findings if finding.severity == "warn"
    )
    told = [f"take {take.name}: {text}" for take, one in zip(takes, responses, strict=True) for text in calibration_warnings(one)]
    return evidence, (*warnings, *noticed, *told)


def last_wish(logbook: Logbook, *, is_needed: bool) -> FitWish:
    """Tell what was fitted last.

    Parameters
    ----------
    is_needed : bool
        Without it, a wish without takes stands for no fit.

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
