"""The commands calibrate loopback, input and exciter, as they are typed."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fit.desk.command.console import desk_at
from fit.desk.command.near import CALIBRATE, Near
from fit.desk.command.options import level_option, output_options, shared_options

if TYPE_CHECKING:
    from fit.desk.bench.recordings import Batch, InputLoad
    from fit.desk.book.desk import Desk, Outcome
    from measure.logbook.curves import Kind

Command = TypeVar("Command", bound=Callable[..., Any])
AUDIO = click.Path(path_type=Path, dir_okay=False)
LOOPBACK = "Connect the output to both inputs, the pickup's and the reference's."
INPUT = "Connect output and reference input to one end of {}, the cable to the pickup's input to its other end{}."
EXCITER = "Connect the output to the exciter and to the reference input, and the sense resistor to the pickup's input."


def recording_options(command: Command) -> Command:
    """Add what every calibration needs to record, or to read what was recorded elsewhere."""
    command = click.option("--stimulus", "stimulus_file", type=AUDIO, metavar="FILE", help="With files: what was played.")(
        command
    )
    command = level_option(default=0.1)(command)
    command = click.option("--no-wait", is_flag=True, help="Without waiting for Enter before the sweep.")(command)
    text = "Rehearse on the virtual bench: no hardware, the result is marked as simulated."
    return click.option("--virtual", is_flag=True, help=text)(command)


class Kinds(Near):
    """The calibrations."""

    near = CALIBRATE


@click.group(cls=Kinds)
def calibrate() -> None:
    """Find out what the card and the exciter do to a measurement, and write it to rig.toml.

    loopback: both inputs on the output, how they differ. input: what the pickup's input and cable load it with. exciter: where
    its current begins to fall. Do them in this order, before the takes: a take keeps the rig as it was then. Each plays and
    records by the card, or reads what was recorded elsewhere (--from).
    """


@calibrate.command()
@click.option("--from", "files", multiple=True, type=AUDIO, metavar="FILE", help="Recorded elsewhere; several are repeats.")
@recording_options
@output_options()
@shared_options
def loopback(
    *, files: tuple[Path, ...], stimulus_file: Path | None, as_json: bool, logbook: Path, debug: bool, **playing: Any
) -> "Outcome":
    """Compare both inputs, connected to the output.

    Their ratio in gain and phase is divided out of the takes that follow. Begin softly (--level): an input made for instruments
    clips soon.
    """
    del as_json, debug
    from fit.desk.bench.calibrate import calibrate_loopback
    from fit.desk.bench.recordings import read_by_rig

    desk = desk_at(logbook)
    _require_rehearsal(desk, is_from_files=bool(files), **playing)
    if files:
        return calibrate_loopback(desk, lambda: read_by_rig(desk, files, stimulus_file))
    return calibrate_loopback(desk, lambda: _record(desk, LOOPBACK, "loopback", **playing))


@calibrate.command("input")
@click.option(
    "--through", "driven", multiple=True, metavar="R[, PARTS]", help='Record through R: "100k ± 1%", or "1M ± 1%, 1n ± 1%".'
)
@click.option("--from", "stated", multiple=True, metavar="FILE=R[, PARTS]", help='Recorded elsewhere: "a.wav=1M ± 1%, 1n ± 1%".')
@recording_options
@output_options()
@shared_options
def input_load(
    *,
    driven: tuple[str, ...],
    stated: tuple[str, ...],
    stimulus_file: Path | None,
    as_json: bool,
    logbook: Path,
    debug: bool,
    **playing: Any,
) -> "Outcome":
    """Find resistance and capacitance of the pickup's input and cable.

    Drive the input through a known resistor R: the output and the reference input on one end, the cable to the pickup's input on
    the other. Best are three recordings: R = 100 kΩ, R = 1 MΩ, and R = 1 MΩ with a known capacitor of about 1 nF across the
    cable's end.
    """
    del as_json, debug
    from fit.desk.bench.calibrate import calibrate_input
    from fit.desk.bench.recordings import InputLoad, read_by_rig, read_loads

    desk = desk_at(logbook)
    loads = read_loads(driven, stated)
    _require_rehearsal(desk, is_from_files=bool(stated), **playing)

    def listen(load: InputLoad) -> "Batch":
        if load.file is not None:
            return read_by_rig(desk, [load.file], stimulus_file)
        across = ", ".join(part.text for part in load.added)
        text = INPUT.format(load.series.text, f", {across} across that end" if across else "")
        return _record(desk, text, "input", load=load, **playing)

    return calibrate_input(desk, loads, listen)


@calibrate.command("exciter")
@click.option("--from", "file", type=AUDIO, metavar="FILE", help="Sense resistor on the pickup's input, output on the other.")
@click.option("--by-output", type=AUDIO, metavar="FILE", help="Or: a pickup on its input, the output on the reference input,")
@click.option("--by-current", type=AUDIO, metavar="FILE", help="and the same with the sense resistor on the reference input.")
@recording_options
@output_options()
@shared_options
def exciter_corner(
    *,
    file: Path | None,
    by_output: Path | None,
    by_current: Path | None,
    stimulus_file: Path | None,
    as_json: bool,
    logbook: Path,
    debug: bool,
    **playing: Any,
) -> "Outcome":
    """Find the exciter's corner R / (2πL), for takes that do not record its current.

    From the sense resistor's voltage over the output's, recorded here or elsewhere (--from), or from two takes of one pickup, the
    coil left where it is (--by-output, --by-current).
    """
    del as_json, debug
    from fit.desk.bench.calibrate import calibrate_exciter_files

    desk = desk_at(logbook)
    files = (file, by_output, by_current)
    _require_rehearsal(desk, is_from_files=any(files), **playing)
    return calibrate_exciter_files(desk, files, stimulus_file, live=lambda: _record(desk, EXCITER, "exciter", **playing))


def _require_rehearsal(desk: "Desk", *, is_from_files: bool, virtual: bool, **_: Any) -> None:
    """See that a rehearsal records by itself, and spoils no real logbook.

    Raises
    ------
    click.UsageError
        If recordings are to be read instead.
    """
    from fit.desk.bench.recordings import require_rehearsal

    if virtual and is_from_files:
        msg = "--virtual records on the virtual bench; leave it out where recordings are read"
        raise click.UsageError(msg)
    if virtual:
        require_rehearsal(desk)


def _record(
    desk: "Desk", text: str, kind: "Kind", *, level: float, no_wait: bool, virtual: bool, load: "InputLoad | None" = None
) -> "Batch":
    """Say what to connect, wait for Enter, play and record."""
    from fit.desk.bench.recordings import calibration_source, record_by_rig, require_card_of_rig
    from fit.desk.show.words import SIMULATED_TEXT, SWEEP_CAUTION

    if not (virtual or no_wait):  # nobody connects anything before the card is there
        require_card_of_rig(desk)
    desk.say(text)
    desk.say(SIMULATED_TEXT if virtual else SWEEP_CAUTION)
    if not no_wait:
        click.prompt("Then press Enter", default="", show_default=False, prompt_suffix=" ", err=True)
    label = kind if load is None else load.name
    if not virtual:
        return record_by_rig(desk, level=level, label=label)
    return record_by_rig(desk, level=level, label=label, source=calibration_source(desk, kind, load))
