"""Pictures of a fit: responses with their model, every pickup at the jack, what limits each value, two values together."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fit.answers.digits import part_texts
from fit.answers.figures import COVERAGE, Curve, Estimate
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.predict.at_jack import AtJack
from fit.desk.show.figures.style import (
    COLOURS,
    DB_PER_NEPER,
    DEGREE_PER_RADIAN,
    FORMS,
    INK,
    TEXT_PT,
    curve_style,
    estimate_label,
    mark_degrees,
    mark_frequency,
    mark_simulated,
    new_figure,
    place_legend,
    short_text,
    style_axes,
)
from fit.desk.show.sheets.report import coils_told
from fit.desk.show.words import headline_keys, quantity_name
from measure.quantity import format_quantity
from measure.response import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_TOGETHER = 9  # takes in one panel; more have a small panel each
SMALL_COLUMNS = 3
SMALL_EVERY = 3  # points of which one is drawn in a small panel, where they would lie over each other
SMALL_IN, LEFT_IN = 1.15, 1.5  # [in] height of a small panel, of one of what is left between model and measurement
MARKS = 7  # on a model's line, so that takes are told apart without colours
LOWEST_DB = 30.0  # [dB] below the top of the picture of the jack
TOP_DB = 3.0  # [dB] above it, for what is written there
LOW_HZ, HIGH_HZ = 40.0, 20e3  # [Hz] of the picture of the jack
BUDGET_ROWS, FEW_ROWS = 4, 2  # sources a quantity, the others are summed up; the fewer where there are many quantities
MANY_QUANTITIES = 6
BUDGET_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")
BAR_IN = 0.2  # [in]
ELLIPSE_FACTOR = math.sqrt(-2 * math.log(0.05))  # [1] 2.45: 95 % of two normal quantities, JCGM 102:2011, 6.5.2
ELLIPSE_ANGLES = np.linspace(0, 2 * np.pi, 181)  # [rad]
MOST_ELLIPSES, ELLIPSE_COLUMNS = 6, 2


def response_figure(answer: PickupAnswer) -> "Figure":
    """Magnitude and phase with the model over the measurement, and what is left between them.

    Parameters
    ----------
    answer : PickupAnswer
        With at least one curve.

    Returns
    -------
    Figure
        Panels over one frequency axis, marked in Hz below and in notes above; of many takes each has a small panel.
    """
    low = min(float(curve.frequency_hz[0]) for curve in answer.curves) / 1.06
    high = max(float(curve.frequency_hz[-1]) for curve in answer.curves) * 1.06
    draw = _draw_together if len(answer.curves) <= MOST_TOGETHER else _draw_apart
    figure = draw(answer, low, high)
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def _draw_together(answer: PickupAnswer, low_hz: float, high_hz: float) -> "Figure":
    figure = new_figure(height_in=6.6)
    panels = figure.subplots(4, 1, sharex=True, gridspec_kw={"height_ratios": [3.4, 2.0, 1.4, 1.4]})
    magnitude, phase, left_db, left_degree = panels
    for index, curve in enumerate(answer.curves):
        _draw_curve(magnitude, phase, curve, index=index, of=len(answer.curves))
        _draw_residual(left_db, left_degree, curve, index=index)
    _draw_floor(left_db, left_degree, answer.floor.value)
    magnitude.set_ylabel("magnitude [dB]")
    phase.set_ylabel("phase [°]")
    left_db.set_ylabel("model −\nmeasured [dB]")
    left_degree.set_ylabel("model −\nmeasured [°]")
    for axes in panels:
        style_axes(axes)
    mark_frequency(panels[-1], top=magnitude, low_hz=low_hz, high_hz=high_hz)
    figure.align_ylabels(panels)
    mark_degrees(phase)
    place_legend(figure, [magnitude], title="dots measured, lines model")
    return figure


# Every other take stands pale behind each, so that one can be told from all.
def _draw_apart(answer: PickupAnswer, low_hz: float, high_hz: float) -> "Figure":
    n_rows = -(-len(answer.curves) // SMALL_COLUMNS)
    figure = new_figure(height_in=0.9 + SMALL_IN * n_rows + 2 * LEFT_IN)
    outer = figure.add_gridspec(2, 1, height_ratios=[SMALL_IN * n_rows, 2 * LEFT_IN])
    small = outer[0].subgridspec(n_rows, SMALL_COLUMNS).subplots(sharex=True, sharey=True, squeeze=False)
    left_db, left_degree = outer[1].subgridspec(2, 1).subplots(sharex=True, squeeze=False)[:, 0]
    for axes, curve in zip(small.flat, answer.curves, strict=False):
        for other in answer.curves:
            pale = slice(None, None, SMALL_EVERY)
            axes.plot(other.frequency_hz[pale], _db(np.abs(other.model[pale])), color=INK, linewidth=0.5, alpha=0.25)
        axes.plot(curve.frequency_hz, _db(np.abs(curve.measured)), markevery=SMALL_EVERY, **_dots(COLOURS[0]))
        axes.plot(curve.frequency_hz, _db(np.abs(curve.model)), color=COLOURS[1], linewidth=1.0)
        axes.set_title(short_text(curve.take, limit=21), loc="left", color=INK, fontsize=TEXT_PT - 0.5, pad=2)
        style_axes(axes)
    for axes in small.flat[len(answer.curves) :]:
        axes.set_axis_off()
    for curve in answer.curves:
        _draw_residual(left_db, left_degree, curve, index=0, is_many=True)
    _draw_floor(left_db, left_degree, answer.floor.value)
    small[0, 0].set_xscale("log")
    small[0, 0].set_xlim(low_hz, high_hz)
    shown = [mark for mark in (100, 1000, 10000) if low_hz <= mark <= high_hz]
    small[0, 0].set_xticks(shown, ["100" if mark < 1000 else f"{mark // 1000} k" for mark in shown])
    small[0, 0].xaxis.minorticks_off()
    small[n_rows // 2, 0].set_ylabel("magnitude [dB]: dots measured, line model, pale the others")
    left_db.set_ylabel("model −\nmeasured [dB]")
    left_degree.set_ylabel("model −\nmeasured [°]")
    for axes in (left_db, left_degree):
        style_axes(axes)
    mark_frequency(left_degree, top=left_db, low_hz=low_hz, high_hz=high_hz)
    figure.align_ylabels([left_db, left_degree])
    return figure


def jack_figure(answer: PickupAnswer, pickups: Callable[[], Sequence[AtJack]]) -> "Figure":
    """Voltage at the jack for a volt in the winding of each pickup, all controls in place, with its peak marked.

    Parameters
    ----------
    pickups : callable
        Predicts them; where there is none, the fit's own curve without controls is drawn.
    """
    found = pickups()
    if not found:
        return loaded_figure(answer)
    figure = new_figure(height_in=3.5)
    axes = figure.subplots()
    for index, one in enumerate(found):
        colour, line, form = curve_style(index)
        frequency_hz, curve = one.answer.frequency_hz, one.curve
        level_db, half = _db(np.abs(curve.gain)), COVERAGE * curve.gain_db_std
        axes.fill_between(frequency_hz, level_db - half, level_db + half, color=colour, alpha=0.22, linewidth=0)
        label = short_text(one.pickup)
        if curve.peak_frequency is not None and curve.peak_level is not None:
            label += f": {estimate_label(curve.peak_frequency)}, {estimate_label(curve.peak_level)}"
            _draw_peak(axes, curve.peak_frequency, curve.peak_level, colour=colour, form=form)
        axes.plot(frequency_hz, level_db, line, color=colour, linewidth=1.6, label=label)
    _finish_jack(axes)
    place_legend(figure, [axes], title="peak of each" if len(found) > 1 else "")
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def loaded_figure(answer: PickupAnswer) -> "Figure":
    """Voltage at the jack for a volt in the winding, behind cable and input, with its peak marked.

    Parameters
    ----------
    answer : PickupAnswer
        With `loaded_frequency_hz` and `loaded_gain`.
    """
    figure = new_figure(height_in=3.5)
    axes = figure.subplots()
    axes.plot(answer.loaded_frequency_hz, _db(np.abs(answer.loaded_gain)), color=COLOURS[0], linewidth=1.6)
    resonance = answer.quantities.get("resonance_loaded")
    peak = answer.quantities.get("peak_loaded")
    if resonance is not None and peak is not None:
        axes.axvspan(resonance.low, resonance.high, color=COLOURS[1], alpha=0.25, linewidth=0)
        _draw_peak(axes, resonance, peak, colour=COLOURS[1], form="o")
        text = f"{estimate_label(resonance)}, {estimate_label(peak)}"
        axes.annotate(
            text,
            (resonance.value, peak.high),
            xytext=(0, 9),
            textcoords="offset points",
            ha="center",
            color=INK,
            fontsize=TEXT_PT,
        )
    _finish_jack(axes)
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def budget_figure(answer: PickupAnswer) -> "Figure":
    """Bars for what limits each value: half-widths of 95 % intervals, in the unit of the value, all on one scale.

    Parameters
    ----------
    answer : PickupAnswer
        With a budget; quantities without one are left out.

    Returns
    -------
    Figure
        One panel a quantity, with a common axis in percent of the value.
    """
    keys = [key for key in headline_keys(answer.quantities, BUDGET_QUANTITIES) if answer.budget.get(key)]
    most = FEW_ROWS if len(keys) > MANY_QUANTITIES else BUDGET_ROWS
    rows = {key: _budget_rows(answer, key, most=most) for key in keys}
    heights = [len(bars) + 1.3 for bars in rows.values()] or [1.0]
    figure = new_figure(height_in=0.5 + BAR_IN * sum(heights))
    grid = {"height_ratios": heights}
    panels = figure.subplots(len(heights), 1, gridspec_kw=grid, squeeze=False, sharex=True)[:, 0]
    if not rows:
        panels[0].text(0.5, 0.5, "no budget: no value was identified", ha="center", va="center", color=INK)
        panels[0].set_axis_off()
        return figure
    for axes, (key, bars) in zip(panels, rows.items(), strict=True):
        names, percents, texts = (list(column) for column in zip(*bars, strict=True))
        drawn = axes.barh(range(len(bars)), percents, height=0.62, color=COLOURS[0])
        drawn[0].set(facecolor="none", edgecolor=INK, hatch="////", linewidth=0.8)
        axes.bar_label(drawn, labels=texts, padding=4, color=INK, fontsize=TEXT_PT)
        axes.set_yticks(range(len(bars)), names)
        axes.invert_yaxis()
        axes.set_title(quantity_name(key), loc="left", color=INK, fontsize=TEXT_PT, fontweight="bold")
        axes.patch.set_alpha(0.0)
        axes.tick_params(colors=INK, length=0, labelsize=TEXT_PT - 0.5)
        for side in ("top", "right", "bottom"):
            axes.spines[side].set_visible(False)
        axes.spines["left"].set_color(INK)
    largest = max(percent for bars in rows.values() for _, percent, _ in bars)
    panels[0].set_xlim(0, 1.35 * largest)
    panels[-1].set_xlabel("half-width of the 95 % interval over the value [%]", color=INK, fontsize=TEXT_PT)
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def ellipse_figure(answer: PickupAnswer) -> "Figure":
    """Where inductance and winding capacitance lie together, in 95 of 100 such measurements.

    Parameters
    ----------
    answer : PickupAnswer
        With `parts`, whose covariance it is.

    Returns
    -------
    Figure
        One panel a pickup.

    Raises
    ------
    ValueError
        If both are not told of any pickup.

    References
    ----------
    JCGM 102:2011, 6.5.2: elliptical coverage region of two quantities, coverage factor 2.45.
    """
    parts, coils = answer.parts, coils_told(answer)[:MOST_ELLIPSES]
    if parts is None or not coils:
        msg = "inductance and winding capacitance are not told together by these takes, so there is no ellipse to draw"
        raise ValueError(msg)
    columns = min(len(coils), ELLIPSE_COLUMNS)
    n_rows = -(-len(coils) // columns)
    figure = new_figure(height_in=0.4 + (3.2 if columns == 1 else 2.2) * n_rows)
    panels = figure.subplots(n_rows, columns, squeeze=False)
    for axes, coil in zip(panels.flat, coils, strict=False):
        keys = (f"{coil}.inductance", f"{coil}.winding_capacitance")
        index = [parts.names.index(key) for key in keys]
        relative = parts.log_covariance[np.ix_(index, index)]
        _draw_ellipse(axes, [parts.values[key] for key in keys], relative)
        if len(coils) > 1:
            axes.set_title(short_text(coil), loc="left", color=INK, fontsize=TEXT_PT, fontweight="bold")
    for axes in panels.flat[len(coils) :]:
        axes.set_axis_off()
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def _db(magnitude: FloatArray) -> FloatArray:
    return DB_PER_NEPER * np.log(magnitude)


def _dots(colour: str) -> dict[str, Any]:
    return {
        "marker": "o",
        "markersize": 2.6,
        "linestyle": "none",
        "color": colour,
        "alpha": 0.35,
        "markeredgewidth": 0,
    }


def _draw_curve(magnitude: "Axes", phase: "Axes", curve: Curve, *, index: int, of: int) -> None:
    colour, line, form = curve_style(index)
    measured_rad = np.unwrap(np.angle(curve.measured))
    modelled_rad = measured_rad + np.angle(curve.model / curve.measured)
    n = len(curve.frequency_hz)
    every = max(n // MARKS, 1)
    style: dict[str, Any] = {
        "color": colour,
        "linestyle": line,
        "linewidth": 1.0,
        "marker": form,
        "markersize": 5,
        "markerfacecolor": "none",
        "markevery": (every * index // of, every),
    }
    magnitude.plot(curve.frequency_hz, _db(np.abs(curve.measured)), **_dots(colour))
    magnitude.plot(curve.frequency_hz, _db(np.abs(curve.model)), label=short_text(curve.take), **style)
    phase.plot(curve.frequency_hz, DEGREE_PER_RADIAN * measured_rad, **_dots(colour))
    phase.plot(curve.frequency_hz, DEGREE_PER_RADIAN * modelled_rad, **style)


def _draw_residual(left_db: "Axes", left_degree: "Axes", curve: Curve, *, index: int, is_many: bool = False) -> None:
    colour, _, form = curve_style(index)
    ratio = np.log(curve.model / curve.measured)
    half_width: FloatArray = COVERAGE * curve.measured_std / np.abs(curve.measured) / math.sqrt(2)
    for axes, left, scale in ((left_db, ratio.real, DB_PER_NEPER), (left_degree, ratio.imag, DEGREE_PER_RADIAN)):
        style: dict[str, Any] = {"color": colour, "alpha": 0.85}
        if is_many:  # a mark for each of some thousand points would make a page of megabytes
            axes.plot(curve.frequency_hz, scale * left, linewidth=0.7, **style)
        else:
            axes.plot(curve.frequency_hz, scale * left, linestyle="none", marker=form, markersize=2.2, **style)
        _draw_bars(axes, curve.frequency_hz, scale * left, scale * half_width, **style)
        largest = float(np.max(np.abs(scale * left))) * 1.25
        axes.set_ylim(-max(largest, axes.get_ylim()[1]), max(largest, axes.get_ylim()[1]))


# One path with gaps: of bars drawn one by one each would be an element of its own.
def _draw_bars(axes: "Axes", x: FloatArray, middle: FloatArray, half: FloatArray, **style: Any) -> None:
    gap = np.full(len(x), np.nan)
    ends = np.column_stack([middle - half, middle + half, gap]).ravel()
    axes.plot(np.repeat(x, 3), ends, linewidth=0.7, **style)


def _draw_floor(left_db: "Axes", left_degree: "Axes", floor: float) -> None:
    for axes, scale in ((left_db, DB_PER_NEPER), (left_degree, DEGREE_PER_RADIAN)):
        half_width = COVERAGE * scale * floor / math.sqrt(2)
        axes.axhspan(-half_width, half_width, color=INK, alpha=0.09, linewidth=0)
        axes.axhline(0, color=INK, linewidth=0.6, alpha=0.6)
        largest = max(axes.get_ylim()[1], 1.3 * half_width)
        axes.set_ylim(-largest, largest)


def _draw_peak(axes: "Axes", frequency: Estimate, level: Estimate, *, colour: str, form: str) -> None:
    axes.errorbar(
        [frequency.value],
        [level.value],
        xerr=[[max(frequency.value - frequency.low, 0)], [max(frequency.high - frequency.value, 0)]],
        yerr=[[max(level.value - level.low, 0)], [max(level.high - level.value, 0)]],
        fmt=form,
        color=colour,
        markersize=5,
        capsize=3,
        linewidth=1.2,
    )


def _finish_jack(axes: "Axes") -> None:
    bottom, top = axes.get_ylim()
    axes.set_ylim(max(bottom, top - LOWEST_DB), top + TOP_DB)
    axes.axhline(0, color=INK, linewidth=0.7, alpha=0.5)
    axes.set_ylabel("jack over winding [dB]")
    style_axes(axes)
    mark_frequency(axes, top=axes, low_hz=LOW_HZ, high_hz=HIGH_HZ)


def _budget_rows(answer: PickupAnswer, key: str, *, most: int) -> list[tuple[str, float, str]]:
    """Name, percent of the value and half-width in its unit: of the whole, then of each source, the largest first."""
    estimate = answer.quantities[key]
    half = (estimate.high - estimate.low) / 2
    parts = sorted(answer.budget[key], key=lambda part: -abs(part.contribution))
    total = math.sqrt(sum(part.contribution**2 for part in parts)) or 1.0
    halves = [half * abs(part.contribution) / total for part in parts]  # each with the whole's coverage factor
    rest = math.sqrt(sum(one**2 for one in halves[most:]))
    shown = [half, *halves[:most], *([rest] if rest else [])]
    names = ["95 % interval", *(short_text(part.source, limit=30) for part in parts[:most])]
    names += [f"{len(parts) - most} smaller ones"] if rest else []
    texts = part_texts(shown, half, estimate.unit)
    return [(name, 100 * one / (abs(estimate.value) or 1.0), text) for name, one, text in zip(names, shown, texts, strict=True)]


def _draw_ellipse(axes: "Axes", values: Sequence[float], relative: FloatArray) -> None:
    scale = np.diag(values)
    spread = scale @ relative @ scale
    width, turn = np.linalg.eigh(spread)
    edge = turn @ (np.sqrt(np.maximum(width, 0))[:, None] * np.array([np.cos(ELLIPSE_ANGLES), np.sin(ELLIPSE_ANGLES)]))
    inductance, capacitance = (np.asarray(one) + value for one, value in zip(ELLIPSE_FACTOR * edge, values, strict=True))
    axes.fill(inductance, capacitance, facecolor=COLOURS[0], alpha=0.2, linewidth=0)
    axes.plot(inductance, capacitance, color=COLOURS[0], linewidth=1.4)
    half = COVERAGE * np.sqrt(np.diag(spread))
    axes.errorbar(
        [values[0]],
        [values[1]],
        xerr=[half[0]],
        yerr=[half[1]],
        fmt=FORMS[0],
        color=COLOURS[1],
        markersize=4,
        capsize=3,
        linewidth=1.2,
    )
    for axis, value, one_half, unit in ((axes.xaxis, values[0], half[0], "H"), (axes.yaxis, values[1], half[1], "F")):
        ticks = [value - one_half, value, value + one_half]
        axis.set_ticks(ticks, [_tick_text(tick, one_half, unit) for tick in ticks])
    axes.set_xlabel("inductance", color=INK, fontsize=TEXT_PT)
    axes.set_ylabel("winding capacitance")
    style_axes(axes)


def _tick_text(tick: float, half: float, unit: str) -> str:
    from fit.answers.digits import interval_texts

    return interval_texts(tick, tick - half, tick + half, unit)[0] if half else format_quantity(tick, unit)
