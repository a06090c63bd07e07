"""The command manual: topics, a topic, a search, a page; nothing heavy for any of them."""

import json
import subprocess
import sys

import pytest

from fit.desk.show.manual.topics import TOPICS, purpose
from tests.desk_bench import run


def test_without_a_topic_each_has_its_line(capsys):
    code, out, err = run(capsys, "manual")
    assert (code, err) == (0, "")
    rows = [line.split(maxsplit=1) for line in out.splitlines() if line.startswith("  ")]
    assert rows == [[topic, purpose(topic)] for topic in TOPICS]
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize(("word", "first"), [("wiring", "WIRING"), ("stimulus", "RECORDINGS BY OTHER SOFTWARE")])
def test_a_topic_is_shown_by_its_name_or_a_commands(capsys, word, first):
    code, out, err = run(capsys, "manual", word)
    assert (code, out.splitlines()[0], err) == (0, first, "")


def test_another_topic_is_refused_in_one_line(capsys):
    code, out, err = run(capsys, "manual", "exit codes")
    assert (code, out) == (2, "")
    assert err.startswith('coilsweep: the manual has no topic "exit codes".')
    assert len(err.splitlines()) == 1


def test_a_word_is_found_with_its_topics(capsys):
    code, out, _ = run(capsys, "manual", "--find", "lethal")
    assert code == 0
    assert out.splitlines()[0] == "cautions"
    assert "lethal" in out.splitlines()[1]


def test_a_word_that_is_nowhere_is_said_to_be(capsys):
    code, out, err = run(capsys, "manual", "--find", "xyzzy")
    assert (code, err) == (0, "")
    assert out == "The manual says nothing of “xyzzy”. coilsweep manual lists its topics.\n"


def test_a_word_is_found_in_one_topic(capsys):
    _, out, _ = run(capsys, "manual", "--find", "resonance")
    _, one, _ = run(capsys, "manual", "glossary", "--find", "resonance")
    assert one.splitlines()[0] == "glossary"
    assert len(one) < len(out)
    assert one.rstrip() in out


def test_a_search_is_no_page(capsys, tmp_path):
    code, out, err = run(capsys, "manual", "--find", "hum", "--page", tmp_path / "a.html")
    assert (code, out, err) == (2, "", "coilsweep: --find and --page do not go together\n")


def test_no_word_is_refused(capsys):
    code, out, err = run(capsys, "manual", "--find", " ")
    assert (code, out, err) == (2, "", "coilsweep: --find needs a word\n")


@pytest.mark.parametrize("words", [(), ("wiring",)])
def test_a_page_is_written(capsys, tmp_path, words):
    file = tmp_path / "manual.html"
    code, out, err = run(capsys, "manual", *words, "--page", file)
    assert (code, out, err) == (0, "", f"Written: {file}\n")
    text = file.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert ('id="wiring"' in text) == (not words)


def test_another_kind_of_page_is_refused(capsys, tmp_path):
    code, _, err = run(capsys, "manual", "--page", tmp_path / "manual.txt")
    assert code == 2
    assert "give a name that ends in .html" in err
    assert not (tmp_path / "manual.txt").exists()


def test_nothing_heavy_is_loaded():
    heavy = ("scipy", "matplotlib", "lmfit", "soundfile", "sounddevice")
    script = "import sys; from fit.desk.command.main import main; main(['manual', 'cautions']); "
    script += f"import json; print(json.dumps([name for name in {heavy} if name in sys.modules]))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("CAUTIONS\n")
    assert json.loads(done.stdout.splitlines()[-1]) == []
