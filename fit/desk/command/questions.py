"""Commands that answer a question, as they are typed. Nothing heavy is imported before one runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at
from fit.desk.command.options import SeveralNames, output_options, shared_options

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
    from fit.desk.book.evidence import FitWish
    from fit.desk.questions.fit import fit_takes

    return fit_takes(desk_at(logbook), FitWish(names=names, **options))


@click.command()
@click.argument("words", nargs=-1, metavar="[FILE.html] [NAME...]")
@click.option("--dcr", metavar="R", help="As for fit; default: as in the last fit.")
@click.option("--have", "at_hand", default=None, metavar="PARTS", help="As for fit; default: as in the last fit.")
@shared_options
def report(
    words: tuple[str, ...], *, dcr: str | None, at_hand: str | None, as_json: bool, logbook: Path, debug: bool
) -> "Outcome":
    """Write everything as one HTML file.

    Without names, the takes of the last fit. Default file: report.html in the logbook. An older report is replaced.
    """
    del as_json, debug
    from fit.desk.questions.report import write_report

    is_file = bool(words) and words[0].lower().endswith((".html", ".htm"))
    file = Path(words[0]) if is_file else logbook / "report.html"
    return write_report(desk_at(logbook), file, names=words[1:] if is_file else words, dcr=dcr, at_hand=at_hand)


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME...]")
@click.option("--to", required=True, type=click.Choice(["csv", "touchstone", "spice", "ir"]), help="Kind of file.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="For several files a folder; default: by the takes.")
@click.option("--dcr", metavar="R", help="As for fit; default: as in the last fit of the same takes.")
@click.option("--reference", metavar="R", default="10k", show_default=True, help="Of a Touchstone file, for example 50.")
@click.option(
    "--rate", "rate_hz", type=click.IntRange(8000, 768000), metavar="HZ", help="Of an impulse response; default: the takes'."
)
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Of the instrument, as for predict.")
@click.option("--change", "changes", multiple=True, metavar="PART=VALUE", help="Of the instrument, as for predict.")
@click.option("--excite", default="", metavar="PICKUP", help="Of the instrument: with 1 V of EMF; default: the first.")
@click.option("--stated", is_flag=True, help="The instrument from instrument.toml alone, whatever was measured.")
@click.option(
    "--instrument",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="OTHER.toml",
    help="Instead of the logbook's instrument.",
)
@shared_options
def export(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Write files for other programs; existing ones are not overwritten.

    csv: the responses of takes as tables, which import reads back. touchstone: the impedance at the jack (takes of method
    impedance), or that of the fitted pickup alone. spice: a netlist of the fitted pickup; without NAME, of the instrument at
    these settings. ir: the impulse response of the fitted pickup behind cable and input, as WAV.
    """
    del as_json, debug
    from fit.desk.export.files import ExportWish, export_files

    return export_files(desk_at(logbook), ExportWish(names=names, **options))


@click.command()
@click.option("--layout", metavar="NAME", help="Begin with a common wiring; without it and without a file, they are listed.")
@shared_options
def instrument(*, layout: str | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Write a starting instrument.toml, or show and check the one there is.

    It states pickups, pots, capacitors, switches and how they are joined. An existing file is never overwritten.
    """
    del as_json, debug
    from fit.desk.bench.instrument import show_or_write_instrument

    return show_or_write_instrument(desk_at(logbook), layout)


@click.command()
@click.option(
    "--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="volume=7, volume=35%, selector=both; default 10, first."
)
@click.option("--change", "changes", multiple=True, metavar="PART=VALUE", help="For example capacitor.tone=10n.")
@click.option(
    "--instrument",
    "instrument",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="OTHER.toml",
    help="Another instrument, beside that of the logbook.",
)
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
    peak, the sweep of the tone control, beside those before the change. Takes are not needed.
    """
    del as_json, debug
    from fit.desk.questions.predict import PredictWish, predict_curves

    return predict_curves(desk_at(logbook), PredictWish(**options))


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
    from fit.desk.book.evidence import FitWish
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


@click.command()
@click.argument("source", type=click.Path(path_type=Path), metavar="IN.wav")
@click.argument("target", type=click.Path(path_type=Path), metavar="OUT.wav")
@click.option(
    "--from",
    "recorded",
    multiple=True,
    metavar="CONTROL=VALUE",
    help="Where a control stood in the recording; default 10, first position.",
)
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Where it is to stand; default: as recorded.")
@click.option("--change", "changes", multiple=True, metavar="PART=VALUE", help="For example capacitor.tone=10n.")
@click.option(
    "--instrument",
    "instrument",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="OTHER.toml",
    help="Another instrument, to be heard in place of that of the logbook.",
)
@click.option("--excite", default="", metavar="PICKUP", help="Only this pickup; default: the same voltage in all.")
@click.option(
    "--true-level",
    "true_level",
    type=click.Path(path_type=Path),
    metavar="FILE.wav",
    help="Written as well: not matched in loudness, but as loud as the change makes it.",
)
@click.option("--stated", is_flag=True, help="From instrument.toml alone, without what the last fit measured.")
@click.option("--replace", is_flag=True, help="Write over OUT.wav and FILE.wav where they are there already.")
@output_options(("--plot", "change", "Picture of the change"))
@shared_options
def listen(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Hear a change before soldering.

    IN.wav is a recording of the instrument as it is, with the settings given by --from; OUT.wav is the same playing after the
    change, as loud as before, so that only the colour is judged. WAV, FLAC or AIFF; 24 bits.
    """
    del as_json, debug
    from fit.desk.questions.listen import ListenWish, listen_to_change

    return listen_to_change(desk_at(logbook), ListenWish(**options))
