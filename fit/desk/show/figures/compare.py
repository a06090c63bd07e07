"""Pictures of a comparison: change of the response, and of a foil's signal, against frequency."""

from typing import TYPE_CHECKING

import numpy as np

from fit.answers.compare.comparison import CompareAnswer
from fit.answers.compare.shielding import ShieldingAnswer
from fit.answers.figures import COVERAGE
from fit.desk.show.figures.style import (
    COLOURS,
    INK,
    curve_style,
    mark_frequency,
    mark_simulated,
    new_figure,
    place_legend,
    short_text,
    style_axes,
)
from fit.desk.show.words import plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL_IN, HEAD_IN = 2.2, 0.8  # [in]


def changes_figure(parts: CompareAnswer | None, shielding: ShieldingAnswer | None) -> "Figure":
    """Change of the response at the jack over frequency, and below it that of a foil's signal.

    Parameters
    ----------
    shielding : ShieldingAnswer or None
        From takes with a foil.

    Raises
    ------
    ValueError
        If there is nothing to draw.
    """
    is_drawn = [parts is not None and bool(parts.responses), shielding is not None]
    if not any(is_drawn):
        msg = "there is no response on both sides to draw: --plot needs takes of the exciter or of a foil before and after"
        raise ValueError(msg)
    figure = new_figure(height_in=HEAD_IN + PANEL_IN * sum(is_drawn))
    panels = list(np.atleast_1d(figure.subplots(sum(is_drawn), 1, sharex=True)))
    ends: list[float] = []
    if parts is not None and is_drawn[0]:
        ends += _draw_pairs(panels[0], parts)
    if shielding is not None:
        ends += _draw_foil(panels[-1], shielding)
    for axes in panels:
        axes.axhline(0, color=INK, linewidth=0.7, alpha=0.5)
        style_axes(axes)
    mark_frequency(panels[-1], top=panels[0], low_hz=min(ends) / 1.06, high_hz=max(ends) * 1.06)
    place_legend(figure, panels)
    simulated = (parts is not None and parts.simulated) or (shielding is not None and shielding.simulated)
    mark_simulated(figure, is_simulated=simulated)
    return figure


def _draw_pairs(axes: "Axes", parts: CompareAnswer) -> list[float]:
    for number, pair in enumerate(parts.responses):
        colour, line, _ = curve_style(number)
        label = f"{short_text(plain_text(pair.before))} to {short_text(plain_text(pair.after))}"
        axes.plot(pair.frequency_hz, pair.change_db, line, color=colour, linewidth=1.6, label=label)
        half = COVERAGE * pair.change_db_std
        axes.fill_between(pair.frequency_hz, pair.change_db - half, pair.change_db + half, color=colour, alpha=0.25, linewidth=0)
        axes.plot(pair.frequency_hz, pair.measured_db, ".", color=colour, markersize=3, alpha=0.6)
    axes.set_ylabel("change at the jack [dB]\nline: fit, dots: recorded")
    return [float(edge) for pair in parts.responses for edge in (pair.frequency_hz[0], pair.frequency_hz[-1])]


def _draw_foil(axes: "Axes", shielding: ShieldingAnswer) -> list[float]:
    clear = shielding.is_clear
    frequency, ratio, half = shielding.frequency_hz[clear], shielding.ratio_db[clear], COVERAGE * shielding.std_db[clear]
    axes.plot(frequency, ratio, color=COLOURS[2], linewidth=1.4, label="signal of the foil, after over before")
    axes.fill_between(frequency, ratio - half, ratio + half, color=COLOURS[2], alpha=0.25, linewidth=0)
    axes.set_ylabel("change of the foil's\nsignal [dB]")
    return [float(shielding.frequency_hz[0]), float(shielding.frequency_hz[-1])]
