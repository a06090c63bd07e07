"""Options that several commands share."""

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fit.desk.command.amounts import Amount
from fit.desk.command.console import desk_at

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome
    from measure.logbook.conditions import Conditions

Command = TypeVar("Command", bound=Callable[..., Any])
Ask = Callable[..., "Outcome"]
CHANNEL = Amount(low=1, is_whole=True)
RATE = Amount("Hz", 8000, 768000, is_whole=True)
WINDING_TEMPERATURE = "Of the winding: room temperature beside it, for example 24C."
FILE = click.Path(path_type=Path, dir_okay=False)


def shared_options(command: Command) -> Command:
    """Add the options that every command has."""
    place = click.Path(path_type=Path, file_okay=False)
    command = click.option("--debug", is_flag=True, help="Show where an error came from.")(command)
    command = click.option(
        "--logbook", type=place, default=Path(), metavar="DIR", help="Folder of rig and takes; default: the current one."
    )(command)
    return click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout, nothing else there.")(command)


def level_option(*, default: float, most: float = 1.0) -> Callable[[Command], Command]:
    """Make the option that says how loud a sweep or tone is."""
    amount = Amount(above=0, high=most)
    text = f"Peak over full scale, {amount.range_text()}."
    return click.option("--level", type=amount, metavar="X", default=default, show_default=True, help=text)


def sweep_options(command: Command) -> Command:
    """Add what a sweep may be told."""
    text = "Last frequency of the sweep; default: 0.46 × rate."
    command = click.option("--stop", "stop_hz", type=Amount("Hz", 1), metavar="HZ", help=text)(command)
    text = "First frequency of the sweep; default: 15 Hz."
    command = click.option("--start", "start_hz", type=Amount("Hz", 1), metavar="HZ", help=text)(command)
    text = "Length of the sweep, 0.5 to 300 s; default: 3 s, of silence 5 s."
    command = click.option("--duration", "duration_s", type=Amount("s", 0.5, 300), metavar="S", help=text)(command)
    return level_option(default=0.5)(command)


def temperature_option(text: str) -> Callable[[Command], Command]:
    """Make the option that says how warm something was; a command's function gets `temperature_c`, None where it is left out."""
    return click.option("--temperature", "temperature_c", metavar="T", callback=_read_temperature, help=text)


def circumstance_options(command: Command) -> Command:
    """Add the options that say what was measured, by whom, and how warm the winding was."""
    command = click.option("--operator", metavar="TEXT", help="Who makes the take.")(command)
    text = "What lies on the bench, for example a guitar's name; takes of several are told apart by it."
    return temperature_option(WINDING_TEMPERATURE)(click.option("--item", metavar="TEXT", help=text)(command))


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
    named: dict[str, Any] = {key: (options.pop(key) or "").strip() or None for key in ("coil_over", "item", "operator")}
    return Conditions(controls=controls, **named, **{key: options.pop(key) for key in own})


def _read_temperature(context: click.Context, option: click.Parameter, typed: str | None) -> float | None:
    del context, option
    return None if typed is None else read_temperature(typed)


def read_temperature(typed: str) -> float:
    """Read a temperature in °C as it was typed behind its option.

    Raises
    ------
    ValueError
        If it is none.
    """
    from measure.quantity import parse_temperature

    try:
        return parse_temperature(typed)
    except ValueError as err:
        msg = f"--temperature: {err}"
        raise ValueError(msg) from None


def replace_option(command: Command) -> Command:
    """Add the option that lets files be written over."""
    return click.option("--replace", is_flag=True, help="Write over files that are there already.")(command)


def output_options(*pictures: tuple[str, str, str], has_other_files: bool = False) -> Callable[[Ask], Ask]:
    """Add the options that write an answer's pictures, and the answer as a page.

    Parameters
    ----------
    *pictures : tuple of (str, str, str)
        Option, figure of the outcome, help; for example ``("--plot", "verdict", "Picture of the verdict")``.
    has_other_files : bool
        The command writes files of its own, and is told whether they may be replaced.

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
            may_replace = options["replace"] if has_other_files else options.pop("replace")
            _require_free([*files.values(), page], may_replace=may_replace)
            return _write(command(*args, **options), options["logbook"], files=files, page=page)

        text = "The answer as a page with its pictures, for your browser."
        added = replace_option(run)
        added = click.option("--page", "page_file", type=FILE, metavar="FILE.html", callback=_require_page, help=text)(added)
        for flag, figure, help_text in reversed(pictures):
            name, told = f"{figure}_picture", f"{help_text}, .png or .svg."
            added = click.option(flag, name, type=FILE, metavar="FILE.png", callback=_require_picture, help=told)(added)
        return added

    return add


def _write(outcome: "Outcome", logbook: Path, *, files: dict[str, Path | None], page: Path | None) -> "Outcome":
    if page is None and not any(files.values()):
        return outcome
    from fit.desk.book.output import with_written, write_figure, write_page

    desk = desk_at(logbook)
    for figure, file in files.items():
        if file is not None:
            write_figure(desk, outcome.figures[figure], file)
            outcome = with_written(outcome, file)
    return outcome if page is None else write_page(desk, outcome, page)


# Before the work, which may take long.
def _require_free(files: Sequence[Path | None], *, may_replace: bool) -> None:
    named = [file for file in files if file is not None]
    if not named:
        return
    from fit.desk.book.output import require_free

    for file in named:
        require_free(file, may_replace=may_replace)


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
