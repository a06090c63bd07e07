"""Pictures of a verdict: a part against its marking, and which pickups each switch position connects."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fit.answers.confirm import ConfirmAnswer
from fit.answers.wiring import WiringAnswer
from fit.desk.plots import COLOURS, INK, new_figure
from fit.desk.wording import MINUS
from measure.quantity import format_quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

ROOM = 0.25  # [1] of the marked band, left beside what is drawn
ROW_IN = 0.42  # [in] a position
PALE = 0.12  # [1] opacity of a pickup that is only just connected


def confirm_figure(answer: ConfirmAnswer) -> "Figure":
    """Measured interval over the band that the marking allows.

    Parameters
    ----------
    answer : ConfirmAnswer
        Marked, measured, or both.

    Returns
    -------
    Figure
        One axis in the part's unit.
    """
    figure = new_figure(height_in=1.5)
    axes = figure.subplots()
    ends = []
    if answer.marked_low is not None and answer.marked_high is not None and answer.marked is not None:
        axes.axvspan(answer.marked_low, answer.marked_high, color=COLOURS[0], alpha=0.18, linewidth=0)
        axes.axvline(answer.marked.value, color=COLOURS[0], linewidth=1.0)
        axes.text(answer.marked.value, 0.86, f"marked {answer.marked.text}", color=INK, fontsize=8.5, ha="center", va="center")
        ends += [answer.marked_low, answer.marked_high]
    if answer.measured is not None:
        one = answer.measured
        error = [[max(one.value - one.low, 0)], [max(one.high - one.value, 0)]]
        axes.errorbar([one.value], [0.4], xerr=error, fmt="o", color=COLOURS[1], markersize=5, capsize=4, linewidth=1.4)
        text = f"measured {format_quantity(one.value, one.unit)}, 95 % interval"
        axes.text(one.value, 0.14, text, color=INK, fontsize=8.5, ha="center", va="center")
        ends += [one.low, one.high]
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    _mark_unit(axes, ends, "F" if answer.part.startswith("capacitor.") else "Ω")
    axes.set_title(f"{answer.part}: {answer.verdict}", loc="left", color=INK, fontsize=9, fontweight="bold")
    return figure


def wiring_figure(answer: WiringAnswer, texts: Sequence[str]) -> "Figure":
    """Matrix of positions and pickups: colour for polarity, depth for level.

    Parameters
    ----------
    answer : WiringAnswer
        As found.
    texts : sequence of str
        What each position connects, in words.

    Returns
    -------
    Figure
        One row a position, one column a pickup.
    """
    n_rows, n_columns = len(answer.positions), len(answer.pickups)
    figure = new_figure(height_in=0.7 + ROW_IN * n_rows)
    axes = figure.subplots()
    for row, position in enumerate(answer.positions):
        for column, name in enumerate(answer.pickups):
            reading = position.readings[name]
            if reading.take is None or reading.is_connected is None:
                axes.text(column, row, "" if reading.take is None else "?", color=INK, ha="center", va="center")
            elif not reading.is_connected:
                axes.text(column, row, "·", color=INK, ha="center", va="center")
            else:
                colour = COLOURS[1] if reading.sign < 0 else COLOURS[0]
                depth = PALE + (0.75 - PALE) * min(reading.level or 0.0, 1.0)
                axes.add_patch(_tile(column, row, colour=colour, alpha=depth))
                sign = {1: "+", -1: MINUS, 0: "±"}[reading.sign]
                axes.text(column, row, f"{sign}{reading.level or 0.0:.2f}", color=INK, ha="center", va="center", fontsize=8.5)
        axes.text(n_columns - 0.35, row, texts[row], color=INK, ha="left", va="center", fontsize=8.5)
    axes.set_xlim(-0.5, n_columns + 3.2)
    axes.set_ylim(n_rows - 0.5, -0.5)
    axes.set_xticks(range(n_columns), answer.pickups)
    axes.xaxis.tick_top()
    axes.set_yticks(range(n_rows), [position.label for position in answer.positions])
    _plain_axes(axes)
    return figure


def _tile(column: int, row: int, *, colour: str, alpha: float) -> "Rectangle":
    from matplotlib.patches import Rectangle

    return Rectangle((column - 0.46, row - 0.44), 0.92, 0.88, facecolor=colour, alpha=alpha, linewidth=0)


def _mark_unit(axes: "Axes", ends: list[float], unit: str) -> None:
    if ends:
        room = ROOM * (max(ends) - min(ends)) or ROOM * max(ends)
        axes.set_xlim(min(ends) - room, max(ends) + room)
    ticks = [tick for tick in axes.get_xticks() if axes.get_xlim()[0] <= tick <= axes.get_xlim()[1]]
    axes.set_xticks(ticks, [format_quantity(float(f"{tick:.6g}"), unit, 4) for tick in ticks])
    _plain_axes(axes)


def _plain_axes(axes: "Axes") -> None:
    axes.patch.set_alpha(0.0)
    axes.tick_params(colors=INK, labelsize=8.5, length=0)
    for side in axes.spines.values():
        side.set_visible(False)
