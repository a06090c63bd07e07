"""Which cases a day draws, and which of the slow tests it runs: all of them within some days, none twice."""

from collections import Counter

import pytest

from tests import draws
from tests.draws import N_PARTS, PER_DAY, is_of_today, judge, seeds, some

NAMES = [f"fit/test_{number}.py::test_it[{number}]" for number in range(200)]


def test_every_slow_test_comes_once_in_so_many_days():
    for first in (0, 739_948):
        days = [[name for name in NAMES if is_of_today(name, day)] for day in range(first, first + N_PARTS)]
        assert sorted(name for names in days for name in names) == sorted(NAMES)
        assert min(map(len, days)) > 15  # and no day has nearly all


def test_each_day_has_cases_of_its_own_and_what_once_failed(monkeypatch):
    drawn = []
    for day in (739_948, 739_949):
        monkeypatch.setattr(draws, "DAY", day)
        monkeypatch.setattr(draws, "IS_WHOLE", True)
        drawn += seeds(PER_DAY, everyday=10)
        monkeypatch.setattr(draws, "IS_WHOLE", False)
        assert seeds(PER_DAY, everyday=3, kept=(5,)) == [5, day * PER_DAY, day * PER_DAY + 1, day * PER_DAY + 2]
    assert max(Counter(drawn).values()) == 1


@pytest.mark.parametrize(("n_bad", "is_missed"), [(0, False), (2, False), (3, True)])
def test_a_share_that_is_missed_by_chance_is_judged_by_more(monkeypatch, n_bad, is_missed):
    """10 cases with a bar at 1 in 10: two in the first ten may be chance, and are none where the next thirty hold one more."""
    monkeypatch.setattr(draws, "IS_WHOLE", False)
    bad = set(seeds(100, everyday=40)[: min(n_bad, 2)]) | set(seeds(100, everyday=40)[10 : 10 + 3 * (n_bad > 2)])
    sizes = []

    def check(chosen):
        sizes.append(len(chosen))
        assert len(bad.intersection(chosen)) <= 0.1 * len(chosen)

    if is_missed:
        with pytest.raises(AssertionError):
            judge(check, 100, everyday=10)
    else:
        judge(check, 100, everyday=10)
    assert sizes == ([10] if n_bad == 0 else [10, 40])


def test_before_a_release_the_bar_is_that_of_all_cases(monkeypatch):
    monkeypatch.setattr(draws, "IS_WHOLE", True)
    sizes = []

    def check(chosen):
        sizes.append(len(chosen))
        raise AssertionError

    with pytest.raises(AssertionError):
        judge(check, 100, everyday=10)
    assert sizes == [100]


def test_some_values_are_for_the_quick_tests():
    chosen = some(range(5), 2)
    assert chosen[:2] == [0, 1]
    assert [one.values for one in chosen[2:]] == [(2,), (3,), (4,)]
    assert {mark.name for one in chosen[2:] for mark in one.marks} == {"long"}
