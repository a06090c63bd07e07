"""Options that several commands share."""

import functools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fit.desk.command.console import desk_at

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome
    from measure.logbook.conditions import Conditions

Command = TypeVar("Command", bound=Callable[..., Any])
Ask = Callable[..., "Outcome"]
FILE = click.Path(path_type=Path, dir_okay=False)


def shared_options(command: Command) -> Command:
    """Add the options that every command has."""
    place = click.Path(path_type=Path, file_okay=False)
    command = click.option("--debug", is_flag=True, help="Show where an error came from.")(command)
    command = click.option(
        "--logbook", type=place, default=Path(), metavar="DIR", help="Folder of rig and takes; default: the current one."
    )(command)
    return click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout, nothing else there.")(command)


def temperature_option(command: Command) -> Command:
    """Add the option that says how warm the winding was.

    Parameters
    ----------
    command : callable
        A command's function; it gets `temperature_c`.
    """
    text = "Of the winding: room temperature beside it, for example 24C."
    return click.option("--temperature", "temperature_c", metavar="T", callback=_read_temperature, help=text)(command)


def conditions_of(options: dict[str, Any]) -> "Conditions":
    """Take what a person states of a take out of the options of a command.

    Parameters
    ----------
    options : dict
        By the names that `coilsweep take` and `coilsweep import` give them; the others stay.

    Raises
    ------
    ValueError
        If one of them cannot be read.
    """
    from fit.circuit.controls import split_settings
    from measure.logbook.conditions import Conditions

    own = ("method", "added", "coil_moved", "series_resistor", "temperature_c", "note")
    controls = split_settings(options.pop("settings"))
    return Conditions(controls=controls, coil_over=options.pop("coil_over") or None, **{key: options.pop(key) for key in own})


def _read_temperature(context: click.Context, option: click.Parameter, typed: str | None) -> float | None:
    del context, option
    if typed is None:
        return None
    from measure.quantity import parse_temperature

    try:
        return parse_temperature(typed)
    except ValueError as err:
        msg = f"--temperature: {err}"
        raise ValueError(msg) from None


def output_options(*pictures: tuple[str, str, str]) -> Callable[[Ask], Ask]:
    """Add the options that write an answer's pictures, and the answer as a page.

    Parameters
    ----------
    *pictures : tuple of (str, str, str)
        Option, figure of the outcome, help; for example ``("--plot", "verdict", "Picture of the verdict")``.

    Returns
    -------
    callable
        Adds the options to a command's function.
    """

    def add(command: Ask) -> Ask:
        @functools.wraps(command)
        def run(*args: Any, **options: Any) -> "Outcome":
            files = {figure: options.pop(f"{figure}_picture") for _, figure, _ in pictures}
            page = options.pop("page_file")
            return _write(command(*args, **options), options["logbook"], files=files, page=page)

        text = "The answer as a page with its pictures, for your browser; an older one is replaced."
        added = click.option("--page", "page_file", type=FILE, metavar="FILE.html", callback=_require_page, help=text)(run)
        for flag, figure, help_text in reversed(pictures):
            name, told = f"{figure}_picture", f"{help_text}, .png or .svg."
            added = click.option(flag, name, type=FILE, metavar="FILE.png", callback=_require_picture, help=told)(added)
        return added

    return add


def _write(outcome: "Outcome", logbook: Path, *, files: dict[str, Path | None], page: Path | None) -> "Outcome":
    if page is None and not any(files.values()):
        return outcome
    from fit.desk.book.output import write_figure, write_page

    desk = desk_at(logbook)
    for figure, file in files.items():
        if file is not None:
            if figure not in outcome.figures:
                msg = f"{file}: this answer has no such picture, so it was not written"
                raise ValueError(msg)
            write_figure(desk, outcome.figures[figure], file)
    return outcome if page is None else write_page(desk, outcome, page)


def _require_picture(context: click.Context, option: click.Parameter, file: Path | None) -> Path | None:
    del context, option
    if file is not None:
        from fit.desk.book.output import require_picture

        require_picture(file)
    return file


def _require_page(context: click.Context, option: click.Parameter, file: Path | None) -> Path | None:
    del context, option
    if file is not None:
        from fit.desk.book.output import require_page

        require_page(file)
    return file


class SeveralNames(click.Command):
    """A command whose options --before and --after take every name up to the next option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the option before each of its names, as click wants it."""
        spread: list[str] = []
        option, is_first = "", False
        for word in args:
            if word in ("--before", "--after"):
                option, is_first = word, True
            elif word.startswith("-"):
                option = ""
                spread.append(word)
            elif option:
                spread += [option, word]
                is_first = False
            else:
                spread.append(word)
        if is_first:
            spread.append(option)  # without a name: click says so
        return super().parse_args(ctx, spread)
