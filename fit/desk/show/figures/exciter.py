"""Picture of an exciter: what it brings into the pickup, over frequency."""

import math
from typing import TYPE_CHECKING

from fit.answers.exciter.rating import ExciterAnswer
from fit.desk.show.figures.style import COLOURS, INK, TEXT_PT, estimate_label, mark_frequency, new_figure, style_axes
from measure.quantity import format_quantity

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOW_HZ, HIGH_HZ = 40.0, 20e3  # [Hz] of the picture, wider where more was asked for
LABEL_REACH = 3.0  # [1] of the frequency: a line nearer than this would run through the label beside a point


def exciter_figure(answer: ExciterAnswer) -> "Figure":
    """Voltage to expect in the pickup's winding at the frequencies asked for, with 95 % intervals and the exciter's corner."""
    figure = new_figure(height_in=3.2)
    axes = figure.subplots()
    at_hz, found = list(answer.emf), list(answer.emf.values())
    order = sorted(range(len(at_hz)), key=lambda index: at_hz[index])
    values = [found[index].value for index in order]
    error = [
        [found[index].value - found[index].low for index in order],
        [found[index].high - found[index].value for index in order],
    ]
    shown_hz = [at_hz[index] for index in order]
    axes.set_yscale("log")
    axes.errorbar(shown_hz, values, yerr=error, fmt="o-", color=COLOURS[0], markersize=5, capsize=4, linewidth=1.2)
    corner = answer.quantities.get("corner")
    for one_hz, index in zip(shown_hz, order, strict=True):
        is_crowded = corner is not None and one_hz <= corner.value < LABEL_REACH * one_hz
        axes.annotate(
            estimate_label(found[index]),
            (one_hz, found[index].value),
            xytext=(-8, 6) if is_crowded else (8, -10),
            ha="right" if is_crowded else "left",
            textcoords="offset points",
            color=INK,
            fontsize=TEXT_PT,
        )
    low_hz, high_hz = min(LOW_HZ, *shown_hz) / 1.06, max(HIGH_HZ, *shown_hz) * 1.5
    if corner is not None and low_hz < corner.value < high_hz:
        axes.axvline(corner.value, color=COLOURS[1], linestyle="--", linewidth=1.1)
        text = f"corner {estimate_label(corner)}"
        axes.annotate(
            text,
            (corner.value, 0.04),
            xycoords=("data", "axes fraction"),
            xytext=(-5, 0),
            textcoords="offset points",
            ha="right",
            color=INK,
            fontsize=TEXT_PT,
        )
    powers = range(math.floor(math.log10(min(values))) - 1, math.ceil(math.log10(max(values))) + 2)
    axes.set_yticks([10.0**power for power in powers], [format_quantity(10.0**power, "V", 1) for power in powers])
    axes.set_ylabel("in the pickup, rms")
    axes.set_ylim(min(one.low for one in found) / 2, max(one.high for one in found) * 2)
    style_axes(axes)
    mark_frequency(axes, top=axes, low_hz=low_hz, high_hz=high_hz)
    return figure
