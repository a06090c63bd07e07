"""Picture of measured tapers against the nominal laws."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from fit.answers.parts.known import TAPER_BOUND
from fit.answers.pickup.tapers import PotTaper
from fit.circuit.controls import taper_fraction
from fit.desk.show.figures.style import (
    COLOURS,
    FORMS,
    INK,
    LINES,
    TEXT_PT,
    mark_simulated,
    new_figure,
    place_legend,
    short_text,
    style_axes,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROTATIONS = np.linspace(0, 10, 101)


def taper_figure(tapers: Mapping[str, PotTaper], *, simulated: bool) -> "Figure":
    """Measured electrical fraction over rotation, with the nominal laws.

    Parameters
    ----------
    simulated : bool
        The takes came from the virtual bench.

    Raises
    ------
    ValueError
        If no take has a pot between the ends of its travel.
    """
    if not tapers:
        msg = "no take has a pot between 0 and 10, so there is no taper to draw: make takes with --set volume=7 and the like"
        raise ValueError(msg)
    figure = new_figure(height_in=3.6)
    axes = figure.subplots()
    for number, law in enumerate(("audio", "linear")):
        nominal = [100 * taper_fraction("audio" if law == "audio" else "linear", float(rotation)) for rotation in ROTATIONS]
        axes.plot(ROTATIONS, nominal, LINES[number + 1], color=INK, alpha=0.6, linewidth=1.0, label=f"nominal, {law}")
    if any(taper.taper == "audio" for taper in tapers.values()):
        inside = ROTATIONS[1:-1]
        odds = np.log([one / (1 - one) for one in (taper_fraction("audio", float(rotation)) for rotation in inside)])
        least, most = (100 / (1 + np.exp(-odds - sign * TAPER_BOUND)) for sign in (-1, 1))
        axes.fill_between(inside, least, most, color=INK, alpha=0.1, linewidth=0, label="usual of audio pots")
    for number, (pot, taper) in enumerate(tapers.items()):
        rotation = [point.rotation for point in taper.points]
        value = [100 * point.share.value for point in taper.points]
        low = [100 * (point.share.value - point.share.low) for point in taper.points]
        high = [100 * (point.share.high - point.share.value) for point in taper.points]
        # a line between measured points would claim what the track does there
        colour, form = COLOURS[number % len(COLOURS)], FORMS[number % len(FORMS)]
        axes.errorbar(
            rotation,
            value,
            yerr=[low, high],
            fmt=form,
            color=colour,
            markersize=6,
            capsize=4,
            label=f"{short_text(pot)}, measured",
        )
    axes.set_xlim(-0.2, 10.2)
    axes.set_xticks(range(11))
    axes.set_xlabel("rotation", color=INK, fontsize=TEXT_PT)
    axes.set_ylabel("track from ccw to wiper [%]")
    axes.set_ylim(-3, 103)
    style_axes(axes)
    place_legend(figure, [axes])
    mark_simulated(figure, is_simulated=simulated)
    return figure
