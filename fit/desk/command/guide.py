"""The command guide, as it is typed."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from fit.desk.command.console import desk_at, read_line
from fit.desk.command.options import shared_options

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.argument("job", type=click.Choice(["pickup", "capacitor", "compare", "wiring"]), metavar="JOB")
@click.option("--virtual", is_flag=True, help="On the virtual bench: no hardware, everything marked as simulated.")
@shared_options
def guide(
    job: Literal["pickup", "capacitor", "compare", "wiring"], *, virtual: bool, as_json: bool, logbook: Path, debug: bool
) -> "Outcome":
    """Be led through a job, from nothing set up to a report.

    JOB is one of: pickup (what is it?), capacitor (is a tone capacitor, or a pot, what is printed on it, the guitar staying
    closed?), compare (what did a job on shielding or wiring change?), wiring (what does each switch position connect?).

    It asks one thing at a time, says where to put the coil and what to clip on, makes each take, looks at it, and plans the
    next one. Leave it with q or Ctrl-C whenever you like; the same command goes on where you left.
    """
    del debug
    from fit.desk.guide.bench import card_bench, virtual_bench
    from fit.desk.guide.console import run_guide

    desk = desk_at(logbook)
    if as_json:
        desk = replace(desk, tell=desk.say)
    bench = virtual_bench(desk, job) if virtual else card_bench(desk)
    return run_guide(desk, job, virtual=virtual, bench=bench, read_line=lambda prompt: read_line(prompt, on_stderr=as_json))
