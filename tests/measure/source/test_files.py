import hashlib

import numpy as np
import pytest
import soundfile

from measure.errors import FileError
from measure.source.files import create_blocks, file_sha256, read_recording, read_stimulus, write_recording

RATE_HZ = 48000


def two_channels(n=9600, seed=1):
    return np.random.default_rng(seed).uniform(-0.9, 0.9, (n, 2))


@pytest.mark.parametrize(
    ("suffix", "n_bits"), [(suffix, n) for suffix in ("wav", "flac", "aiff") for n in (16, 24, 32) if (suffix, n) != ("flac", 32)]
)
def test_integers_come_back_to_half_a_step(tmp_path, suffix, n_bits):
    samples, path = two_channels(), tmp_path / f"take.{suffix}"
    write_recording(path, samples, RATE_HZ, n_bits=n_bits)
    recording = read_recording(path)
    assert recording.n_bits == n_bits
    assert recording.rate_hz == RATE_HZ
    assert recording.samples.dtype == (np.float64 if n_bits == 32 else np.float32)
    np.testing.assert_allclose(recording.samples, samples, rtol=0, atol=0.5001 * 2.0 ** (1 - n_bits))


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_float_files(tmp_path, subtype):
    samples, path = two_channels(), tmp_path / "take.wav"
    soundfile.write(path, samples, RATE_HZ, subtype=subtype)
    recording = read_recording(path, pickup_channel=2, reference_channel=1)
    assert recording.n_bits is None
    assert (recording.pickup_channel, recording.reference_channel) == (2, 1)
    np.testing.assert_array_equal(recording.samples, samples.astype(recording.samples.dtype))


@pytest.mark.parametrize("rate_hz", [44100, 48000, 88200, 96000, 176400, 192000])
def test_rates(tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels(n=rate_hz // 5), rate_hz)
    assert read_recording(path).rate_hz == rate_hz


def test_full_scale_is_one_and_is_kept(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, np.array([[1.0, -1.0]] * 9600), RATE_HZ, n_bits=16)
    samples = read_recording(path).samples
    assert samples[0, 0] == 1 - 2.0**-15
    assert samples[0, 1] == -1.0


def test_sha256_is_that_of_the_file(tmp_path):
    path = tmp_path / "take.flac"
    write_recording(path, two_channels(), RATE_HZ)
    assert file_sha256(path) == read_recording(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_stimulus_is_the_first_channel(tmp_path):
    path = tmp_path / "stimulus.wav"
    write_recording(path, two_channels()[:, 0], RATE_HZ)
    samples, rate_hz = read_stimulus(path)
    assert rate_hz == RATE_HZ
    np.testing.assert_allclose(samples, two_channels()[:, 0], rtol=0, atol=2.0**-23)


def test_silent_stimulus_is_refused(tmp_path):
    path = tmp_path / "stimulus.wav"
    write_recording(path, np.zeros(9600), RATE_HZ)
    with pytest.raises(FileError, match="silent in its first channel"):
        read_stimulus(path)


def test_nothing_is_overwritten(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels(), RATE_HZ)
    before = path.read_bytes()
    with pytest.raises(FileError, match="exists already"):
        write_recording(path, two_channels(seed=2), RATE_HZ)
    assert path.read_bytes() == before


@pytest.mark.parametrize(("n_channels", "rate_hz"), [(1, 768000), (9, 48000)])
def test_what_a_kind_of_file_does_not_know_is_no_fault_of_the_disk(tmp_path, n_channels, rate_hz):
    """FLAC has up to 655350 Hz and eight channels (RFC 9639)."""
    samples = np.zeros((100, n_channels))
    wanted = rf"cannot write {n_channels} channels? at {rate_hz} Hz as FLAC \(.*\): use \.wav"
    with pytest.raises(ValueError, match=wanted):
        write_recording(tmp_path / "a.flac", samples, rate_hz)
    with (
        pytest.raises(ValueError, match=wanted),
        create_blocks(tmp_path / "b.flac", rate_hz=rate_hz, n_channels=n_channels, n_frames=100) as write,
    ):
        write(samples)
    write_recording(tmp_path / "a.wav", samples, rate_hz)


@pytest.mark.parametrize(
    ("samples", "name", "n_bits"),
    [
        (np.full((100, 2), 1.1), "a.wav", 24),
        (np.full((100, 2), np.nan), "a.wav", 24),
        (np.zeros((100, 2)), "a.ogg", 24),
        (np.zeros((100, 2)), "a.flac", 32),
        (np.zeros((0, 2)), "a.wav", 24),
    ],
)
def test_wrong_calls_of_write(tmp_path, samples, name, n_bits):
    with pytest.raises(ValueError, match=r"cannot write|must be finite"):
        write_recording(tmp_path / name, samples, RATE_HZ, n_bits=n_bits)
    assert list(tmp_path.iterdir()) == []


def test_folder_that_is_not_there(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"No such file or directory: .*a\.wav"):
        write_recording(tmp_path / "no" / "a.wav", two_channels(), RATE_HZ)


def refused(path, **channels):
    with pytest.raises(FileError, match=r".") as caught:
        read_recording(path, **channels)
    text = str(caught.value)
    assert "\n" not in text
    assert text.count(". ") >= 1, f"no cure in: {text}"
    return text


def test_missing_and_folder(tmp_path):
    assert "no such file" in refused(tmp_path / "none.wav")
    assert "is a folder" in refused(tmp_path)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "empty"),
        (b"not audio at all, just some text\n" * 50, "not a WAV, FLAC or AIFF"),
        (b"RIFF", "not a readable"),
        (b"RIFF\x08\x00\x00\x00WAVEfmt ", "not a readable"),
        (b"RIFF\xff\xff\xff\x7fWAVEfmt \xff\xff\xff\xff" + b"\x00" * 100, "cut short"),
        (b"RIFF\xff\xff\xff\xffWAVEfmt \xff\xff\xff\xff" + b"\x00" * 100, "not a readable"),
        (b"fLaC" + b"\xff" * 4000, "not a readable"),
        (b"FORM\x00\x00\x00\x10AIFF" + b"\x00" * 30, "not a readable"),
        (b"OggS" + b"\x00" * 4000, "not a WAV, FLAC or AIFF"),
        (b"\x7fELF" + b"\x00" * 4000, "not a WAV, FLAC or AIFF"),
    ],
)
def test_hostile_content(tmp_path, content, expected):
    path = tmp_path / "take.wav"
    path.write_bytes(content)
    assert expected in refused(path)


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff"])
@pytest.mark.parametrize("keep", [0.1, 0.5, 0.97])
def test_truncated_files(tmp_path, suffix, keep):
    path = tmp_path / f"take.{suffix}"
    write_recording(path, two_channels(), RATE_HZ)
    content = path.read_bytes()
    path.write_bytes(content[: int(keep * len(content))])
    assert "cut short" in refused(path) or "not a readable" in refused(path)


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff"])
def test_random_damage_never_escapes(tmp_path, suffix):
    path = tmp_path / f"take.{suffix}"
    write_recording(path, two_channels(n=RATE_HZ // 5), RATE_HZ)
    content = path.read_bytes()
    rng = np.random.default_rng(3)
    n_refused = 0
    for _ in range(60):
        damaged = bytearray(content)
        for at in rng.integers(0, 200, 3):
            damaged[at] = rng.integers(256)
        path.write_bytes(bytes(damaged))
        try:
            assert np.all(np.isfinite(read_recording(path).samples))
        except FileError:
            n_refused += 1
    assert n_refused > 0


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30])
def test_samples_that_are_no_samples(tmp_path, bad):
    samples, path = two_channels(), tmp_path / "take.wav"
    samples[5000, 1] = bad
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    assert "a sample" in refused(path)


@pytest.mark.parametrize("rate_hz", [1, 4000, 10**6, 2**31 - 1])
def test_absurd_rates(tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    soundfile.write(path, two_channels(), rate_hz, subtype="PCM_16")
    assert "sample rate" in refused(path)


def test_too_short(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels(n=100), RATE_HZ)
    assert "s long" in refused(path)


def test_no_samples_at_all(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros((0, 2)), RATE_HZ)
    assert "0 s long" in refused(path)


def test_mono_where_two_channels_were_asked_for(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels()[:, 0], RATE_HZ)
    assert "1 channel, but channel 2 was asked for" in refused(path)
    assert read_recording(path, reference_channel=None).reference_channel is None


def test_channel_that_is_not_there(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels(), RATE_HZ)
    assert "2 channels, but channel 5 was asked for" in refused(path, pickup_channel=5)


@pytest.mark.parametrize("channels", [(0, 1), (1, 1), (-1, 2)])
def test_wrong_channels(tmp_path, channels):
    with pytest.raises(ValueError, match="count from 1 and must differ"):
        read_recording(tmp_path / "a.wav", pickup_channel=channels[0], reference_channel=channels[1])


def test_another_audio_format_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, two_channels(), RATE_HZ, format="AU", subtype="PCM_16")
    assert "not a WAV, FLAC or AIFF" in refused(path)


def test_name_with_a_line_break(tmp_path):
    path = tmp_path / "a\nb.wav"
    path.write_bytes(b"")
    assert refused(path).startswith("a?b.wav: ")


def test_suffix_does_not_matter_for_reading(tmp_path):
    path = tmp_path / "take.wav"
    write_recording(path, two_channels(), RATE_HZ)
    other = path.rename(tmp_path / "take.raw")
    assert read_recording(other).rate_hz == RATE_HZ


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".aiff"])
def test_a_full_disk_is_noticed(tmp_path, suffix):
    """The system refuses what goes beyond a limit, as a full disk does."""
    resource, signal = pytest.importorskip("resource"), pytest.importorskip("signal")
    samples = np.random.default_rng(4).uniform(-0.5, 0.5, (20_000, 2))
    write_recording(tmp_path / f"whole{suffix}", samples, 48000)
    size, limits = (tmp_path / f"whole{suffix}").stat().st_size, resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        for number, limit in enumerate((10, 1000, size // 2, size - 900)):
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limits[1]))
            with pytest.raises(OSError, match=rf"File too large: .*part-{number}{suffix}"):
                write_recording(tmp_path / f"part-{number}{suffix}", samples, 48000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)


def test_a_file_for_which_the_memory_does_not_suffice_says_so(tmp_path, monkeypatch):
    path = tmp_path / "take.wav"
    write_recording(path, np.zeros((100, 2)), 48000)

    def refuse(*_words, **_options):
        raise MemoryError

    monkeypatch.setattr(soundfile, "SoundFile", refuse)
    with pytest.raises(FileError, match=r"take\.wav: .*not enough memory"):
        read_recording(path)
