"""All commands speak in one manner: one option, one meaning, one kind of value, wherever it occurs."""

import re

import click
import msgspec
import pytest

from fit.desk.command.main import coilsweep
from fit.desk.show.document.catalogue import DOCUMENTS, json_schema, schema_name


def walk(group=coilsweep, prefix=""):
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from walk(command, f"{prefix}{name} ")
        else:
            yield f"{prefix}{name}", command


COMMANDS = dict(walk())
OPTIONS = [(command, one) for command, made in COMMANDS.items() for one in made.params if isinstance(one, click.Option)]
# What is stated of a file: the same word, with what it needs to know behind it.
ALSO_WITH_PARTS = {("calibrate input", "--from")}
# A file may hold no reference at all.
ALSO_NONE = {("import", "--reference-channel")}


def kind(option):
    shown = getattr(option.type, "unit", None)
    return (option.metavar, type(option.type).__name__, shown, option.is_flag)


def flags():
    return sorted({one.opts[0] for _, one in OPTIONS})


@pytest.mark.parametrize("flag", flags())
def test_an_option_takes_one_kind_of_value_in_all_commands(flag):
    kinds = {kind(one) for command, one in OPTIONS if one.opts[0] == flag and (command, flag) not in ALSO_WITH_PARTS | ALSO_NONE}
    assert len(kinds) == 1, kinds


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_what_all_have(command):
    has = {one.opts[0] for name, one in OPTIONS if name == command}
    assert {"--json", "--logbook", "--debug"} <= has or command in ("schema", "manual")
    writes = {"--plot", "--page", "--out", "--true-level"} & has
    assert not writes or "--replace" in has


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_in_words_and_fits_a_terminal(command):
    context = click.Context(COMMANDS[command], info_name=f"coilsweep {command}", terminal_width=80, max_content_width=80)
    text = COMMANDS[command].get_help(context)
    assert max(map(len, text.splitlines())) <= 80
    assert not re.search(r"\d<=?x|x>=?\d|FLOAT RANGE|INTEGER RANGE", text), "ranges in words"
    undocumented = [one.opts[0] for name, one in OPTIONS if name == command and not one.help]
    assert undocumented == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_document_begins_in_the_same_way(name):
    schema = json_schema(name)
    assert schema_name(name).startswith(f"coilsweep.{name}/")
    for form in DOCUMENTS[name]:
        fields = {one.encode_name for one in msgspec.structs.fields(form)}
        assert {"outcome", "written"} <= fields
        if "takes" in fields and name != "takes":  # that is the list itself
            kind = schema["$defs"][form.__name__]["properties"]["takes"]
            assert kind["items"]["$ref"].endswith("NamedTake")
        assert name == "takes" or not {"take", "page"} & fields
