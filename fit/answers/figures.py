"""What answers are made of: a value with its interval, what limits it, what would narrow it."""

from dataclasses import dataclass
from typing import Literal

from measure.quantity import NORMAL_FACTOR
from measure.response import ComplexArray, FloatArray

FitOutcome = Literal["good", "misfit"]
COVERAGE = NORMAL_FACTOR  # [1] half-width of a normal 95 % interval over its standard uncertainty


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Estimate:
    """A value with its standard uncertainty and 95 % interval, SI units without prefix.

    Attributes
    ----------
    value, standard_uncertainty, low, high : float
        [`unit`]
    unit : str
        SI; "1" for pure numbers, "dB" for levels.
    coverage_factor : float
        Half-width of the interval over the standard uncertainty, by the distribution (JCGM 100:2008, G.1.3). [1]
    distribution : str
        "normal", "rectangular" where one reference's bound dominates, "mixed" where it has a large part, "profile" where the
        interval was walked and not linearised.
    """

    value: float
    unit: str
    standard_uncertainty: float
    low: float
    high: float
    coverage_factor: float = COVERAGE
    distribution: str = "normal"

    @property
    def interval_95(self) -> tuple[float, float]:
        """Both limits of the 95 % interval, in the unit of the value."""
        return self.low, self.high


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NextTake:
    """A further take, and how surely it would tell the quantity."""

    add: str  # parts across the jack, as written for --add
    text: str  # what to do, for people
    predicted_relative_std: float  # of the quantity, after it [1]
    controls: tuple[str, ...] = ()  # CONTROL=VALUE of what is turned, as written for --set


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NotIdentified:
    """A quantity that the takes cannot tell."""

    quantity: str
    why: str
    next_take: NextTake | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One source of uncertainty of one quantity.

    Attributes
    ----------
    source : str
        For people.
    contribution : float
        1 σ of the quantity by it alone. [unit of the quantity]
    """

    source: str
    contribution: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A model that was tried.

    Attributes
    ----------
    name : str
        For people.
    bic : float
        Bayesian information criterion; lower is better. [1]
    reduced_chi_square : float
        χ² over the number of data. [1]
    """

    name: str
    bic: float
    reduced_chi_square: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorAnswer:
    """How far the model and the response differ smoothly.

    Attributes
    ----------
    value : float
        √(q² + p²), relative. [1]
    correlation_octaves : float
        Over how many octaves. [octaves]
    common : bool
        The same in all takes of a placement.
    worst_hz : float
        Where the smooth difference is largest. [Hz]
    """

    value: float
    correlation_octaves: float
    common: bool
    worst_hz: float


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
