"""Words that people type for a command of another name: each is answered with a line that can be typed."""

import shlex

import click
import pytest

from fit.desk.command import near
from fit.desk.command.calibrate import calibrate
from fit.desk.command.main import coilsweep
from fit.desk.command.takes import takes
from tests.desk_bench import run, run_json

FAMILIES = {"": (near.COMMANDS, coilsweep), "takes": (near.TAKES, takes), "calibrate": (near.CALIBRATE, calibrate)}
EVERY = [(family, word) for family, (words, _) in FAMILIES.items() for word in words]


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        ("takes delete up", "coilsweep takes remove up"),
        ("takes rm up", "coilsweep takes remove up"),
        ("takes undo up", "coilsweep takes restore up"),
        ("takes show up", "coilsweep inspect up"),
        ("takes mv up down", "coilsweep takes rename up down"),
        ("takes edit up --add 1n", "coilsweep takes amend up --add 1n"),
        ("takes history", "coilsweep history"),
        ("delete up", "coilsweep takes remove up"),
        ("rename", "coilsweep takes rename OLD NEW"),
        ("find 'tone pot'", "coilsweep manual --find 'tone pot'"),
        ("manual find 'tone pot'", "coilsweep manual --find 'tone pot'"),
        ("manual search", "coilsweep manual --find WORD"),
        ("Record open", "coilsweep take open"),
        ("spice open", "coilsweep export --to spice"),
        ("measure --virtual", "coilsweep take NAME --virtual"),
        ("calibrate card", "coilsweep calibrate loopback"),
    ],
)
def test_a_near_word_is_answered_with_the_command(capsys, typed, line):
    code, out, err = run(capsys, *shlex.split(typed))
    assert (code, out) == (2, "")
    assert err.rstrip("\n").endswith(f": {line}")
    assert len(err.splitlines()) == 1


def test_the_answer_is_a_document_where_json_is_asked_for(capsys):
    code, document, _ = run_json(capsys, "takes", "rm", "up")
    assert (code, document["outcome"]) == (2, "error")
    assert document["error"]["message"].endswith("coilsweep takes remove up --json")


# A typing slip is left to the nearest name.
@pytest.mark.parametrize(("typed", "name"), [("histroy", "history"), ("takes renam", "rename"), ("calibrat", "calibrate")])
def test_a_slip_is_answered_with_the_nearest_name(capsys, typed, name):
    assert f"Did you mean '{name}'" in run(capsys, *typed.split())[2]


@pytest.mark.parametrize(("family", "word"), EVERY)
def test_every_line_that_is_named_begins_with_a_command_that_is_there(family, word):
    words, own = FAMILIES[family]
    assert word not in own.commands
    place, *rest = shlex.split(near.meant(words, word, []).removeprefix("coilsweep "))
    command = coilsweep.commands[place]
    if isinstance(command, click.Group) and rest[0] != "--help":
        command = command.commands[rest.pop(0)]
    options = {name for option in command.params for name in option.opts} | {"--help"}
    assert {one for one in rest if one.startswith("--")} <= options
