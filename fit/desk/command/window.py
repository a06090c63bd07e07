"""The command bench, as it is typed."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fit.desk.command.amounts import Amount
from fit.desk.command.console import desk_at
from fit.desk.command.options import shared_options

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.option("--virtual", is_flag=True, help="On the virtual bench: no hardware, everything marked as simulated.")
@click.option(
    "--port",
    type=Amount(low=1024, high=65535, is_whole=True),
    metavar="N",
    help="To listen at, 1024 to 65535; default: a free one.",
)
@click.option("--no-open", is_flag=True, help="Print the address only; open no browser.")
@shared_options
def bench(*, virtual: bool, port: int | None, no_open: bool, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Open the bench as a page in your browser.

    Levels and takes in letters that can be read from a metre, a guide that is answered by a key or by a countdown, what was
    found, and what a change would do, with sliders. The page is served by this program to this machine alone; nobody else can
    open it. Ctrl-C ends it, and whatever sounds fades to silence.
    """
    del debug
    from fit.desk.window.serve import open_bench

    desk = desk_at(logbook)
    if as_json:
        desk = replace(desk, tell=desk.say)
    return open_bench(desk, is_virtual=virtual, port=port or 0, opens=not no_open)
