"""The command line: reads what was typed, hands it to the session, prints what comes back.

Answers go to stdout, progress and messages to stderr. Nothing heavy is imported before a command runs.
"""

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from fit.desk.outcome import Desk, Outcome

DONE, WRONG_USE, REJECTED, INTERRUPTED = 0, 2, 3, 130
EXAMPLES = """\b
Examples:
  coilsweep demo                                   the whole job, played on a virtual bench
  coilsweep rig --input-resistance "1M ± 1%" --input-capacitance "185p ± 3p" --sense-resistor "100 ± 1%"
  coilsweep stimulus sweep.wav --rate 96000        the sweep, to be played and recorded elsewhere
  coilsweep import open bare.wav --stimulus sweep.wav
  coilsweep import plus-1n with-1n.wav --add "1n ± 1%" --stimulus sweep.wav
  coilsweep fit open plus-1n --dcr "6.35k ± 1%"    what the pickup is
  coilsweep report pickup.html                     all of it as one page
  coilsweep instrument --layout one-pickup         a file to state a whole guitar in
  coilsweep predict --set tone=3 --change capacitor.tone=10n
  coilsweep listen riff.wav riff-10n.wav --from tone=3 --change capacitor.tone=10n

\b
Exit codes: 0 done, 2 wrong use or bad file, 3 recording rejected (kept, marked), 130 interrupted.
"""
Item = TypeVar("Item")
Command = TypeVar("Command", bound=Callable[..., Any])


def shared_options(command: Command) -> Command:
    """Add the options that every command has.

    Parameters
    ----------
    command : callable
        A command's function.

    Returns
    -------
    callable
        The same, with the options.
    """
    place = click.Path(path_type=Path, file_okay=False)
    command = click.option("--debug", is_flag=True, help="Show where an error came from.")(command)
    command = click.option(
        "--logbook", type=place, default=Path(), metavar="DIR", help="Folder of rig and takes; default: the current one."
    )(command)
    return click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout, nothing else there.")(command)


class SeveralNames(click.Command):
    """A command whose options --before and --after take every name up to the next option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the option before each of its names, as click wants it.

        Parameters
        ----------
        ctx : click.Context
            Of the command.
        args : list of str
            What was typed.

        Returns
        -------
        list of str
            What is left over.
        """
        spread: list[str] = []
        option, is_first = "", False
        for word in args:
            if word in ("--before", "--after"):
                option, is_first = word, True
            elif word.startswith("-"):
                option = ""
                spread.append(word)
            elif option:
                spread += [option, word]
                is_first = False
            else:
                spread.append(word)
        if is_first:
            spread.append(option)  # without a name: click says so
        return super().parse_args(ctx, spread)


@click.group(epilog=EXAMPLES, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="coilsweep", message="coilsweep %(version)s")
def coilsweep() -> None:
    """Find out what an electric-guitar pickup is, with a sound card and a small exciter coil.

    A sweep drives the exciter over the pickup; the recording becomes a response with error bars; a circuit is fitted to
    several of them, and inductance, capacitance, resistance and losses come out with 95 % intervals.
    """


@coilsweep.command()
@click.argument("folder", type=click.Path(path_type=Path), default=Path("coilsweep-demo"), metavar="[DIR]")
@shared_options
def demo(folder: Path, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Play the whole job on the virtual bench, ending with a report.

    DIR must be empty or not yet there; default: coilsweep-demo.
    """
    del debug
    from fit.desk.demo import play_demo

    return play_demo(_desk(logbook, as_json=as_json), logbook / folder)


@coilsweep.command()
@click.option("--device", metavar="TEXT", help="Name of the interface.")
@click.option("--host-api", metavar="TEXT", help="Sound system it is reached through.")
@click.option("--rate", "rate_hz", type=click.IntRange(8000, 768000), metavar="HZ", help="Sample rate.")
@click.option("--output-channel", type=click.IntRange(1), metavar="N", help="Output that drives the exciter, from 1.")
@click.option("--pickup-channel", type=click.IntRange(1), metavar="N", help="Input that records the pickup, from 1.")
@click.option("--reference-channel", type=click.IntRange(1), metavar="N", help="Input that records the reference, from 1.")
@click.option("--reference", type=click.Choice(["current", "loopback", "none"]), help="What the reference channel records.")
@click.option("--sense-resistor", metavar="R", help='In series with the exciter, for example "100 ± 1%".')
@click.option("--exciter-corner", metavar="HZ", help='Only without a current reference, for example "9k ± 5%".')
@click.option("--input-resistance", metavar="R", help='Of the pickup\'s input, for example "1M ± 1%".')
@click.option("--input-capacitance", metavar="C", help='Input and cable together, for example "185p ± 3p".')
@shared_options
def rig(*, as_json: bool, logbook: Path, debug: bool, **fields: str | int | None) -> "Outcome":
    """Write the rig, or show it and what is missing.

    Without options it only shows. Options change what they name and leave the rest of rig.toml as it is.
    """
    del as_json, debug
    from fit.desk.bench import show_or_write_rig

    return show_or_write_rig(_desk(logbook), {name: value for name, value in fields.items() if value is not None})


@coilsweep.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.wav")
@click.option(
    "--rate", "rate_hz", type=click.IntRange(8000, 768000), default=None, help="Sample rate; default: the rig's, or 96000."
)
@click.option(
    "--duration", "duration_s", type=click.FloatRange(0.5, 300), default=3.0, show_default=True, help="Seconds of sweep."
)
@click.option("--start", "start_hz", type=click.FloatRange(1), default=15.0, show_default=True, help="First frequency in hertz.")
@click.option("--stop", "stop_hz", type=click.FloatRange(1), default=None, help="Last frequency in hertz; default: 0.46 × rate.")
@click.option("--level", type=click.FloatRange(0, 1, min_open=True), default=0.5, show_default=True, help="Peak over full scale.")
@shared_options
def stimulus(file: Path, *, as_json: bool, logbook: Path, debug: bool, **numbers: float | None) -> "Outcome":
    """Write the sweep as a file, to be played and recorded elsewhere.

    The same file then goes to `coilsweep import --stimulus`, so that missing samples and distortion are found.
    """
    del as_json, debug
    from fit.desk.bench import write_stimulus

    return write_stimulus(_desk(logbook), file, {name: value for name, value in numbers.items() if value is not None})


@coilsweep.command("import")
@click.argument("name")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@click.option("--add", "added", default="", metavar="PARTS", help='Parts across the jack, for example "680p±1%, 150k±1%".')
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Position of a control, for example volume=7.")
@click.option("--coil-over", default="", metavar="PICKUP", help="Pickup that the exciter stood over.")
@click.option("--coil-moved", is_flag=True, help="The exciter was moved since the take before.")
@click.option(
    "--method",
    type=click.Choice(["exciter", "impedance", "plate", "quiet"]),
    help="How the pickup was driven; default: exciter, for a Touchstone file impedance.",
)
@click.option("--series-resistor", metavar="R", help="Method impedance: what the jack was driven through, for example 100k±1%.")
@click.option("--pickup-channel", type=click.IntRange(1), metavar="N", help="From 1; default: the rig's.")
@click.option("--reference-channel", metavar="N|none", help="From 1, or none; default: the rig's.")
@click.option("--stimulus", "stimulus_file", type=click.Path(path_type=Path), metavar="FILE", help="What was played.")
@click.option("--note", default="", metavar="TEXT", help="Anything worth remembering.")
@shared_options
def import_take(name: str, files: tuple[Path, ...], *, as_json: bool, logbook: Path, debug: bool, **facts: Any) -> "Outcome":
    """Take recordings, or a response measured elsewhere, into the logbook.

    Recordings: WAV, FLAC or AIFF; several files are repeats of one take. A response: a table (CSV: frequency, then real and
    imaginary, magnitude and phase, or dB and phase) or a Touchstone file (.s1p). The files are checked; what is rejected is
    kept and marked, and the reasons are given.
    """
    del as_json, debug
    from fit.desk.intake import TakeFacts, import_recordings

    facts["method"] = facts["method"] or ("impedance" if files[0].suffix.lower() == ".s1p" else "exciter")
    return import_recordings(_desk(logbook), name, files, facts=TakeFacts(**facts))


@coilsweep.command()
@click.argument("name")
@shared_options
def inspect(name: str, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Show checks and noise of one take."""
    del as_json, debug
    from fit.desk.session import inspect_take

    return inspect_take(_desk(logbook), name)


@coilsweep.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@click.option("--have", "at_hand", default="", metavar="PARTS", help="Parts at hand for a further take.")
@click.option(
    "--plot", "plot_file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png", help="Picture of the fit."
)
@shared_options
def fit(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say what the pickup is, from one or more takes."""
    del as_json, debug
    from fit.desk.session import FitWish, fit_takes

    plot_file = options.pop("plot_file")
    return fit_takes(_desk(logbook), FitWish(names=names, **options), plot_file=plot_file)


@coilsweep.command()
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
    from fit.desk.session import write_report

    is_file = bool(words) and words[0].lower().endswith((".html", ".htm"))
    file = Path(words[0]) if is_file else logbook / "report.html"
    return write_report(_desk(logbook), file, names=words[1:] if is_file else words, dcr=dcr, at_hand=at_hand)


@coilsweep.command()
@click.argument("names", nargs=-1, metavar="[NAME...]")
@click.option("--to", required=True, type=click.Choice(["csv", "touchstone", "spice", "ir"]), help="Kind of file.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="For several files a folder; default: by the takes.")
@click.option("--dcr", metavar="R", help="As for fit.")
@click.option("--reference", metavar="R", default="10k", show_default=True, help="Of a Touchstone file, for example 50.")
@click.option(
    "--rate", "rate_hz", type=click.IntRange(8000, 768000), metavar="HZ", help="Of an impulse response; default: the takes'."
)
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Of the instrument, as for predict.")
@click.option("--change", "changes", multiple=True, metavar="PART=VALUE", help="Of the instrument, as for predict.")
@click.option("--excite", default="", metavar="PICKUP", help="Of the instrument: with 1 V of EMF; default: the first.")
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
    from fit.desk.export import ExportWish, export_files

    return export_files(_desk(logbook), ExportWish(names=names, **options))


@coilsweep.command()
@click.option("--layout", metavar="NAME", help="Begin with a common wiring; without it and without a file, they are listed.")
@shared_options
def instrument(*, layout: str | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Write a starting instrument.toml, or show and check the one there is.

    It states pickups, pots, capacitors, switches and how they are joined. An existing file is never overwritten.
    """
    del as_json, debug
    from fit.desk.instruments import show_or_write_instrument

    return show_or_write_instrument(_desk(logbook), layout)


@coilsweep.command()
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
@click.option("--tolerance", is_flag=True, help="Count what is printed on parts that are only marked, and how tapers differ.")
@click.option(
    "--plot", "plot_file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png", help="Picture of the curves."
)
@shared_options
def predict(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Predict what the instrument does to the signal, and what a change would do.

    From the parts in instrument.toml, measured ones as the last fit found them: gain, phase and delay at some settings, the
    peak, the sweep of the tone control, beside those before the change. Takes are not needed.
    """
    del as_json, debug
    from fit.desk.instruments import PredictWish, predict_curves

    plot_file = options.pop("plot_file")
    return predict_curves(_desk(logbook), PredictWish(**options), plot_file=plot_file)


@coilsweep.command(cls=SeveralNames)
@click.option("--before", multiple=True, metavar="NAME...", help="Takes from before the job.")
@click.option("--after", multiple=True, metavar="NAME...", help="Takes from after it.")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@click.option(
    "--plot", "plot_file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png", help="Picture of the change."
)
@shared_options
def compare(*, plot_file: Path | None, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say what a shielding or wiring job changed.

    All takes go into one fit, so that what both sides share cancels: part by part, response by response, each with the
    uncertainty of the difference; hum and noise from quiet takes or the silences; a foil's signal from takes of method plate.
    """
    del as_json, debug
    from fit.desk.comparing import CompareWish, compare_sides

    return compare_sides(_desk(logbook), CompareWish(**options), plot_file=plot_file)


@coilsweep.command()
@click.argument("part", metavar="PART")
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@click.option("--have", "at_hand", default="", metavar="PARTS", help="Parts at hand for a further take.")
@click.option(
    "--plot", "plot_file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png", help="Picture of the verdict."
)
@shared_options
def confirm(part: str, names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say whether a part is what is marked on it.

    PART as in instrument.toml, for example capacitor.tone or pot.volume; NAME... are takes through the instrument.
    """
    del as_json, debug
    from fit.desk.confirming import confirm_part_of
    from fit.desk.session import FitWish

    plot_file = options.pop("plot_file")
    return confirm_part_of(_desk(logbook), part, FitWish(names=names, **options), plot_file=plot_file)


@coilsweep.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option(
    "--plot", "plot_file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png", help="Picture of the positions."
)
@shared_options
def wiring(names: tuple[str, ...], *, plot_file: Path | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Say which pickups each switch position connects, in which polarity.

    From takes with the coil over each pickup in turn (--coil-over), at each position (--set). Compared with instrument.toml,
    where there is one.
    """
    del as_json, debug
    from fit.desk.wirings import wiring_of

    return wiring_of(_desk(logbook), names, plot_file=plot_file)


@coilsweep.command()
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
@click.option("--replace", is_flag=True, help="Write over OUT.wav and FILE.wav where they are there already.")
@shared_options
def listen(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Hear a change before soldering.

    IN.wav is a recording of the instrument as it is, with the settings given by --from; OUT.wav is the same playing after the
    change, as loud as before, so that only the colour is judged. WAV, FLAC or AIFF; 24 bits.
    """
    del as_json, debug
    from fit.desk.listening import ListenWish, listen_to_change

    return listen_to_change(_desk(logbook), ListenWish(**options))


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str or None
        What was typed after ``coilsweep``; None for the arguments of the process.

    Returns
    -------
    int
        Exit code: 0 done, 2 wrong use or bad file, 3 recording rejected, 130 interrupted.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    options = words[: words.index("--")] if "--" in words else words
    as_json = "--json" in options
    try:
        result = coilsweep.main(args=words, prog_name="coilsweep", standalone_mode=False)
        if result is None or isinstance(result, int):
            return result or DONE
        _print_outcome(result, as_json=as_json)
        return int(result.exit_code)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return DONE if not words else WRONG_USE
    except (click.Abort, KeyboardInterrupt):
        return _complain("Interrupted; nothing half-written is left.", INTERRUPTED, as_json=as_json)
    except click.ClickException as error:
        return _complain(error.format_message(), WRONG_USE, as_json=as_json)
    except _expected_errors() as error:
        if "--debug" in options:
            import traceback

            traceback.print_exc()
        return _complain(_one_line(error), getattr(error, "exit_code", WRONG_USE), as_json=as_json)


def run() -> None:
    """Entry of the installed command."""
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(variable, "1")  # the matrices are small: threads wait for each other (4 s of demo became 10 s)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    sys.exit(main())


# What the world, or a wrong word typed, may raise; nothing is imported for a command that went well.
def _expected_errors() -> tuple[type[Exception], ...]:
    from measure.errors import MeasureError

    session = sys.modules.get("fit.desk.takes")
    rejected = () if session is None else (session.RejectedError,)
    return (ValueError, OSError, MeasureError, *rejected)


def _is_unicode_shown() -> bool:
    return (sys.stdout.encoding or "").lower().startswith("utf")


def _one_line(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror}: {error.filename}" if error.filename else error.strerror
    return str(error) or type(error).__name__


def _complain(message: str, code: int, *, as_json: bool) -> int:
    line = " ".join(message.split())
    if as_json:
        document = {"schema": "coilsweep.error/1", "error": {"message": line, "exit_code": code}}
        click.echo(json.dumps(document, ensure_ascii=not _is_unicode_shown(), indent=1))
    click.echo(f"coilsweep: {line}", err=True)
    return code


def _print_outcome(outcome: "Outcome", *, as_json: bool) -> None:
    with _reader_may_leave():
        if as_json:
            click.echo(json.dumps(outcome.document, ensure_ascii=not _is_unicode_shown(), indent=1, allow_nan=False))
        else:
            for line in outcome.lines:
                click.echo(line)
        sys.stdout.flush()


# The reader went away (as `| head` does): that is no error of ours.
@contextlib.contextmanager
def _reader_may_leave() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _desk(logbook: Path, *, as_json: bool = False) -> "Desk":
    from fit.desk.outcome import Desk

    return Desk(logbook=logbook, say=_say, tell=_keep_silent if as_json else _tell, steps=_steps)


def _tell(line: str) -> None:
    with _reader_may_leave():
        click.echo(line)
        sys.stdout.flush()


def _keep_silent(line: str) -> None:
    del line


def _say(line: str) -> None:
    click.echo(line, err=True)


# A bar for people who wait at a terminal; for everyone else just the items.
def _steps(items: Sequence[Item], label: str) -> Iterator[Item]:
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield from items
        return
    with click.progressbar(items, label=label, file=sys.stderr, color=False) as bar:
        yield from bar
