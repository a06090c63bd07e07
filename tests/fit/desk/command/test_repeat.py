"""The commands about the bench over time as they are typed."""

import pytest

from fit.desk.questions.check import CheckWish
from fit.desk.questions.repeat import RepeatWish
from tests.typed import catch, refused, typed


def test_repeat_hands_on_takes_and_dcr(monkeypatch, capsys, tmp_path):
    asked = catch(monkeypatch, "fit.desk.questions.repeat.repeat_takes")
    typed(capsys, "repeat", "a", "b", "--dcr", "6k ± 1%", "--logbook", tmp_path)
    assert asked.args[0].logbook == tmp_path
    assert asked.args[1] == RepeatWish(names=("a", "b"), dcr="6k ± 1%")


@pytest.mark.parametrize(
    ("words", "wish"),
    [
        (["drawer"], CheckWish(coil="drawer", names=(), dcr=None, quantity=None)),
        (["drawer", "a", "b", "--dcr", "6k"], CheckWish(coil="drawer", names=("a", "b"), dcr="6k", quantity=None)),
        (["drawer", "--quantity", "inductance"], CheckWish(coil="drawer", names=(), dcr=None, quantity="inductance")),
    ],
)
def test_the_first_word_of_check_is_the_coil(monkeypatch, capsys, words, wish):
    asked = catch(monkeypatch, "fit.desk.questions.check.check_coil")
    typed(capsys, "check", *words)
    assert asked.args[1] == wish


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["repeat"], "NAME"),
        (["check"], "COIL"),
        (["repeat", "a", "--plot", "x.jpg"], ".png"),
        (["check", "a", "--page", "x"], ".html"),
    ],
)
def test_wrong_words_are_refused(monkeypatch, capsys, words, says):
    caught = [catch(monkeypatch, f"fit.desk.questions.{place}") for place in ("repeat.repeat_takes", "check.check_coil")]
    assert says in refused(capsys, *words)
    assert [one.calls for one in caught] == [[], []]
