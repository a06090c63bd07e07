"""How pickups can be joined: every arrangement once, and which of them levels fit, by the two rules."""

import pytest

from fit.answers.wiring.arrangement import Joined, arrangements, fit_levels, halved, is_split_alone, joined_text
from tests.drawn_wirings import nested


# Series-parallel networks of labelled parts: 1, 2, 8, 52 … (OEIS A006351, from memory).
def test_every_arrangement_is_there_once():
    for n, count in enumerate((1, 2, 8, 52), start=1):
        every = [nested(one) for one in arrangements(tuple("abcd"[:n]))]
        assert len(every) == len(set(every)) == count


def test_levels_of_an_arrangement_that_fits_nothing():
    fitting = fit_levels({"bridge": 0.2, "neck": 0.2}, std=0.01)
    assert (fitting.best, fitting.possible) == (None, ())
    assert fit_levels(dict.fromkeys("abcde", 0.2), std=0.01).best is None


ONE = {name: Joined(kind="one", name=name) for name in ("bridge", "middle", "neck")}


def joined(kind, *members):
    return Joined(kind=kind, members=tuple(ONE[one] if isinstance(one, str) else one for one in members))


# In parallel levels add up to 1; in series each keeps its own.
@pytest.mark.parametrize(
    ("levels", "best"),
    [
        ({"bridge": 0.55, "neck": 0.45}, joined("parallel", "bridge", "neck")),
        ({"bridge": 0.96, "neck": 0.98}, joined("series", "bridge", "neck")),
        ({"bridge": 0.33, "middle": 0.36, "neck": 0.31}, joined("parallel", "bridge", "middle", "neck")),
        ({"bridge": 0.97, "middle": 0.95, "neck": 0.96}, joined("series", "bridge", "middle", "neck")),
        # 1 of its own, in series with two that share
        ({"bridge": 0.96, "middle": 0.4, "neck": 0.57}, joined("series", "bridge", joined("parallel", "middle", "neck"))),
        # two in series beside a third one: 0.4 each, and 0.6
        ({"bridge": 0.6, "middle": 0.4, "neck": 0.4}, joined("parallel", "bridge", joined("series", "middle", "neck"))),
        ({"neck": 0.95}, ONE["neck"]),
    ],
)
def test_levels_by_the_two_rules(levels, best):
    found = fit_levels(levels, std=0.01)
    assert nested(found.best) == nested(best)
    assert found.possible == (found.best,)


# A single pickup's level may be from 0.82 less 0.15 on, and the uncertainty of the levels more.
@pytest.mark.parametrize(
    ("level", "std", "is_found"),
    [(0.68, 0.0, True), (0.66, 0.0, False), (0.66, 0.02, True), (1.22, 0.0, True), (1.24, 0.0, False)],
)
def test_how_badly_a_level_may_fit(level, std, is_found):
    assert bool(fit_levels({"bridge": level}, std=std).possible) is is_found


def test_levels_between_two_arrangements_leave_both():
    # 0.7 each: 1.4 in parallel is 0.26 too much, 0.7 in series 0.14 too little, which is believed
    found = fit_levels({"bridge": 0.71, "neck": 0.71}, std=0.0)
    assert nested(found.best) == nested(joined("series", "bridge", "neck"))
    both = fit_levels({"bridge": 0.71, "neck": 0.71}, std=0.1)
    assert both.best is None
    assert [one.kind for one in both.possible] == ["series", "parallel"]


def test_an_unknown_level_may_be_anything():
    found = fit_levels({"bridge": 0.4, "neck": None}, std=0.01)
    assert [nested(one) for one in found.possible] == [nested(joined("parallel", "bridge", "neck"))]
    likely = fit_levels({"bridge": 0.97, "neck": None}, std=0.01).possible  # at least 0.25 beside it are 0.08 too much
    assert [one.kind for one in likely] == ["series", "parallel"]


def test_a_split_pickup_leaves_its_half():
    # Half of the bridge has 0.5 alone; in series with the neck it keeps that.
    found = fit_levels({"bridge": 0.5, "neck": 0.97}, std=0.01, halves={"bridge": (0.5,)})
    assert joined_text(found.best) == "half of bridge in series with neck"
    assert halved(found.best) == ("bridge",)
    assert fit_levels({"bridge": 0.5, "neck": 0.97}, std=0.01).best is None
    # where both ways fit alike, the one without a split comes first
    both = fit_levels({"bridge": 0.97}, std=0.0, halves={"bridge": (0.99,), "middle": (0.5,), "neck": ()})
    assert [one.kind for one in both.possible] == ["one", "half"]


def test_arrangements_in_words():
    text = joined_text(joined("series", "bridge", joined("parallel", "middle", Joined(kind="half", name="neck"))))
    assert text == "bridge in series with (middle parallel to half of neck)"
    assert halved(joined("parallel", "bridge", "neck")) == ()


def test_arrangements_that_differ_in_what_is_split_alone():
    split = joined("parallel", Joined(kind="half", name="bridge"), "neck")
    assert is_split_alone([joined("parallel", "bridge", "neck"), split])
    assert not is_split_alone([joined("series", "bridge", "neck"), split])
    assert not is_split_alone([])
