"""Commands about the bench over time, as they are typed. Nothing heavy is imported before one runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at
from fit.desk.command.options import output_options, shared_options

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@output_options(("--plot", "results", "Picture of the results"))
@shared_options
def repeat(names: tuple[str, ...], *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say how well the bench repeats, from one coil laid down again and again.

    NAME... are takes of one coil, the same loads each time that it is laid down (--coil-moved with the first take), over
    several days where that is asked for. Each set of takes is fitted by itself; the results' spread is split into what comes of
    repeats, of the coil's place and of days (ISO 5725), and set beside the intervals that the fits state.
    """
    del as_json, debug
    from fit.desk.questions.repeat import RepeatWish, repeat_takes

    return repeat_takes(desk_at(logbook), RepeatWish(names=names, **options))


@click.command()
@click.argument("item", required=False, metavar="[ITEM]")
@click.option("--all", "is_whole", is_flag=True, help="Every result, not only the last good one of each day.")
@output_options()
@shared_options
def history(item: str | None, *, is_whole: bool, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Tell what was found of an item before, by date.

    ITEM as it was stated with --item; it can be left out where the logbook is of one. Every fit keeps its values, in
    results/history.json; of each day the last good fit is told, each value with its interval and whether it changed.
    """
    del as_json, debug
    from fit.desk.questions.history import history_of

    return history_of(desk_at(logbook), item, is_whole=is_whole)


@click.command()
@click.argument("coil", metavar="COIL")
@click.argument("names", nargs=-1, metavar="[NAME...]")
@click.option("--dcr", metavar="R", help='Winding resistance from a multimeter, for example "6.35k ± 1%".')
@click.option("--quantity", metavar="NAME", help="That is drawn, for example inductance; default: the one that is furthest off.")
@output_options(("--plot", "charts", "Picture of the charts"))
@shared_options
def check(coil: str, *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say whether a kept coil still measures as it did.

    Its takes are those called COIL, or COIL- with anything behind, unless NAME... says otherwise; the same loads each time
    that the coil is laid down. A drift beyond the limits of the control charts (ISO 7870) warns later results, until a check is
    within them again.
    """
    del as_json, debug
    from fit.desk.questions.check import CheckWish, check_coil

    return check_coil(desk_at(logbook), CheckWish(coil=coil, **options))
