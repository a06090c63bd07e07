"""README.md: examples and their options exist, pictures and anchors are there, and the examples' recordings can be made."""

import re
from pathlib import Path

import click

from fit.desk.command.main import coilsweep
from tests import readme_guitars

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CONSOLE = "\n".join(re.findall(r"```console\n(.*?)```", README, flags=re.DOTALL)).replace("\\\n", " ")
PROSE = re.sub(r"```.*?```", "", README, flags=re.DOTALL)


EXEMPLIFIED = (
    *("guide", "devices", "level", "take", "calibrate"),
    *("rig", "exciter", "stimulus", "import", "inspect", "fit", "report"),
    *("instrument", "confirm", "wiring", "compare", "predict", "listen", "export", "repeat", "check", "schema"),
)


def anchor(heading):
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def test_commands_have_examples_with_options_that_exist():
    shown = re.findall(r"^(?:\$ | {4}).*?coilsweep ([a-z]+)(.*)$", CONSOLE, flags=re.MULTILINE)
    assert {name for name, _ in shown} >= set(EXEMPLIFIED)
    assert "coilsweep demo" in PROSE
    for name, rest in shown:
        command = coilsweep.commands[name]
        if isinstance(command, click.Group):
            command = command.commands[rest.split()[0]]
        known = {flag for parameter in command.params for flag in parameter.opts}
        typed = set(re.findall(r"(?<=\s)--[a-z-]+", re.sub(r'"[^"]*"', "", rest)))
        assert typed <= known, (name, typed - known)


def test_pictures_and_anchors_are_there():
    anchors = {anchor(heading) for heading in re.findall(r"^#+ (.*)$", PROSE, flags=re.MULTILINE)}
    links = re.findall(r"\]\(([^)\s]+)\)", README)
    assert len(links) > 30
    for link in links:
        assert link[1:] in anchors if link.startswith("#") else (ROOT / link).exists(), link


def test_recordings_of_the_examples_can_be_made(tmp_path):
    readme_guitars.main(tmp_path)
    made = {path.name for path in (*tmp_path.rglob("*.flac"), *(ROOT / "fixtures" / "recordings").rglob("*.flac"))}
    named = set(re.findall(r"(?<=\s)[a-z0-9-]+\.flac", CONSOLE))
    assert len(named) > 15
    assert named <= made
