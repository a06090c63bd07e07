"""How results spread within placements, between them and between days: drawn benches, laws, and whether intervals hold."""

import numpy as np
import pytest

from fit.answers.figures import Contribution
from fit.answers.repeat.repeatability import Result, analyse_nested, estimate_spreads, judge_repeatability, own_part

# Sets in each placement, placements in each day.
DESIGNS = {
    "one day": [[2] * 8],
    "balanced": [[2, 2, 2]] * 6,
    "staggered": [[2, 1]] * 10,
    "unbalanced": [[2, 3, 1], [1, 1], [2, 2, 2, 4], [3], [1, 2]],
    "single sets": [[1, 1, 1]] * 6,
    "one placement a day": [[3]] * 8,
}
SPREADS = {"repeat": 1.0, "placement": 2.0, "day": 1.5}


def draw(rng, design, *, spreads=SPREADS):
    """Value, day and placement of each set."""
    rows, placement = [], 0
    for day, placements in enumerate(design):
        of_day = rng.normal(0, spreads["day"])
        for n_sets in placements:
            of_placement = rng.normal(0, spreads["placement"])
            rows += [(100 + of_day + of_placement + rng.normal(0, spreads["repeat"]), day, placement) for _ in range(n_sets)]
            placement += 1
    return tuple(list(column) for column in zip(*rows, strict=True))


def levels_of(rows):
    return analyse_nested(rows[0], {"day": rows[1], "placement": rows[2]})


def results(rows, *, own_std, stated_std=None):
    stated = own_std if stated_std is None else stated_std
    return [
        Result(day=day, placement=place, value=value, stated_std=stated, own_std=own_std, stated_half=1.96 * stated)
        for value, day, place in zip(*rows, strict=True)
    ]


@pytest.mark.long
@pytest.mark.parametrize("name", DESIGNS)
def test_drawn_spreads_lie_within_their_intervals(name):
    """95 % intervals hold the truth in 90 to 99 % of drawn benches, for each spread and for all of it."""
    hits: dict[tuple[str, ...], list[bool]] = {}
    for seed in range(250):
        spreads, together = estimate_spreads(levels_of(draw(np.random.default_rng([seed, len(name)]), DESIGNS[name])))
        truths = {sources: np.sqrt(sum(SPREADS[one] ** 2 for one in sources)) for sources in spreads}
        for sources, spread in spreads.items():
            hits.setdefault(sources, []).append(spread.low <= truths[sources] <= spread.high)
        whole = np.sqrt(sum(truth**2 for truth in truths.values()))
        hits.setdefault((), []).append(together.low <= whole <= together.high)
    assert {sources: np.mean(own) for sources, own in hits.items() if not 0.90 <= np.mean(own) <= 0.99} == {}


def test_what_a_design_does_not_tell_apart_stays_together():
    told = {
        name: list(estimate_spreads(levels_of(draw(np.random.default_rng(1), design)))[0]) for name, design in DESIGNS.items()
    }
    assert told["one day"] == [("placement",), ("repeat",)]
    assert told["balanced"] == told["staggered"] == told["unbalanced"] == [("day",), ("placement",), ("repeat",)]
    assert told["single sets"] == [("day",), ("placement", "repeat")]
    assert told["one placement a day"] == [("day", "placement"), ("repeat",)]
    assert list(estimate_spreads(levels_of(draw(np.random.default_rng(1), [[4]])))[0]) == [("repeat",)]
    assert list(estimate_spreads(levels_of(draw(np.random.default_rng(1), [[1]] * 4)))[0]) == [("day", "placement", "repeat")]


@pytest.mark.long
def test_sums_of_squares_add_up_and_expectations_are_those_of_many_draws():
    design, squares = DESIGNS["unbalanced"], []
    for seed in range(4000):
        rows = draw(np.random.default_rng([seed, 7]), design)
        levels = levels_of(rows)
        squares.append([level.mean_square for level in levels])
        total = np.sum((np.array(rows[0]) - np.mean(rows[0])) ** 2)
        assert sum(level.freedom * level.mean_square for level in levels) == pytest.approx(total, rel=1e-9)
    truth = np.array([SPREADS[name] ** 2 for name in ("day", "placement", "repeat")])
    expected = np.array([level.coefficients for level in levels]) @ truth
    assert np.mean(squares, axis=0) == pytest.approx(expected, rel=0.05)  # 4000 draws of 4 to 14 degrees of freedom: 1 to 2 %


def test_within_one_group_it_is_the_standard_deviation_with_the_interval_of_chi_square():
    from scipy.stats import chi2

    values = [1.0, 4.0, 2.0, 6.0, 7.0]
    spread = estimate_spreads(analyse_nested(values, {}))[0][("repeat",)]
    variance = np.var(values, ddof=1)
    assert spread.std == pytest.approx(np.sqrt(variance), rel=1e-12)
    assert (spread.low, spread.high) == pytest.approx(tuple(np.sqrt(4 * variance / chi2.ppf([0.975, 0.025], 4))), rel=1e-9)
    assert spread.freedom == 4


def test_a_negative_estimate_is_nothing_with_an_upper_end():
    """Placements that agree better than their repeats: ISO 5725-2 sets the variance between them to 0."""
    rows = ([1.0, 3.0, 3.2, 0.9, 2.5, 1.8], [0] * 6, [0, 0, 1, 1, 2, 2])
    spreads, together = estimate_spreads(levels_of(rows))
    assert spreads[("placement",)].std == spreads[("placement",)].low == spreads[("placement",)].freedom == 0.0
    assert spreads[("placement",)].high > 0
    assert together.std == spreads[("repeat",)].std


def test_values_that_do_not_differ_at_all():
    one = judge_repeatability(results(([2.0] * 4, [0] * 4, [0, 0, 1, 1]), own_std=0.1))
    assert one.together.std == 0.0
    assert (one.verdict, one.p_value, one.bench_std) == ("holds", 1.0, 0.1)


@pytest.mark.long
@pytest.mark.parametrize("name", ["one day", "unbalanced", "single sets"])
def test_right_intervals_are_seldom_called_too_narrow(name):
    """At 5 % of benches, and not more, where single results scatter just as is stated, repeats of a placement alike or not."""
    for spreads in ({"repeat": 1.0, "placement": 0.0, "day": 0.0}, {"repeat": 0.0, "placement": 1.0, "day": 0.0}):
        narrow = 0
        for seed in range(200):
            rows = draw(np.random.default_rng([seed, 3]), DESIGNS[name], spreads=spreads)
            narrow += judge_repeatability(results(rows, own_std=1.0)).verdict == "too narrow"
        assert narrow <= 19  # 10 expected, 3 σ more


def test_intervals_that_are_much_too_narrow_are_found():
    found = 0
    for seed in range(100):
        rows = draw(np.random.default_rng([seed, 4]), DESIGNS["balanced"])
        found += judge_repeatability(results(rows, own_std=0.4 * np.sqrt(7.25)), n_quantities=7).verdict == "too narrow"
    assert found > 95


def test_what_is_shared_stays_in_the_interval_of_one_result():
    """Root sum of squares of what sets share and of s_R where that is larger than what is stated for it; never narrower."""
    rows = draw(np.random.default_rng(6), DESIGNS["balanced"])
    wide = judge_repeatability(results(rows, own_std=9.0, stated_std=15.0))
    assert (wide.shared_std, wide.bench_std, wide.bench_half) == pytest.approx((12.0, 15.0, 1.96 * 15.0), rel=1e-12)
    narrow = judge_repeatability(results(rows, own_std=0.3, stated_std=0.5))
    assert narrow.shared_std == pytest.approx(0.4, rel=1e-12)
    assert narrow.bench_std == pytest.approx(np.hypot(0.4, narrow.together.std), rel=1e-12)
    assert narrow.bench_half > 1.96 * narrow.bench_std  # s_R rests on few degrees of freedom


@pytest.mark.long
def test_interval_of_one_result_holds_the_truth():
    """Of a further result on the same bench, whatever the intervals say that are stated: 90 to 99 %."""
    inside = []
    for seed in range(400):
        rng = np.random.default_rng([seed, 5])
        rows = draw(rng, DESIGNS["balanced"])
        shared = rng.normal(0, 2.0)
        one = judge_repeatability(results(rows, own_std=0.1, stated_std=np.hypot(2.0, 0.1)))
        further = 100 + shared + rng.normal(0, np.sqrt(7.25))
        inside.append(abs(further - 100) <= one.bench_half)
    assert 0.90 <= np.mean(inside) <= 0.99


def test_one_placement_judges_no_interval():
    one = judge_repeatability(results(([1.0, 1.4, 0.9], [0] * 3, [0] * 3), own_std=0.01))
    assert (one.together, one.verdict, one.p_value, one.bench_std) == (None, "not told", 1.0, 0.01)


def test_part_that_sets_do_not_share():
    budget = [
        ("dcr", 3.0),
        ("noise", 0.3),
        ("model floor", 0.4),
        ("added 1n ± 1% in plus", 2.0),
        ("gain of plus against open", 1.2),
    ]
    assert own_part([Contribution(source=source, contribution=one) for source, one in budget]) == pytest.approx(1.3, rel=1e-12)


def test_a_spread_needs_two():
    with pytest.raises(ValueError, match="1 value: a spread needs two"):
        analyse_nested([1.0], {})
    with pytest.raises(ValueError, match=r"shorter|longer"):
        analyse_nested([1.0, 2.0], {"day": [0]})
