"""What all pictures share: size, inks, colours, lines and marks, legends outside the panels, and how they become SVG or PNG.

Figures are objects without a window. Colours are told apart by people who see red and green alike (M. Okabe, K. Ito, Color
Universal Design, 2008), and nothing is told by them alone: lines differ in their dashes, points in their form.
"""

import io
import math
import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from fit.answers.digits import allowed_digits, spread_texts
from fit.answers.figures import Estimate
from fit.desk.show.words import note_frequency_hz
from measure.quantity import format_quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Draw = Callable[[], "Figure"]

INK = "#1b2733"  # replaced by the page's own text colour in the report
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6d00", "#56b4e9")
DARK_COLOURS = ("#56b4e9", "#ff8c4a", "#35c79a", "#e3a3c6", "#d8b740", "#9fd4f2")  # the same on a dark page
LINES = ("-", "--", "-.", ":")
FORMS = ("o", "s", "^", "D", "v", "P", "X", "<", ">")
NOTE_MARKS = ("E1", "E2", "E3", "E4", "E5", "E6", "E7", "E8", "E9")
DB_PER_NEPER = 20 / math.log(10)
DEGREE_PER_RADIAN = 180 / math.pi
WIDTH_IN = 5.2  # [in] so narrow that its texts can be read at the width of a phone
TEXT_PT = 9.0  # [pt]
CHARACTER_EM = 0.56  # [em] mean width of a character, a little more than it is
HANDLE_EM = 4.6  # [em] line, mark and gaps of a legend's entry
MOST_COLUMNS = 3  # of a legend
PNG_DPI = 200

PLACES = re.compile(r'\s(?:d|x|y|x1|y1|x2|y2)="[^"]*"')  # of an SVG, in points
FINE = re.compile(r"(\.\d\d)\d+")  # what is finer than a hundredth of a point


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
        One `svg` element without references to anything outside; ink is ``currentColor``, colours are ``--series-0`` and so on.
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
    text = PLACES.sub(lambda found: FINE.sub(r"\1", found[0]), text)
    for number, colour in enumerate(COLOURS):
        text = text.replace(colour, f"var(--series-{number})")
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
    """Dress a panel that is drawn already: grid, inks, sizes."""
    axes.patch.set_alpha(0.0)
    axes.grid(which="major", color=INK, alpha=0.14, linewidth=0.6)
    axes.tick_params(colors=INK, labelsize=TEXT_PT - 0.5)
    axes.yaxis.label.set_color(INK)
    axes.yaxis.label.set_fontsize(TEXT_PT)
    for side in axes.spines.values():
        side.set_color(INK)
        side.set_linewidth(0.6)
        side.set_alpha(0.6)


def place_legend(figure: "Figure", panels: "Sequence[Axes]", *, title: str = "") -> None:
    """Put what the curves are below all panels, in as many columns as find room; the figure grows by that.

    Parameters
    ----------
    panels : sequence of Axes
        Their labelled curves are named, each label once.
    """
    named: dict[str, Any] = {}
    for axes in panels:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            named.setdefault(label, handle)
    if not named:
        return
    width_em = HANDLE_EM + CHARACTER_EM * max(len(label) for label in named)
    columns = min(max(int(72 * WIDTH_IN / TEXT_PT / width_em), 1), MOST_COLUMNS, len(named))
    rows = -(-len(named) // columns) + bool(title)
    figure.set_figheight(figure.get_figheight() + 1.75 * TEXT_PT * rows / 72)
    figure.legend(
        named.values(),
        named.keys(),
        loc="outside lower center",
        ncols=columns,
        frameon=False,
        fontsize=TEXT_PT,
        labelcolor=INK,
        handlelength=3.0,
        columnspacing=1.4,
        title=title or None,
        title_fontproperties={"size": TEXT_PT - 0.5},
    )
    if title:
        figure.legends[0].get_title().set_color(INK)


def curve_style(index: int) -> tuple[str, str, str]:
    """Colour, line and mark of a curve; no two of the first dozen share both line and colour, none of nine its mark."""
    return COLOURS[index % len(COLOURS)], LINES[index % len(LINES)], FORMS[index % len(FORMS)]


def estimate_label(estimate: Estimate) -> str:
    """Write a value that stands in a picture: three digits at most, decibels to a tenth, none finer than its interval."""
    if estimate.unit == "dB":
        return f"{spread_texts(estimate.value, (estimate.high - estimate.low) / 2, finest=-1)[0]} dB"
    digits = allowed_digits(estimate.value, (estimate.high - estimate.low) / 2, most=3)
    return format_quantity(estimate.value, estimate.unit, digits).replace("-", "\N{MINUS SIGN}")


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
    axes.set_xlabel("frequency [Hz]", color=INK, fontsize=TEXT_PT)
    notes = [note for note in NOTE_MARKS if low_hz <= note_frequency_hz(note) <= high_hz]
    above = top.secondary_xaxis("top")
    above.set_xticks([note_frequency_hz(note) for note in notes], notes)
    above.xaxis.set_minor_locator(FixedLocator([]))
    above.tick_params(colors=INK, labelsize=TEXT_PT - 0.5)
    above.set_xlabel("note (A4 = 440 Hz)", color=INK, fontsize=TEXT_PT - 0.5)
    for side in above.spines.values():
        side.set_visible(False)


def mark_degrees(axes: "Axes") -> None:
    """Mark an axis of degrees in steps that people know."""
    from matplotlib.ticker import MultipleLocator

    low, high = axes.get_ylim()
    step = next((step for step in (15, 30, 45, 90, 180) if (high - low) / step <= 6), 360)
    axes.yaxis.set_major_locator(MultipleLocator(step))


def mark_simulated(figure: "Figure", *, is_simulated: bool) -> None:
    """Say on a picture that it rests on simulated data."""
    if is_simulated:
        figure.suptitle("simulated", x=0.995, ha="right", fontsize=TEXT_PT, color=INK, style="italic")


def short_text(text: str, *, limit: int = 28) -> str:
    """Cut a text that is drawn, and take it literally.

    Returns
    -------
    str
        Without what would be read as mathematics.
    """
    safe = text.replace("$", r"\$")
    return safe if len(safe) <= limit else f"{safe[: limit - 1]}…"
