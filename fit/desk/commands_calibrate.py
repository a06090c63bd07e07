"""The commands calibrate loopback, input and exciter, as they are typed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fit.desk.options import shared_options
from fit.desk.terminal import desk_at

if TYPE_CHECKING:
    from fit.desk.outcome import Outcome

AUDIO = click.Path(path_type=Path, dir_okay=False)
STIMULUS = click.option("--stimulus", "stimulus_file", type=AUDIO, metavar="FILE", help="What was played.")


@click.group()
def calibrate() -> None:
    """Find out what the card and the exciter do to a measurement, and write it to rig.toml.

    loopback: both inputs on the output, how they differ. input: what the pickup's input and cable load it with. exciter: where
    its current begins to fall. Do them in this order, before the takes: a take keeps the rig as it was then.
    """


@calibrate.command()
@click.option("--from", "files", multiple=True, required=True, type=AUDIO, metavar="FILE", help="Recording; several are repeats.")
@STIMULUS
@shared_options
def loopback(*, files: tuple[Path, ...], stimulus_file: Path | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Compare both inputs, connected to the output.

    Play the stimulus, record pickup's and reference input with both on the output. Their ratio in gain and phase is divided out
    of the takes that follow.
    """
    del as_json, debug
    from fit.desk.calibrating import calibrate_loopback, heard_from_files

    desk = desk_at(logbook)
    return calibrate_loopback(desk, lambda: heard_from_files(desk, files, stimulus_file))


@calibrate.command("input")
@click.option(
    "--from", "stated", multiple=True, required=True, metavar="FILE=R[, PARTS]", help='For example "a.wav=1M ± 1%, 1n ± 1%".'
)
@STIMULUS
@shared_options
def input_load(*, stated: tuple[str, ...], stimulus_file: Path | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Find resistance and capacitance of the pickup's input and cable.

    Drive the input through a known resistor R: the output and the reference input on one end, the cable to the pickup's input on
    the other. Best are three recordings: R = 100 kΩ, R = 1 MΩ, and R = 1 MΩ with a known capacitor of about 1 nF across the
    cable's end.
    """
    del as_json, debug
    from fit.desk.calibrating import calibrate_input, heard_from_files, read_load

    desk = desk_at(logbook)
    loads = [read_load(text) for text in stated]
    files = {id(load): file for file, load in loads}
    return calibrate_input(
        desk, [load for _, load in loads], lambda load: heard_from_files(desk, [files[id(load)]], stimulus_file)
    )


@calibrate.command("exciter")
@click.option(
    "--from", "file", type=AUDIO, metavar="FILE", help="Sense resistor on the pickup's input, output on the reference's."
)
@click.option("--by-output", type=AUDIO, metavar="FILE", help="Or: a pickup on its input, the output on the reference input,")
@click.option("--by-current", type=AUDIO, metavar="FILE", help="and the same with the sense resistor on the reference input.")
@STIMULUS
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
) -> "Outcome":
    """Find the exciter's corner R / (2πL), for takes that do not record its current.

    Either from one recording of the sense resistor and the output (--from), or from two takes of one pickup, the coil left where
    it is (--by-output, --by-current).
    """
    del as_json, debug
    from fit.desk.calibrating import calibrate_exciter_files

    return calibrate_exciter_files(desk_at(logbook), (file, by_output, by_current), stimulus_file)
