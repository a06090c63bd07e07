"""Whatever the blocks and whenever it is stopped: never louder than asked, no step above the ramp's, silent in the end."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.player import Player, ramp_samples, soften_ends

N_RAMP = 50


def hand_out(player, blocks):
    return np.concatenate([player.next_block(n) for n in blocks])


@given(
    blocks=st.lists(st.integers(1, 200), min_size=8, max_size=20),
    stop_at=st.integers(0, 7),
    level=st.floats(-1, 1),
    repeats=st.booleans(),
)
def test_a_stop_is_a_ramp(blocks, stop_at, level, repeats):
    played = np.full(3000, level, dtype=np.float32)
    player = Player(played, n_lead=0, n_ramp=N_RAMP, repeats=repeats)
    before = hand_out(player, blocks[:stop_at]) if stop_at else np.zeros(0, dtype=np.float32)
    player.stop()
    after = hand_out(player, [*blocks[stop_at:], 3000])
    np.testing.assert_array_equal(before, played[: len(before)])
    steps = np.abs(np.diff(np.concatenate([before[-1:], after])))
    assert np.max(steps) <= abs(level) * np.pi / (2 * N_RAMP) * 1.001 + 1e-7
    assert np.max(np.abs(after)) <= abs(np.float32(level))
    assert not np.any(after[N_RAMP:])
    assert player.is_silent


@given(blocks=st.lists(st.integers(1, 700), min_size=5, max_size=12), n_lead=st.integers(0, 900), seed=st.integers(0, 9))
def test_blocks_join_to_what_is_to_be_played(blocks, n_lead, seed):
    played = np.random.default_rng(seed).uniform(-0.7, 0.7, 1000).astype(np.float32)
    whole = np.concatenate([np.zeros(n_lead, dtype=np.float32), played, np.zeros(sum(blocks), dtype=np.float32)])
    once = Player(played, n_lead=n_lead, n_ramp=N_RAMP)
    np.testing.assert_array_equal(hand_out(once, blocks), whole[: sum(blocks)])
    assert once.position == sum(blocks)
    assert not once.is_silent

    body = np.flip(played)
    again = Player(played, n_lead=n_lead, n_ramp=N_RAMP, repeats=True, body=body)
    whole = np.concatenate([np.zeros(n_lead, dtype=np.float32), played, *[body] * (sum(blocks) // 1000 + 1)])
    np.testing.assert_array_equal(hand_out(again, blocks), whole[: sum(blocks)])


def test_ramp_is_a_raised_cosine():
    ramp = ramp_samples(1000)
    np.testing.assert_allclose(ramp + ramp[::-1], 1.0, rtol=1e-12)
    np.testing.assert_allclose(ramp_samples(2), [np.sin(np.pi / 8) ** 2, np.cos(np.pi / 8) ** 2], rtol=1e-12)
    assert np.max(np.diff(ramp)) == pytest.approx(np.pi / 2000, rel=1e-5)


def test_a_sweep_between_silences_is_played_as_it_is():
    stimulus = sweep_samples(Sweep(rate_hz=44100, duration_s=0.5))
    np.testing.assert_array_equal(soften_ends(stimulus, rate_hz=44100), stimulus.astype(np.float32))


@pytest.mark.parametrize("n", [1, 2, 3, 100, 5000])
def test_ends_that_are_not_silent_are_ramped(n):
    softened = soften_ends(np.full(n, -0.5), rate_hz=48000)
    assert np.max(np.abs(softened)) <= 0.5
    if n >= 100:
        assert np.max(np.abs(np.diff(softened, prepend=0, append=0))) < 0.5 * np.pi / min(n, 1920) * 1.01
    one_side = soften_ends(np.full(n, -0.5), rate_hz=48000, both=False)
    assert one_side[-1] == -0.5
