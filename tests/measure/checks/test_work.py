"""How many long transforms a look at a take costs: what was shared must not be computed again unnoticed."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from measure.checks.recording import check_recording
from measure.transfer.response import estimate_response
from tests.faulty_takes import RATE_HZ, STIMULUS, take

LONG = RATE_HZ  # [samples] those of silences are shorter, and cost little
PLAYED_IN_A_PIECE, HEARD_IN_A_PIECE = 2, 9  # the sweep and its third harmonic once; each channel


@pytest.fixture
def transforms(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Names of the long transforms, counted."""
    made: Counter[str] = Counter()
    for name in ("rfft", "irfft", "fft", "ifft"):
        plain = getattr(np.fft, name)

        def counted(values, *rest, _name=name, _plain=plain, **options):
            result = _plain(values, *rest, **options)
            made[_name] += int(max(np.shape(values)[-1], np.shape(result)[-1]) >= LONG)
            return result

        monkeypatch.setattr(np.fft, name, counted)
    return made


def test_what_is_played_is_transformed_once_for_both_channels(transforms: Counter[str]) -> None:
    recording = take()
    transforms.clear()
    check_recording(recording, stimulus=STIMULUS)
    both = transforms.total()
    transforms.clear()
    check_recording(replace(recording, reference_channel=None), stimulus=STIMULUS)
    assert both - transforms.total() == HEARD_IN_A_PIECE  # the reference is clear: the pickup is not searched for its latency


def test_a_clear_sweep_is_searched_for_in_one_channel(transforms: Counter[str]) -> None:
    recording = take()
    transforms.clear()
    check_recording(recording, stimulus=STIMULUS)
    n_searched = 3  # stretches as long as the sweep, from one before the recording of 2.1 s on
    assert transforms.total() == 1 + 2 * n_searched + PLAYED_IN_A_PIECE + 2 * HEARD_IN_A_PIECE


def test_a_response_needs_one_transform_a_channel(transforms: Counter[str]) -> None:
    recording = take()
    transforms.clear()
    estimate_response([recording])
    assert transforms.total() == 2
