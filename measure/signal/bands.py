"""Cross and auto spectra of two channels to their ratio on a logarithmic grid, band by band.

Spectra are summed over narrow cells. Around each grid frequency a rational function is fitted over five bands: the pilot,
which holds the shape of the ratio. The value is the pilot scaled by least squares to the cells of its own band alone.
Bands do not overlap, so the noise of neighbours is nearly independent; and a resonance within a band leaves no bias.
"""

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from measure.response import ComplexArray, FloatArray, median

Numbers = TypeVar("Numbers", FloatArray, ComplexArray)

POINTS_PER_OCTAVE = 16
GRID_ANCHOR_HZ = 1000.0  # [Hz] a grid frequency; so all takes at all rates share their frequencies
CHUNK_BINS = 1 << 14  # bins whose products are made at a time
CELLS = 64  # [1] cells a band: even noise-like excitations then have no centroid error
PARTS = 8  # [1] groups of cells that the pilot is fitted to, a band
EMPTY_PART = 1e-2  # [1] of the mean energy of a band's parts
PILOT_ROUNDS = 2
PILOT_BANDS = 2  # [1] bands on either side that the pilot sees
DELAY_OCTAVES = 2  # [1] octaves at the top from which the delay is told
TINY = 1e-300  # keeps a division defined where there is nothing at all
QUADRATURE = ((-np.sqrt(1.8), 5 / 18), (0.0, 8 / 18), (np.sqrt(1.8), 5 / 18))  # Gauss-Legendre; nodes in standard deviations


@dataclass(slots=True, eq=False, kw_only=True)
class Cells:
    """Energy spectra of two channels, summed over cells; filled by `add_spectra`.

    Attributes
    ----------
    start, count : ndarray of int, shape (c,)
        First bin and number of bins of each cell; without gaps.
    bin_hz : float
        Distance of the bins. [Hz]
    band : ndarray of int, shape (c,)
        Which grid frequency the cell belongs to.
    part : ndarray of int, shape (c,)
        Which part of all bands, `PARTS` a band.
    cross : ndarray of complex, shape (c,)
        Numerator times conjugate denominator. [s]
    auto, power : ndarray, shape (c,)
        Energy of denominator and numerator. [s]
    moment : ndarray, shape (c,)
        `auto` times the number of the bin. [s]
    """

    start: NDArray[np.int_]
    count: NDArray[np.int_]
    bin_hz: float
    band: NDArray[np.int_]
    part: NDArray[np.int_]
    cross: ComplexArray
    auto: FloatArray
    power: FloatArray
    moment: FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Groups:
    """What the fit needs of cells, or of parts made from them."""

    frequency_hz: FloatArray  # energy-weighted centre
    spread_hz: FloatArray  # standard deviation of what lies in the group
    band: NDArray[np.int_]
    cross: ComplexArray
    auto: FloatArray


def grid_frequencies(low_hz: float, high_hz: float) -> FloatArray:
    """Frequencies 1000·2^(k/16) within a range; the same for all takes.

    Parameters
    ----------
    low_hz, high_hz : float
        Range, 0 < low <= high. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Rising. [Hz]
    """
    first = int(np.ceil(POINTS_PER_OCTAVE * np.log2(low_hz / GRID_ANCHOR_HZ) - 1e-9))
    last = int(np.floor(POINTS_PER_OCTAVE * np.log2(high_hz / GRID_ANCHOR_HZ) + 1e-9))
    return GRID_ANCHOR_HZ * 2.0 ** (np.arange(first, last + 1) / POINTS_PER_OCTAVE)


def band_width_hz(frequency_hz: FloatArray) -> FloatArray:
    """Width of the band around each grid frequency.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Grid frequencies. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Width. [Hz]
    """
    half = 0.5 / POINTS_PER_OCTAVE
    return frequency_hz * (2**half - 2**-half)


def make_cells(frequency_hz: FloatArray, *, bin_hz: float) -> Cells:
    """Lay out empty cells over the bands of a grid.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Consecutive grid frequencies. [Hz]
    bin_hz : float
        Distance of the bins of the spectra to come. [Hz]

    Returns
    -------
    Cells
        Those that hold at least one bin, all energies 0.
    """
    n_cells = CELLS * len(frequency_hz)
    edge_hz = frequency_hz[0] * 2.0 ** ((np.arange(n_cells + 1) / CELLS - 0.5) / POINTS_PER_OCTAVE)
    edge = np.ceil(edge_hz / bin_hz).astype(int)
    filled = np.flatnonzero(np.diff(edge))
    zeros = np.zeros(len(filled))
    return Cells(
        start=edge[filled],
        count=np.diff(edge)[filled],
        bin_hz=bin_hz,
        band=filled // CELLS,
        part=filled // (CELLS // PARTS),
        cross=zeros.astype(complex),
        auto=zeros.copy(),
        power=zeros.copy(),
        moment=zeros.copy(),
    )


def add_spectra(cells: Cells, top: ComplexArray, bottom: ComplexArray, *, scale: float) -> None:
    """Add the energies of a pair of spectra to the cells.

    Parameters
    ----------
    top, bottom : ndarray of complex, shape (bins,)
        Spectra of numerator and denominator, from 0 Hz on.
    scale : float
        From their products to energy density. [s²]
    """
    stop = cells.start + cells.count
    first = 0
    while first < len(cells.start):
        # Some cells at a time: the products then stay in the processor's cache.
        last = max(first + 1, int(np.searchsorted(stop, cells.start[first] + CHUNK_BINS)))
        bins = slice(int(cells.start[first]), int(stop[last - 1]))
        edge = cells.start[first:last] - bins.start
        numerator, denominator = top[bins], bottom[bins]
        auto = denominator.real**2
        auto += denominator.imag**2
        power = numerator.real**2
        power += numerator.imag**2
        factor = scale * cells.bin_hz
        cells.cross[first:last] += factor * np.add.reduceat(numerator * denominator.conj(), edge)
        cells.auto[first:last] += factor * np.add.reduceat(auto, edge)
        cells.power[first:last] += factor * np.add.reduceat(power, edge)
        auto *= np.arange(float(bins.start), float(bins.stop))
        cells.moment[first:last] += factor * np.add.reduceat(auto, edge)
        first = last


def take_bands(cells: Cells, keep: slice) -> Cells:
    """Keep some consecutive bands of all cells.

    Parameters
    ----------
    keep : slice
        Bands to keep, with start and stop.

    Returns
    -------
    Cells
        The band at `keep.start` is band 0 now.
    """
    inside = (cells.band >= keep.start) & (cells.band < keep.stop)
    return Cells(
        start=cells.start[inside],
        count=cells.count[inside],
        bin_hz=cells.bin_hz,
        band=cells.band[inside] - keep.start,
        part=cells.part[inside] - keep.start * PARTS,
        cross=cells.cross[inside],
        auto=cells.auto[inside],
        power=cells.power[inside],
        moment=cells.moment[inside],
    )


def take_noise_off(cells: Cells, *, auto: FloatArray, cross: ComplexArray) -> Cells:
    """Take the noise's own energy off, which would pull the ratio down.

    Parameters
    ----------
    auto : ndarray, shape (n,)
        Density of the denominator's noise energy in each band. [s²]
    cross : ndarray of complex, shape (n,)
        The same, of the product of both channels. [s²]

    Returns
    -------
    Cells
        New `auto`, `cross`, `moment`.
    """
    width_hz = cells.count * cells.bin_hz
    noise = auto[cells.band] * width_hz
    return replace(
        cells,
        auto=cells.auto - noise,
        moment=cells.moment - noise * (cells.start + (cells.count - 1) / 2),
        cross=cells.cross - cross[cells.band] * width_hz,
    )


def sum_bands(cells: Cells, values: Numbers, n_bands: int) -> Numbers:
    """Sum a figure of the cells over each band.

    Parameters
    ----------
    values : ndarray, shape (c,)
        Real or complex.

    Returns
    -------
    ndarray, shape (n_bands,)
        Sums.
    """
    return _sum_at(cells.band, values, n_bands)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BandRatio:
    """Ratio of two channels at each grid frequency.

    Attributes
    ----------
    value : ndarray of complex, shape (n,)
        Numerator over denominator.
    energy : ndarray, shape (n,)
        Effective energy of the excitation: the variance of `value` is the density of the noise over it. [s]
    left : ndarray, shape (n,)
        Energy of the numerator that the ratio leaves unexplained: the noise's, and of whatever else is not linear. [s]
    """

    value: ComplexArray
    energy: FloatArray
    left: FloatArray


def band_ratio(cells: Cells, frequency_hz: FloatArray, *, noise_density: FloatArray) -> BandRatio:
    """Ratio numerator / denominator at each grid frequency.

    Parameters
    ----------
    cells : Cells
        Energies, with the noise's own taken off `auto` and `cross`.
    frequency_hz : ndarray, shape (n,)
        Grid frequencies. [Hz]
    noise_density : ndarray, shape (n,)
        Of the numerator, what comes through from the denominator included; it weights the pilot. [s]

    Returns
    -------
    BandRatio
        At each grid frequency.
    """
    n = len(frequency_hz)
    groups = _groups(cells)
    delay_s = _delay(groups, n)
    parts = _merge(groups, cells.part, n * PARTS, turn=np.exp(2j * np.pi * delay_s * groups.frequency_hz))
    pilot = np.zeros((n, 5), dtype=complex)
    # Parts that hold next to no excitation, or none once the noise is taken off, tell nothing.
    is_part = parts.auto > EMPTY_PART * np.repeat(_sum_at(parts.band, parts.auto, n) / PARTS, PARTS)
    safe_auto = np.where(is_part, parts.auto, 1.0)
    part_ratio = np.where(is_part, parts.cross / safe_auto, 0.0)
    weight = (np.where(is_part, parts.auto, 0.0) / np.repeat(noise_density, PARTS)).reshape(n, PARTS)
    part_hz = parts.frequency_hz.reshape(n, PARTS)
    for _ in range(PILOT_ROUNDS):
        pilot = _fit_pilots(frequency_hz, part_hz, part_ratio.reshape(n, PARTS), weight)
        # The next pilot sees parts freed of the first one's shape: what averages away within a part no longer matters.
        averaged = _group_means(pilot, parts, frequency_hz, delay_s=0.0)
        safe = np.where(averaged == 0, 1.0, averaged)
        at_centre = _pilot_value(pilot, parts.band, parts.frequency_hz, frequency_hz)
        part_ratio = np.where(is_part, parts.cross / safe_auto, 0.0) * at_centre / safe
    mean = _group_means(pilot, groups, frequency_hz, delay_s=delay_s)
    energy = _sum_at(groups.band, groups.auto * (mean.real**2 + mean.imag**2), n)
    scale = _sum_at(groups.band, groups.cross * mean.conj(), n) / np.maximum(energy, TINY)
    shape = pilot[:, 0]
    return BandRatio(
        value=scale * shape * np.exp(-2j * np.pi * delay_s * frequency_hz),
        energy=energy / np.maximum(shape.real**2 + shape.imag**2, TINY),
        left=np.maximum(sum_bands(cells, cells.power, n) - np.abs(scale) ** 2 * energy, 0.0),
    )


def _groups(cells: Cells) -> _Groups:
    middle = cells.start + (cells.count - 1) / 2
    offset = np.where(cells.auto > 0, cells.moment / np.where(cells.auto > 0, cells.auto, 1.0) - middle, 0.0)
    offset = np.clip(offset, -(cells.count - 1) / 2, (cells.count - 1) / 2)
    return _Groups(
        frequency_hz=cells.bin_hz * (middle + offset),
        spread_hz=cells.bin_hz * np.sqrt((cells.count**2 - 1) / 12),
        band=cells.band,
        cross=cells.cross,
        auto=cells.auto,
    )


def _merge(groups: _Groups, index: NDArray[np.int_], n: int, *, turn: ComplexArray) -> _Groups:
    """Put groups together, their phases turned first."""
    auto = np.maximum(_sum_at(index, groups.auto, n), 0.0)
    safe = np.where(auto > 0, auto, 1.0)
    centre_hz = np.where(auto > 0, _sum_at(index, groups.auto * groups.frequency_hz, n) / safe, 0.0)
    offset_hz = groups.frequency_hz - centre_hz[index]
    variance = _sum_at(index, groups.auto * (offset_hz**2 + groups.spread_hz**2), n) / safe
    return _Groups(
        frequency_hz=centre_hz,
        spread_hz=np.sqrt(np.maximum(variance, 0.0)),
        band=np.arange(n) // PARTS,
        cross=_sum_at(index, groups.cross * turn, n),
        auto=auto,
    )


def _group_means(pilot: ComplexArray, groups: _Groups, frequency_hz: FloatArray, *, delay_s: float) -> ComplexArray:
    """Mean of each band's pilot over each group, delay included."""
    mean = np.zeros(len(groups.band), dtype=complex)
    coefficients = pilot[groups.band].T
    for node, share in QUADRATURE:
        at_hz = groups.frequency_hz + node * groups.spread_hz
        u = (at_hz / frequency_hz[groups.band] - 1) / _pilot_scale()
        value = _rational(coefficients, u)
        mean += share * (value if delay_s == 0.0 else value * np.exp(-2j * np.pi * delay_s * at_hz))
    return mean


def _sum_at(index: NDArray[np.int_], values: Numbers, n: int) -> Numbers:
    if np.iscomplexobj(values):
        return np.bincount(index, values.real, n) + 1j * np.bincount(index, values.imag, n)
    return np.bincount(index, values, n).astype(float)


def _delay(cells: _Groups, n_bands: int) -> float:
    """Delay of the numerator from the turning of the phase along frequency; near enough for the pilot."""
    same = cells.band[1:] == cells.band[:-1]
    turn = np.where(same, cells.cross[1:] * cells.cross[:-1].conj(), 0)
    step = np.where(same, np.diff(cells.frequency_hz), 0.0)
    weight = np.abs(turn)
    total = _sum_at(cells.band[1:], turn, n_bands)
    size = _sum_at(cells.band[1:], weight, n_bands)
    step_hz = _sum_at(cells.band[1:], weight * step, n_bands) / np.where(size > 0, size, 1.0)
    good = np.flatnonzero((size > 0) & (np.arange(n_bands) >= n_bands - DELAY_OCTAVES * POINTS_PER_OCTAVE))
    if len(good) == 0:
        return 0.0
    return -float(median(np.angle(total[good]) / (2 * np.pi * step_hz[good])))


def _fit_pilots(frequency_hz: FloatArray, part_hz: FloatArray, part_ratio: ComplexArray, weight: FloatArray) -> ComplexArray:
    """Fit (a + b u + c u² + d u³) / (1 + e u), u the relative offset, to the parts of five bands."""
    n = len(frequency_hz)
    around = np.arange(n)[:, None] + np.arange(-PILOT_BANDS, PILOT_BANDS + 1)
    inside = (around >= 0) & (around < n)
    around = np.clip(around, 0, n - 1)
    scale = _pilot_scale()
    u = ((part_hz[around] / frequency_hz[:, None, None] - 1) / scale).reshape(n, -1)
    ratio = part_ratio[around].reshape(n, -1)
    w = (weight[around] * inside[:, :, None]).reshape(n, -1)
    u = np.where(w > 0, u, 0.0)
    design = np.stack([np.ones_like(ratio), u, u**2, u**3, -u * ratio], axis=2)
    weighted = design.conj() * w[:, :, None]
    normal = weighted.transpose(0, 2, 1) @ design
    right = (weighted.transpose(0, 2, 1) @ ratio[:, :, None])[:, :, 0]
    size = np.sum(w * np.abs(ratio) ** 2, axis=1) / np.maximum(np.sum(w, axis=1), TINY)
    # A weak pull to a constant: where the noise is as large as the response, no pole is read into it.
    pull = 1 / np.maximum(size, TINY)
    prior = np.stack([np.full(n, TINY), pull, pull, pull, np.ones(n)], axis=1)
    normal += prior[:, :, None] * np.eye(5)
    # Columns are scaled to one before solving; the response may be in any unit.
    root = np.sqrt(np.maximum(np.diagonal(normal, axis1=1, axis2=2).real, TINY))
    normal = normal / (root[:, :, None] * root[:, None, :])
    return np.linalg.solve(normal, (right / root)[:, :, None])[:, :, 0] / root


def _pilot_scale() -> float:
    """Offset of the outermost parts that a pilot sees."""
    return 2 ** ((PILOT_BANDS + 0.5) / POINTS_PER_OCTAVE) - 1


def _pilot_value(pilot: ComplexArray, band: NDArray[np.int_], at_hz: FloatArray, frequency_hz: FloatArray) -> ComplexArray:
    return _rational(pilot[band].T, (at_hz / frequency_hz[band] - 1) / _pilot_scale())


def _rational(coefficients: ComplexArray, u: FloatArray) -> ComplexArray:
    a, b, c, d, e = coefficients
    return (a + u * (b + u * (c + u * d))) / (1 + e * u)
