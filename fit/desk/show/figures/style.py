"""Pictures of an answer: the response with its model and residuals, the loaded resonance, the budget.

The one place that imports matplotlib, and only inside the functions that draw. Figures are objects without a window;
colours are told apart by people who see red and green alike (M. Okabe, K. Ito, Color Universal Design, 2008), and takes
also differ in line style.
"""

import io
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from fit.answers.digits import allowed_digits
from fit.answers.figures import Curve, Estimate
from fit.answers.pickup.answer import PickupAnswer
from fit.desk.show.words import headline_keys, note_frequency_hz, quantity_name
from measure.quantity import format_quantity
from measure.response import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Draw = Callable[[], "Figure"]

INK = "#1b2733"  # replaced by the page's own text colour in the report
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6d00", "#56b4e9")
DARK_COLOURS = ("#56b4e9", "#ff8c4a", "#35c79a", "#e3a3c6", "#d8b740", "#9fd4f2")  # the same on a dark page
LINES = ("-", "--", "-.", ":")
NOTE_MARKS = ("E1", "E2", "A2", "E3", "A3", "E4", "A4", "E5", "A5", "E6", "E7", "E8", "E9")
DB_PER_NEPER = 20 / math.log(10)
DEGREE_PER_RADIAN = 180 / math.pi
COVER_95 = 1.96
WIDTH_IN = 7.2  # [in] readable at the width of a page and of a phone held sideways
PNG_DPI = 150
BUDGET_ROWS = 4  # bars a quantity; smaller ones are summed up
BUDGET_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")


def response_figure(answer: PickupAnswer) -> "Figure":
    """Magnitude and phase with the model over the measurement, and what is left between them.

    Parameters
    ----------
    answer : PickupAnswer
        With at least one curve.

    Returns
    -------
    Figure
        Four panels over one frequency axis, marked in Hz below and in notes above.
    """
    figure = new_figure(height_in=8.4)
    panels = figure.subplots(4, 1, sharex=True, gridspec_kw={"height_ratios": [3.2, 2.2, 1.5, 1.5]})
    magnitude, phase, left_db, left_degree = panels
    for index, curve in enumerate(answer.curves):
        colour, line = COLOURS[index % len(COLOURS)], LINES[index % len(LINES)]
        _draw_curve(magnitude, phase, curve, colour=colour, line=line)
        _draw_residual(left_db, left_degree, curve, colour=colour)
    _draw_floor(left_db, left_degree, answer.floor.value)
    magnitude.set_ylabel("magnitude [dB]")
    phase.set_ylabel("phase [°]")
    left_db.set_ylabel("model −\nmeasured [dB]")
    left_degree.set_ylabel("model −\nmeasured [°]")
    magnitude.legend(loc="best", frameon=False, ncols=2 if len(answer.curves) > 3 else 1)
    for axes in panels:
        style_axes(axes)
    low = min(float(curve.frequency_hz[0]) for curve in answer.curves)
    high = max(float(curve.frequency_hz[-1]) for curve in answer.curves)
    mark_frequency(panels[-1], top=magnitude, low_hz=low / 1.06, high_hz=high * 1.06)
    figure.align_ylabels(panels)
    mark_degrees(phase)
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def loaded_figure(answer: PickupAnswer) -> "Figure":
    """Voltage at the jack for a volt in the winding, behind cable and input, with its peak marked.

    Parameters
    ----------
    answer : PickupAnswer
        With `loaded_frequency_hz` and `loaded_gain`.
    """
    figure = new_figure(height_in=3.9)
    axes = figure.subplots()
    gain_db = DB_PER_NEPER * np.log(np.abs(answer.loaded_gain))
    axes.axhline(0, color=INK, linewidth=0.7, alpha=0.5)
    axes.plot(answer.loaded_frequency_hz, gain_db, color=COLOURS[0], linewidth=1.8)
    low_db = max(float(np.min(gain_db)), -30.0)
    axes.set_ylim(low_db - 1.5, float(np.max(gain_db)) + 4.5)
    resonance = answer.quantities.get("resonance_loaded")
    peak = answer.quantities.get("peak_loaded")
    if resonance is not None and peak is not None:
        axes.axvspan(resonance.low, resonance.high, color=COLOURS[1], alpha=0.25, linewidth=0)
        error = [[max(peak.value - peak.low, 0)], [max(peak.high - peak.value, 0)]]
        axes.errorbar(
            [resonance.value], [peak.value], yerr=error, fmt="o", color=COLOURS[1], markersize=5, capsize=3, linewidth=1.2
        )
        text = f"{_label(resonance)}, {_label(peak)}"
        axes.annotate(text, (resonance.value, peak.high), xytext=(0, 9), textcoords="offset points", ha="center", color=INK)
    axes.set_ylabel("jack over winding [dB]")
    style_axes(axes)
    low, high = float(answer.loaded_frequency_hz[0]), float(answer.loaded_frequency_hz[-1])
    mark_frequency(axes, top=axes, low_hz=max(low, 40.0), high_hz=min(high, 20e3))
    mark_simulated(figure, is_simulated=answer.simulated)
    return figure


def budget_figure(answer: PickupAnswer) -> "Figure":
    """Bars for what limits each value, as standard uncertainty relative to the value.

    Parameters
    ----------
    answer : PickupAnswer
        With a budget; quantities without one are left out.
    """
    rows = {
        key: _budget_rows(answer, key) for key in headline_keys(answer.quantities, BUDGET_QUANTITIES) if answer.budget.get(key)
    }
    heights = [len(bars) + 1.0 for bars in rows.values()] or [1.0]
    figure = new_figure(height_in=0.5 + 0.23 * sum(heights))
    panels = figure.subplots(len(heights), 1, gridspec_kw={"height_ratios": heights}, squeeze=False)[:, 0]
    if not rows:
        panels[0].text(0.5, 0.5, "no budget: no value was identified", ha="center", va="center", color=INK)
        panels[0].set_axis_off()
    for axes, (index, (key, bars)) in zip(panels, enumerate(rows.items()), strict=False):
        names, percents = [name for name, _ in bars], [percent for _, percent in bars]
        drawn = axes.barh(range(len(bars)), percents, height=0.62, color=COLOURS[index % len(COLOURS)])
        axes.bar_label(drawn, labels=[f"{percent:.2g} %" for percent in percents], padding=4, color=INK)
        axes.set_yticks(range(len(bars)), names)
        axes.invert_yaxis()
        axes.set_xlim(0, 1.18 * max([*percents, 1e-9]))
        axes.set_xticks([])
        axes.set_title(quantity_name(key), loc="left", color=INK, fontsize=9, fontweight="bold")
        axes.patch.set_alpha(0.0)
        axes.tick_params(colors=INK, length=0)
        for side in ("top", "right", "bottom"):
            axes.spines[side].set_visible(False)
        axes.spines["left"].set_color(INK)
    return figure


def _label(estimate: Estimate) -> str:
    digits = allowed_digits(estimate.value, (estimate.high - estimate.low) / 2, most=3)
    return format_quantity(estimate.value, estimate.unit, digits)


def svg_text(figure: "Figure", *, name: str, title: str) -> str:
    """Figure as an SVG element to be set into a page.

    Parameters
    ----------
    name : str
        Letters only; sets the ids of this picture apart from those of others in the same page.
    title : str
        What a screen reader says; plain text.

    Returns
    -------
    str
        One `svg` element without references to anything outside; ink is ``currentColor``.
    """
    from html import escape

    from matplotlib import rc_context

    buffer = io.StringIO()
    with rc_context({"svg.fonttype": "path", "svg.hashsalt": name}):
        _lay_out(figure)
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\sxmlns(:\w+)?="[^"]*"', "", text).replace("xlink:href=", "href=")
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = text.replace('href="#', f'href="#{name}-').replace("url(#", f"url(#{name}-").replace(INK, "currentColor")
    start = re.sub(r'\s(width|height|version)="[^"]*"', "", text[: text.index(">")])
    return f'{start} role="img" aria-label="{escape(title, quote=True)}">{text[text.index(">") + 1 :]}'


def picture_bytes(figure: "Figure", *, kind: str) -> bytes:
    """Make a picture on white of a figure."""
    figure.patch.set_alpha(1.0)
    figure.patch.set_facecolor("white")
    buffer = io.BytesIO()
    metadata = {"Software": "coilsweep"} if kind == "png" else {"Date": None, "Creator": "coilsweep"}
    _lay_out(figure)
    figure.savefig(buffer, format=kind, metadata=metadata)
    return buffer.getvalue()


def _lay_out(figure: "Figure") -> None:
    """Place the panels once and for all: `savefig` draws everything a first time, unseen, only to have them placed."""
    layout = figure.get_layout_engine()
    if layout is not None:
        layout.execute(figure)
        figure.set_layout_engine(None)


def new_figure(*, height_in: float) -> "Figure":
    """Make an empty figure of the width of a page.

    Parameters
    ----------
    height_in : float
        Its height. [in]
    """
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    layout = ConstrainedLayoutEngine(h_pad=0.03, w_pad=0.04, hspace=0.0)
    figure = Figure(figsize=(WIDTH_IN, height_in), dpi=PNG_DPI, layout=layout)
    figure.patch.set_alpha(0.0)
    return figure


def style_axes(axes: "Axes") -> None:
    """Dress a panel: grid, inks, sizes.

    Parameters
    ----------
    axes : Axes
        Drawn already, legend included.
    """
    axes.patch.set_alpha(0.0)
    axes.grid(which="major", color=INK, alpha=0.14, linewidth=0.6)
    axes.tick_params(colors=INK, labelsize=8)
    axes.yaxis.label.set_color(INK)
    axes.yaxis.label.set_fontsize(8.5)
    for side in axes.spines.values():
        side.set_color(INK)
        side.set_linewidth(0.6)
        side.set_alpha(0.6)
    legend = axes.get_legend()
    if legend is not None:
        for text in legend.get_texts():
            text.set_color(INK)
            text.set_fontsize(8.5)


def mark_frequency(axes: "Axes", *, top: "Axes", low_hz: float, high_hz: float) -> None:
    """Mark the common frequency axis, in Hz below and in notes above.

    Parameters
    ----------
    low_hz, high_hz : float
        Ends. [Hz]
    """
    from matplotlib.ticker import FixedLocator, NullFormatter

    axes.set_xscale("log")
    axes.set_xlim(low_hz, high_hz)
    marks = [step * 10**power for power in range(1, 6) for step in (1, 2, 5)]
    shown = [mark for mark in marks if low_hz <= mark <= high_hz]
    axes.set_xticks(shown, [f"{mark // 1000} k" if mark >= 1000 else str(mark) for mark in shown])
    axes.xaxis.set_minor_locator(FixedLocator([s * 10**p for p in range(1, 6) for s in range(1, 10)]))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("frequency [Hz]", color=INK, fontsize=8.5)
    notes = [note for note in NOTE_MARKS if low_hz <= note_frequency_hz(note) <= high_hz]
    above = top.secondary_xaxis("top")
    above.set_xticks([note_frequency_hz(note) for note in notes], notes)
    above.xaxis.set_minor_locator(FixedLocator([]))
    above.tick_params(colors=INK, labelsize=8)
    above.set_xlabel("note (A4 = 440 Hz)", color=INK, fontsize=8)
    for side in above.spines.values():
        side.set_visible(False)


def mark_degrees(axes: "Axes") -> None:
    """Mark an axis of degrees in steps that people know."""
    from matplotlib.ticker import MultipleLocator

    low, high = axes.get_ylim()
    step = next((step for step in (15, 30, 45, 90, 180) if (high - low) / step <= 6), 360)
    axes.yaxis.set_major_locator(MultipleLocator(step))


def _draw_curve(magnitude: "Axes", phase: "Axes", curve: Curve, *, colour: str, line: str) -> None:
    measured_rad = np.unwrap(np.angle(curve.measured))
    modelled_rad = measured_rad + np.angle(curve.model / curve.measured)
    measured_db = DB_PER_NEPER * np.log(np.abs(curve.measured))
    modelled_db = DB_PER_NEPER * np.log(np.abs(curve.model))
    dots: dict[str, Any] = {
        "marker": "o",
        "markersize": 5.5,
        "linestyle": "none",
        "color": colour,
        "alpha": 0.3,
        "markeredgewidth": 0,
    }
    label = f"{short_text(curve.take)}: measured (dots), model (line)"
    magnitude.plot(curve.frequency_hz, measured_db, **dots)
    magnitude.plot(curve.frequency_hz, modelled_db, line, color=colour, linewidth=1.0, label=label)
    phase.plot(curve.frequency_hz, DEGREE_PER_RADIAN * measured_rad, **dots)
    phase.plot(curve.frequency_hz, DEGREE_PER_RADIAN * modelled_rad, line, color=colour, linewidth=1.0)


def _draw_residual(left_db: "Axes", left_degree: "Axes", curve: Curve, *, colour: str) -> None:
    ratio = np.log(curve.model / curve.measured)
    half_width: FloatArray = COVER_95 * curve.measured_std / np.abs(curve.measured) / math.sqrt(2)
    for axes, left, scale in ((left_db, ratio.real, DB_PER_NEPER), (left_degree, ratio.imag, DEGREE_PER_RADIAN)):
        axes.errorbar(
            curve.frequency_hz,
            scale * left,
            yerr=scale * half_width,
            fmt=".",
            color=colour,
            markersize=3.2,
            elinewidth=0.7,
            alpha=0.85,
        )
        largest = float(np.max(np.abs(scale * left))) * 1.25
        axes.set_ylim(-max(largest, axes.get_ylim()[1]), max(largest, axes.get_ylim()[1]))


def _draw_floor(left_db: "Axes", left_degree: "Axes", floor: float) -> None:
    for axes, scale in ((left_db, DB_PER_NEPER), (left_degree, DEGREE_PER_RADIAN)):
        half_width = COVER_95 * scale * floor / math.sqrt(2)
        axes.axhspan(-half_width, half_width, color=INK, alpha=0.09, linewidth=0)
        axes.axhline(0, color=INK, linewidth=0.6, alpha=0.6)
        largest = max(axes.get_ylim()[1], 1.3 * half_width)
        axes.set_ylim(-largest, largest)


def mark_simulated(figure: "Figure", *, is_simulated: bool) -> None:
    """Say on a picture that it rests on simulated data."""
    if is_simulated:
        figure.suptitle("simulated", x=0.995, ha="right", fontsize=8.5, color=INK, style="italic")


def _budget_rows(answer: PickupAnswer, key: str) -> list[tuple[str, float]]:
    value = abs(answer.quantities[key].value) or 1.0
    parts = sorted(answer.budget[key], key=lambda part: -abs(part.contribution))
    rows = [(short_text(part.source, limit=34), 100 * abs(part.contribution) / value) for part in parts[:BUDGET_ROWS]]
    rest = math.sqrt(sum(part.contribution**2 for part in parts[BUDGET_ROWS:]))
    return [*rows, (f"{len(parts) - BUDGET_ROWS} smaller ones", 100 * rest / value)] if rest else rows


def short_text(text: str, *, limit: int = 28) -> str:
    """Cut a text that is drawn, and take it literally.

    Returns
    -------
    str
        Without what would be read as mathematics.
    """
    safe = text.replace("$", r"\$")
    return safe if len(safe) <= limit else f"{safe[: limit - 1]}…"
