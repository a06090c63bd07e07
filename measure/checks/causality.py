r"""Whether magnitude and phase of a response belong together: a linear Kramers-Kronig test.

The real and the imaginary part of what follows its cause determine one another (Kramers and Kronig). A network of R, L, C and
further elements with fixed stable poles keeps these relations whatever its values are, and the values enter linearly; so what
the best such network leaves over is no circuit's doing, a model's lack of parts included. Tried are, one after the other,

- of an impedance, RC elements with time constants on a logarithmic grid, their number by the criterion μ, as published [1]_;
- of any response, few poles and pairs of poles that are moved to where the response has its own [2]_: no number of RC elements
  describes a resonance of a pickup, whose poles lie next to the axis (on drawn guitars μ stops at 2 to 8 elements and leaves
  100 % over). The response itself is described, not its inverse: its zeros may lie anywhere, and for g > 1 or pickups out of
  phase they do lie in the right half plane, and a delay is causal. What leads, because the channels' delay is not
  known so well, or at all without a reference channel, is first delayed by steps.

What is left over is judged relative to the response, beyond the noise of each point, third of an octave and octave. What is
smooth and small stays unseen: a gain that drifts by 1 % over the band turns the phase by 0.14° only.

References
----------
.. [1] M. Schönleber, D. Klotz, E. Ivers-Tiffée, "A Method for Improving the Robustness of linear Kramers-Kronig Validity
   Tests", Electrochimica Acta 131, 20-27, 2014; the system and μ as the manual of the package impedance 1.7.1 states them.
.. [2] B. Gustavsen, A. Semlyen, "Rational approximation of frequency domain responses by vector fitting", IEEE Transactions on
   Power Delivery 14, 1052-1061, 1999; relaxed as B. Gustavsen, ibid. 21, 1587-1592, 2006. From memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from measure.response import ComplexArray, Finding, FloatArray, Response, Severity, median, percentile, relative_std

# Of drawn guitars with a smooth error of 0.1 % the nearest network leaves at most 0.4 of this.
LIMIT = 0.003  # [1] of the response
STEP_LIMIT, NEIGHBOURS = 0.0015, 1 / 6  # [1] of the response between points, [octave] so near that smooth errors are alike
REJECT = 0.1  # [1] of the response: values from it would mean nothing
SIGMAS = 4.0  # [1] of complex noise: chance gets there once in 1e7
BAND_HZ = (30.0, 20e3)  # [Hz] as for fits: above, interfaces filter
NOISIEST = 0.5  # [1] noise over response of a point that is used
FAINTEST = 1e-9  # [1] of the largest value; no instrument has 180 dB
MOST_SCATTER, N_SCATTER = 0.5, 13  # [1], points: scatter of neighbours that counts as noise although it is not stated
FLOOR = 1e-3  # [1] of the response: no point is described better than this
FEWEST = 26  # points, of two numbers each; the largest network has 27 unknowns
FEW_POLES, MANY_POLES = 6, 12  # enough for five of six drawn guitars; for unequal coils behind four pots, and a delay
N_MOVES = 8  # of the poles; most stand still after four
SHARPEST_Q, ANY_Q = 30.0, 1e4  # [1] of a pair of poles; a sharper one fits a single wrong point, and no pickup has it
LEAD_S = 3e-6  # [s] more than two inputs of one card are apart
FURTHER_LEADS_S = (-4e-5, 4.5e-5, 7e-5)  # [s] up to three samples at 48 kHz between the channels; a delay costs but poles
UNKNOWN_LEADS_S = (4e-5, 1.2e-4, 1.6e-4)  # [s] over what the slope of the phase tells
SLOPE_OCTAVES = 2.0  # [octave] at the upper end, where the slope is taken
CUTOFF, MOST_ELEMENTS = 0.85, 50  # [1] of μ and number of RC elements, as published
LEAST_RANGE_DB = 6.0  # [dB] of a pickup's magnitude, to be looked for in what may be decibels
CURE_FILE = (
    "see that both columns come from one run, that the phase has the sign and unit that are named and decibels do not stand "
    "as a ratio, and that nothing was switched on the way; or measure again"
)
CURE_SHARP = f"but for a resonance sharper than Q {SHARPEST_Q:g} they do: a point there is wrong, or more of them are needed"
CURE_LEAD = "but for a lead they do: take the delay from a reference channel, not from the peak of the response"
CURE_RECORDING = "something changed while the sweep ran, or samples were disturbed: leave everything alone and record again"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class GridFit:
    """What RC elements on a logarithmic grid make of an impedance.

    Attributes
    ----------
    mu : float
        1 less the sum of negative over that of positive resistances: 1 for too few elements, small where they follow the noise.
    value : ndarray of complex, shape (n,)
        Of the network. [Ω]
    """

    n_elements: int
    mu: float
    value: ComplexArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """What a response is, which says what is tried."""

    is_impedance: bool
    is_timed: bool
    sharpest_q: float = SHARPEST_Q


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Probes:
    """Means and steps over neighbouring points: rows of weights, and what is allowed beyond the noise that they let through."""

    weights: FloatArray  # (k, n)
    squares: FloatArray  # (k, n) of the weights
    limit: FloatArray  # (k,)
    frequency_hz: FloatArray  # (k,)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Left:
    """The worst that a network leaves over, beyond noise."""

    size: float
    limit: float
    frequency_hz: float

    @property
    def is_within(self) -> bool:
        return self.size <= self.limit


def judge_causal(response: Response, *, is_timed: bool = True) -> Finding:
    """Judge whether any causal circuit has this magnitude and phase.

    Parameters
    ----------
    response : Response
        Ratio or impedance, of at most some hundred frequencies.
    is_timed : bool
        Its delay is known to a few samples; it is not without a reference channel, and faults of the phase are then seen less.

    Returns
    -------
    Finding
        ``"causal"``; the figure is what the nearest causal network leaves over, beyond noise, in percent of the response.
    """
    code = "causal"
    used = (response.frequency_hz >= BAND_HZ[0]) & (response.frequency_hz <= BAND_HZ[1]) & (relative_std(response) < NOISIEST)
    used &= np.abs(response.value) > FAINTEST * np.max(np.abs(response.value))
    n = int(np.count_nonzero(used))
    if n < FEWEST:
        text = f"not judged: {n} frequencies stand clear of the noise between {BAND_HZ[0]:g} Hz and {BAND_HZ[1] / 1000:g} kHz, "
        return Finding(code=code, severity="pass", text=f"{text}{FEWEST} are needed")
    frequency_hz, value, noise = response.frequency_hz[used], response.value[used], relative_std(response)[used]
    kind = _Kind(is_impedance=response.unit == "Ω", is_timed=is_timed)
    left = _least_left(frequency_hz, value, noise, kind)
    figure = 100 * left.size
    if left.is_within:
        text = f"a causal circuit comes within {figure:.2g} % of magnitude and phase, beyond the noise (limit {100 * LIMIT:g} %)"
        return Finding(code=code, severity="pass", text=text, figure=figure, unit="%")
    severity: Severity = "reject" if left.size > REJECT else "warn"
    what = "a step of" if left.limit < LIMIT else "a difference of"
    text = (
        f"magnitude and phase do not belong together: {what} {figure:.2g} % at {left.frequency_hz:.0f} Hz is left by the nearest "
        f"causal circuit (limit {100 * left.limit:g} % beyond the noise); "
    )
    for words, other in _readings(value):
        if _least_left(frequency_hz, other, noise, kind).is_within:
            return Finding(code=code, severity=severity, text=f"{text}{words} they do", figure=figure, unit="%")
    for wider, cure in ((replace(kind, sharpest_q=ANY_Q), CURE_SHARP), (replace(kind, is_timed=False), CURE_LEAD)):
        if _least_left(frequency_hz, value, noise, wider).is_within:
            return Finding(code=code, severity="warn", text=text + cure, figure=figure, unit="%")
    cure = CURE_RECORDING if response.origin.rate_hz > 0 else CURE_FILE
    return Finding(code=code, severity=severity, text=text + cure, figure=figure, unit="%")


def fit_grid(
    frequency_hz: FloatArray, impedance: ComplexArray, *, cutoff: float = CUTOFF, most_elements: int = MOST_ELEMENTS
) -> GridFit:
    r"""Describe an impedance by R, L, C in series and RC elements whose time constants lie on a logarithmic grid.

    :math:`Z = R + sL + 1/(sC) + \sum_k R_k/(1 + s\tau_k)`, :math:`\tau_k` from :math:`1/\omega_n` to :math:`1/\omega_1`, by
    linear least squares over real and imaginary part with the weight 1/abs(Z); one element more until μ falls to the cutoff.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, all > 0. [Hz]
    impedance : ndarray of complex, shape (n,)
        Nowhere 0. [Ω]

    Returns
    -------
    GridFit
        Number of elements, μ, and the network's impedance.

    References
    ----------
    M. Schönleber, D. Klotz, E. Ivers-Tiffée, Electrochimica Acta 131, 20-27, 2014.
    """
    s = 2j * np.pi * frequency_hz
    for n_elements in range(1, most_elements + 1):
        corners = np.geomspace(np.abs(s[0]), np.abs(s[-1]), n_elements) if n_elements > 1 else np.abs(s[:1])
        columns = _elements(s, -corners.astype(complex))
        values = _least_squares(columns, impedance, weight=1 / np.abs(impedance))
        elements = values[:n_elements]
        positive = float(np.sum(elements[elements >= 0]))
        mu = 1 + float(np.sum(elements[elements < 0])) / positive if positive > 0 else 0.0
        if mu <= cutoff:
            break
    return GridFit(n_elements=n_elements, mu=mu, value=columns @ values)


def _readings(value: ComplexArray) -> Iterator[tuple[str, ComplexArray]]:
    """Other readings of the same numbers, with words."""
    size = np.abs(value)
    yield "with the opposite sign of the phase", value.conj()
    if LEAST_RANGE_DB < np.ptp(size) < 200:
        yield "with the magnitude read as decibels below 0", 10 ** (-size / 20) * value / size


def _least_left(frequency_hz: FloatArray, value: ComplexArray, noise: FloatArray, kind: _Kind) -> _Left:
    """Find what the nearest network leaves over; the first that is within the limit is near enough."""
    probes = _lay_probes(frequency_hz, noise)
    scaled, tried = value / np.max(np.abs(value)), []
    for network in _networks(frequency_hz, scaled, noise, kind):
        # over the larger of both: the noise of a small value in a denominator would tell the greatest differences
        tried.append(_judge_left((scaled - network) / np.maximum(np.abs(network), np.abs(scaled)), probes, noise=noise))
        if tried[-1].is_within:
            break
    return min(tried, key=lambda left: left.size / left.limit)


def _networks(frequency_hz: FloatArray, value: ComplexArray, noise: FloatArray, kind: _Kind) -> Iterator[ComplexArray]:
    """Causal networks that come near a response, the simpler ones first."""
    if kind.is_impedance:
        yield fit_grid(frequency_hz, value).value
    s = 2j * np.pi * frequency_hz
    delay_s = _group_delay(frequency_hz, value)
    further_s = FURTHER_LEADS_S if kind.is_timed else tuple(more_s - delay_s for more_s in UNKNOWN_LEADS_S)
    for lead_s, n_poles in ((LEAD_S, FEW_POLES), *((one_s, MANY_POLES) for one_s in (LEAD_S, *further_s))):
        turn = np.exp(-s * lead_s)
        poles: ComplexArray = np.geomspace(np.abs(s[0]), np.abs(s[-1]), n_poles // 2 + 2)[1:-1] * (-0.1 + 1j)
        weight = 1 / (np.abs(value) * np.hypot(noise, FLOOR))
        for _ in range(N_MOVES):
            poles = _stable(_move_poles(s, value * turn, weight=weight, poles=poles), s, sharpest_q=kind.sharpest_q)
        columns = _elements(s, poles)
        yield columns @ _least_squares(columns, value * turn, weight=weight) / turn


def _group_delay(frequency_hz: FloatArray, value: ComplexArray) -> float:
    """Take the lower quartile of the phase's slope at the upper end, where what the circuit adds to a delay is small, in s."""
    turns = -np.angle(value[1:] / value[:-1]) / (2 * np.pi)
    is_upper = frequency_hz[1:] > frequency_hz[-1] * 2.0**-SLOPE_OCTAVES
    return percentile((turns / np.diff(frequency_hz))[is_upper], 25)


def _partial_fractions(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Columns of real coefficients: abs(p)/(s − p) of each real pole; sum and difference of each pair, of which one is given."""
    real, upper = poles[poles.imag == 0], poles[poles.imag > 0]
    above, below = np.abs(upper) / (s[:, None] - upper), np.abs(upper) / (s[:, None] - upper.conj())
    return np.hstack([np.abs(real) / (s[:, None] - real), above + below, 1j * (above - below)])


def _series_elements(s: ComplexArray) -> ComplexArray:
    """Columns of R, L and 1/C."""
    return np.column_stack([np.ones_like(s), s, 1 / s])


def _elements(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Columns of a network: those of the poles, then R, L and 1/C."""
    return np.hstack([_partial_fractions(s, poles), _series_elements(s)])


def _stack(columns: ComplexArray, weight: FloatArray) -> FloatArray:
    """Real over imaginary parts, weighted."""
    weighted = columns * weight[:, None]
    return np.vstack([weighted.real, weighted.imag])


def _solve(rows: FloatArray, target: FloatArray) -> FloatArray:
    """Least squares with columns of alike size."""
    size = np.linalg.norm(rows, axis=0)
    size = np.where(size > 0, size, 1.0)
    return np.asarray(np.linalg.lstsq(rows / size, target, rcond=1e-13)[0] / size)


def _least_squares(columns: ComplexArray, value: ComplexArray, *, weight: FloatArray) -> FloatArray:
    return _solve(_stack(columns, weight), _stack(value[:, None], weight)[:, 0])


def _move_poles(s: ComplexArray, value: ComplexArray, *, weight: FloatArray, poles: ComplexArray) -> ComplexArray:
    """Zeros of σ where σ·value and σ have these poles: one relaxed step of vector fitting."""
    fractions = _partial_fractions(s, poles)
    network = np.hstack([fractions, _series_elements(s)])
    sigma_columns = np.hstack([fractions, np.ones((len(s), 1))])
    columns = np.hstack([network, -value[:, None] * sigma_columns])
    triangle: FloatArray = np.asarray(np.linalg.qr(_stack(columns, weight), mode="r"))
    rows = triangle[network.shape[1] :, network.shape[1] :]
    # σ is 1 in the mean, or it would be 0 everywhere
    scale = float(np.linalg.norm(value * weight))
    rows = np.vstack([rows, scale * np.mean(sigma_columns.real, axis=0)])
    sigma = _solve(rows, np.append(np.zeros(len(rows) - 1), scale))
    tiny = 1e-8 * float(np.max(np.abs(sigma)))
    at_infinity = float(np.copysign(max(abs(sigma[-1]), tiny), sigma[-1]))
    return np.linalg.eigvals(_state_matrix(poles, sigma[:-1] / at_infinity)).astype(complex)


def _state_matrix(poles: ComplexArray, residues: FloatArray) -> FloatArray:
    """Matrix whose eigenvalues are the zeros of 1 + Σ residues·fractions."""
    real, upper = poles[poles.imag == 0].real, poles[poles.imag > 0]
    n, k = len(real), len(upper)
    matrix = np.diag(np.concatenate([real, upper.real, upper.real]))
    matrix[n : n + k, n + k :] = np.diag(upper.imag)
    matrix[n + k :, n : n + k] = -np.diag(upper.imag)
    feed = np.concatenate([np.abs(real), 2 * np.abs(upper), np.zeros(k)])
    return matrix - np.outer(feed, residues)


def _stable(zeros: ComplexArray, s: ComplexArray, *, sharpest_q: float) -> ComplexArray:
    """One of each pair, in the left half plane, neither far out of the band nor too sharp."""
    slowest, fastest = 0.01 * abs(s[0]), 100 * abs(s[-1])
    size = np.maximum(np.abs(zeros), 1e-9 * slowest)
    is_real = np.abs(zeros.imag) <= 1e-9 * size
    damping = np.where(is_real, size, np.maximum(np.abs(zeros.real), size / (2 * sharpest_q)))
    poles = np.clip(size, slowest, fastest) / size * (-damping + 1j * np.where(is_real, 0.0, zeros.imag))
    return poles[poles.imag >= 0]


def _lay_probes(frequency_hz: FloatArray, noise: FloatArray) -> _Probes:
    """Each point, means over a third of an octave and an octave about it, and steps between one, two and four neighbours."""
    n, place = len(frequency_hz), np.arange(len(frequency_hz))
    octaves = np.log2(frequency_hz)
    apart = np.abs(octaves[:, None] - octaves)
    precision = 1 / np.hypot(noise, 1e-6) ** 2
    rows = [np.eye(n)]
    rows += [np.where(apart <= width / 2, precision, 0.0) for width in (1 / 3, 1.0)]
    weights = np.vstack([row / row.sum(axis=1, keepdims=True) for row in rows])
    limits, centres = [np.full(len(weights), LIMIT)], [np.tile(frequency_hz, 3)]
    for width in (1, 2, 4):
        first = np.arange(n - 2 * width + 1)[:, None]
        before, after = ((place >= start) & (place < start + width) for start in (first, first + width))
        steps = (after.astype(float) - before) / width
        weights = np.vstack([weights, steps])
        limits.append(np.where(steps @ octaves < NEIGHBOURS, STEP_LIMIT, LIMIT))
        centres.append(frequency_hz[width : n - width + 1])
    limit, frequency_hz = np.concatenate(limits), np.concatenate(centres)
    return _Probes(weights=weights, squares=weights**2, limit=limit, frequency_hz=frequency_hz)


def _judge_left(residual: ComplexArray, probes: _Probes, *, noise: FloatArray) -> _Left:
    """Find the worst of what is left over; where neighbours scatter by more than the stated noise, that counts."""
    counted = np.maximum(noise, np.minimum(_scatter(residual), MOST_SCATTER))
    beyond = np.abs(probes.weights @ residual) - SIGMAS * np.sqrt(probes.squares @ counted**2)
    worst = int(np.argmax(beyond / probes.limit))
    size = max(float(beyond[worst]), 0.0)
    return _Left(size=size, limit=float(probes.limit[worst]), frequency_hz=float(probes.frequency_hz[worst]))


def _scatter(residual: ComplexArray) -> FloatArray:
    """Estimate independent noise (1 σ) from second differences; a step or a wrong point does not move their median."""
    bend = np.abs(residual[2:] - 2 * residual[1:-1] + residual[:-2]) ** 2 / 6
    padded = np.pad(bend, N_SCATTER // 2 + 1, mode="reflect")
    # the median of the square of complex noise is ln 2 of its mean
    return np.sqrt(median(np.lib.stride_tricks.sliding_window_view(padded, N_SCATTER), axis=1) / np.log(2))
