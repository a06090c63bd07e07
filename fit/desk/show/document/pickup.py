"""What fit, report, confirm, repeat and check say as JSON: of a pickup, of a part, of the bench."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from msgspec import UNSET, UnsetType

from fit.answers.confirm.confirmation import Verdict
from fit.answers.figures import Candidate, Contribution, FitOutcome, FloorAnswer
from fit.answers.repeat.repeatability import Verdict as Repeats
from fit.desk.show.document.history import PastResult
from fit.desk.show.document.pieces import (
    DecisionRule,
    Document,
    FurtherTake,
    NamedTake,
    Number,
    Piece,
    Value,
    further_take,
    named_takes,
    number,
    value_of,
)

if TYPE_CHECKING:
    from fit.answers.pickup.answer import PickupAnswer
    from fit.answers.pickup.answer import Released as LetGo

State = Literal["within limits", "drifted", "outside", "too few"]


class Model(Piece, frozen=True, kw_only=True):
    """The model that was chosen.

    Attributes
    ----------
    name : str
        For people.
    eddy_loops : int
        Of the first pickup.
    candidates : tuple of Candidate
        All models that were tried.
    """

    name: str
    eddy_loops: int
    candidates: tuple[Candidate, ...]


class Released(Piece, frozen=True, kw_only=True):
    """A statement that the takes contradict, so that it was let go.

    Attributes
    ----------
    parameter : str
        What it is of, as the budget calls its sources.
    reference : bool
        A person stated it; false for what is only usual of an interface or a part.
    stated, found : Value
        What was stated, and what the takes say without it.
    instead : tuple of str
        Other references that would explain the takes nearly as well, were they wrong.
    """

    parameter: str
    reference: bool
    stated: Value
    found: Value
    instead: tuple[str, ...]


class Unidentified(Piece, frozen=True, kw_only=True):
    """A quantity that the takes cannot tell.

    Attributes
    ----------
    quantity : str
        Its name.
    why : str
        For people.
    next_take : FurtherTake or None
        That would tell it; null where none does.
    """

    quantity: str
    why: str
    next_take: FurtherTake | None


class Agreement(Piece, frozen=True, kw_only=True):
    """How far a take and the model lie apart.

    Attributes
    ----------
    rms_db, max_db : float or None
        Level, over the frequencies that were fitted. [dB]
    rms_degree : float or None
        Phase. [°]
    """

    rms_db: Number
    max_db: Number
    rms_degree: Number


class FitDocument(Document, frozen=True, kw_only=True, tag="coilsweep.fit/1"):
    """What the pickup is.

    Attributes
    ----------
    takes : tuple of NamedTake
        That were fitted.
    simulated : bool
        A take came from the virtual bench.
    outcome : {"good", "misfit"}
        The values of a misfit are indicative only.
    floor : FloorAnswer
        How far model and response differ smoothly.
    model : Model
        That was chosen.
    quantities : dict of str to Value
        What was found, by name.
    released : tuple of Released
        Statements that the takes contradict.
    taken_on_trust : tuple of str
        What the values rest on without a check, one line each.
    not_identified : tuple of Unidentified
        What the takes cannot tell.
    next_takes : dict of str to tuple of FurtherTake
        For each quantity what would narrow it, the most helpful first.
    budget : dict of str to tuple of Contribution
        For each quantity what makes it uncertain.
    agreement : dict of str to Agreement
        For each take how far it lies from the model.
    warnings : tuple of str
        What was noticed, one line each.
    earlier : PastResult
        What was found of the same item on the last day before, where that is known.
    """

    takes: tuple[NamedTake, ...]
    simulated: bool
    outcome: FitOutcome
    floor: FloorAnswer
    model: Model
    quantities: dict[str, Value]
    released: tuple[Released, ...]
    taken_on_trust: tuple[str, ...]
    not_identified: tuple[Unidentified, ...]
    next_takes: dict[str, tuple[FurtherTake, ...]]
    budget: dict[str, tuple[Contribution, ...]]
    agreement: dict[str, Agreement]
    warnings: tuple[str, ...]
    earlier: PastResult | UnsetType = UNSET


def fit_document(answer: "PickupAnswer", *, warnings: tuple[str, ...], released: "Sequence[LetGo]" = ()) -> FitDocument:
    """Put the whole answer as ``fit --json`` states it, with what was noticed outside the fit and what the takes contradict."""
    noticed = [finding.text for finding in answer.findings if finding.severity != "pass"]
    return FitDocument(
        takes=named_takes(answer.takes, "fitted"),
        simulated=answer.simulated,
        outcome=answer.outcome,
        floor=answer.floor,
        model=Model(name=answer.model_name, eddy_loops=answer.eddy_loops, candidates=answer.candidates),
        quantities={key: value_of(estimate) for key, estimate in answer.quantities.items()},
        released=tuple(
            Released(
                parameter=one.parameter,
                reference=one.is_reference,
                stated=value_of(one.stated),
                found=value_of(one.found),
                instead=one.instead,
            )
            for one in released
        ),
        taken_on_trust=tuple(finding.text for finding in answer.findings if finding.code == "rests-on"),
        not_identified=tuple(
            Unidentified(
                quantity=one.quantity, why=one.why, next_take=None if one.next_take is None else further_take(one.next_take)
            )
            for one in answer.not_identified
        ),
        next_takes={key: tuple(further_take(take) for take in takes) for key, takes in answer.next_takes.items()},
        budget=answer.budget,
        agreement={
            curve.take: Agreement(rms_db=number(curve.rms_db), max_db=number(curve.max_db), rms_degree=number(curve.rms_degree))
            for curve in answer.curves
        },
        warnings=(*warnings, *noticed),
    )


class ReportDocument(Document, frozen=True, kw_only=True, tag="coilsweep.report/1"):
    """Where the report is.

    Attributes
    ----------
    file : str
        The page.
    takes : tuple of NamedTake
        That were fitted.
    simulated : bool
        A take came from the virtual bench.
    outcome : {"good", "misfit"}
        Of the fit.
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    """

    file: str
    takes: tuple[NamedTake, ...]
    simulated: bool
    outcome: FitOutcome
    warnings: tuple[str, ...]


class Marking(Piece, frozen=True, kw_only=True):
    """What is marked on a part.

    Attributes
    ----------
    text : str
        As it was written.
    understood : str
        What a code or a bare number was taken for, and from what; where it is no quantity as it stands.
    value : float
        [`unit`]
    unit : str
        SI without prefix.
    tolerance : float or None
        Relative. [1]
    tolerance_assumed : bool
        The marking states none, so the usual one counts.
    allowed : tuple of (float or None)
        Lower and upper limit. [`unit`]
    """

    text: str
    value: float
    unit: str
    tolerance: Number
    tolerance_assumed: bool
    allowed: tuple[Number, Number]
    understood: str | UnsetType = UNSET


class ConfirmDocument(Document, frozen=True, kw_only=True, tag="coilsweep.confirm/1"):
    """Whether a part is what is marked on it.

    Attributes
    ----------
    part : str
        As in instrument.toml.
    marked : Marking or None
        Null where nothing is.
    measured : Value or None
        Null where the takes do not tell it.
    deviation : float or None
        Measured over marked, less 1. [1]
    verdict : {"within marking", "outside marking", "not resolved"}
        What holds for the whole 95 % interval.
    why : str
        The reason, one sentence.
    decision_rule : DecisionRule
        By which it was judged.
    conformance_probability : float or None
        That the part is within its marking. [1]
    specific_risk : float or None
        Probability that the verdict is wrong; null where none is given. [1]
    nearest_preferred : str or None
        Preferred value nearest to what was measured.
    code : str or None
        As the marking reads on a part; where nothing is marked, that of the nearest preferred value.
    next_take : FurtherTake or None
        That would tell the part, where these do not.
    budget : tuple of Contribution
        What makes the measured value uncertain.
    takes : tuple of NamedTake
        That were fitted.
    simulated : bool
        A take came from the virtual bench.
    outcome : {"good", "misfit"}
        Of the fit.
    warnings : tuple of str
        What was noticed, one line each.
    """

    part: str
    marked: Marking | None
    measured: Value | None
    deviation: Number
    verdict: Verdict
    why: str
    decision_rule: DecisionRule
    conformance_probability: Number
    specific_risk: Number
    nearest_preferred: str | None
    code: str | None
    next_take: FurtherTake | None
    budget: tuple[Contribution, ...]
    takes: tuple[NamedTake, ...]
    simulated: bool
    outcome: FitOutcome
    warnings: tuple[str, ...]


class RepeatedSet(Piece, frozen=True, kw_only=True):
    """Takes that were fitted together to one result.

    Attributes
    ----------
    takes : tuple of str
        Their names.
    day, placement : int
        From 1 up.
    date : str
        UTC, as YYYY-MM-DD.
    values : dict of str to float
        By quantity. [unit of the quantity]
    """

    takes: tuple[str, ...]
    day: int
    date: str
    placement: int
    values: dict[str, float]


class Spread(Piece, frozen=True, kw_only=True):
    """A standard deviation of the bench.

    Attributes
    ----------
    standard_deviation : float
        [unit of the quantity]
    interval_95 : tuple of (float or None)
        Both ends of its 95 % interval; null where there is no end. [unit of the quantity]
    degrees_of_freedom : float or None
        Null where there are none. [1]
    """

    standard_deviation: float
    interval_95: tuple[Number, Number]
    degrees_of_freedom: Number


class StatedUncertainty(Piece, frozen=True, kw_only=True):
    """What a fit states of its own result.

    Attributes
    ----------
    standard_uncertainty, not_shared, shared : float
        The whole, what each set has of its own, what all of them share. [unit of the quantity]
    half_width_95 : float
        Half of the 95 % interval. [unit of the quantity]
    """

    standard_uncertainty: float
    not_shared: float
    shared: float
    half_width_95: float


class BenchUncertainty(Piece, frozen=True, kw_only=True):
    """What the bench does to one result.

    Attributes
    ----------
    standard_uncertainty, half_width_95 : float
        Its 1 σ, and half of its 95 % interval. [unit of the quantity]
    """

    standard_uncertainty: float
    half_width_95: float


class RepeatedQuantity(Piece, frozen=True, kw_only=True):
    """How one quantity repeats.

    Attributes
    ----------
    unit : str
        SI without prefix; "dB" for levels.
    mean : float
        Over the sets. [`unit`]
    standard_deviations : dict of str to Spread
        By what was changed, for example "placement+repeat" where the two cannot be told apart.
    together : Spread or None
        All of it; null where it is not told.
    stated : StatedUncertainty
        By the fits.
    one_result : BenchUncertainty
        On this bench.
    p_value : float or None
        Probability of such differences by chance, were the stated intervals true. [1]
    verdict : {"holds", "too narrow", "not told"}
        Whether the stated intervals hold.
    """

    unit: str
    mean: float
    standard_deviations: dict[str, Spread]
    together: Spread | None
    stated: StatedUncertainty
    one_result: BenchUncertainty
    p_value: Number
    verdict: Repeats


class RepeatDocument(Document, frozen=True, kw_only=True, tag="coilsweep.repeat/1"):
    """How well the bench repeats.

    Attributes
    ----------
    simulated : bool
        A take came from the virtual bench.
    loads : tuple of str
        What each set consists of.
    n_sets, n_placements, n_days : int
        How many.
    sets : tuple of RepeatedSet
        In the order of time.
    quantities : dict of str to RepeatedQuantity
        By name.
    not_told : tuple of str
        Quantities that not every set tells.
    advice : tuple of str
        What the design of the takes leaves open, one line each.
    warnings : tuple of str
        What was noticed, one line each.
    """

    simulated: bool
    loads: tuple[str, ...]
    n_sets: int
    n_placements: int
    n_days: int
    sets: tuple[RepeatedSet, ...]
    quantities: dict[str, RepeatedQuantity]
    not_told: tuple[str, ...]
    advice: tuple[str, ...]
    warnings: tuple[str, ...]


class Measurement(Piece, frozen=True, kw_only=True):
    """One measurement of a kept coil.

    Attributes
    ----------
    takes : tuple of str
        Their names.
    time_utc : str
        Of the last of them.
    """

    takes: tuple[str, ...]
    time_utc: str


class ControlChart(Piece, frozen=True, kw_only=True):
    """A control chart; null stands for what is not told.

    Attributes
    ----------
    points, low, high : tuple of (float or None)
        What is drawn, and its limits, one for each measurement. [unit of the quantity]
    centre : float
        [unit of the quantity]
    outside : tuple of int
        Points outside of their limits, counted from 0.
    """

    points: tuple[Number, ...]
    centre: float
    low: tuple[Number, ...]
    high: tuple[Number, ...]
    outside: tuple[int, ...]


class AverageChart(Piece, frozen=True, kw_only=True):
    """A control chart of the weighted average; null stands for what is not told.

    Attributes
    ----------
    weight : float
        Of the latest measurement. [1]
    points, low, high : tuple of (float or None)
        What is drawn, and its limits, one for each measurement. [unit of the quantity]
    centre : float
        [unit of the quantity]
    outside : tuple of int
        Points outside of their limits, counted from 0.
    """

    weight: float
    points: tuple[Number, ...]
    centre: float
    low: tuple[Number, ...]
    high: tuple[Number, ...]
    outside: tuple[int, ...]


class Drifted(Piece, frozen=True, kw_only=True):
    """A drift.

    Attributes
    ----------
    size : float
        Distance from the centre. [unit of the quantity]
    is_lasting : bool
        It is no single point.
    since_take, since_utc : str
        Where it began.
    """

    size: float
    is_lasting: bool
    since_take: str
    since_utc: str


class CheckedQuantity(Piece, frozen=True, kw_only=True):
    """One quantity of a kept coil; without charts while there are too few measurements.

    Attributes
    ----------
    unit : str
        SI without prefix; "dB" for levels.
    values : tuple of float
        One for each measurement. [`unit`]
    centre, sigma : float
        Of the baseline. [`unit`]
    baseline : tuple of int
        Measurements that it rests on, counted from 0.
    individuals, moving_range : ControlChart
        Of single measurements, and of the distance from one to the next.
    ewma : AverageChart
        Of the weighted average.
    drift : Drifted or None
        Null where there is none.
    """

    unit: str
    values: tuple[float, ...]
    centre: float | UnsetType = UNSET
    sigma: float | UnsetType = UNSET
    baseline: tuple[int, ...] | UnsetType = UNSET
    individuals: ControlChart | UnsetType = UNSET
    moving_range: ControlChart | UnsetType = UNSET
    ewma: AverageChart | UnsetType = UNSET
    drift: Drifted | UnsetType | None = UNSET


class CheckDocument(Document, frozen=True, kw_only=True, tag="coilsweep.check/1"):
    """Whether a kept coil still measures as it did.

    Attributes
    ----------
    coil : str
        Its name.
    simulated : bool
        A take came from the virtual bench.
    outcome : {"within limits", "drifted", "outside", "too few"}
        What the charts say.
    loads : tuple of str
        What each measurement consists of.
    n_measurements, n_needed : int
        How many there are, and how many more are needed before limits can be drawn.
    measurements : tuple of Measurement
        In the order of time.
    quantities : dict of str to CheckedQuantity
        By name.
    not_told : tuple of str
        Quantities that not every measurement tells.
    warnings : tuple of str
        What was noticed, one line each.
    """

    coil: str
    simulated: bool
    outcome: State
    loads: tuple[str, ...]
    n_measurements: int
    n_needed: int
    measurements: tuple[Measurement, ...]
    quantities: dict[str, CheckedQuantity]
    not_told: tuple[str, ...]
    warnings: tuple[str, ...]
