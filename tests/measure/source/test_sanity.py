"""What is told of an audio file before and while it is read, at its limits."""

import re
import struct
from types import SimpleNamespace

import numpy as np
import pytest

from measure.errors import FileError
from measure.source.sanity import check_header, check_start, require_sane, require_whole, shown_name


def written(path, start, n_bytes):
    path.write_bytes(start + b"\0" * (n_bytes - len(start)))
    return path


@pytest.mark.parametrize(
    ("kind", "order"), [(b"RIFF", "<"), (b"RIFX", ">"), (b"FORM", ">")]
)  # little and big: the standards of the formats
@pytest.mark.parametrize(("missing", "is_cut"), [(0, False), (1, False), (2, True), (-100, False)])
def test_a_file_that_is_shorter_than_its_first_chunk_was_cut(tmp_path, kind, order, missing, is_cut):
    n_bytes = 1000
    start = kind + struct.pack(f"{order}I", n_bytes - 8 + missing) + b"WAVE"
    path = written(tmp_path / "a.wav", start, n_bytes)
    if is_cut:
        with pytest.raises(FileError, match=r"a\.wav: cut short, 1000 of 1002 bytes are there"):
            check_start(path, start)
    else:
        check_start(path, start)


@pytest.mark.parametrize("stated", [0xFFFFFFFF, 0xFFFFFFF0])
def test_an_unknown_length_is_let_pass(tmp_path, stated):
    start = b"RIFF" + struct.pack("<I", stated) + b"WAVE"
    check_start(written(tmp_path / "a.wav", start, 100), start)
    with pytest.raises(FileError, match="cut short"):
        check_start(tmp_path / "a.wav", b"RIFF" + struct.pack("<I", 0xFFFFFFE0) + b"WAVE")


@pytest.mark.parametrize("start", [b"fLaC", b"RF64\xff\xff\xff\xff", b"riff", b"RIFF12"])
def test_formats_whose_length_stands_elsewhere_are_let_pass(tmp_path, start):
    check_start(written(tmp_path / "a", start, 20), start)


@pytest.mark.parametrize(
    ("start", "said"), [(b"", "the file is empty"), (b"ID3\x03", "not a WAV, FLAC or AIFF"), (b"RI", "not a")]
)
def test_what_is_none_of_these_files_is_told(tmp_path, start, said):
    with pytest.raises(FileError, match=said):
        check_start(written(tmp_path / "a", start, len(start)), start)


def header(**changed):
    return SimpleNamespace(**({"frames": 48000, "samplerate": 48000, "channels": 2, "format": "WAV"} | changed))


@pytest.mark.parametrize(
    "changed",
    [
        {},
        *({"format": name} for name in ("WAVEX", "RF64", "W64", "FLAC", "AIFF")),
        {"samplerate": 8000},
        {"samplerate": 768000, "frames": 768000},
        {"channels": 64},
        {"frames": 4800},
        {"frames": 3600 * 48000},
    ],
)
def test_usable_headers_pass_up_to_their_limits(tmp_path, changed):
    check_header(tmp_path / "a.wav", header(**changed))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"format": "OGG"}, "a OGG file; only WAV, FLAC and AIFF are read"),
        ({"samplerate": 7999, "frames": 7999}, "sample rate 7999 Hz, expected 8000 to 768000 Hz"),
        ({"samplerate": 768001, "frames": 768001}, "sample rate 768001 Hz"),
        ({"samplerate": 0}, "sample rate 0 Hz"),
        ({"channels": 65}, "65 channels, at most 64"),
        ({"frames": 4799}, r"0\.1 s long, expected 0\.1 s to 3600 s"),
        ({"frames": 3600 * 48000 + 1}, r"3\.6e\+03 s long"),
        ({"frames": 0}, "0 s long"),
    ],
)
def test_headers_beyond_a_limit_are_refused(tmp_path, changed, said):
    with pytest.raises(FileError, match=rf"^a\.wav: {said}"):
        check_header(tmp_path / "a.wav", header(**changed))


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_samples_are_finite_and_below_a_thousand(tmp_path, kind):
    require_sane(tmp_path / "a.wav", np.array([[-1000.0, 0.0], [1000.0, 1.0]], dtype=kind), 0.0)
    for bad, said in ((1001.0, "a sample of 1e+03 times full scale"), (-2e6, "2e+06 times"), (np.nan, "not a finite number")):
        with pytest.raises(FileError, match=re.escape(said) + r".*near 1\.250 s"):
            require_sane(tmp_path / "a.wav", np.array([[0.0, bad]], dtype=kind), 1.25)
    with pytest.raises(FileError, match="not a finite number"):
        require_sane(tmp_path / "a.wav", np.array([-np.inf], dtype=kind), 0.0)


def test_a_file_has_as_many_samples_as_it_says(tmp_path):
    require_whole(tmp_path / "a.wav", header(), 48000)
    with pytest.raises(FileError, match=r"cut short, 47999 of 48000 samples are there \(1\.000 s\)"):
        require_whole(tmp_path / "a.wav", header(), 47999)


def test_a_name_is_shown_on_one_line(tmp_path):
    assert shown_name(tmp_path / "a\nb\x1b.wav") == "a?b?.wav"
