"""A fit that can be done by hand: the logarithm of the response is a sum of given rows, each times a parameter."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.floor import Floor
from fit.estimate.joint import Block, covariance_of, fit_joint
from fit.estimate.ladder import Choice
from fit.estimate.model import Problem
from fit.estimate.parameters import Parameter, PickupModel
from measure.quantity import parse_quantity
from measure.response import ComplexArray, FloatArray, Origin, Response

RATE_HZ = 48000.0
NO_FLOOR = Floor(smooth=0.0, rough=0.0, length_octaves=1.0, is_common=False)


def grid(n: int) -> FloatArray:
    """Frequencies of a take, six an octave from 60 Hz on. [Hz]"""
    return 62.5 * 2.0 ** (np.arange(n) / 6)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ToyCircuit:
    """Response exp(Σ row · p) of a vector p, or of a curve of each entry."""

    rows: Mapping[str, ComplexArray]
    curve: Callable[[float], tuple[float, float]] = lambda value: (value, 1.0)

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        """Response and the derivatives of its logarithm."""
        curved = {name: self.curve(p[name]) for name in self.rows}
        log = sum(row * curved[name][0] for name, row in self.rows.items())
        return np.exp(log), {name: row * curved[name][1] for name, row in self.rows.items()}


def toy_evidence(n: int, *, n_takes: int = 1, coil_moved: Sequence[int] = ()) -> Evidence:
    """Takes of n frequencies without any error, made one after the other; before some of them the coil was moved."""
    response = Response(
        frequency_hz=grid(n), value=np.ones(n, dtype=complex), covariance=np.zeros((n, 2, 2)), origin=Origin(rate_hz=RATE_HZ)
    )
    takes = [TakeEvidence(name=f"take {index}", response=response, coil_moved=index in coil_moved) for index in range(n_takes)]
    return Evidence(
        takes=tuple(takes), input_resistance=parse_quantity("1M ± 1%", "Ω"), input_capacitance=parse_quantity("185p ± 1%", "F")
    )


def toy_problem(
    evidence: Evidence,
    rows: Mapping[str, ComplexArray],
    *,
    priors: Mapping[str, Mapping[str, object]],
    log_data: ComplexArray,
    noise: FloatArray | float,
    curve: Callable[[float], tuple[float, float]] | None = None,
) -> Problem:
    """Problem of named rows, each over the points of all takes; gains and the delay are held at 0."""
    sizes = [len(take.response.frequency_hz) for take in evidence.takes]
    frequency_hz = np.concatenate([take.response.frequency_hz for take in evidence.takes])
    held = ["delay", *("log_gain_0", *(f"gain_step_{index}" for index in range(1, len(sizes))))]
    for index, take in enumerate(evidence.takes):
        if index and take.begins_placement:
            held[held.index(f"gain_step_{index}")] = f"log_gain_{index}"
    parameters = [Parameter(**{"name": name, "start": 0.0, **priors.get(name, {})}) for name in rows]
    parameters += [Parameter(**{"name": name, "start": 0.0, "prior_std": 1e-9, **priors.get(name, {})}) for name in held]
    return Problem(
        model=PickupModel(),
        evidence=evidence,
        parameters=tuple(parameters),
        frequency_hz=frequency_hz,
        noise=np.broadcast_to(np.asarray(noise, dtype=float), frequency_hz.shape).copy(),
        data=np.exp(log_data),
        take_of_point=np.repeat(np.arange(len(sizes)), sizes),
        rate_of_point_hz=np.full(len(frequency_hz), RATE_HZ),
        points_per_third=2.0,
        models={"": PickupModel()},
        circuit=ToyCircuit(rows=rows) if curve is None else ToyCircuit(rows=rows, curve=curve),
        shifts={},
    )


def toy_choice(problem: Problem, blocks: Sequence[Block], *, floor: Floor = NO_FLOOR) -> Choice:
    """Fit as the ladder would hand it on."""
    fit = fit_joint(problem, blocks, np.array([each.start for each in problem.parameters]), tolerance=1e-12)
    covariance = covariance_of(problem, blocks, fit.prediction)
    return Choice(problem=problem, fit=fit, blocks=tuple(blocks), covariance=covariance, floor=floor, rungs=(), moved=())


def real_rows(row: ComplexArray) -> FloatArray:
    """Complex row over points as real parts, then imaginary parts, each of them a datum."""
    return np.concatenate([row.real, row.imag])
