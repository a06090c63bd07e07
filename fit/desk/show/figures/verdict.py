"""Pictures of a verdict: a part against its marking, and which pickups each switch position connects."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from fit.answers.confirm.confirmation import ConfirmAnswer
from fit.answers.wiring.survey import WiringAnswer
from fit.desk.show.figures.style import COLOURS, INK, TEXT_PT, mark_simulated, new_figure
from fit.desk.show.sheets.wiring import level_text
from fit.desk.show.words import estimate_texts
from measure.quantity import format_quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROOM = 0.25  # [1] of the marked band, left beside what is drawn
WRAPPED = 24  # characters of what a position connects
ROW_IN = 0.42  # [in] a position
PALE = 0.12  # [1] opacity of a pickup that is only just connected


def confirm_figure(answer: ConfirmAnswer, *, is_simulated: bool = False) -> "Figure":
    """Measured interval over the band that the marking allows, and over what is accepted of it.

    Parameters
    ----------
    is_simulated : bool
        The takes came from the virtual bench.

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
        axes.vlines(answer.marked.value, 0.62, 1.0, color=COLOURS[0], linewidth=1.0)
        _beside(axes, answer.marked.value, 0.82, text=f"marked {answer.marked.text}", is_left=False)
        ends += [answer.marked_low, answer.marked_high]
    if answer.decision is not None and answer.decision.acceptance is not None:
        axes.vlines(answer.decision.acceptance, 0.0, 1.0, color=COLOURS[0], linewidth=0.9, linestyle="--")
        _beside(axes, answer.decision.acceptance[0], 0.08, text="accepted: limits less U", is_left=False)
    if answer.measured is not None:
        one = answer.measured
        error = [[max(one.value - one.low, 0)], [max(one.high - one.value, 0)]]
        axes.errorbar([one.value], [0.35], xerr=error, fmt="o", color=COLOURS[1], markersize=5, capsize=4, linewidth=1.4)
        text = f"measured {estimate_texts(one)[0]}, 95 % interval"
        is_left = bool(ends) and one.value > sum(ends) / len(ends)
        _beside(axes, one.low if is_left else one.high, 0.35, text=text, is_left=is_left)
        ends += [one.low, one.high]
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    _mark_unit(axes, ends, "F" if answer.part.startswith("capacitor.") else "Ω")
    axes.set_title(f"{answer.part}: {answer.verdict}", loc="left", color=INK, fontsize=TEXT_PT, fontweight="bold")
    mark_simulated(figure, is_simulated=is_simulated)
    return figure


def wiring_figure(answer: WiringAnswer, texts: Sequence[str], *, is_simulated: bool = False) -> "Figure":
    """Matrix of positions and pickups: colour for polarity, depth for level.

    Parameters
    ----------
    texts : sequence of str
        What each position connects, in words.
    is_simulated : bool
        The takes came from the virtual bench.

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
                axes.barh(row, 0.92, left=column - 0.46, height=0.88, color=colour, alpha=depth, linewidth=0)
                axes.text(column, row, level_text(reading), color=INK, ha="center", va="center", fontsize=TEXT_PT)
        told = textwrap.fill(texts[row], WRAPPED)
        axes.text(n_columns - 0.4, row, told, color=INK, ha="left", va="center", fontsize=TEXT_PT)
    axes.set_xlim(-0.5, n_columns + 3.2)
    axes.set_ylim(n_rows - 0.5, -0.5)
    axes.set_xticks(range(n_columns), answer.pickups)
    axes.xaxis.tick_top()
    axes.set_yticks(range(n_rows), [position.label for position in answer.positions])
    _plain_axes(axes)
    mark_simulated(figure, is_simulated=is_simulated)
    return figure


def _beside(axes: "Axes", x: float, y: float, *, text: str, is_left: bool) -> None:
    side: Literal["left", "right"] = "right" if is_left else "left"
    offset = -7 if is_left else 7
    axes.annotate(text, (x, y), xytext=(offset, 0), textcoords="offset points", color=INK, fontsize=TEXT_PT, ha=side, va="center")


def _mark_unit(axes: "Axes", ends: list[float], unit: str) -> None:
    if ends:
        room = ROOM * (max(ends) - min(ends)) or ROOM * max(ends)
        axes.set_xlim(min(ends) - room, max(ends) + room)
    ticks = [tick for tick in axes.get_xticks() if axes.get_xlim()[0] <= tick <= axes.get_xlim()[1]]
    axes.set_xticks(ticks, [_tick_text(tick, unit) for tick in ticks])
    _plain_axes(axes)


def _tick_text(value: float, unit: str) -> str:
    number, _, rest = format_quantity(float(f"{value:.6g}"), unit, 4).partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {rest}"


def _plain_axes(axes: "Axes") -> None:
    axes.patch.set_alpha(0.0)
    axes.tick_params(colors=INK, labelsize=TEXT_PT - 0.5, length=0)
    for side in axes.spines.values():
        side.set_visible(False)
