"""The family takes as it is typed: each option reaches the desk as what it means."""

import pytest

from tests.typed import catch, refused, typed


@pytest.fixture
def amended(monkeypatch):
    return catch(monkeypatch, "fit.desk.bench.mend.amend")


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        (["--add", "1n ± 1%"], {"added": "1n ± 1%"}),
        (["--add", ""], {"added": ""}),
        (["--set", "tone=0", "--set", "volume=7"], {"controls": {"tone": "0", "volume": "7"}}),
        (["--set", "tone=0", "--unset", "volume"], {"controls": {"tone": "0", "volume": None}}),
        (["--coil-over", "neck", "--coil-moved"], {"coil_over": "neck", "coil_moved": True}),
        (["--coil-over", "", "--coil-stayed"], {"coil_over": None, "coil_moved": False}),
        (["--temperature", "24C"], {"temperature_c": 24.0}),
        (["--temperature", ""], {"temperature_c": None}),
        (["--item", " red one ", "--operator", ""], {"item": "red one", "operator": None}),
        (["--series-resistor", "100k ± 1%", "--note", "n"], {"series_resistor": "100k ± 1%", "note": "n"}),
        ([], {}),
    ],
)
def test_amend_hands_on_what_is_typed_alone(capsys, tmp_path, amended, words, changes):
    typed(capsys, "takes", "amend", "open", *words, "--logbook", tmp_path)
    desk, name, got = amended.args
    assert (desk.logbook, name, got) == (tmp_path, "open", changes)


@pytest.mark.parametrize("words", [[], ["list"], ["--item", "red one"], ["list", "--item", "red one"]])
def test_takes_alone_lists(monkeypatch, capsys, tmp_path, words):
    listed = catch(monkeypatch, "fit.desk.questions.takes.takes_of_logbook")
    typed(capsys, "takes", *words, "--logbook", tmp_path)
    assert listed.args[0].logbook == tmp_path
    assert listed.options == {"item": "red one" if "--item" in words else None}


@pytest.mark.parametrize(("word", "names"), [("remove", ["a"]), ("restore", ["a"]), ("rename", ["a", "b"])])
def test_names_are_handed_on(monkeypatch, capsys, tmp_path, word, names):
    mended = catch(monkeypatch, f"fit.desk.bench.mend.{word}")
    typed(capsys, "takes", word, *names, "--logbook", tmp_path)
    assert (mended.args[0].logbook, [*mended.args[1:]]) == (tmp_path, names)


def test_help_tells_the_family(capsys):
    out = typed(capsys, "takes", "--help")
    assert all(word in out for word in ("list", "amend", "remove", "restore", "rename"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["amend"], "NAME"),
        (["amend", "a", "--set", "tone"], "CONTROL=VALUE"),
        (["amend", "a", "--temperature", "75F"], "--temperature"),
        (["rename", "a"], "NEW"),
        (["mend"], "mend"),
    ],
)
def test_wrong_words_are_refused(capsys, amended, words, says):
    assert says in refused(capsys, "takes", *words)
    assert amended.calls == []
