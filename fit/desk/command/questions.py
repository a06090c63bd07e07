"""Commands that answer a question, as they are typed. Nothing heavy is imported before one runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at
from fit.desk.command.options import (
    FILE,
    RATE,
    SeveralNames,
    SideBySide,
    change_of,
    change_options,
    output_options,
    replace_option,
    shared_options,
    versus_option,
)

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter: "6.35k ± 1%", "6.35k ± 0.5% at 24C".')
@click.option(
    "--have", "at_hand", default="", metavar="PARTS", help='Parts at hand for a further take: "470p ± 1%, 2n2 ± 1% tan 0.1%".'
)
@output_options(
    ("--plot", "response", "Picture of the fit"),
    ("--plot-jack", "jack", "Picture of each pickup at the jack, controls included"),
    ("--plot-tapers", "tapers", "Picture of the tapers of pots between 0 and 10"),
    ("--plot-budget", "budget", "Picture of what limits each value"),
    ("--plot-ellipse", "ellipse", "Picture of inductance and capacitance together"),
)
@shared_options
def fit(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say what the pickup is, from one or more takes."""
    del as_json, debug
    from fit.desk.book.fits import FitWish
    from fit.desk.questions.fit import fit_takes

    return fit_takes(desk_at(logbook), FitWish(names=names, **options), leads_on=True)


@click.command()
@click.argument("words", nargs=-1, metavar="[FILE.html] [NAME...]")
@click.option("--dcr", metavar="R", help="As for fit; default: as in the last fit.")
@click.option("--have", "at_hand", default=None, metavar="PARTS", help="As for fit; default: as in the last fit.")
@replace_option
@shared_options
def report(
    words: tuple[str, ...],
    *,
    dcr: str | None,
    at_hand: str | None,
    replace: bool,
    as_json: bool,
    logbook: Path,
    debug: bool,
) -> "Outcome":
    """Write everything as one HTML file.

    Without names, the takes of the last fit. Default file: report.html in the logbook, which is made anew each time.
    """
    del as_json, debug
    from fit.desk.questions.report import write_report

    is_file = bool(words) and words[0].lower().endswith((".html", ".htm"))
    file = Path(words[0]) if is_file else None
    names = words[1:] if is_file else words
    return write_report(desk_at(logbook), file, names=names, dcr=dcr, at_hand=at_hand, replace=replace)


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME...]")
@click.option("--to", required=True, type=click.Choice(["csv", "touchstone", "spice", "ir"]), help="Kind of file.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="For several files a folder; default: by the takes.")
@click.option("--dcr", metavar="R", help="As for fit; default: as in the last fit of the same takes.")
@click.option(
    "--reference-resistance", metavar="R", default="10k", show_default=True, help="Of a Touchstone file, for example 50."
)
@click.option("--rate", "rate_hz", type=RATE, metavar="HZ", help="Of an impulse response; default: the takes'.")
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Of the instrument, as for predict.")
@click.option("--change", "changes", multiple=True, metavar="PART=VALUE", help="Of the instrument, as for predict.")
@click.option("--excite", default="", metavar="PICKUP", help="Of the instrument: with 1 V in its winding; default: the first.")
@click.option("--stated", is_flag=True, help="The instrument from instrument.toml alone, whatever was measured.")
@click.option(
    "--instrument",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="OTHER.toml",
    help="Instead of the logbook's instrument.",
)
@replace_option
@shared_options
def export(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Write files for other programs.

    csv: the responses of takes as tables, which import reads back. touchstone: the impedance at the jack (takes of method
    impedance), or that of the fitted pickup alone. spice: a netlist of the fitted pickup; without NAME, of the instrument at
    these settings. ir: the impulse response of the fitted pickup behind cable and input, as WAV.
    """
    del as_json, debug
    from fit.desk.export.files import ExportWish, export_files

    return export_files(desk_at(logbook), ExportWish(names=names, **options))


@click.command()
@click.option("--layout", metavar="NAME", help="Begin with a common wiring; without it and without a file, they are listed.")
@click.option("--drawing", "file", type=FILE, metavar="FILE.svg", help="Draw it: a schematic for each switch position.")
@click.option(
    "--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Of --drawing: only as set so, for example selector=neck."
)
@click.option(
    "--theme",
    type=click.Choice(["auto", "light", "dark"]),
    default="auto",
    show_default=True,
    help="Of --drawing: colours; auto follows the reader's screen.",
)
@click.option("--stated", is_flag=True, help="Of --drawing: without what the last fit measured.")
@click.option("--replace", is_flag=True, help="Write over FILE.svg where it is there already.")
@click.option(
    "--connections", "with_connections", is_flag=True, help="What is soldered to what, lug by lug, instead of the parts."
)
@shared_options
def instrument(
    *, layout: str | None, with_connections: bool, as_json: bool, logbook: Path, debug: bool, **options: Any
) -> "Outcome":
    """Write a starting instrument.toml, or show, check and draw the one there is.

    It states pickups, pots, capacitors, switches and how they are joined. An existing file is never overwritten.
    """
    del as_json, debug
    from fit.desk.bench.instrument import show_or_write_instrument, wish_for_drawing

    drawing = wish_for_drawing(**options)
    return show_or_write_instrument(desk_at(logbook), layout, drawing=drawing, with_connections=with_connections)


@click.command(cls=SideBySide)
@change_options("volume=7, volume=35%, selector=both; default 10, first.")
@versus_option
@click.option("--excite", default="", metavar="PICKUP", help="Only this pickup; default: all.")
@click.option("--at", multiple=True, metavar="NOTE|HZ", help="Where the level is told, for example E4 or 3k.")
@click.option("--stated", is_flag=True, help="From instrument.toml alone, without what the last fit measured.")
@click.option(
    "--tolerance/--no-tolerance",
    default=True,
    show_default=True,
    help="Count in the intervals what is printed on parts that are only marked, and how tapers differ.",
)
@output_options(
    ("--plot", "curves", "Picture of the gain"),
    ("--plot-phase", "phase", "Picture of phase and group delay"),
    ("--plot-tone", "tone", "Picture of the tone control over its travel"),
)
@shared_options
def predict(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Predict what the instrument does to the signal, and what a change would do.

    From the parts in instrument.toml, measured ones as the last fit found them: gain, phase and delay at some settings, the
    peak, the sweep of the tone control, beside those before the change. Takes are not needed. Two changes side by side:
    predict --change capacitor.tone=10n --versus --change capacitor.tone=47n
    """
    del as_json, debug
    from fit.desk.questions.predict import PredictWish, predict_curves

    return predict_curves(desk_at(logbook), PredictWish(change=change_of(options), **options))


@click.command(cls=SeveralNames)
@click.option("--before", multiple=True, metavar="NAME...", help="Takes from before the job.")
@click.option("--after", multiple=True, metavar="NAME...", help="Takes from after it.")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@output_options(("--plot", "change", "Picture of the change"))
@shared_options
def compare(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say what a shielding or wiring job changed.

    All takes go into one fit, so that what both sides share cancels: part by part, response by response, each with the
    uncertainty of the difference; hum and noise from quiet takes or the silences; a foil's signal from takes of method plate.
    """
    del as_json, debug
    from fit.desk.questions.compare import CompareWish, compare_sides

    return compare_sides(desk_at(logbook), CompareWish(**options))


@click.command()
@click.argument("part", metavar="PART")
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option("--marked", "marking", metavar="CODE", help="As printed on it, for example 333K; default: as in instrument.toml.")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@click.option("--have", "at_hand", default="", metavar="PARTS", help="Parts at hand for a further take.")
@output_options(("--plot", "verdict", "Picture of the verdict"))
@shared_options
def confirm(part: str, names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say whether a part is what is marked on it.

    PART as in instrument.toml, for example capacitor.tone or pot.volume; NAME... are takes through the instrument.
    """
    del as_json, debug
    from fit.desk.book.fits import FitWish
    from fit.desk.questions.confirm import confirm_part_of

    marking = options.pop("marking")
    wish = FitWish(names=names, **options)
    return confirm_part_of(desk_at(logbook), part, wish, marking=marking)


@click.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@output_options(("--plot", "positions", "Picture of the positions"))
@shared_options
def wiring(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Say which pickups each switch position connects, in which polarity.

    From takes with the coil over each pickup in turn (--coil-over), at each position (--set). Compared with instrument.toml,
    where there is one.
    """
    del as_json, debug
    from fit.desk.questions.wiring import wiring_of

    return wiring_of(desk_at(logbook), names)


@click.command(cls=SideBySide)
@click.argument("source", type=click.Path(path_type=Path), metavar="IN.wav")
@click.argument("target", type=click.Path(path_type=Path), metavar="OUT.wav")
@click.option(
    "--recorded",
    multiple=True,
    metavar="CONTROL=VALUE",
    help="Where a control stood in the recording; default 10, first position.",
)
@change_options("Where it is to stand; default: as recorded.")
@versus_option
@click.option("--excite", default="", metavar="PICKUP", help="Only this pickup; default: the same voltage in all.")
@click.option(
    "--true-level",
    "true_level",
    type=click.Path(path_type=Path),
    metavar="FILE.wav",
    help="Written as well: not matched in loudness, but as loud as the change makes it.",
)
@click.option("--stated", is_flag=True, help="From instrument.toml alone, without what the last fit measured.")
@output_options(("--plot", "change", "Picture of the change"), has_other_files=True)
@shared_options
def listen(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Hear a change before soldering.

    IN.wav is a recording of the instrument as it is, with the settings given by --recorded; OUT.wav is the same playing after the
    change, as loud as before, so that only the colour is judged. WAV, FLAC or AIFF; 24 bits. What stands behind --versus is heard
    in OUT-2.wav.
    """
    del as_json, debug
    from fit.desk.questions.listen import ListenWish, listen_to_change

    return listen_to_change(desk_at(logbook), ListenWish(change=change_of(options), **options))
