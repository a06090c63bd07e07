"""A fit of takes: made once, kept in derived/, and read again while nothing that it rests on has changed."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer, Released
from fit.desk.book.derived import kept_or_made, takes_key
from fit.desk.book.desk import Desk
from fit.desk.book.drift import drift_warnings
from fit.desk.book.evidence import FitWish, collect_evidence, takes_of
from fit.estimate.parameters import PickupModel
from measure.logbook.store import Logbook

if TYPE_CHECKING:
    from measure.logbook.take import Take


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """A fit with all that its readers need, so that none of them searches again.

    Attributes
    ----------
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
    return replace(kept, warnings=(*kept.warnings, *drift_warnings(logbook, takes)))


def answer_for(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[PickupAnswer, tuple[str, ...]]:
    """Tell what a fit of the takes found, and what was noticed outside it, one line each."""
    found = fit_of(desk, logbook, wish)
    return found.answer, found.warnings


def _make_fit(desk: Desk, logbook: Logbook, takes: "list[Take]", wish: FitWish) -> Fit:
    from fit.answers.pickup.characterisation import answer_of
    from fit.answers.pickup.contradictions import released_of
    from fit.estimate.ladder import choose_model
    from fit.estimate.model import name_values, suffixes_of

    evidence, warnings = collect_evidence(desk, logbook, takes, dcr=wish.dcr, at_hand=wish.at_hand)
    choice = choose_model(evidence)
    return Fit(
        answer=answer_of(choice),
        released=released_of(choice),
        models=dict(choice.problem.models),
        suffixes=suffixes_of(choice.problem),
        values=name_values(choice.problem, choice.fit.vector),
        rates_hz=tuple(sorted({take.response.origin.rate_hz for take in evidence.takes} - {0.0})),
        warnings=warnings,
    )
