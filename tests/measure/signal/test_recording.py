"""Recordings: checked once when they are made, and never changed after."""

import numpy as np
import pytest

from measure.signal.recording import Recording


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_samples_are_kept_without_a_copy_and_cannot_be_changed(kind):
    samples = np.zeros((5, 2), dtype=kind)
    recording = Recording(samples=samples, rate_hz=48000)
    assert recording.samples is samples
    with pytest.raises(ValueError, match="read-only"):
        recording.samples[0, 0] = 1.0


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        (np.zeros(5), r"float64 with shape \(5,\), expected float32 or float64 with shape \(n, channels\)"),
        (np.zeros((5, 2), dtype=np.int16), "samples are int16"),
        (np.zeros((5, 2), dtype=complex), "samples are complex128"),
        (np.zeros((1, 5, 2)), "with shape"),
    ],
)
def test_other_samples_are_refused(samples, said):
    with pytest.raises(ValueError, match=said):
        Recording(samples=samples, rate_hz=48000)


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ((0, 2), "pickup channel 0 asked for, but take.wav has 2 channels"),
        ((3, 2), "pickup channel 3 asked for"),
        ((1, 3), "reference channel 3 asked for"),
        ((1, 0), "reference channel 0 asked for"),
        ((2, 2), "pickup and reference are both channel 2"),
    ],
)
def test_channels_count_from_one_and_are_two(channels, said):
    with pytest.raises(ValueError, match=said):
        Recording(
            samples=np.zeros((5, 2)), rate_hz=48000, pickup_channel=channels[0], reference_channel=channels[1], name="take.wav"
        )


def test_a_single_channel_is_a_pickup_alone():
    alone = Recording(samples=np.zeros((5, 1)), rate_hz=48000, reference_channel=None)
    assert (alone.pickup_channel, alone.reference_channel, alone.n_bits) == (1, None, None)
    with pytest.raises(ValueError, match="reference channel 2 asked for, but the recording has 1 channels"):
        Recording(samples=np.zeros((5, 1)), rate_hz=48000)
