"""Picture of a prediction: gain, phase and group delay with their bands, and the tone control beside its textbook corner."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fit.answers.figures import COVERAGE
from fit.answers.predict.prediction import PickupCurve, PredictAnswer
from fit.answers.predict.tone import ToneSweep
from fit.desk.show.figures.style import (
    COLOURS,
    DB_PER_NEPER,
    DEGREE_PER_RADIAN,
    INK,
    mark_degrees,
    mark_frequency,
    mark_simulated,
    new_figure,
    short_text,
    style_axes,
)
from measure.response import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOW_HZ, HIGH_HZ = 40.0, 20e3  # [Hz] of the picture
DEEPEST_DB = 40.0  # below the highest level; what is weaker is not heard beside it
FAINTEST = 0.02  # [1] of an interval's half-width, below which no bar can be seen


def predict_figure(answer: PredictAnswer, before: PredictAnswer | None = None, versus: Sequence[PredictAnswer] = ()) -> "Figure":
    """Gain, phase and group delay of each pickup that is heard, with what is not known of the parts; tone controls below.

    Parameters
    ----------
    before : PredictAnswer or None
        Without the change, drawn dashed.
    versus : sequence of PredictAnswer
        Other changes, drawn dash-dotted and dotted.

    Returns
    -------
    Figure
        Three panels over one frequency axis, marked in Hz below and in notes above; one more for the tone controls.
    """
    has_sweep = bool(answer.tone_sweeps)
    figure = new_figure(height_in=10.6 if has_sweep else 7.6)
    ratios = [3.0, 1.8, 1.6, 2.6] if has_sweep else [3.0, 1.8, 1.6]
    grid = figure.add_gridspec(len(ratios), 1, height_ratios=ratios)
    gain = figure.add_subplot(grid[0])
    phase, delay = (figure.add_subplot(grid[row], sharex=gain) for row in (1, 2))
    panels = [gain, phase, delay]
    names = list(dict.fromkeys(name for state in (answer, *([before] if before else []), *versus) for name in state.pickups))
    states = [(answer, "-", "")] if before is None else [(before, "--", ", before"), (answer, "-", ", changed")]
    for number, (other, line) in enumerate(zip(versus, ("-.", ":"), strict=False), start=1):
        states.append((other, line, ", versus" if len(versus) == 1 else f", versus {number}"))
    for state, line, label in states:
        for name, curve in state.pickups.items():
            if curve.is_connected:
                colour = COLOURS[names.index(name) % len(COLOURS)]
                label_text = f"{short_text(name)}{label}"
                _draw_curve(panels, state.frequency_hz, curve, colour=colour, line=line, label=label_text)
    gain.set_ylabel("output over winding [dB]")
    phase.set_ylabel("phase [°]")
    delay.set_ylabel("group delay [\u00b5s]")
    is_claim_left_out = not answer.with_tolerance and any(one.origin in ("marked", "taper") for one in answer.basis.values())
    title = "band: 95 % interval" + (", marked parts left out" if is_claim_left_out else "")
    _name_curves(gain, n_pickups=len(names), title=title)
    for axes in panels:
        style_axes(axes)
    mark_frequency(delay, top=gain, low_hz=LOW_HZ, high_hz=HIGH_HZ)
    for axes in (gain, phase):
        axes.tick_params(labelbottom=False)
    mark_degrees(phase)
    if has_sweep:
        panels.append(figure.add_subplot(grid[3]))
        _draw_sweeps(panels[3], answer.tone_sweeps)
    figure.align_ylabels(panels)
    mark_simulated(figure, is_simulated=answer.measured is not None and answer.measured.simulated)
    return figure


def _draw_curve(
    panels: Sequence["Axes"], frequency_hz: FloatArray, curve: PickupCurve, *, colour: str, line: str, label: str
) -> None:
    is_shown = (frequency_hz >= LOW_HZ / 1.1) & (frequency_hz <= HIGH_HZ)
    shown_hz = frequency_hz[is_shown]
    rows = (
        (DB_PER_NEPER * np.log(np.abs(curve.gain)), curve.gain_db_std),
        (DEGREE_PER_RADIAN * np.unwrap(np.angle(curve.gain)), DEGREE_PER_RADIAN * curve.phase_std),
        (1e6 * curve.group_delay_s, 1e6 * curve.group_delay_std_s),
    )
    style: dict[str, Any] = {"color": colour, "linewidth": 1.6, "linestyle": line}
    for axes, (middle, std) in zip(panels, rows, strict=False):
        axes.plot(shown_hz, middle[is_shown], label=label, **style)
        low, high = (middle + sign * COVERAGE * std for sign in (-1, 1))
        axes.fill_between(shown_hz, low[is_shown], high[is_shown], color=colour, alpha=0.22, linewidth=0)
    bottom, top = panels[0].get_ylim()
    panels[0].set_ylim(max(bottom, top - DEEPEST_DB), top)


def _name_curves(gain: "Axes", *, n_pickups: int, title: str) -> None:
    if gain.get_legend_handles_labels()[0]:
        gain.legend(loc="best", frameon=False, ncols=2 if n_pickups > 2 else 1, title=title, title_fontsize=8)
        return
    gain.text(0.5, 0.5, "no pickup is heard at these settings", ha="center", va="center", color=INK, transform=gain.transAxes)


def _draw_sweeps(axes: "Axes", sweeps: Sequence[ToneSweep]) -> None:
    for index, sweep in enumerate(sweeps):
        colour = COLOURS[(index + 1) % len(COLOURS)]
        of = f" ({short_text(sweep.pot)})" if len(sweeps) > 1 else ""
        corners = [(step.rotation, step.corner_hz, step.corner_relative_std) for step in sweep.steps]
        peaks = [(step.rotation, step.peak_hz, step.peak_relative_std) for step in sweep.steps]
        _draw_steps(axes, corners, colour=colour, marker="o", line="-", label=f"3 dB down, in this circuit{of}")
        _draw_steps(axes, peaks, colour=colour, marker="^", line=":", label=f"peak, in this circuit{of}")
        textbook = [(step.rotation, step.textbook_hz, 0.0) for step in sweep.steps]
        _draw_steps(axes, textbook, colour=INK, marker="x", line="--", label=f"textbook 1/(2πRC){of}")
    axes.set_yscale("log")
    axes.set_ylim(8.0, 40e3)
    axes.set_yticks([10, 100, 1000, 10000], ["10", "100", "1 k", "10 k"])
    axes.set_ylabel("frequency [Hz]")
    axes.set_xlim(10.3, -0.3)
    axes.set_xticks(range(11))
    axes.set_xlabel("tone control, turned down from 10 to 0", color=INK, fontsize=8.5)
    axes.legend(loc="lower left", frameon=False, bbox_to_anchor=(-0.03, 0.98), columnspacing=1.2, fontsize=8.5, ncols=3)
    style_axes(axes)


def _draw_steps(
    axes: "Axes",
    steps: Sequence[tuple[int, float | None, float]],
    *,
    colour: str,
    marker: str,
    line: str,
    label: str,
) -> None:
    rotations = [rotation for rotation, _, _ in steps]
    values = np.array([np.nan if hz is None else hz for _, hz, _ in steps])  # a gap where there is none
    half = COVERAGE * np.array([std for _, _, std in steps])
    style: dict[str, Any] = {"color": colour, "marker": marker, "markersize": 4, "linestyle": line, "linewidth": 1.2}
    if np.any(half > FAINTEST):
        error = np.array([values * (1 - np.exp(-half)), values * (np.exp(half) - 1)])
        axes.errorbar(rotations, values, yerr=error, capsize=2.5, elinewidth=1.0, label=label, **style)
    else:
        axes.plot(rotations, values, label=label, **style)
