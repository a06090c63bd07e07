"""Is a part what is marked on it: verdict by the whole interval, codes, nearest preferred values."""

import pytest

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.figures import Estimate, NextTake
from measure.quantity import parse_quantity

MARKED = parse_quantity("33n ± 10%", "F")
ANOTHER = NextTake(add="", text="one more take with the tone control at 0", predicted_relative_std=0.003)


def measured(value, std, unit="F"):
    return Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std)


def test_a_capacitor_within_its_marking():
    answer = confirm_part("capacitor.tone", marked=MARKED, measured=measured(30.6e-9, 0.153e-9))
    assert answer.verdict == "within marking"
    assert answer.why == "the whole 95 % interval lies between 29.7 nF and 36.3 nF"
    assert answer.nearest_preferred == "33 nF (E6)"
    assert answer.code == "333K"
    assert answer.tolerance == pytest.approx(0.10)
    assert not answer.tolerance_assumed
    assert (answer.marked_low, answer.marked_high) == (pytest.approx(29.7e-9), pytest.approx(36.3e-9))
    assert answer.deviation == pytest.approx(-0.0727, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "std", "verdict", "why"),
    [
        (29.9e-9, 0.1e-9, "within marking", "between 29.7 nF and 36.3 nF"),
        (29.8e-9, 0.1e-9, "not resolved", "reaches 100 pF below the lower limit 29.7 nF"),
        (36.2e-9, 0.1e-9, "not resolved", "reaches 100 pF above the upper limit 36.3 nF"),
        (
            33.0e-9,
            2.5e-9,
            "not resolved",
            "reaches 1.6 nF below the lower limit 29.7 nF and 1.6 nF above the upper limit 36.3 nF",
        ),
        (
            29.6e-9,
            0.1e-9,
            "not resolved",
            "outside the marking, but its 95 % interval reaches 100 pF above the lower limit 29.7 nF",
        ),
        (
            36.4e-9,
            0.1e-9,
            "not resolved",
            "outside the marking, but its 95 % interval reaches 100 pF below the upper limit 36.3 nF",
        ),
        (29.4e-9, 0.1e-9, "outside marking", "lies below 29.7 nF"),
        (46.8e-9, 0.3e-9, "outside marking", "lies above 36.3 nF"),
    ],
)
def test_the_whole_interval_decides(value, std, verdict, why):
    answer = confirm_part("capacitor.tone", marked=MARKED, measured=measured(value, std))
    assert answer.verdict == verdict
    assert why in answer.why


def test_a_part_that_the_takes_do_not_tell():
    answer = confirm_part("capacitor.tone", marked=MARKED, measured=None, why_not="it hardly shows at tone=10", next_take=ANOTHER)
    assert (answer.verdict, answer.why) == ("not resolved", "it hardly shows at tone=10")
    assert answer.next_take is ANOTHER
    assert answer.measured is None
    assert answer.nearest_preferred is None
    assert answer.code == "333K"  # what would stand on it is known all the same


# A value that does not count gives no verdict, however well it would fit the marking; it is still shown.
def test_a_reason_against_the_value_wins():
    answer = confirm_part("capacitor.tone", marked=MARKED, measured=measured(33e-9, 1e-10), why_not="the model misfits")
    assert (answer.verdict, answer.why) == ("not resolved", "the model misfits")
    assert answer.measured is not None


def test_no_next_take_where_the_verdict_stands():
    assert confirm_part("capacitor.tone", marked=MARKED, measured=measured(33e-9, 1e-10), next_take=ANOTHER).next_take is None


@pytest.mark.parametrize(
    ("part", "text", "unit", "tolerance"),
    [("pot.volume", "500k", "Ω", 0.20), ("capacitor.tone", "33n", "F", 0.10), ("resistor.bleed", "150k", "Ω", 0.05)],
)
def test_a_marking_without_a_tolerance_takes_the_usual_one(part, text, unit, tolerance):
    marked = parse_quantity(text, unit)
    limit = marked.value * (1 - tolerance)
    for share, verdict in ((1.001, "within marking"), (0.999, "outside marking")):
        answer = confirm_part(part, marked=marked, measured=measured(share * limit, 1e-5 * limit, unit))
        assert answer.verdict == verdict
        assert answer.tolerance_assumed
        assert answer.tolerance == tolerance


def test_the_code_says_only_what_is_printed():
    assert confirm_part("pot.volume", marked=parse_quantity("500k", "Ω"), measured=None).code == "500K"
    assert confirm_part("pot.volume", marked=parse_quantity("500k ± 20%", "Ω"), measured=None).code == "500KM"
    assert confirm_part("capacitor.tone", marked=parse_quantity("33.17n ± 1%", "F"), measured=None).code is None


def test_a_part_without_a_marking_is_named_by_what_it_measures():
    answer = confirm_part("capacitor.tone", marked=None, measured=measured(21.6e-9, 0.1e-9))
    assert answer.verdict == "not resolved"
    assert "nothing is marked" in answer.why
    assert (answer.nearest_preferred, answer.code) == ("22 nF (E6)", "223")
    assert answer.tolerance is None


def test_what_is_no_part_is_refused():
    with pytest.raises(ValueError, match="no part with a marking"):
        confirm_part("inductance", marked=None, measured=None)
    with pytest.raises(ValueError, match="marked in F and measured in Ω"):
        confirm_part("pot.volume", marked=MARKED, measured=measured(5e5, 1e3, "Ω"))
