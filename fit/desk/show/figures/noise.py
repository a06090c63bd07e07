"""Picture of what a take hears without a signal: noise in third octaves, and the mains lines above it."""

from typing import TYPE_CHECKING

from fit.answers.figures import COVERAGE
from fit.desk.show.document.bench import Noise
from fit.desk.show.figures.style import COLOURS, mark_frequency, mark_simulated, new_figure, place_legend, style_axes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HALF_BAND = 2 ** (1 / 6)  # [1] edge of a third octave over its middle
ROOM_DB = 6.0  # [dB] above and below what is drawn


def noise_figure(noise: Noise, *, is_simulated: bool = False) -> "Figure":
    """Noise in third octaves as steps, mains lines as stems.

    Parameters
    ----------
    is_simulated : bool
        The take came from the virtual bench.

    Raises
    ------
    ValueError
        If neither noise nor a line could be told.
    """
    bands = noise.third_octaves
    lines = noise.lines if noise.hum_hz is not None else ()
    if not bands and not lines:
        msg = "neither noise nor mains lines could be told from the silences of this take, so there is nothing to draw"
        raise ValueError(msg)
    figure = new_figure(height_in=3.4)
    axes = figure.subplots()
    levels = [*(band.dbfs for band in bands), *(line.dbfs for line in lines)]
    bottom = min(levels) - ROOM_DB
    if bands:
        edges = [bands[0].frequency_hz / HALF_BAND, *(band.frequency_hz * HALF_BAND for band in bands)]
        axes.stairs(
            [band.dbfs for band in bands], edges, baseline=None, color=COLOURS[0], linewidth=1.4, label="noise, third octaves"
        )
        axes.errorbar(
            [band.frequency_hz for band in bands],
            [band.dbfs for band in bands],
            yerr=[COVERAGE * (band.std_db or 0.0) for band in bands],
            fmt="none",
            ecolor=COLOURS[0],
            elinewidth=0.9,
        )
    if lines and noise.hum_hz is not None:
        at_hz = [line.order * noise.hum_hz for line in lines]
        axes.vlines(at_hz, bottom, [line.dbfs for line in lines], color=COLOURS[1], linewidth=1.0)
        axes.errorbar(
            at_hz,
            [line.dbfs for line in lines],
            yerr=[COVERAGE * (line.std_db or 0.0) for line in lines],
            fmt="o",
            color=COLOURS[1],
            markersize=3.5,
            elinewidth=0.9,
            label=f"mains lines, multiples of {noise.hum_hz:.2f} Hz",
        )
    axes.set_ylim(bottom, max(levels) + ROOM_DB)
    axes.set_ylabel("level [dBFS]")
    style_axes(axes)
    low_hz, high_hz = noise.band_hz
    at = [band.frequency_hz for band in bands] + [line.order * (noise.hum_hz or 1.0) for line in lines]
    mark_frequency(axes, top=axes, low_hz=min(low_hz, *at) / HALF_BAND, high_hz=max(high_hz, *at) * HALF_BAND)
    place_legend(figure, [axes])
    mark_simulated(figure, is_simulated=is_simulated)
    return figure
