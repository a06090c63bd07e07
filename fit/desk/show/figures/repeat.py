"""Pictures of repeat (results by placement and day) and of check (charts of a kept coil)."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fit.desk.show.figures.style import COLOURS, INK, TEXT_PT, curve_style, mark_simulated, new_figure, short_text, style_axes
from fit.desk.show.sheets.check import few_text
from fit.desk.show.sheets.take_sets import shown_quantities
from fit.desk.show.words import in_sentence, quantity_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fit.answers.repeat.control_chart import Chart
    from fit.desk.show.sheets.check import Checked
    from fit.desk.show.sheets.repeat import Repeated

PANEL_IN, HEAD_IN = 1.35, 0.85  # [in]
UNDER_RESULTS = "each time the coil was laid down; days apart by colour and form\nband: 95 % of what is stated and not shared"
MOST_DATES = 5  # that find room beneath a chart


def repeat_figure(found: "Repeated") -> "Figure":
    """Every result by placement and day, with what its stated interval allows for beside the shared references.

    Returns
    -------
    Figure
        One panel a quantity, in percent of its mean (dB for levels); days apart by their colour and form.
    """
    keys = shown_quantities(list(found.quantities))
    figure = new_figure(height_in=HEAD_IN + PANEL_IN * len(keys))
    panels = np.atleast_1d(figure.subplots(len(keys), 1, sharex=True))
    for axes, key in zip(panels, keys, strict=True):
        _draw_results(axes, found, key)
        style_axes(axes)
    placements = [one.takes.placement for one in found.fitted]
    starts = [index for index, own in enumerate(placements) if index == 0 or placements[index - 1] != own]
    ends = [*starts[1:], len(placements)]
    panels[-1].set_xticks(
        [(start + end - 1) / 2 for start, end in zip(starts, ends, strict=True)], [str(n + 1) for n in range(len(starts))]
    )
    panels[-1].set_xlabel(UNDER_RESULTS, color=INK, fontsize=TEXT_PT)
    figure.align_ylabels(panels)
    mark_simulated(figure, is_simulated=found.simulated)
    return figure


def check_figure(found: "Checked", key: str) -> "Figure":
    """Charts of individuals, moving ranges and weighted average of one quantity of a kept coil.

    Returns
    -------
    Figure
        Three panels over the measurements; what lies outside of its limits is ringed.

    Raises
    ------
    ValueError
        If there are too few measurements for charts.
    """
    if not found.charts:
        msg = f"{few_text(len(found.fitted))}; there is nothing to draw yet"
        raise ValueError(msg)
    charts, unit = found.charts[key], found.units[key]
    figure = new_figure(height_in=HEAD_IN + 1.75 * 3)
    panels = figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": [1.3, 0.9, 1.2]})
    is_level = unit == "dB" or charts.baseline.centre == 0
    centre, scale = charts.baseline.centre, 1.0 if is_level else 100 / abs(charts.baseline.centre)
    word = "dB" if is_level else "%"
    _draw_chart(panels[0], charts.individuals, offset=centre, scale=scale, colour=COLOURS[0])
    _draw_chart(panels[1], charts.moving_range, offset=0.0, scale=scale, colour=COLOURS[2])
    _draw_chart(panels[2], charts.ewma, offset=centre, scale=scale, colour=COLOURS[1])
    panels[0].set_ylabel(f"measurement,\nfrom baseline [{word}]")
    panels[1].set_ylabel(f"moving range\n[{word}]")
    panels[2].set_ylabel(f"weighted average,\nfrom baseline [{word}]")
    for axes in panels:
        style_axes(axes)
    _mark_dates(panels[-1], [one.takes.date for one in found.fitted])
    title = f"{short_text(found.coil)}: {in_sentence(key)}, {found.state}"
    panels[0].set_title(title, loc="left", color=INK, fontsize=TEXT_PT, fontweight="bold")
    figure.align_ylabels(panels)
    mark_simulated(figure, is_simulated=found.simulated)
    return figure


def _draw_results(axes: "Axes", found: "Repeated", key: str) -> None:
    one, unit = found.quantities[key], found.fitted[0].answer.quantities[key].unit
    is_level = unit == "dB" or one.mean == 0
    scale = 1.0 if is_level else 100 / abs(one.mean)
    values = scale * (np.array([own.answer.quantities[key].value for own in found.fitted]) - one.mean)
    half = scale * 1.96 * one.own_std
    axes.axhspan(-half, half, color=INK, alpha=0.09, linewidth=0)
    axes.axhline(0, color=INK, linewidth=0.7, alpha=0.6)
    for index, (own, value) in enumerate(zip(found.fitted, values.tolist(), strict=True)):
        colour, _, form = curve_style(own.takes.day)
        axes.plot([index], [value], form, color=colour, markersize=4.5)
    placements = np.array([own.takes.placement for own in found.fitted])
    for number in np.unique(placements):
        where = np.flatnonzero(placements == number)
        mean = float(np.mean(values[where]))
        axes.plot([where[0] - 0.35, where[-1] + 0.35], [mean, mean], color=INK, linewidth=1.0)
        axes.axvline(where[-1] + 0.5, color=INK, linewidth=0.5, alpha=0.25)
    axes.set_xlim(-0.6, len(values) - 0.4)
    axes.margins(y=0.12)  # no mark is cut by the frame
    axes.set_ylabel(f"[{'dB' if is_level else '%'}]")
    axes.set_title(f"{quantity_name(key)}: {one.verdict}", loc="left", color=INK, fontsize=TEXT_PT)


def _draw_chart(axes: "Axes", chart: "Chart", *, offset: float, scale: float, colour: str) -> None:
    at = np.arange(len(chart.points))
    points, low, high = (scale * (part - offset) for part in (chart.points, chart.low, chart.high))
    axes.axhline(scale * (chart.centre - offset), color=INK, linewidth=0.7, alpha=0.6)
    for limit in (low, high):
        axes.step(at, limit, where="mid", color=INK, linewidth=0.9, linestyle="--", alpha=0.8)
    axes.plot(at, points, "o-", color=colour, markersize=4, linewidth=1.0)
    out = chart.is_outside
    axes.plot(at[out], points[out], "o", markersize=9, markerfacecolor="none", markeredgecolor=INK, markeredgewidth=1.3)
    axes.set_xlim(-0.5, len(at) - 0.5)
    axes.margins(y=0.12)


def _mark_dates(axes: "Axes", dates: Sequence[str]) -> None:
    step = -(-len(dates) // MOST_DATES)
    at = list(range(0, len(dates), step))
    axes.set_xticks(at, [dates[index] for index in at])
    axes.set_xlabel("measurement; limits dashed, what lies outside is ringed", color=INK, fontsize=TEXT_PT)
