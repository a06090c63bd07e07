"""The command exciter, as it is typed."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fit.desk.command.console import desk_at
from fit.desk.command.options import output_options, shared_options, temperature_option

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome


@click.command()
@click.option("--turns", type=int, metavar="N", help="Of a coil there is; without it, a coil to wind is proposed.")
@click.option("--wire", metavar="WIRE", help='"AWG 32" or "0.2 mm", bare; for a coil to wind also just AWG or mm. Default: mm.')
@click.option("--former", metavar="MM", default="20", show_default=True, help="Diameter of the former, or 70x12 for a block.")
@click.option("--length", metavar="MM", default="8", show_default=True, help="Room for the winding along the axis.")
@click.option("--depth", metavar="MM", default="3", show_default=True, help="Room for the winding outwards.")
@click.option("--sense-resistor", metavar="R", help="Default: that of rig.toml, else 100; for a coil to wind, chosen.")
@click.option("--rating", metavar="WATT", default="0.25", show_default=True, help="Of the sense resistor.")
@click.option(
    "--source",
    type=click.Choice(["headphone", "line"]),
    default="headphone",
    show_default=True,
    help="Headphone: 30 Ω inside, for 16 Ω and more; line: 100 Ω inside, for 600 Ω and more (common practice).",
)
@click.option(
    "--source-level",
    metavar="V",
    default="1 V",
    show_default=True,
    help='With nothing connected: "1 V" rms, "1.4 V peak", "4 dBu".',
)
@click.option("--source-resistance", metavar="R", help="Inside the output, from its data sheet.")
@click.option("--minimum-load", metavar="R", help="The least that the output is made for, from its data sheet.")
@temperature_option("Of the coil, for example 24C; default: 20C.")
@click.option("--distance", metavar="MM", default="5", show_default=True, help="From the coil's face to the pickup's winding.")
@click.option("--pickup-turns", type=float, metavar="N", help="Of the pickup. Default: 8000, assumed.")
@click.option("--pickup-size", metavar="MM", help="Of its mean turn: 58x10 (assumed by default), or a diameter.")
@click.option("--pickup-height", metavar="MM", help="Of its winding. Default: 11, assumed.")
@click.option(
    "--at",
    multiple=True,
    metavar="NOTE|HZ",
    default=("100", "1k", "10k"),
    show_default=True,
    help="Where the pickup's voltage is told, for example E4 or 3k.",
)
@click.option("--corner", metavar="HZ", default="20k", show_default=True, help="Wanted of a coil to wind: no lower than this.")
@click.option("--current", metavar="A", help='Wanted of a coil to wind, rms: "5m".')
@click.option("--pickup-voltage", metavar="V", help='Wanted of a coil to wind, rms at 1 kHz: "20m".')
@output_options(("--plot", "levels", "Picture of the pickup's voltage"))
@shared_options
def exciter(*, as_json: bool, logbook: Path, debug: bool, **options: Any) -> "Outcome":
    """Say what an exciter does, or which one to wind for this output.

    Resistance, inductance, corner, current, heat, and the voltage to expect in the pickup; warnings where output, resistor or
    coil would be overloaded. Without --turns: turns, wire and sense resistor to take. Lengths are in millimetres.
    """
    del as_json, debug
    from fit.desk.questions.exciter import ExciterWish, plan_exciter

    return plan_exciter(desk_at(logbook), ExciterWish(**options))
