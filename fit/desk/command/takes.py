"""The command family takes, as it is typed. Nothing heavy is imported before one runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at
from fit.desk.command.near import TAKES, Near
from fit.desk.command.options import read_temperature, shared_options

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


class Listing(Near):
    """A family that lists where nothing else is asked for."""

    near = TAKES

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the word list in front where none stands."""
        is_bare = not args or (args[0].startswith("-") and args[0] not in ("-h", "--help"))
        return super().parse_args(ctx, ["list", *args] if is_bare else args)


@click.group(cls=Listing)
def takes() -> None:
    """List the takes of a logbook, and mend them.

    No recording is ever changed or deleted. Without a word behind it: list.
    """


@takes.command("list")
@click.option("--item", metavar="TEXT", help="Only the takes of it.")
@shared_options
def list_takes(*, item: str | None, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """List the takes by day: name, time, what was set and added, outcome."""
    del as_json, debug
    from fit.desk.questions.takes import takes_of_logbook

    return takes_of_logbook(desk_at(logbook), item=item)


@takes.command()
@click.argument("name")
@click.option("--add", "added", metavar="PARTS", help='Parts across the jack, for example "680p±1%, 150k±1%"; "" for none.')
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Position of a control; the others stay.")
@click.option("--unset", multiple=True, metavar="CONTROL", help="No longer say where a control stood.")
@click.option("--coil-over", metavar="PICKUP", help='Pickup that the exciter stood over; "" for not said.')
@click.option("--coil-moved/--coil-stayed", default=None, help="The exciter was moved since the take before, or was not.")
@click.option("--series-resistor", metavar="R", help="Method impedance: what the jack was driven through.")
@click.option("--temperature", "temperature_c", metavar="T", help='Of the winding, for example 24C; "" for not said.')
@click.option("--item", metavar="TEXT", help="What lay on the bench.")
@click.option("--operator", metavar="TEXT", help="Who made the take.")
@click.option("--note", metavar="TEXT", help="Anything worth remembering.")
@shared_options
def amend(name: str, *, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Change what is stated of a take.

    Its recordings stay untouched. What was stated before is kept in take.json with the date of the change.
    """
    del as_json, debug
    from fit.circuit.controls import split_settings
    from fit.desk.bench.mend import amend as mend

    settings, unset = split_settings(options.pop("settings")), options.pop("unset")
    changes = {key: value for key, value in options.items() if value is not None}
    changes |= {
        key: changes[key].strip() or None for key in ("coil_over", "series_resistor", "item", "operator") if key in changes
    }
    if "temperature_c" in changes:
        changes["temperature_c"] = read_temperature(changes["temperature_c"]) if changes["temperature_c"].strip() else None
    if settings or unset:
        changes["controls"] = {**settings, **dict.fromkeys(unset)}
    return mend(desk_at(logbook), name, changes)


@takes.command()
@click.argument("name")
@shared_options
def remove(name: str, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Lay a take aside: it counts no more, and can be restored."""
    del as_json, debug
    from fit.desk.bench.mend import remove as mend

    return mend(desk_at(logbook), name)


@takes.command()
@click.argument("name")
@shared_options
def restore(name: str, *, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Bring back a take that was removed."""
    del as_json, debug
    from fit.desk.bench.mend import restore as mend

    return mend(desk_at(logbook), name)


@takes.command()
@click.argument("name", metavar="OLD")
@click.argument("new", metavar="NEW")
@shared_options
def rename(name: str, *, new: str, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Give a take another name.

    Results that name it are told; what else you wrote down (scripts, notes) is not.
    """
    del as_json, debug
    from fit.desk.bench.mend import rename as mend

    return mend(desk_at(logbook), name, new)
