"""Commands about the bench and its takes, as they are typed. Nothing heavy is imported before one runs."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at, read_line
from fit.desk.command.options import (
    CHANNEL,
    RATE,
    circumstance_options,
    conditions_of,
    output_options,
    replace_option,
    shared_options,
    sweep_options,
)

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), default=Path("coilsweep-demo"), metavar="[DIR]")
@shared_options
def demo(folder: Path, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Play the whole job on the virtual bench, ending with a report.

    DIR must be empty or not yet there; default: coilsweep-demo.
    """
    del debug
    from fit.desk.bench.demo import play_demo

    return play_demo(desk_at(logbook, as_json=as_json), logbook / folder)


@click.command()
@shared_options
def selftest(*, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Rerun reference recordings, and see whether this machine finds what they were made from.

    Takes some ten seconds; exit code 3 where something does not agree.
    """
    del debug
    from fit.desk.bench.selftest import run_selftest

    return run_selftest(desk_at(logbook, as_json=as_json))


@click.command()
@click.option("--device", metavar="TEXT", help="Name of the interface.")
@click.option("--host-api", metavar="TEXT", help="Sound system it is reached through.")
@click.option("--input-device", metavar="TEXT", help="Where another device records than plays.")
@click.option("--rate", "rate_hz", type=RATE, metavar="HZ", help="Sample rate, for example 96k.")
@click.option("--output-channel", type=CHANNEL, metavar="N", help="Output that drives the exciter, from 1.")
@click.option("--pickup-channel", type=CHANNEL, metavar="N", help="Input that records the pickup, from 1.")
@click.option("--reference-channel", type=CHANNEL, metavar="N", help="Input that records the reference, from 1.")
@click.option("--clock", metavar="PPM", help="Bound of its sample clock, for example 20ppm; 100 ppm where none is stated.")
@click.option("--reference", type=click.Choice(["current", "loopback", "none"]), help="What the reference channel records.")
@click.option("--sense-resistor", metavar="R", help='In series with the exciter, for example "100 ± 1%".')
@click.option("--exciter-corner", metavar="HZ", help='Only without a current reference, for example "9k ± 5%".')
@click.option("--input-resistance", metavar="R", help='Of the pickup\'s input, for example "1M ± 1%".')
@click.option("--input-capacitance", metavar="C", help='Input and cable together, for example "185p ± 3p".')
@click.option("--ask", is_flag=True, help="Be asked, one thing at a time; devices are chosen from a list.")
@click.option("--virtual", is_flag=True, help="With --ask: rehearse on the virtual bench, without a card.")
@shared_options
def rig(*, ask: bool, virtual: bool, as_json: bool, logbook: Path, debug: bool, **fields: str | int | None) -> "Outcome":
    """Write the rig, or show it and what is missing.

    Without options it only shows. Options change what they name and leave the rest of rig.toml as it is; with --ask you are
    asked for the rest.
    """
    del debug
    from fit.desk.bench.rig import show_or_write_rig

    changes = {name: value for name, value in fields.items() if value is not None}
    _require_questions(ask=ask, virtual=virtual)
    if not ask:
        return show_or_write_rig(desk_at(logbook), changes)
    if changes:
        show_or_write_rig(desk_at(logbook), changes)
    from fit.desk.guide.rig_interview import ask_rig

    desk = desk_at(logbook)
    desk = replace(desk, tell=desk.say) if as_json else desk
    return ask_rig(desk, lambda prompt: read_line(prompt, on_stderr=as_json), virtual=virtual)


def _require_questions(*, ask: bool, virtual: bool) -> None:
    """See that there is something to rehearse.

    Raises
    ------
    click.UsageError
        If --virtual stands without --ask.
    """
    if virtual and not ask:
        msg = "--virtual rehearses the questions: coilsweep rig --ask --virtual"
        raise click.UsageError(msg)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.wav")
@click.option("--rate", "rate_hz", type=RATE, metavar="HZ", help="Sample rate, for example 96k; default: the rig's, or 96k.")
@sweep_options
@replace_option
@shared_options
def stimulus(file: Path, *, replace: bool, as_json: bool, logbook: Path, debug: bool, **numbers: float | None) -> "Outcome":
    """Write the sweep as a file, to be played and recorded elsewhere.

    The same file then goes to `coilsweep import --stimulus`, so that missing samples and distortion are found.
    """
    del as_json, debug
    from fit.desk.bench.rig import write_stimulus

    stated = {name: value for name, value in numbers.items() if value is not None}
    return write_stimulus(desk_at(logbook), file, stated, replace=replace)


@click.command("import")
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
@circumstance_options
@click.option("--pickup-channel", type=CHANNEL, metavar="N", help="From 1; default: the rig's.")
@click.option("--reference-channel", metavar="N|none", help="From 1, or none; default: the rig's.")
@click.option("--stimulus", "stimulus_file", type=click.Path(path_type=Path), metavar="FILE", help="What was played.")
@click.option("--note", default="", metavar="TEXT", help="Anything worth remembering.")
@shared_options
def import_take(name: str, files: tuple[Path, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Take recordings, or a response measured elsewhere, into the logbook.

    Recordings: WAV, FLAC or AIFF; several files are repeats of one take. A response: a table (CSV: frequency, then real and
    imaginary, magnitude and phase, or dB and phase) or a Touchstone file (.s1p). The files are checked; what is rejected is
    kept and marked, and the reasons are given.
    """
    del as_json, debug
    from fit.desk.bench.imports import Files
    from fit.desk.bench.imports import import_take as bring_in

    options["method"] = options["method"] or ("impedance" if files[0].suffix.lower() == ".s1p" else "exciter")
    from fit.desk.book.next_step import with_next_step
    from measure.logbook.naming import usual_form
    from measure.logbook.store import open_logbook

    conditions = conditions_of(options)
    kept = bring_in(desk_at(logbook), name, Files(paths=files, **options), conditions=conditions)
    return with_next_step(kept, open_logbook(logbook), usual_form(name))


@click.command()
@click.argument("name")
@output_options(("--plot", "noise", "Picture of noise and mains lines"))
@shared_options
def inspect(name: str, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Show checks and noise of one take."""
    del as_json, debug
    from fit.desk.questions.inspect import inspect_take

    return inspect_take(desk_at(logbook), name)
