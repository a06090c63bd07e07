r"""Whether magnitude and phase of a response belong together: a linear Kramers-Kronig test.

The real and the imaginary part of what follows its cause determine one another (Kramers and Kronig). A network of R, L, C and
further elements with fixed stable poles keeps these relations whatever its values are, and the values enter linearly; so what
the best such network leaves over is no circuit's doing, a model's lack of parts included. Tried are, one after the other,

- of an impedance, RC elements with time constants on a logarithmic grid, their number by the criterion μ, as published [1]_;
- of any response, few poles and pairs of poles that are moved to where the response has its own [2]_: no number of RC elements
  describes a resonance of a pickup, whose poles lie next to the axis (on drawn guitars μ stops at 2 to 8 elements and leaves
  100 % over). The response itself is described, not its inverse: its zeros may lie anywhere, and for g > 1 or pickups out of
  phase they do lie in the right half plane. So may a delay; a lead, which nothing causal has, is tried in steps.

What is left over is judged relative to the response, beyond the noise of each point, third of an octave and octave. What is
smooth and small stays unseen: a gain that drifts by 1 % over the band turns the phase by 0.13° only.

References
----------
.. [1] M. Schönleber, D. Klotz, E. Ivers-Tiffée, "A Method for Improving the Robustness of linear Kramers-Kronig Validity
   Tests", Electrochimica Acta 131, 20-27, 2014: eq. 9 to 14 (from memory) and the cutoff 0.85.
.. [2] B. Gustavsen, A. Semlyen, "Rational approximation of frequency domain responses by vector fitting", IEEE Transactions on
   Power Delivery 14, 1052-1061, 1999; relaxed as B. Gustavsen, ibid. 21, 1587-1592, 2006.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from measure.response import ComplexArray, Finding, FloatArray, Response, Severity, relative_std

LIMIT = 0.003  # [1] of the response; good ones with a smooth error of 0.1 % stay below 0.0015
STEP_LIMIT = 0.0015  # [1] between neighbours, where smooth errors are alike: below 0.0007 of the same
REJECT = 0.1  # [1] of the response: values from it would mean nothing
SIGMAS = 4.0  # [1] of complex noise: chance gets there once in 1e7
BAND_HZ = (30.0, 20e3)  # [Hz] as for fits: above, interfaces filter
NOISIEST = 0.5  # [1] noise over response of a point that is used
SCATTER = 0.02  # [1] scatter of neighbours that counts as noise although it is not stated, at most
FLOOR = 1e-3  # [1] of the response: no point is described better than this
FEWEST = 26  # points, twice as many numbers: as many as the largest network has, twice over
N_POLES = (6, 8, 10, 12)  # drawn guitars with two pickups and unequal coils need up to 10
N_MOVES = 8  # of the poles; most stand still after four
SHARPEST_Q = 30.0  # [1] of a pair of poles; a sharper one would fit a single wrong point
LEADS_S = (3e-6, -4e-5, 4.5e-5, 7e-5)  # [s] up to three samples at 48 kHz between the channels
CUTOFF, MOST_ELEMENTS = 0.85, 50  # [1] of μ and number of RC elements, as published
CURE_FILE = (
    "see that both columns come from one run, that the phase has the sign and unit that are named and decibels do not stand "
    "as a ratio, and that nothing was switched on the way; or measure again"
)
CURE_RECORDING = "something changed while the sweep ran, or samples were disturbed: leave everything alone and record again"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class GridFit:
    """What RC elements on a logarithmic grid make of an impedance.

    Attributes
    ----------
    n_elements : int
        RC elements.
    mu : float
        1 less the sum of negative over that of positive resistances: 1 for too few elements, small where they follow the noise.
    value : ndarray of complex, shape (n,)
        Of the network. [Ω]
    """

    n_elements: int
    mu: float
    value: ComplexArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Probes:
    """Means and steps over neighbouring points: rows of weights, the noise that each lets through, and what is allowed beyond."""

    weights: FloatArray  # (k, n)
    noise: FloatArray  # (k,)
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


def judge_causal(response: Response) -> Finding:
    """Judge whether any causal circuit has this magnitude and phase.

    Parameters
    ----------
    response : Response
        Ratio or impedance, of at most some hundred frequencies.

    Returns
    -------
    Finding
        ``"causal"``; the figure is what the nearest causal network leaves over, beyond noise, in percent of the response.
    """
    code = "causal"
    used = (response.frequency_hz >= BAND_HZ[0]) & (response.frequency_hz <= BAND_HZ[1]) & (relative_std(response) < NOISIEST)
    n = int(np.count_nonzero(used))
    if n < FEWEST:
        text = f"not judged: {n} frequencies stand clear of the noise between {BAND_HZ[0]:g} Hz and {BAND_HZ[1] / 1000:g} kHz, "
        return Finding(code=code, severity="pass", text=f"{text}{FEWEST} are needed")
    frequency_hz, value, noise = response.frequency_hz[used], response.value[used], relative_std(response)[used]
    is_impedance = response.unit == "Ω"
    left = _least_left(frequency_hz, value, noise, is_impedance=is_impedance)
    figure = 100 * left.size
    if left.is_within:
        text = f"a causal circuit comes within {figure:.2g} % of magnitude and phase, beyond the noise (limit {100 * LIMIT:g} %)"
        return Finding(code=code, severity="pass", text=text, figure=figure, unit="%")
    severity: Severity = "reject" if left.size > REJECT else "warn"
    limit = REJECT if severity == "reject" else left.limit
    text = (
        f"magnitude and phase do not belong together: no causal circuit comes nearer than {figure:.2g} %, at "
        f"{left.frequency_hz:.4g} Hz (limit {100 * limit:g} % beyond the noise); "
    )
    for words, other in _readings(value):
        if _least_left(frequency_hz, other, noise, is_impedance=is_impedance).is_within:
            return Finding(code=code, severity=severity, text=f"{text}{words} they do", figure=figure, unit="%")
    cure = CURE_RECORDING if response.origin.rate_hz > 0 else CURE_FILE
    return Finding(code=code, severity=severity, text=text + cure, figure=figure, unit="%")


def fit_grid(
    frequency_hz: FloatArray, impedance: ComplexArray, *, cutoff: float = CUTOFF, most_elements: int = MOST_ELEMENTS
) -> GridFit:
    r"""Describe an impedance by R, L, C in series and RC elements whose time constants lie on a logarithmic grid.

    :math:`Z = R + sL + 1/(sC) + \sum_k R_k/(1 + s\tau_k)`, :math:`\tau_k` from :math:`1/\omega_n` to :math:`1/\omega_1`, by linear
    least squares over real and imaginary part with the weight 1/abs(Z). One element more until μ falls below the cutoff.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, all > 0. [Hz]
    impedance : ndarray of complex, shape (n,)
        Nowhere 0. [Ω]
    cutoff : float
        Of μ.
    most_elements : int
        Where the search ends.

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
    if np.max(size) < 200:
        yield "with the magnitude read as decibels below 0", 10 ** (-size / 20) * value / size


def _least_left(frequency_hz: FloatArray, value: ComplexArray, noise: FloatArray, *, is_impedance: bool) -> _Left:
    """What the nearest network leaves over; the first that is within the limit is near enough."""
    probes = _lay_probes(frequency_hz, noise)
    least = None
    for network in _networks(frequency_hz, value, noise, is_impedance=is_impedance):
        left = _judge_left((value - network) / np.maximum(np.abs(network), np.abs(value)), probes, noise=noise)
        if left.is_within:
            return left
        if least is None or left.size / left.limit < least.size / least.limit:
            least = left
    return least if least is not None else _Left(size=0.0, limit=LIMIT, frequency_hz=float(frequency_hz[0]))


def _networks(
    frequency_hz: FloatArray, value: ComplexArray, noise: FloatArray, *, is_impedance: bool
) -> Iterator[ComplexArray]:
    """Causal networks that come near a response, the simpler ones first."""
    if is_impedance:
        yield fit_grid(frequency_hz, value).value
    s = 2j * np.pi * frequency_hz
    for lead_s, n_poles in product(LEADS_S, N_POLES):
        turn = np.exp(-s * lead_s)
        poles = np.geomspace(np.abs(s[0]), np.abs(s[-1]), n_poles // 2 + 2)[1:-1] * (-0.1 + 1j)
        weight = 1 / (np.abs(value) * np.hypot(noise, FLOOR))
        for _ in range(N_MOVES):
            poles = _move_poles(s, value * turn, weight=weight, poles=poles)
        columns = _elements(s, poles)
        yield columns @ _least_squares(columns, value * turn, weight=weight) / turn


def _partial_fractions(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Columns of real coefficients: abs(p)/(s − p) of each real pole; sum, then difference, of each pair (of which one is given)."""
    real, upper = poles[poles.imag == 0], poles[poles.imag > 0]
    above, below = np.abs(upper) / (s[:, None] - upper), np.abs(upper) / (s[:, None] - upper.conj())
    return np.hstack([np.abs(real) / (s[:, None] - real), above + below, 1j * (above - below)])


def _elements(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Columns of a network: those of the poles, then R, L and 1/C."""
    return np.hstack([_partial_fractions(s, poles), np.column_stack([np.ones_like(s), s, 1 / s])])


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
    """Zeros of σ where σ·value and σ have these poles: one relaxed step of vector fitting, kept stable and not too sharp."""
    fractions = np.hstack([_partial_fractions(s, poles), np.ones((len(s), 1))])
    numerator, _ = np.linalg.qr(_stack(_elements(s, poles), weight))
    rows = _stack(-value[:, None] * fractions, weight)
    rows -= numerator @ (numerator.T @ rows)
    # σ is 1 in the mean, or it would be 0 everywhere
    scale = float(np.linalg.norm(value * weight))
    rows = np.vstack([rows, scale * np.mean(fractions.real, axis=0)])
    sigma = _solve(rows, np.append(np.zeros(len(rows) - 1), scale))
    tiny = 1e-8 * float(np.max(np.abs(sigma)))
    at_infinity = float(np.copysign(max(abs(sigma[-1]), tiny), sigma[-1]))
    zeros = np.linalg.eigvals(_state_matrix(poles, sigma[:-1] / at_infinity))
    return _stable(zeros, slowest=0.01 * abs(s[0]), fastest=100 * abs(s[-1]))


def _state_matrix(poles: ComplexArray, residues: FloatArray) -> FloatArray:
    """Matrix whose eigenvalues are the zeros of 1 + Σ residues·fractions."""
    real, upper = poles[poles.imag == 0].real, poles[poles.imag > 0]
    n, k = len(real), len(upper)
    turn = np.diag(np.concatenate([np.zeros(n), upper.imag]))[n:, n:]
    matrix = np.diag(np.concatenate([real, upper.real, upper.real]))
    matrix[n : n + k, n + k :], matrix[n + k :, n : n + k] = turn, -turn
    feed = np.concatenate([np.abs(real), 2 * np.abs(upper), np.zeros(k)])
    return matrix - np.outer(feed, residues)


def _stable(zeros: ComplexArray, *, slowest: float, fastest: float) -> ComplexArray:
    """One of each pair, in the left half plane, within bounds of size and sharpness."""
    size = np.clip(np.abs(zeros), slowest, fastest)
    is_real = np.abs(zeros.imag) <= 1e-9 * np.abs(zeros)
    damping = np.maximum(np.abs(zeros.real) / np.maximum(np.abs(zeros), slowest * 1e-9), 1 / (2 * SHARPEST_Q))
    pair = size * (-damping + 1j * np.sqrt(np.maximum(1 - damping**2, 0.0)))
    poles = np.where(is_real, -size, pair)
    return poles[is_real | (zeros.imag > 0)]


def _lay_probes(frequency_hz: FloatArray, noise: FloatArray) -> _Probes:
    """Each point, means over a third of an octave and an octave about it, and steps between one, two and four neighbours."""
    n = len(frequency_hz)
    octaves = np.log2(frequency_hz)
    apart = np.abs(octaves[:, None] - octaves)
    precision = 1 / np.hypot(noise, 1e-6) ** 2
    rows = [np.eye(n)]
    rows += [np.where(apart <= width / 2, precision, 0.0) for width in (1 / 3, 1.0)]
    weights = np.vstack([row / row.sum(axis=1, keepdims=True) for row in rows])
    limits, centres = [np.full(len(weights), LIMIT)], [np.tile(frequency_hz, 3)]
    for width in (1, 2, 4):
        at = np.arange(n - 2 * width + 1)[:, None]
        place = np.arange(n)
        after = (place >= at + width) & (place < at + 2 * width)
        before = (place >= at) & (place < at + width)
        weights = np.vstack([weights, (after.astype(float) - before) / width])
        limits.append(np.full(len(at), STEP_LIMIT if width < 4 else LIMIT))
        centres.append(frequency_hz[width : n - width + 1])
    return _Probes(
        weights=weights,
        noise=SIGMAS * np.sqrt(weights**2 @ noise**2),
        limit=np.concatenate(limits),
        frequency_hz=np.concatenate(centres),
    )


def _judge_left(residual: ComplexArray, probes: _Probes, *, noise: FloatArray) -> _Left:
    """The worst of what is left over; where neighbours scatter by more than the stated noise, that counts."""
    bend = np.abs(residual[2:] - 2 * residual[1:-1] + residual[:-2]) ** 2
    expected = noise[2:] ** 2 + 4 * noise[1:-1] ** 2 + noise[:-2] ** 2
    # the median of the square of complex noise is ln 2 of its mean
    scatter = float(np.sqrt(np.median(bend / np.maximum(expected, 1e-12)) / np.log(2)))
    most = max(SCATTER / max(float(np.median(noise)), 1e-6), 1.0)
    beyond = np.abs(probes.weights @ residual) - probes.noise * min(max(scatter, 1.0), most)
    worst = int(np.argmax(beyond / probes.limit))
    size = max(float(beyond[worst]), 0.0)
    return _Left(size=size, limit=float(probes.limit[worst]), frequency_hz=float(probes.frequency_hz[worst]))
