"""What a pickup is found to be, as data: read without what makes it."""

from dataclasses import dataclass, field

from fit.answers.figures import Candidate, Contribution, Curve, Estimate, FitOutcome, FloorAnswer, NextTake, NotIdentified
from fit.answers.parts.fitted import MeasuredParts
from fit.circuit.instrument import Taper
from measure.response import ComplexArray, Finding, FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PickupAnswer:
    """Everything that `characterise_pickup` finds."""

    takes: tuple[str, ...]
    simulated: bool
    outcome: FitOutcome
    floor: FloorAnswer
    model_name: str  # for people, for example "one coil, one eddy loop"
    eddy_loops: int
    candidates: tuple[Candidate, ...]
    quantities: dict[str, Estimate]
    not_identified: tuple[NotIdentified, ...]
    budget: dict[str, tuple[Contribution, ...]]
    next_takes: dict[str, tuple[NextTake, ...]]  # per quantity: further takes, the most helpful first
    curves: tuple[Curve, ...]
    loaded_frequency_hz: FloatArray  # for the plot of the pickup behind cable and input, without added parts
    loaded_gain: ComplexArray  # voltage at the jack per volt of EMF, of the first pickup
    findings: tuple[Finding, ...]
    parts: MeasuredParts | None = None  # all values together with their covariance, for predictions
    tapers: dict[str, Taper] = field(default_factory=dict)  # of the instrument's pots


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Released:
    """A statement that was let go.

    Attributes
    ----------
    parameter : str
        What it is of, as the budget calls its sources.
    is_reference : bool
        A person stated it; else it is what is usual of an interface, or of a sound part.
    stated, found : Estimate
        What was stated, and what the takes say without it.
    instead : tuple of str
        Other references that would explain the takes nearly as well, were they wrong.
    """

    parameter: str
    is_reference: bool
    stated: Estimate
    found: Estimate
    instead: tuple[str, ...]
