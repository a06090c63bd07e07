"""Commands that use the sound card, as they are typed. Nothing heavy is imported before one runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.amounts import Amount
from fit.desk.command.console import desk_at
from fit.desk.command.options import (
    circumstance_options,
    conditions_of,
    level_option,
    shared_options,
    sweep_options,
)

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@shared_options
def devices(*, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Show what sound cards there are, and at which rates they open."""
    del as_json, debug
    from fit.desk.bench.level import show_devices

    return show_devices(desk_at(logbook))


@click.command()
@click.option(
    "--duration", "duration_s", type=Amount("s", 1, 600), metavar="S", help="1 to 600 s; default: until Enter or Ctrl-C."
)
@level_option(default=0.03, most=0.2)
@click.option("--virtual", is_flag=True, help="Rehearse on the virtual bench: no hardware; one look, or --duration.")
@shared_options
def level(*, duration_s: float | None, level: float, virtual: bool, as_json: bool, logbook: Path, debug: bool) -> "Outcome":
    """Play a quiet tone and show what the inputs hear.

    Tells whether the exciter is found, too far or too near, whether an input is dead, clips, or hears direct monitoring.
    """
    del debug
    from fit.desk.bench.level import rehearse_level, watch_level

    if virtual:
        return rehearse_level(desk_at(logbook, as_json=as_json), seconds=duration_s, level=level)
    return watch_level(desk_at(logbook, as_json=as_json), seconds=duration_s, level=level)


@click.command()
@click.argument("name")
@click.option("--add", "added", default="", metavar="PARTS", help='Parts across the jack, for example "680p±1%, 150k±1%".')
@click.option("--set", "settings", multiple=True, metavar="CONTROL=VALUE", help="Position of a control, for example volume=7.")
@click.option("--coil-over", default="", metavar="PICKUP", help="Pickup that the exciter stands over.")
@click.option("--coil-moved", is_flag=True, help="The exciter was moved since the take before.")
@click.option(
    "--method",
    type=click.Choice(["exciter", "impedance", "plate", "quiet"]),
    default="exciter",
    show_default=True,
    help="What is driven.",
)
@click.option("--series-resistor", metavar="R", help="Method impedance: what the jack is driven through, for example 100k±1%.")
@circumstance_options
@click.option(
    "--repeats", type=Amount(low=1, high=16, is_whole=True), metavar="N", default=1, show_default=True, help="How often, 1 to 16."
)
@click.option(
    "--noise",
    "noise_db",
    type=Amount("dB", -120, 0),
    metavar="DB",
    help="Repeat, 16 times at most, until the noise is so far below the response, for example -60.",
)
@sweep_options
@click.option("--no-look", is_flag=True, help="Without the short, soft sweep before, which looks for clipping and dead inputs.")
@click.option("--note", default="", metavar="TEXT", help="Anything worth remembering.")
@click.option("--virtual", is_flag=True, help="On the virtual bench: no hardware, the take is marked as simulated.")
@shared_options
def take(name: str, *, virtual: bool, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Play the sweep, record, check, and keep the take.

    What drives the exciter, and on which channels, says rig.toml. First comes a short, soft sweep: where the real one would
    clip, or an input is dead, nothing more is played. A take is kept whole or not at all; a rejected one is kept and marked,
    and the cure is said. Method quiet plays nothing and records 5 s. Ctrl-C lets the output fade to silence.
    """
    del as_json, debug
    from fit.desk.bench.intake import open_for_take
    from fit.desk.bench.level import card_of
    from fit.desk.bench.preparation import virtual_source
    from fit.desk.bench.take import Order, make_take
    from fit.desk.book.next_step import with_next_step
    from fit.desk.book.rig import rig_of
    from measure.logbook.naming import usual_form

    name = usual_form(name)
    conditions = conditions_of(options)
    is_looked_at_first = not options.pop("no_look")
    order = Order(name=name, conditions=conditions, simulated=virtual, is_looked_at_first=is_looked_at_first, **options)
    desk = desk_at(logbook)
    book = open_for_take(desk, name, conditions)  # a slip is said before a card is looked for
    source = virtual_source(book, rig_of(book), conditions) if virtual else card_of(rig_of(book))
    return with_next_step(make_take(desk, order, source=source).reply, book, name)
