"""README.md and the manual: short enough, what is typed exists, every command and topic has its place, links lead somewhere."""

import json
import re
from itertools import pairwise

import click
import pytest

from fit.desk.command.main import coilsweep
from fit.desk.show.document.catalogue import json_schema
from fit.desk.show.manual.markdown import Code, Grid, Heading, Image, Items, Paragraph, parse, spans
from fit.desk.show.manual.pages import anchor
from fit.desk.show.manual.topics import TOPICS, command_topics, page
from fit.desk.show.words import CAUTIONS, WORDS
from tests import readme_guitars
from tests.manual_pages import FOLDER, MEANWHILE, PAGES, examples, is_there, text_of
from tests.places import TOP

README = text_of("README")
TYPED = [(one, command.typed) for one in PAGES for example in examples(one) if example.is_run for command in example.commands]
LONGEST = 350  # lines
TEST_COMMAND = "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/python -m pytest -q -n auto"
DEMO_COMMAND = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/coilsweep demo"
SAID = ("unplug", "lethal", "mains", "speaker", "earth", "phantom", "headphones", "monitor", "rating")
KNOWN = {"before": MEANWHILE, "after": PAGES}
CAUTIONED = (*SAID, "eye protection", "ventilation")


def calls():
    """Each coilsweep that is typed somewhere: page, command, and the words behind it."""
    for where, typed in TYPED:
        for found in re.finditer(r"(?:^|\s)coilsweep ([a-z]+)([^;|>]*)", typed.replace("\\\n", " ")):
            yield where, found[1], found[2]


def texts_of(blocks):
    """Every line of prose of a page."""
    for block in blocks:
        match block:
            case Heading(_, text) | Paragraph(text):
                yield text
            case Items(items):
                yield from (text for _, text in items)
            case Grid(head, rows):
                yield from (cell for row in (head, *rows) for cell in row)
            case _:
                pass


def test_readme_is_short_and_names_its_two_commands():
    lines = README.splitlines()
    assert len(lines) <= LONGEST
    assert f"    {TEST_COMMAND}" in lines
    assert f"    {DEMO_COMMAND}" in lines


def test_readme_and_manual_hold_all_cautions():
    told = README.split("## Cautions")[1].split("\n## ")[0].lower()
    assert [word for word in CAUTIONED if word not in told] == []
    said = " ".join(CAUTIONS).lower()
    assert [word for word in SAID if word not in said] == []
    manual = text_of("cautions").lower()
    assert [word for word in CAUTIONED if word not in manual] == []


def test_what_is_typed_has_options_that_exist():
    n = 0
    for where, name, rest in calls():
        command = coilsweep.commands[name]
        if isinstance(command, click.Group):
            word = rest.split()[0] if rest.split() else ""
            command = command.commands.get(word, command)
        known = {flag for parameter in command.params for flag in (*parameter.opts, *parameter.secondary_opts)}
        typed = set(re.findall(r"(?<=\s)--[a-z-]+", re.sub(r'"[^"]*"', "", rest)))
        assert typed <= known, (where, name, typed - known)
        n += 1
    assert n > 80


def test_options_in_prose_exist():
    known = {"--help", "--version"}
    for command in coilsweep.commands.values():
        for one in (command, *getattr(command, "commands", {}).values()):
            known |= {flag for parameter in one.params for flag in (*parameter.opts, *parameter.secondary_opts)}
    wanted = [what for one in PAGES for example in examples(one) for kind, what in example.notes if kind == "needs"]
    known |= {word for what in wanted for word in what.split()[1:]}  # of what is still to come
    for one in PAGES:
        if any(kind == "needs" and not is_there(what) for example in examples(one) for kind, what in example.notes):
            continue  # of a command that is still to come
        prose = re.sub(r"```.*?```", "", text_of(one), flags=re.DOTALL)
        named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", re.sub(r"<!--.*?-->", "", prose)))
        assert named <= known, (one, named - known)


def test_each_command_has_its_place_and_an_example():
    told = command_topics()
    assert set(coilsweep.commands) <= set(told)
    assert set(told.values()) <= set(TOPICS)
    shown = {command for one in PAGES for example in examples(one) for command in names_typed(example)}
    assert set(coilsweep.commands) - shown <= {"demo", "manual", "selftest"}  # what it prints tells versions
    assert "coilsweep demo" in README
    assert "coilsweep manual" in README


def names_typed(example):
    return {name for command in example.commands for name in re.findall(r"(?:^|\s)coilsweep ([a-z]+)", command.typed)}


def test_each_topic_has_a_page_and_each_page_is_a_topic():
    assert sorted(TOPICS) == sorted(path.stem for path in FOLDER.glob("*.md"))
    assert len(set(TOPICS)) == len(TOPICS)


def test_the_document_shown_has_keys_that_exist():
    shown = json.loads(
        next("\n".join(block.lines) for block in page("json") if isinstance(block, Code) and block.language == "json")
    )
    told = json_schema("fit")["$defs"]["FitDocument"]["properties"]
    assert shown["schema"] == "coilsweep.fit/1"
    assert len(shown) > 10
    assert set(shown) <= set(told)


def test_topics_that_are_named_exist():
    named = {word for name in PAGES for word in re.findall(r"`coilsweep\s+manual\s+([a-z][a-z-]*)", text_of(name))}
    assert len(named) > 4
    assert named <= set(TOPICS)
    answered = next(
        block for block in parse(README) if isinstance(block, Grid) and block.head == ("question", "command", "manual")
    )
    for _, commands, topics in answered.rows:
        assert {span.text for span in spans(topics) if span.kind == "code"} <= set(TOPICS)
        assert {span.text for span in spans(commands) if span.kind == "code"} <= {*coilsweep.commands, "--json"}


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_begins_with_its_title_and_what_it_is_for(topic):
    first, second, *others = page(topic)
    assert isinstance(first, Heading)
    assert first.level == 1
    assert isinstance(second, Paragraph)
    assert not any(isinstance(block, Heading) and block.level == 1 for block in others)


@pytest.mark.parametrize("name", PAGES)
def test_links_and_pictures_lead_somewhere(name):
    blocks = parse(text_of(name))
    for text in texts_of(blocks):
        for span in spans(text):
            if span.kind != "link":
                continue
            target, _, place = span.target.partition("#")
            file = (TOP if name == "README" else FOLDER) / (target or f"{name}.md")
            assert file.exists(), span.target
            headings = parse(file.read_text(encoding="utf-8")) if place else ()
            assert not place or place in {anchor(block.text) for block in headings if isinstance(block, Heading)}
    for block in blocks:
        if isinstance(block, Image):
            assert ((TOP if name == "README" else FOLDER) / block.file).is_file()
            assert block.text


def test_each_picture_is_shown():
    shown = {file for one in PAGES for file in re.findall(r"pictures/([\w-]+\.\w+)\)", text_of(one))}
    assert shown == {path.name for path in (FOLDER / "pictures").iterdir()}


@pytest.mark.parametrize("name", PAGES)
def test_examples_can_be_read(name):
    for example in examples(name):
        assert example.commands, (name, example.begin)
        assert all(what in KNOWN[kind] for kind, what in example.notes if kind in KNOWN)
    typed = [line for block in parse(text_of(name)) if isinstance(block, Code) for line in block.lines if line.startswith("$ ")]
    assert len(typed) == sum(len(example.commands) for example in examples(name))


@pytest.mark.long
def test_recordings_of_the_examples_can_be_made(tmp_path):
    readme_guitars.main(tmp_path)
    made = {path.name for path in (*tmp_path.rglob("*.flac"), *(TOP / "fixtures" / "recordings").rglob("*.flac"))}
    named = {name for _, typed in TYPED for name in re.findall(r"(?<=\s)[a-z0-9-]+\.flac", typed)}
    assert len(named) > 15
    assert named <= made


def test_the_glossary_is_that_of_the_pages_and_in_order():
    grid = next(block for block in page("glossary") if isinstance(block, Grid))
    assert dict(grid.rows) == WORDS
    keys = [word.lower().removeprefix("σ, ") for word, _ in grid.rows]
    assert all(one <= other for one, other in pairwise(keys))
