"""Picture of a change that is listened to: the circuit before and after, and the filter between them."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fit.answers.listen.impulse import ListenAnswer
from fit.desk.show.figures.style import COLOURS, INK, mark_frequency, mark_simulated, new_figure, place_legend, style_axes
from measure.response import ComplexArray, FloatArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHOWN_DB = 60.0  # [dB] below the top of a panel; what is further down is not heard


def listen_figure(
    answer: ListenAnswer, *, level_change_db: float, is_simulated: bool, versus: Sequence[tuple[ListenAnswer, float]] = ()
) -> "Figure":
    """Draw gain before and after, and below it what the filter does, as it is and at equal loudness.

    Parameters
    ----------
    level_change_db : float
        How much louder the change makes the recording. [dB]
    is_simulated : bool
        It rests on takes of the virtual bench.
    versus : sequence of (ListenAnswer, float)
        Other changes, and how much louder each makes the recording; of these the circuit and the filter at equal loudness. [dB]

    Returns
    -------
    Figure
        Two panels over one frequency axis.
    """
    figure = new_figure(height_in=4.6)
    circuit, change = figure.subplots(2, 1, sharex=True)
    frequency_hz = answer.frequency_hz
    circuit.plot(frequency_hz, _db(answer.before.gain), "--", color=INK, linewidth=1.1, label="as recorded")
    circuit.plot(frequency_hz, _db(answer.after.gain), "-", color=COLOURS[0], linewidth=1.5, label="after the change")
    circuit.set_ylabel("output over winding [dB]")
    if answer.limited_hz is not None:
        change.plot(frequency_hz, _db(answer.asked), ":", color=INK, linewidth=1.1, label="what the change would be")
    change.plot(frequency_hz, _db(answer.given), "-", color=COLOURS[1], linewidth=1.5, label="filter")
    matched = _db(answer.given) - level_change_db
    change.plot(frequency_hz, matched, "-.", color=COLOURS[2], linewidth=1.2, label="filter, at equal loudness")
    for number, (other, louder_db) in enumerate(versus, start=1):
        word = "versus" if len(versus) == 1 else f"versus {number}"
        look = {"linestyle": (0, (1 + 3 * number, 2, 1, 2)), "color": COLOURS[2 + number], "linewidth": 1.5}
        circuit.plot(frequency_hz, _db(other.after.gain), label=word, **look)
        change.plot(frequency_hz, _db(other.given) - louder_db, label=f"{word}, at equal loudness", **look)
    change.axhline(0, color=INK, linewidth=0.6, alpha=0.6)
    change.set_ylabel("change [dB]")
    for axes in (circuit, change):
        low, high = axes.get_ylim()
        axes.set_ylim(max(low, high - SHOWN_DB), high)
        style_axes(axes)
    mark_frequency(change, top=circuit, low_hz=float(frequency_hz[0]), high_hz=float(frequency_hz[-1]) * 1.02)
    figure.align_ylabels((circuit, change))
    place_legend(figure, (circuit, change))
    mark_simulated(figure, is_simulated=is_simulated)
    return figure


def _db(gain: ComplexArray) -> FloatArray:
    return 20 * np.log10(np.maximum(np.abs(gain), 1e-12))
