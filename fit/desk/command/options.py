"""Options that several commands share."""

import functools
import itertools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fit.desk.command.amounts import Amount
from fit.desk.command.console import desk_at

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome
    from fit.desk.book.variant import Change
    from measure.logbook.conditions import Conditions

Command = TypeVar("Command", bound=Callable[..., Any])
Ask = Callable[..., "Outcome"]
CHANNEL = Amount(low=1, is_whole=True)
RATE = Amount("Hz", 8000, 768000, is_whole=True)
WINDING_TEMPERATURE = "Of the winding: room temperature beside it, for example 24C."
FILE = click.Path(path_type=Path, dir_okay=False)
VERSUS, MOST_VERSUS = "--versus", 2


def shared_options(command: Command) -> Command:
    """Add the options that every command has."""
    place = click.Path(path_type=Path, file_okay=False)
    command = click.option("--debug", is_flag=True, help="Show where an error came from.")(command)
    command = click.option(
        "--logbook", type=place, default=Path(), metavar="DIR", help="Folder of rig and takes; default: the current one."
    )(command)
    text = "Print as well what is folded away otherwise: the model, what a value rests on."
    command = click.option("--details", is_flag=True, expose_value=False, help=text)(command)
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


def change_options(settings_help: str) -> Callable[[Command], Command]:
    """Add the options that change an instrument; `change_of` takes them together.

    Parameters
    ----------
    settings_help : str
        What --set means where it stands.
    """

    def add(command: Command) -> Command:
        several: dict[str, Any] = {"multiple": True}
        options = (
            click.option("--set", "settings", metavar="CONTROL=VALUE", help=settings_help, **several),
            click.option("--change", "changes", metavar="PART=VALUE", help="For example capacitor.tone=10n.", **several),
            click.option(
                "--solder",
                "added",
                metavar="PLACE=PARTS",
                help='Solder in: "volume=1n2 + 150k" across a pot (a comma in parallel, a plus in series), jack=470p, '
                "bridge.hot:ground=220k between two points.",
                **several,
            ),
            click.option(
                "--move",
                "moved",
                metavar="LEAD=POINT",
                help="Solder elsewhere: tone.wiper=bridge.hot; or take off: tone.wiper=nothing.",
                **several,
            ),
            click.option("--layout", metavar="NAME", help="Another common wiring, with the parts of your instrument."),
            click.option("--instrument", type=FILE, metavar="OTHER.toml", help="Another instrument, instead of the logbook's."),
        )
        for option in reversed(options):
            command = option(command)
        return command

    return add


versus_option = click.option(
    VERSUS,
    "versus_marks",
    is_flag=True,
    help="What stands behind it (--set, --change, --solder, --move, --layout, --instrument) is another change, beside the first.",
)


def change_of(options: dict[str, Any]) -> "Change":
    """Take what is changed of an instrument out of the options of a command; the others stay."""
    from fit.desk.book.variant import Change

    return Change(**{key: options.pop(key) for key in ("settings", "changes", "added", "moved", "layout", "instrument")})


class SideBySide(click.Command):
    """A command whose words behind --versus state another change, to be set beside the first."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take what is changed behind each --versus for itself; all other words are read as without it.

        Raises
        ------
        click.UsageError
            If nothing stands behind it, or there are too many of them.
        """
        own = {name for option in _beside.params for name in option.opts}
        groups: list[list[str]] = [[]]
        words_left = iter(args)
        for word in words_left:
            if word == VERSUS:
                groups.append([])
            elif word in own:
                groups[-1] += [word, *itertools.islice(words_left, 1)]
            else:  # what is not of the change counts for all of them
                groups[-1 if word.partition("=")[0] in own else 0].append(word)
        first, *others = groups
        rest = super().parse_args(ctx, first)
        ctx.params.pop("versus_marks", None)
        if len(others) > MOST_VERSUS:
            msg = f"at most {MOST_VERSUS} changes stand beside the first"
            raise click.UsageError(msg, ctx)
        changes = []
        for words in others:
            if not words:
                msg = f"{VERSUS} needs a change behind it, for example {VERSUS} --change capacitor.tone=10n"
                raise click.UsageError(msg, ctx)
            with _beside.make_context(f"{ctx.info_name} … {VERSUS}", words, parent=ctx) as inner:
                changes.append(change_of(inner.params))
        ctx.params["versus"] = tuple(changes)
        return rest


@click.command("versus", add_help_option=False)
@change_options("As before it.")
def _beside(**options: Any) -> None:
    """State another change."""
    del options


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
            if figure not in outcome.figures:
                msg = f"{file}: this answer has no such picture, so it was not written"
                raise ValueError(msg)
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
