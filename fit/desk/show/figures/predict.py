"""Pictures of a prediction: gain with its band; phase and group delay; the tone control over its travel."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fit.answers.figures import COVERAGE
from fit.answers.predict.prediction import PickupCurve, PredictAnswer
from fit.answers.predict.tone import ToneSweep
from fit.desk.show.figures.style import (
    COLOURS,
    DB_PER_NEPER,
    DEGREE_PER_RADIAN,
    INK,
    TEXT_PT,
    curve_style,
    mark_degrees,
    mark_frequency,
    mark_simulated,
    new_figure,
    place_legend,
    short_text,
    style_axes,
)
from measure.response import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOW_HZ, HIGH_HZ = 40.0, 20e3  # [Hz] of the picture
DEEPEST_DB = 40.0  # below the highest level; what is weaker is not heard beside it
MARK_EVERY = 24  # points; an octave
NAMED_ROTATIONS = (10, 0, 3, 1, 5)  # curves of a family that carry their number, as far as there is room
NAMED_FROM_HZ, NAMED_TO_HZ = 500.0, 15e3  # [Hz] outside, they run together, or into the edge
NAMED_APART_DB = 3.0  # [dB]
UNHEARD = "no pickup is heard at these settings"
FAINTEST = 0.02  # [1] of an interval's half-width, below which no bar can be seen


def predict_figure(answer: PredictAnswer, before: PredictAnswer | None = None, versus: Sequence[PredictAnswer] = ()) -> "Figure":
    """Gain of each pickup that is heard, with what is not known of the parts.

    Parameters
    ----------
    before : PredictAnswer or None
        Without the change, drawn dashed.
    versus : sequence of PredictAnswer
        Other changes, drawn dash-dotted and dotted.

    Returns
    -------
    Figure
        One panel, marked in Hz below and in notes above.
    """
    figure = new_figure(height_in=3.9)
    gain = figure.subplots()
    gain.axhline(0, color=INK, linewidth=0.7, alpha=0.5)
    for one in _drawn(answer, before, versus):
        rows = (_db(one.curve), one.curve.gain_db_std)
        _draw_curve(gain, one, *rows)
    bottom, top = gain.get_ylim()
    gain.set_ylim(max(bottom, top - DEEPEST_DB), top)
    gain.set_ylabel("jack over winding [dB]")
    if not gain.get_legend_handles_labels()[0]:
        gain.text(0.5, 0.5, UNHEARD, ha="center", va="center", color=INK, transform=gain.transAxes)
    style_axes(gain)
    mark_frequency(gain, top=gain, low_hz=LOW_HZ, high_hz=HIGH_HZ)
    is_claim_left_out = not answer.with_tolerance and any(one.origin in ("marked", "taper") for one in answer.basis.values())
    place_legend(figure, [gain], title="band: 95 % interval" + (", marked parts left out" if is_claim_left_out else ""))
    mark_simulated(figure, is_simulated=answer.measured is not None and answer.measured.simulated)
    return figure


def phase_figure(answer: PredictAnswer, before: PredictAnswer | None = None, versus: Sequence[PredictAnswer] = ()) -> "Figure":
    """Phase and group delay of each pickup that is heard, with their bands.

    Parameters
    ----------
    before : PredictAnswer or None
        Without the change, drawn dashed.
    """
    figure = new_figure(height_in=4.4)
    phase, delay = figure.subplots(2, 1, sharex=True)
    for one in _drawn(answer, before, versus):
        curve = one.curve
        _draw_curve(phase, one, DEGREE_PER_RADIAN * np.unwrap(np.angle(curve.gain)), DEGREE_PER_RADIAN * curve.phase_std)
        _draw_curve(delay, one, 1e6 * curve.group_delay_s, 1e6 * curve.group_delay_std_s)
    phase.set_ylabel("phase [°]")
    delay.set_ylabel("group delay [\u00b5s]")
    for axes in (phase, delay):
        style_axes(axes)
    mark_frequency(delay, top=phase, low_hz=LOW_HZ, high_hz=HIGH_HZ)
    mark_degrees(phase)
    figure.align_ylabels([phase, delay])
    place_legend(figure, [phase], title="band: 95 % interval")
    mark_simulated(figure, is_simulated=answer.measured is not None and answer.measured.simulated)
    return figure


def tone_figure(answer: PredictAnswer) -> "Figure":
    """Family of curves over the travel of each tone control, and its corner and peak beside the textbook's.

    Parameters
    ----------
    answer : PredictAnswer
        With `tone_sweeps`.

    Raises
    ------
    ValueError
        If there is no tone control that can be felt.
    """
    sweeps = answer.tone_sweeps
    if not sweeps:
        msg = "no tone control is felt at these settings, so there is no picture of one"
        raise ValueError(msg)
    figure = new_figure(height_in=0.6 + 2.6 * (len(sweeps) + 1))
    *families, corners = figure.subplots(len(sweeps) + 1, 1)
    for axes, sweep in zip(families, sweeps, strict=True):
        _draw_family(axes, sweep, answer.frequency_hz)
        style_axes(axes)
        mark_frequency(axes, top=axes, low_hz=LOW_HZ, high_hz=HIGH_HZ)
    _draw_sweeps(corners, sweeps)
    figure.align_ylabels([*families, corners])
    place_legend(figure, [corners])
    mark_simulated(figure, is_simulated=answer.measured is not None and answer.measured.simulated)
    return figure


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Drawn:
    """A curve with how it is drawn."""

    curve: PickupCurve
    frequency_hz: FloatArray
    label: str
    style: dict[str, Any]


def _drawn(answer: PredictAnswer, before: PredictAnswer | None, versus: Sequence[PredictAnswer]) -> list[_Drawn]:
    names = list(dict.fromkeys(name for state in (answer, *([before] if before else []), *versus) for name in state.pickups))
    states: list[tuple[PredictAnswer, str, str]] = (
        [(answer, "", "")] if before is None else [(before, ", before", "--"), (answer, ", changed", "-")]
    )
    for number, (other, dashes) in enumerate(zip(versus, ("-.", ":"), strict=False), start=1):
        states.append((other, ", versus" if len(versus) == 1 else f", versus {number}", dashes))
    found = []
    for state, word, dashes in states:
        for name, curve in state.pickups.items():
            if not curve.is_connected:
                continue
            colour, line, form = curve_style(names.index(name))
            style = {"color": colour, "marker": form, "markerfacecolor": "none", "markevery": MARK_EVERY, "markersize": 5}
            style |= {"linestyle": dashes or line}
            found.append(_Drawn(curve=curve, frequency_hz=state.frequency_hz, label=f"{short_text(name)}{word}", style=style))
    return found


def _draw_curve(axes: "Axes", one: _Drawn, middle: FloatArray, std: FloatArray) -> None:
    is_shown = (one.frequency_hz >= LOW_HZ / 1.1) & (one.frequency_hz <= HIGH_HZ)
    shown_hz = one.frequency_hz[is_shown]
    axes.plot(shown_hz, middle[is_shown], label=one.label, linewidth=1.6, **one.style)
    low, high = (middle + sign * COVERAGE * std for sign in (-1, 1))
    axes.fill_between(shown_hz, low[is_shown], high[is_shown], color=one.style["color"], alpha=0.22, linewidth=0)


def _db(curve: PickupCurve) -> FloatArray:
    return DB_PER_NEPER * np.log(np.abs(curve.gain))


# One hue from the full control to none, each curve with its rotation at its end.
def _draw_family(axes: "Axes", sweep: ToneSweep, frequency_hz: FloatArray) -> None:
    is_shown = (frequency_hz >= LOW_HZ / 1.1) & (frequency_hz <= HIGH_HZ)
    shown_hz = frequency_hz[is_shown]
    top = max(float(np.max(step.level_db[is_shown])) for step in sweep.steps)
    bottom = max(min(float(np.min(step.level_db[is_shown])) for step in sweep.steps), top - DEEPEST_DB)
    axes.set_ylim(bottom - 2, top + 4)
    levels = np.array([step.level_db[is_shown] for step in sweep.steps])
    for index, step in enumerate(sweep.steps):
        axes.plot(shown_hz, levels[index], color=COLOURS[0], linewidth=1.2, alpha=0.35 + 0.06 * step.rotation)
    wanted = [where for one in NAMED_ROTATIONS for where, step in enumerate(sweep.steps) if step.rotation == one]
    named: list[int] = []
    for index in wanted:
        is_seen = (levels[index] > bottom) & (shown_hz > NAMED_FROM_HZ) & (shown_hz < NAMED_TO_HZ)
        at = _clearest(levels[index], levels[[one for one in wanted if one != index]], is_seen=is_seen)
        gap_db = np.min(np.abs(levels[named, at] - levels[index, at]), initial=DEEPEST_DB)
        if is_seen[at] and gap_db >= NAMED_APART_DB:
            named.append(index)
            axes.annotate(
                f"{sweep.steps[index].rotation}",
                (shown_hz[at], levels[index, at]),
                xytext=(2, 1),
                textcoords="offset points",
                color=INK,
                fontsize=TEXT_PT,
                fontweight="bold",
            )
    axes.set_ylabel("jack over winding [dB]")
    axes.set_title(
        f"{short_text(sweep.pot)} at 10 to 0, {short_text(sweep.pickup)} heard", loc="left", color=INK, fontsize=TEXT_PT
    )


def _clearest(level_db: FloatArray, others_db: FloatArray, *, is_seen: NDArray[np.bool_]) -> int:
    """Find where a curve is farthest from others."""
    gap = np.min(np.abs(others_db - level_db), axis=0, initial=DEEPEST_DB)
    return int(np.argmax(np.where(is_seen, gap, -1.0)))


def _draw_sweeps(axes: "Axes", sweeps: Sequence[ToneSweep]) -> None:
    for index, sweep in enumerate(sweeps):
        colour = COLOURS[(index + 1) % len(COLOURS)]
        of = f" ({short_text(sweep.pot)})" if len(sweeps) > 1 else ""
        corners = [(step.rotation, step.corner_hz, step.corner_relative_std) for step in sweep.steps]
        peaks = [(step.rotation, step.peak_hz, step.peak_relative_std) for step in sweep.steps]
        _draw_steps(axes, corners, colour=colour, marker="o", line="-", label=f"3 dB down{of}")
        _draw_steps(axes, peaks, colour=colour, marker="^", line=":", label=f"peak{of}")
        textbook = [(step.rotation, step.textbook_hz, 0.0) for step in sweep.steps]
        _draw_steps(axes, textbook, colour=INK, marker="x", line="--", label=f"textbook 1/(2πRC){of}")
    axes.set_yscale("log")
    axes.set_ylim(8.0, 40e3)
    axes.set_yticks([10, 100, 1000, 10000], ["10", "100", "1 k", "10 k"])
    axes.set_ylabel("frequency [Hz]")
    axes.set_xlim(10.3, -0.3)
    axes.set_xticks(range(11))
    axes.set_xlabel("tone control, turned down from 10 to 0", color=INK, fontsize=TEXT_PT)
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
