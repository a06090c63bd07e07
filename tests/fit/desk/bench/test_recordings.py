"""Recordings as they arrive: by which channels they are read, what of several files has to agree, how loads are stated."""

from pathlib import Path

import numpy as np
import pytest

from fit.desk.bench.recordings import play, read_batch, read_by_rig, read_loads, read_through
from fit.desk.book.desk import Desk
from measure.errors import FileError
from measure.logbook.rig import write_rig
from measure.logbook.store import open_logbook, rig_path
from measure.source.files import write_recording

RATE_HZ = 8000


def talk(folder):
    return Desk(logbook=folder, say=print, tell=print, steps=lambda items, _: items)


def write(folder, name, *, rate_hz=RATE_HZ, n_channels=3):
    """Channel k holds k tenths of full scale."""
    path = folder / name
    write_recording(path, np.tile(np.arange(1, n_channels + 1) / 10, (rate_hz, 1)), rate_hz)
    return path


def levels(recording):
    """What the channels hold that are taken for pickup and reference."""
    channels = [one for one in (recording.pickup_channel, recording.reference_channel) if one is not None]
    return pytest.approx([float(recording.samples[0, one - 1]) for one in channels], abs=1e-4)


@pytest.mark.parametrize(("channels", "expected"), [((1, 2), [0.1, 0.2]), ((3, 1), [0.3, 0.1]), ((2, None), [0.2])])
def test_the_pickup_comes_first_whatever_its_channel(tmp_path, channels, expected):
    batch = read_batch(talk(tmp_path), [write(tmp_path, "a.wav")], None, channels=channels)
    (recording,) = batch.repeats
    assert levels(recording) == expected
    assert (batch.played, batch.is_live, recording.simulated) == (None, False, False)


def test_simulated_files_are_marked(tmp_path):
    batch = read_batch(talk(tmp_path), [write(tmp_path, "a.wav")], None, channels=(1, 2), simulated=True)
    assert batch.repeats[0].simulated


def test_repeats_have_one_rate(tmp_path):
    files = [write(tmp_path, "a.wav"), write(tmp_path, "b.wav", rate_hz=16000)]
    with pytest.raises(FileError, match=r"different sample rates, \[8000, 16000\] Hz"):
        read_batch(talk(tmp_path), files, None, channels=(1, 2))


def test_what_was_played_has_the_rate_of_what_was_recorded(tmp_path):
    take = write(tmp_path, "a.wav")
    batch = read_batch(talk(tmp_path), [take], write(tmp_path, "s.wav", n_channels=1), channels=(1, 2))
    assert len(batch.played) == RATE_HZ
    with pytest.raises(FileError, match="the sweep has 16000 Hz, the recording 8000 Hz"):
        read_batch(talk(tmp_path), [take], write(tmp_path, "t.wav", rate_hz=16000, n_channels=1), channels=(1, 2))


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        (None, [0.1, 0.2]),
        ({"interface.pickup_channel": 2}, [0.2, 0.1]),
        ({"interface.pickup_channel": 3, "interface.reference_channel": 2}, [0.3, 0.2]),
        ({"interface.pickup_channel": 3}, [0.3, 0.2]),
    ],
)
def test_the_rig_says_which_channel_is_which(tmp_path, stated, expected):
    book = tmp_path / "book"
    if stated is not None:
        write_rig(rig_path(open_logbook(book, create=True)), stated)
    batch = read_by_rig(talk(book), [write(tmp_path, "a.wav")], None)
    assert levels(batch.repeats[0]) == expected


def test_without_a_card_what_is_recorded_is_clipped_as_a_card_would(tmp_path):
    class Loud:
        def record(self, stimulus, *, rate_hz, n_channels):
            assert (rate_hz, n_channels) == (RATE_HZ, 2)
            return np.stack([3 * stimulus, -3 * stimulus], axis=1)

    samples, findings = play(talk(tmp_path), Loud(), np.array([0.1, 1.0]), rate_hz=RATE_HZ, n_channels=2, label="x")
    np.testing.assert_allclose(samples, [[0.3, -0.3], [1.0, -1.0]])
    assert findings == ()


def test_a_load_is_a_resistor_and_what_lies_across_the_input():
    load = read_through("1M ± 1%, 1n ± 1%, 10M")
    assert (load.series.value, load.file) == (1e6, None)
    assert [(part.value, part.unit) for part in load.added] == [(pytest.approx(1e-9), "F"), (1e7, "Ω")]


@pytest.mark.parametrize("text", ["", "1n ± 1%", "1n, 1M"])
def test_a_load_begins_with_a_resistor(text):
    with pytest.raises(ValueError, match="does not begin with a resistor"):
        read_through(text)


def test_loads_of_files_have_their_files_even_with_an_equals_sign_in_the_name():
    first, second = read_loads((), ("a.wav=100k ± 1%", "dir/b=c.wav=1M ± 1%, 1n ± 1%"))
    assert (first.file, first.name, first.series.value) == (Path("a.wav"), "a.wav", 100e3)
    assert (second.file, second.name, len(second.added)) == (Path("dir/b=c.wav"), "b=c.wav", 1)


def test_loads_to_be_recorded_have_none():
    (load,) = read_loads(("100k ± 1%",), ())
    assert (load.file, load.name) == (None, "through 100k ± 1%")


@pytest.mark.parametrize(("driven", "stated"), [((), ()), (("1M",), ("a.wav=1M",))])
def test_loads_are_recorded_or_read_not_both_and_not_neither(driven, stated):
    with pytest.raises(ValueError, match="give either --through"):
        read_loads(driven, stated)


def test_a_file_without_a_load_is_refused():
    with pytest.raises(ValueError, match="expected FILE=R"):
        read_loads((), ("1M ± 1%",))
