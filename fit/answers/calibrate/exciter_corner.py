"""Where does the exciter's current begin to fall? The corner Rx / (2π Lx), for takes that do not record the current.

The sense resistor's voltage over that of the output is G / (1 + jf/fc), with everything in series in Rx. It is recorded at once
(sense resistor on one input, output on the other), or is the ratio of two takes of one pickup: referred to the output, and
referred to the sense resistor.
"""

from dataclasses import dataclass, replace

import numpy as np

from fit.answers.digits import rough_percent
from fit.answers.figures import Contribution, Estimate
from fit.answers.parts.quantities import Derived
from fit.answers.pickup.characterisation import estimate_of
from fit.estimate.budget import split_uncertainty
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.fixed_model import settle_model
from fit.estimate.ladder import MISFIT, Choice
from fit.estimate.model import Problem, points_per_third, predict_residual, usable_points
from fit.estimate.parameters import DELAY_STD_SAMPLES, Parameter, PickupModel
from fit.estimate.shifts import shift_names, shift_rows
from measure.quantity import Quantity
from measure.response import ComplexArray, Finding, FloatArray, Response, relative_std

USUAL = (10e3, 2.0)  # [Hz], [ln 1] of a small coil without iron and what is in series: common practice, no source
STARTS_HZ = (1e3, 1e4, 1e5)
LEAST_POINTS = 16
LOWEST = 8  # points that tell the gain at the start
TELLING = 0.2  # [1] relative standard uncertainty from which on nothing was told
HIGH_HZ = 60e3  # [Hz] three times the band: a corner there changes next to nothing
COPPER_STD = 0.002  # [1] of Rx: 0.39 % a kelvin (IEC 60028) of the copper's third of it, ± 3 K; the third: common practice
ANYTHING = Quantity(value=1.0, standard_uncertainty=1.0, bound=None, unit="Ω", text="not used")
SAME_PLACE = 1e-9  # [1] of two frequencies


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CornerAnswer:
    """The exciter's corner.

    Attributes
    ----------
    corner : Estimate
        Rx / (2π Lx). [Hz]
    budget : tuple of Contribution
        Where its uncertainty comes from.
    floor : float
        Smooth difference of model and take. [1]
    findings : tuple of Finding
        A "reject" among them: the value may not be used.
    simulated : bool
        It rests on the virtual bench.
    """

    corner: Estimate
    budget: tuple[Contribution, ...]
    floor: float
    findings: tuple[Finding, ...]
    simulated: bool


def find_corner(response: Response) -> CornerAnswer:
    """Fit the corner to the current's response.

    Parameters
    ----------
    response : Response
        Sense resistor over output.

    Returns
    -------
    CornerAnswer
        With its interval; a poor fit never raises.

    Raises
    ------
    ValueError
        If there are too few usable frequencies.
    """
    problem = _lay_out(response)
    choice = settle_model(problem, [_start(problem, corner_hz) for corner_hz in STARTS_HZ])
    names = [parameter.name for parameter in problem.parameters]
    gradient = np.zeros(len(names))
    gradient[names.index("log_exciter_corner")] = 1.0
    value_hz = float(np.exp(choice.fit.vector[names.index("log_exciter_corner")]))
    derived = Derived(value=value_hz, unit="Hz", gradient=gradient)
    corner = estimate_of(derived, choice, COPPER_STD)
    shares = [(one.source, one.contribution) for one in split_uncertainty(choice, gradient)]
    shares = sorted([*shares, ("temperature of the exciter's copper", COPPER_STD)], key=lambda share: -share[1])
    return CornerAnswer(
        corner=corner,
        budget=tuple(Contribution(source=source, contribution=value_hz * contribution) for source, contribution in shares),
        floor=choice.floor.total,
        findings=tuple(_doubts(choice, corner)),
        simulated=response.origin.simulated,
    )


def current_response(by_output: Response, by_current: Response) -> Response:
    """Response of the exciter's current, from two takes of one pickup.

    Parameters
    ----------
    by_current : Response
        Pickup over sense resistor; the coil was not moved.

    Returns
    -------
    Response
        Sense resistor over output, at the frequencies that both have.

    Raises
    ------
    ValueError
        If they have no frequencies in common.

    Notes
    -----
    The relative covariances add, each turned to its own value (JCGM 100:2008, 5.1.2).
    """
    near = np.isclose(by_output.frequency_hz[:, None], by_current.frequency_hz[None, :], rtol=SAME_PLACE)
    rows, columns = np.nonzero(near)
    if not len(rows):
        msg = "the two takes have no frequencies in common: record both with the same sweep"
        raise ValueError(msg)
    top, bottom = by_output.value[rows], by_current.value[columns]
    value = top / bottom
    covariance = _scaled(by_output.covariance[rows], 1 / bottom) + _scaled(by_current.covariance[columns], value / bottom)
    names = tuple(dict.fromkeys((*by_output.shift_names, *by_current.shift_names)))
    shifts = [_shift(by_output, name, rows) / bottom - value * _shift(by_current, name, columns) / bottom for name in names]
    return Response(
        frequency_hz=by_output.frequency_hz[rows],
        value=value,
        covariance=covariance,
        shifts=np.array(shifts, dtype=complex).reshape(len(names), len(rows)),
        shift_names=names,
        origin=replace(by_output.origin, simulated=by_output.origin.simulated or by_current.origin.simulated),
    )


def _scaled(covariance: FloatArray, factor: ComplexArray) -> FloatArray:
    turn = np.moveaxis(np.array([[factor.real, -factor.imag], [factor.imag, factor.real]]), 2, 0)
    return turn @ covariance @ turn.transpose(0, 2, 1)


def _shift(response: Response, name: str, rows: np.ndarray) -> ComplexArray:
    if name not in response.shift_names:
        return np.zeros(len(rows), dtype=complex)
    return response.shifts[response.shift_names.index(name), rows]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Straight:
    """Nothing but the exciter itself, which every take under the exciter has."""

    n_points: int

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        del p
        return np.ones(self.n_points, dtype=complex), {}


def _lay_out(response: Response) -> Problem:
    take = TakeEvidence(name="the take", response=response)
    evidence = Evidence(takes=(take,), input_resistance=ANYTHING, input_capacitance=ANYTHING, reference_kind="loopback")
    kept = usable_points(take)
    n_points = int(kept.sum())
    if n_points < LEAST_POINTS:
        msg = f"the take has {n_points} usable frequencies, at least {LEAST_POINTS} are needed: raise the level"
        raise ValueError(msg)
    value, mean = response.value[kept], float(np.log(USUAL[0]))
    delay_std = DELAY_STD_SAMPLES if not response.shift_names else DELAY_STD_SAMPLES / 10
    parameters = [
        Parameter(name="delay", start=0.0, prior_std=delay_std, source="delay between the inputs"),
        Parameter(name="log_gain_0", start=0.0),
        Parameter(name="log_exciter_corner", start=mean, prior_mean=mean, prior_std=USUAL[1]),
    ]
    parameters += [Parameter(name=name, start=0.0, prior_std=1.0, source=row) for row, name in shift_names(evidence).items()]
    return Problem(
        model=PickupModel(),
        evidence=evidence,
        parameters=tuple(parameters),
        frequency_hz=response.frequency_hz[kept],
        noise=relative_std(response)[kept],
        data=value if np.median(value[:LOWEST].real) > 0 else -value,
        take_of_point=np.zeros(n_points, dtype=int),
        rate_of_point_hz=np.full(n_points, response.origin.rate_hz or 48000.0),
        points_per_third=points_per_third([response.frequency_hz[kept]]),
        models={},
        circuit=_Straight(n_points=n_points),
        shifts=shift_rows(evidence, [kept]),
    )


def _start(problem: Problem, corner_hz: float) -> FloatArray:
    vector = np.array([parameter.start for parameter in problem.parameters])
    vector[2] = np.log(corner_hz)
    vector[1] = -np.median(predict_residual(problem, vector).residual[:LOWEST].real)
    return vector


def _doubts(choice: Choice, corner: Estimate) -> list[Finding]:
    findings = []
    if choice.floor.total >= MISFIT:
        text = (
            f"a coil and a resistor do not describe the current (they differ by {100 * choice.floor.total:.2g} %, values are "
            f"good below {100 * MISFIT:.1f} %): see that the sense resistor is on the pickup's input and the output on the "
            "other, and that the exciter has no iron in it"
        )
        findings.append(Finding(code="corner-misfit", severity="reject", text=text, figure=choice.floor.total))
    relative = corner.standard_uncertainty / corner.value
    if relative > TELLING:
        text = f"the take leaves the corner uncertain by {rough_percent(relative)}: "
        text += "play louder, or record up to 20 kHz; run coilsweep calibrate loopback first"
        findings.append(Finding(code="corner-not-told", severity="reject", text=text, figure=relative))
    elif corner.value > HIGH_HZ:
        text = f"the corner lies at {corner.value / 1e3:.0f} kHz, far above the band: it changes next to nothing in a fit"
        findings.append(Finding(code="corner-high", severity="pass", text=text, figure=corner.value, unit="Hz"))
    return findings
