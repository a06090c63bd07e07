"""Takes reduced to a factor, and levels, signs and leakage by hand."""

import numpy as np
import pytest

from fit.answers.wiring.levels import Tone, WiringTake, is_word, measure_levels, reduce_take
from measure.response import Response

GRID_HZ = np.geomspace(50.0, 20e3, 400)


def take(value, *, frequency_hz=GRID_HZ, std=0.0, controls=None):
    covariance = np.zeros((len(frequency_hz), 2, 2)) + np.asarray(std**2 / 2)[..., None, None] * np.eye(2)
    response = Response(frequency_hz=frequency_hz, value=value, covariance=covariance)
    return WiringTake(name="one", pickup="bridge", controls=controls or {}, placement=3, response=response)


def tone(pickup, position, factor, *, std=1e-6, placement=0):
    return Tone(
        take=f"{pickup}-{position}", pickup=pickup, position=position, placement=placement, factor=factor, std=std,
        resonance_hz=None,
    )  # fmt: skip


def levels(*tones):
    return measure_levels({(one.pickup, one.position): one for one in tones})


def test_a_factor_is_what_is_left_of_a_slope():
    found = reduce_take(take(-2e-5j * GRID_HZ, controls={"volume": "10", "selector": "neck"}), "selector=neck")
    assert found.factor == pytest.approx(-2e-5, rel=1e-12, abs=0)
    assert (found.take, found.pickup, found.position, found.placement) == ("one", "bridge", "selector=neck", 3)
    assert found.turned == (("volume", "10"),)
    assert reduce_take(take(1j * GRID_HZ, controls={"way": "1"}), "", switches=frozenset({"way"})).turned == ()


def test_frequencies_count_by_their_height():
    # Weights f/Σf: of 100, 200 and 300 Hz one, two and three sixths; 99 and 501 Hz do not count.
    frequency_hz = np.array([99.0, 100.0, 200.0, 300.0, 501.0])
    slope = np.array([1e3, 6.0, 12.0, 18.0, 1e3])
    found = reduce_take(take(1j * frequency_hz * slope, frequency_hz=frequency_hz, std=0.6 * np.ones(5)), "")
    assert found.factor == pytest.approx((6 + 24 + 54) / 6, rel=1e-12)
    # σ/f of each, times its weight f/600: 0.6/600 from each of three
    assert found.std == pytest.approx(0.6 / 600 * np.sqrt(3), rel=1e-12)


def test_too_few_frequencies():
    with pytest.raises(ValueError, match='the take "one" has fewer than 3 frequencies between 100 and 500 Hz'):
        reduce_take(take(np.ones(3), frequency_hz=np.array([100.0, 500.0, 600.0])), "")
    assert reduce_take(take(np.ones(3), frequency_hz=np.array([100.0, 300.0, 500.0])), "").resonance_hz is None


def test_silence_has_no_factor():
    silent = WiringTake(name="one", pickup="bridge", controls={}, placement=0, response=None)
    assert reduce_take(silent, "").factor == 0


@pytest.mark.parametrize("quality", [1.2, 3.0])
def test_resonance_of_a_second_order_low_pass(quality):
    u = GRID_HZ / 4e3
    found = reduce_take(take(1j * GRID_HZ / (1 - u**2 + 1j * u / quality)), "")
    assert found.resonance_hz == pytest.approx(4e3, rel=0.02)  # frequencies lie 1.5 % apart


def test_what_shows_no_resonance():
    u = GRID_HZ / 4e3
    assert reduce_take(take(1j * GRID_HZ / (1 - u**2 + 1j * u / 0.72)), "").resonance_hz is None  # rises by 0.01 dB
    beyond = GRID_HZ / 30e3
    assert reduce_take(take(1j * GRID_HZ / (1 - beyond**2 + 1j * beyond / 3)), "").resonance_hz is None


@pytest.mark.parametrize(
    ("text", "told"), [("neck", True), ("7", False), ("7.5", False), ("35%", False), ("3-way", True), ("1.2.3", True)]
)
def test_words_and_rotations(text, told):
    assert is_word(text) is told


def test_levels_and_signs_with_what_leaks_taken_out():
    # Alone the bridge gives 2, the neck −1; the coil over each leaks a tenth and a twentieth into the other. Both: 0.6 and 0.4.
    found, references, leakage = levels(
        tone("bridge", "b", 2.0), tone("neck", "b", 0.1),
        tone("bridge", "n", 0.1), tone("neck", "n", -1.0),
        tone("bridge", "both", 0.6 * 2.0 + 0.4 * 0.1), tone("neck", "both", 0.6 * 0.1 - 0.4 * 1.0),
    )  # fmt: skip
    assert found["bridge", "both"].level == pytest.approx(0.6, rel=1e-12)
    assert found["neck", "both"].level == pytest.approx(0.4, rel=1e-12)
    assert (found["bridge", "both"].sign, found["neck", "both"].sign) == (1, -1)
    assert (found["bridge", "b"].level, found["bridge", "b"].sign) == (pytest.approx(1.0), 1)
    assert found["neck", "b"].is_connected is False
    assert found["neck", "b"].sign == 0
    assert leakage == pytest.approx(0.1, rel=1e-12)  # 0.1 of the neck's 1, 0.05 of the bridge's 2
    assert {name: one.is_alone for name, one in references.items()} == {"bridge": True, "neck": True}


def test_most_pickups_count_as_positive():
    found, _, _ = levels(
        *(tone(name, name, -1.0 if name != "neck" else 1.0) for name in ("bridge", "middle", "neck")),
        *(tone(name, at, 0.01) for name in ("bridge", "middle", "neck") for at in ("bridge", "middle", "neck") if at != name),
    )
    assert [found[name, name].sign for name in ("bridge", "middle", "neck")] == [1, 1, -1]


def test_a_phase_between_gives_no_sign():
    pair = [tone("bridge", "b", 1.0), tone("neck", "b", 0.0), tone("bridge", "n", 0.0), tone("neck", "n", 1.0)]
    for degree, sign in ((50, 1), (90, 0), (130, -1)):
        turned = 0.5 * np.exp(1j * np.radians(degree))
        found, _, _ = levels(*pair, tone("bridge", "both", turned), tone("neck", "both", 0.5))
        assert (found["bridge", "both"].sign, found["neck", "both"].sign) == (sign, 1)
        assert found["bridge", "both"].level == pytest.approx(0.5, rel=1e-12)


def test_connected_not_connected_and_not_told():
    # The edge lies at 0.11; what two standard deviations reach across it is not told.
    pair = [tone("bridge", "b", 1.0), tone("neck", "b", 0.0), tone("bridge", "n", 0.0), tone("neck", "n", 1.0)]
    for factor, std, told in ((0.12, 1e-3, True), (0.10, 1e-3, False), (0.12, 6e-3, None), (0.10, 6e-3, None)):
        found, _, _ = levels(*pair, tone("bridge", "both", factor, std=std), tone("neck", "both", 0.9))
        assert found["bridge", "both"].is_connected is told
        assert found["bridge", "both"].level_std == pytest.approx(std, rel=1e-4)


def test_a_coil_laid_down_anew_is_15_percent_off():
    pair = [tone("bridge", "b", 1.0), tone("neck", "b", 0.0), tone("bridge", "n", 0.0), tone("neck", "n", 1.0)]
    found, _, _ = levels(*pair, tone("bridge", "both", 0.6, placement=1), tone("neck", "both", 0.4))
    assert found["bridge", "both"].level_std == pytest.approx(0.15 * 0.6, rel=1e-6)
    assert found["neck", "both"].level_std < 1e-5


def test_a_pickup_that_is_weak_everywhere_is_connected_nowhere():
    for factor, is_told in ((0.14, False), (0.16, True)):
        found, references, _ = levels(tone("bridge", "b", 1.0), tone("neck", "b", factor))
        assert ("neck" in references) is is_told
        assert found["neck", "b"].is_connected is is_told


def test_a_pickup_that_is_never_alone_is_relative_to_its_loudest():
    found, references, leakage = levels(
        tone("bridge", "both", 1.0), tone("neck", "both", 0.5), tone("bridge", "half", 0.5), tone("neck", "half", 0.25)
    )
    assert not any(one.is_alone for one in references.values())
    assert found["neck", "half"].level == pytest.approx(0.5, rel=1e-12)
    assert leakage is None


@pytest.mark.parametrize("gain", [1e-3, 0.01, 100.0])
def test_the_gain_of_the_card_is_of_no_account(gain):
    """Levels are relative to one another: with another gain of card or exciter everything stays as it was."""
    factors = {("bridge", "b"): 1.0, ("neck", "b"): 0.05, ("bridge", "n"): 0.04, ("neck", "n"): 0.2, ("middle", "b"): 0.1}
    once, _, leakage = levels(*(tone(*key, factor) for key, factor in factors.items()))
    again, references, same = levels(*(tone(*key, gain * factor, std=gain * 1e-6) for key, factor in factors.items()))
    assert set(references) == {"bridge", "neck"}
    assert same == pytest.approx(leakage, rel=1e-12)
    for key, one in once.items():
        assert again[key].is_connected is one.is_connected
        assert again[key].level == (None if one.level is None else pytest.approx(one.level, rel=1e-12))
