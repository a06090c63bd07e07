"""The command guide, as it is typed."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fit.desk.command.console import desk_at, read_line
from fit.desk.command.options import shared_options

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome
    from fit.desk.guide.session import Job


JOBS = ("guitar", "pickup", "capacitor", "compare", "wiring")


@click.command()
@click.argument("job", type=click.Choice(JOBS), metavar="[JOB]", required=False)
@click.option("--virtual", is_flag=True, help="On the virtual bench: no hardware, everything marked as simulated.")
@shared_options
def guide(job: "Job | None", *, virtual: bool, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Be led through a job, from nothing set up to a report.

    JOB is one of: guitar (a closed one: what is in it?), pickup (what is it?), capacitor (is a tone capacitor, or a pot, what is
    printed on it, the guitar staying closed?), compare (what did a job on shielding or wiring change?), wiring (what does each
    switch position connect?). Without one they are offered.

    It asks one thing at a time, says where to put the coil and what to clip on, makes each take, looks at it, and plans the
    next one. Leave it with q or Ctrl-C whenever you like; the same command goes on where you left.
    """
    del debug
    from fit.desk.guide.bench import card_bench, virtual_bench
    from fit.desk.guide.console import choose_job, run_guide

    desk = desk_at(logbook)
    if as_json:
        desk = replace(desk, tell=desk.say)

    def read(prompt: str) -> str | None:
        return read_line(prompt, on_stderr=as_json)

    chosen = job or choose_job(desk, virtual=virtual, read_line=read)
    if not isinstance(chosen, str):
        return chosen
    bench = virtual_bench(desk, chosen) if virtual else card_bench(desk)
    return run_guide(desk, chosen, virtual=virtual, bench=bench, read_line=read)
