"""Words that no command has but that people type: which command does what they mean."""

import shlex
from collections.abc import Mapping

import click

# The last word in capitals stands for what was typed behind the word.
COMMANDS = {
    **dict.fromkeys(("remove", "rm", "delete", "del", "discard"), "takes remove NAME"),
    **dict.fromkeys(("rename", "mv"), "takes rename OLD NEW"),
    **dict.fromkeys(("amend", "edit", "mend", "fix", "set"), "takes amend NAME"),
    **dict.fromkeys(("restore", "undo", "undelete"), "takes restore NAME"),
    **dict.fromkeys(("list", "ls", "log"), "takes list"),
    **dict.fromkeys(("show", "view", "info", "cat"), "inspect NAME"),
    **dict.fromkeys(("find", "search", "grep"), "manual --find WORD"),
    **dict.fromkeys(("docs", "doc", "man", "readme"), "manual"),
    **dict.fromkeys(("glossary", "words"), "manual glossary"),
    **dict.fromkeys(("measure", "record", "capture"), "take NAME"),
    **dict.fromkeys(("draw", "drawing", "schematic"), "instrument --drawing FILE.svg"),
    **dict.fromkeys(("layout", "layouts", "guitar"), "instrument"),
    **dict.fromkeys(("setup", "config", "configure", "init"), "rig --ask"),
    **dict.fromkeys(("start", "wizard", "tutorial", "begin"), "guide"),
    **dict.fromkeys(("sweep", "signal"), "stimulus FILE.wav"),
    **dict.fromkeys(("analyse", "analyze", "pickup"), "fit NAME"),
    **dict.fromkeys(("html", "page"), "report"),
    **dict.fromkeys(("cards", "soundcard", "soundcards", "interfaces"), "devices"),
    **dict.fromkeys(("loopback",), "calibrate loopback"),
    **dict.fromkeys(("diff", "versus"), "compare --before NAME --after NAME"),
    **dict.fromkeys(("simulate", "what-if", "mod"), "predict --change capacitor.tone=10n"),
    **dict.fromkeys(("hear", "audition"), "listen IN.wav OUT.wav --change capacitor.tone=10n"),
    **dict.fromkeys(("spice", "csv", "touchstone"), "export --to {}"),
}
TAKES = {
    **dict.fromkeys(("rm", "delete", "del", "discard", "drop"), "takes remove NAME"),
    **dict.fromkeys(("mv", "move"), "takes rename OLD NEW"),
    **dict.fromkeys(("edit", "change", "mend", "fix", "set", "note"), "takes amend NAME"),
    **dict.fromkeys(("undo", "undelete", "unremove", "back"), "takes restore NAME"),
    **dict.fromkeys(("ls", "log", "all"), "takes list"),
    **dict.fromkeys(("show", "view", "info", "inspect"), "inspect NAME"),
    **dict.fromkeys(("add", "new", "make", "record"), "take NAME"),
    "import": "import NAME FILE.wav",
    "history": "history",
    "help": "takes --help",
}
CALIBRATE = {
    **dict.fromkeys(("card", "interface", "inputs"), "calibrate loopback"),
    **dict.fromkeys(("cable", "capacitance", "load"), 'calibrate input --through "100k ± 1%"'),
    **dict.fromkeys(("coil", "corner"), "calibrate exciter"),
    "help": "calibrate --help",
}
SEARCHES = ("find", "search", "grep")


def meant(near: Mapping[str, str], word: str, behind: list[str]) -> str | None:
    """Find the command line that a word may stand for.

    Parameters
    ----------
    near : mapping
        Word to command line; its words in capitals give way to what was typed behind the word.

    Examples
    --------
    >>> meant(TAKES, "rm", ["up 2"]), meant(TAKES, "rm", []), meant(TAKES, "twist", [])
    ("coilsweep takes remove 'up 2'", 'coilsweep takes remove NAME', None)
    """
    line = near.get(word.lower())
    if line is None:
        return None
    words = line.format(word.lower()).split(" ")
    if behind and behind[0].startswith("-"):
        words.append(shlex.join(behind))
    elif behind and words[-1].partition(".")[0].isupper():
        words = [*(one for one in words if not one.partition(".")[0].isupper()), shlex.join(behind)]
    return f"coilsweep {' '.join(words)}"


class Near(click.Group):
    """A family of commands that knows what people call them otherwise."""

    near: Mapping[str, str] = COMMANDS

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command.

        Raises
        ------
        click.UsageError
            If there is none of that name; what may be meant is said where it is known.
        """
        line = None if args[0] in self.commands else meant(self.near, args[0], args[1:])
        if line is not None:
            path = " ".join([*ctx.command_path.split()[1:], args[0]])
            msg = f'there is no command "{path[:60]}"; what is meant may be: {line}'
            raise click.UsageError(msg, ctx)
        return super().resolve_command(ctx, args)


class Searched(click.Command):
    """A command with --find, which people type without the dashes."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words.

        Raises
        ------
        click.UsageError
            If one of them is to be searched for, and --find is not there.
        """
        if args and args[0].lower() in SEARCHES:
            msg = f"words are searched for by: coilsweep {ctx.info_name} --find {shlex.join(args[1:]) or 'WORD'}"
            raise click.UsageError(msg, ctx)
        return super().parse_args(ctx, args)
