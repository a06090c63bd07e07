"""What is this pickup? Its values with intervals, what limits them, and which further take would help."""

from dataclasses import dataclass

from fit.estimate.evidence import Evidence
from measure.response import ComplexArray, Finding, FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Estimate:
    """A value with its standard uncertainty and 95 % interval, SI units without prefix."""

    value: float
    unit: str
    standard_uncertainty: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NextTake:
    """A further take, and how surely it would tell the quantity."""

    add: str  # parts across the jack, as written for --add; empty when it is not a take
    text: str  # what to do, for people
    predicted_relative_std: float  # of the quantity, after it [1]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NotIdentified:
    """A quantity that the takes cannot tell."""

    quantity: str
    why: str
    next_take: NextTake | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Contribution:
    """One source of uncertainty of one quantity, in the quantity's unit, 1 σ."""

    source: str
    contribution: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Candidate:
    """A model that was tried."""

    name: str
    bic: float
    reduced_chi_square: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FloorAnswer:
    """How far the model and the response differ smoothly."""

    value: float  # √(q² + p²), relative [1]
    correlation_octaves: float
    common: bool  # the same in all takes of a placement
    worst_hz: float  # where the smooth difference is largest [Hz]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """One take: measured and modelled response over the frequencies that were fitted, shape (n,) each."""

    take: str
    frequency_hz: FloatArray
    measured: ComplexArray  # [V/V]
    measured_std: FloatArray  # √(var Re + var Im) [V/V]
    model: ComplexArray  # [V/V]
    rms_db: float
    max_db: float
    rms_degree: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PickupAnswer:
    """Everything that `characterise_pickup` finds."""

    takes: tuple[str, ...]
    simulated: bool
    outcome: str  # "good" or "misfit"
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
    loaded_gain: ComplexArray  # voltage at the jack per volt of EMF
    findings: tuple[Finding, ...]


def characterise_pickup(evidence: Evidence) -> PickupAnswer:
    """Fit the takes of one pickup and say what it is.

    Parameters
    ----------
    evidence : Evidence
        Takes and references.

    Returns
    -------
    PickupAnswer
        Values, budget, what is not identified, curves.
    """
    raise NotImplementedError
