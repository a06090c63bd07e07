"""A fit of takes: made once, kept in derived/, and read again while nothing that it rests on has changed."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer, Released
from fit.desk.book.derived import kept_or_made, takes_key
from fit.desk.book.desk import Desk
from fit.desk.book.drift import drift_warnings
from fit.desk.show.words import plain_text
from fit.estimate.parameters import PickupModel
from measure.errors import FileError
from measure.logbook.disk import DAMAGE, read_small
from measure.logbook.naming import check_name, usual_form
from measure.logbook.store import Logbook, read_take, read_takes
from measure.logbook.take import Take

if TYPE_CHECKING:
    from fit.estimate.evidence import Evidence

RESULT_FILE = "fit.json"
LIMIT_BYTES = 20_000_000  # of it


class RejectedError(Exception):
    """A value was asked for that would rest on a rejected recording."""

    exit_code = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWish:
    """What is to be fitted, as it was typed.

    Attributes
    ----------
    names : tuple of str
        Of takes, in their usual form.
    at_hand : str
        Parts for a further take.
    """

    names: tuple[str, ...]
    dcr: str | None = None
    at_hand: str = ""

    def __post_init__(self) -> None:
        """Put the names in the form in which they are kept.

        Raises
        ------
        ValueError
            If one cannot be the name of a take.
        """
        object.__setattr__(self, "names", tuple(map(usual_form, self.names)))
        for name in self.names:
            check_name(name)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """A fit with all that its readers need, so that none of them searches again.

    Attributes
    ----------
    wish : FitWish
        As it was typed this time.
    released : tuple of Released
        Statements that it let go.
    models : dict
        Pickup to the circuit that was chosen for it; ``""`` where there is one without an instrument.
    suffixes : dict
        Pickup to what ends the names of its parameters.
    values : dict
        Name of each parameter, and of each that is held, to its value at the minimum.
    rates_hz : tuple of float
        Sample rates of the takes, each once; none for responses measured elsewhere. [Hz]
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    """

    wish: FitWish
    answer: PickupAnswer
    released: tuple[Released, ...]
    models: dict[str, PickupModel]
    suffixes: dict[str, str]
    values: dict[str, float]
    rates_hz: tuple[float, ...]
    warnings: tuple[str, ...]


def fit_of(desk: Desk, logbook: Logbook, wish: FitWish) -> Fit:
    """Fit takes, or read the fit of them that is kept.

    Returns
    -------
    Fit
        With what is known of the bench at present among its warnings.

    Raises
    ------
    ValueError
        If a take is named twice.
    """
    takes = takes_of(logbook, wish.names)
    key = takes_key(logbook, takes, "fit", wish.dcr, wish.at_hand)
    kept = kept_or_made(logbook, "fit", key, Fit, lambda: _make_fit(desk, logbook, takes, wish))
    return replace(kept, wish=wish, warnings=(*kept.warnings, *drift_warnings(logbook, takes)))


def answer_for(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[PickupAnswer, tuple[str, ...]]:
    """Tell what a fit of the takes found, and what was noticed outside it, one line each."""
    found = fit_of(desk, logbook, wish)
    return found.answer, found.warnings


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
        return msgspec.convert(msgspec.json.decode(read_small(path, LIMIT_BYTES, below=logbook.path))["wish"], FitWish)
    except (*DAMAGE, KeyError, TypeError) as err:
        msg = f"{path} is damaged: run `coilsweep fit NAME...` again"
        raise FileError(msg) from err


def takes_of(logbook: Logbook, names: Sequence[str]) -> list[Take]:
    """Read the takes that are to be fitted, in the order they were made.

    Raises
    ------
    ValueError
        If a take is named twice, or they are of different items.
    """
    require_once(names, why="it would count double; ")
    takes = read_takes(logbook, names)
    for take in takes:
        require_fittable(take)
    require_one_item(takes)
    return takes


def require_once(names: Sequence[str], *, why: str = "") -> None:
    """See that no take is named twice.

    Parameters
    ----------
    why : str
        What would come of it, with what parts it from the cure.

    Raises
    ------
    ValueError
        If one is.
    """
    twice = next((name for name, count in Counter(names).items() if count > 1), None)
    if twice is not None:
        msg = f'the take "{plain_text(twice)}" is named twice: {why}name each take once'
        raise ValueError(msg)


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
        first, second = (f'take {take.name} is of "{plain_text(take.conditions.item or "")[:40]}"' for take in (known[0], other))
        msg = f"{first}, {second}: name takes of one item; a slip is mended by coilsweep takes amend NAME --item TEXT"
        raise ValueError(msg)


def take_to_fit(logbook: Logbook, name: str) -> Take:
    """Read a take that values may be derived from: verified, not rejected, something was played."""
    take = read_take(logbook, name)
    require_fittable(take)
    return take


def require_fittable(take: Take) -> None:
    """See that values may be derived from a take.

    Raises
    ------
    RejectedError
        If its recording was rejected.
    FileError
        If nothing was played in it.
    """
    if take.outcome == "rejected":
        reasons = "; ".join(one.text for one in take.findings if one.severity == "reject")
        msg = f'the take "{take.name}" was rejected, no value may rest on it: {plain_text(reasons)}'
        raise RejectedError(msg)
    if take.conditions.method == "quiet":
        msg = f'in the take "{take.name}" nothing was played: it tells hum and noise (coilsweep compare), no part'
        raise FileError(msg)


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
    from fit.desk.book.references import gather_evidence
    from fit.desk.book.response import take_response
    from fit.estimate.joint import load_beside
    from measure.logbook.card import calibration_warnings

    load_beside()
    responses = [take_response(logbook, take) for take in desk.steps(takes, "responses")]
    evidence, warnings = gather_evidence(logbook, takes, responses, dcr=dcr, at_hand=at_hand)
    noticed = tuple(
        f"take {take.name}: {finding.text}" for take in takes for finding in take.findings if finding.severity == "warn"
    )
    told = [f"take {take.name}: {text}" for take, one in zip(takes, responses, strict=True) for text in calibration_warnings(one)]
    return evidence, (*warnings, *noticed, *told)


def _make_fit(desk: Desk, logbook: Logbook, takes: Sequence[Take], wish: FitWish) -> Fit:
    from fit.answers.pickup.characterisation import answer_of
    from fit.answers.pickup.contradictions import released_of
    from fit.estimate.ladder import choose_model
    from fit.estimate.model import name_values, suffixes_of

    evidence, warnings = collect_evidence(desk, logbook, takes, dcr=wish.dcr, at_hand=wish.at_hand)
    choice = choose_model(evidence)
    return Fit(
        wish=wish,
        answer=answer_of(choice),
        released=released_of(choice),
        models=dict(choice.problem.models),
        suffixes=suffixes_of(choice.problem),
        values=name_values(choice.problem, choice.fit.vector),
        rates_hz=tuple(sorted({take.response.origin.rate_hz for take in evidence.takes} - {0.0})),
        warnings=warnings,
    )
