"""The command listen, in process: files, levels, what is said, what is refused, and that nothing half-written is left."""

import os
import re
import tracemalloc

import numpy as np
import pytest
import soundfile

from fit.answers.listen.impulse import Side, design_change
from fit.answers.listen.loudness import weighted_energy
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.questions import listen as listening
from fit.desk.questions import predict as predicting
from measure.errors import FileError
from measure.quantity import parse_quantity
from measure.source.files import create_blocks, open_blocks
from tests.desk_bench import is_one_line, names_of, run, run_json, run_plain
from tests.draws import some
from tests.pages import read_page

RATE_HZ = 48000


def pluck(rate_hz, duration_s=1.5, *, seed=1, level=0.1, n_channels=1):
    """A plucked string: a loop of noise that loses treble on every turn; each channel another."""
    dice, channels = np.random.default_rng(seed), []
    n, period = int(duration_s * rate_hz), round(rate_hz / 110)
    for _ in range(n_channels):
        loop, turns = dice.uniform(-1, 1, period), []
        for _ in range(n // period + 1):
            turns.append(loop)
            loop = 0.996 * (0.8 * loop + 0.2 * np.roll(loop, 1))
        channels.append(level * np.concatenate(turns)[:n])
    return np.column_stack(channels)


def write(path, samples, rate_hz=RATE_HZ, subtype="PCM_24"):
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path


def peak_of(path):
    return float(np.max(np.abs(soundfile.read(path)[0])))


def unfinished(folder):
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


@pytest.fixture
def book(tmp_path, capsys):
    """A logbook with a rig and one pickup, and a recording of it."""
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "470p ± 10p", "--logbook", tmp_path)[0] == 0
    assert run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)[0] == 0
    write(tmp_path / "in.wav", pluck(RATE_HZ))
    return tmp_path


def listen(capsys, book, *words, source="in.wav", target="out.wav"):
    return run_plain(capsys, "listen", book / source, book / target, *words, "--logbook", book)


def listen_json(capsys, book, *words, source="in.wav", target="out.wav"):
    return run_json(capsys, "listen", book / source, book / target, *words, "--logbook", book)


@pytest.mark.parametrize("rate_hz", some([44100, 8000, 96000, 192000], 1))
@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff"])
def test_same_rate_channels_and_length_in_24_bits(book, capsys, rate_hz, suffix):
    write(book / f"in.{suffix}", pluck(rate_hz, 0.4, n_channels=2), rate_hz, "PCM_16")
    assert listen(capsys, book, "--set", "tone=4", source=f"in.{suffix}", target=f"out.{suffix}")[0] == 0
    before, after = (soundfile.info(book / f"{name}.{suffix}") for name in ("in", "out"))
    assert (after.samplerate, after.channels, after.frames) == (rate_hz, 2, before.frames)
    assert after.subtype == "PCM_24"
    assert after.format == before.format
    assert unfinished(book) == []


def test_samples_are_those_of_the_filter(book, capsys):
    code, document, err = listen_json(capsys, book, "--set", "tone=4", "--true-level", book / "true.wav")
    assert code == 0
    assert err == ""
    instrument = read_instrument((book / "instrument.toml").read_text())
    load = {"input.resistance": parse_quantity("1M", "Ω"), "input.capacitance": parse_quantity("470p", "F")}
    sides = [Side(instrument=instrument, controls=controls, load=load) for controls in ({}, {"tone": "4"})]
    impulse = design_change(*sides, rate_hz=RATE_HZ).impulse
    before = soundfile.read(book / "in.wav")[0]
    expected = np.convolve(before, impulse)[: len(before)]
    true, matched = (soundfile.read(book / name)[0] for name in ("true.wav", "out.wav"))
    np.testing.assert_allclose(true, expected, rtol=0, atol=2.0**-23)
    by_level = {one["level"]: one for one in document["sounds"]}
    assert by_level["true"]["gain_db"] == 0.0
    assert by_level["matched"]["gain_db"] == pytest.approx(-document["level_change_db"])
    np.testing.assert_allclose(matched, expected * 10 ** (by_level["matched"]["gain_db"] / 20), rtol=0, atol=2.0**-23)


def test_matched_is_as_loud_and_true_is_not(book, capsys):
    """Tone at 3 takes treble away; K-weighted energy before and after."""
    code, document, _ = listen_json(capsys, book, "--set", "tone=3", "--set", "volume=5", "--true-level", book / "true.wav")
    assert code == 0
    before, matched, true = (
        weighted_energy(soundfile.read(book / name)[0][:, None], RATE_HZ) for name in ("in.wav", "out.wav", "true.wav")
    )
    assert 10 * np.log10(matched / before) == pytest.approx(0, abs=0.01)
    assert 10 * np.log10(true / before) == pytest.approx(document["level_change_db"], abs=0.01)
    assert document["level_change_db"] < -15  # a volume pot at 12 % of its track


def test_document(book, capsys):
    code, document, err = listen_json(capsys, book, "--recorded", "tone=3", "--change", "capacitor.tone=10n")
    assert code == 0
    assert err == ""
    assert document["schema"] == "coilsweep.listen/1"
    assert document["before"]["settings"]["tone"]["setting"] == "3"
    assert document["after"]["settings"] == document["before"]["settings"]  # what is not set stays as recorded
    assert document["changes"] == ["capacitor.tone=10n"]
    assert document["before"]["pickups"] == document["after"]["pickups"] == ["bridge"]
    assert len(document["frequency_hz"]) == len(document["asked_db"]) == len(document["given_db"])
    assert document["limited_hz"] is None
    assert document["marked_only"] == ["capacitor.tone", "pot.tone", "pot.volume"]
    assert document["simulated"] is False
    assert [one["level"] for one in document["sounds"]] == ["matched"]


def test_words(book, capsys):
    code, out, err = listen(capsys, book, "--recorded", "tone=0", "--set", "tone=10")
    assert code == 0
    assert err == ""
    assert "Recorded at: volume=10 (100 %), tone=0 (0 %)" in out
    assert "Heard at: volume=10 (100 %), tone=10 (100 %)" in out
    assert "out.wav, as loud as the recording" in out
    assert "louder (K-weighted, ITU-R BS.1770)" in out
    assert "by more than 30 dB over 80 … 1000 Hz; the filter stops there" in out
    assert "Only marked, not measured" in out
    assert "\x1b" not in out


def test_several_pickups_are_said_and_one_can_be_named(tmp_path, capsys):
    run(capsys, "rig", "--input-resistance", "1M", "--input-capacitance", "470p", "--logbook", tmp_path)
    run(capsys, "instrument", "--layout", "three-singles", "--logbook", tmp_path)
    write(tmp_path / "in.wav", pluck(RATE_HZ, 0.3))
    change = ["--recorded", "selector=neck-middle", "--set", "tone-1=3"]
    code, out, _ = listen(capsys, tmp_path, *change)
    assert code == 0
    assert "Pickups: middle and neck, as if the strings gave each the same voltage (--excite PICKUP for one alone)" in out
    code, out, _ = listen(capsys, tmp_path, *change, "--excite", "neck", target="neck.wav")
    assert code == 0
    assert "only neck sounds" in out
    code, out, _ = listen(capsys, tmp_path, "--recorded", "selector=neck", "--set", "selector=bridge", target="bridge.wav")
    assert code == 0
    assert "not that each pickup hears the strings at another place" in out


def test_nothing_clips_and_lowering_is_said(book, capsys):
    """A resonance that is moved into loud treble: higher peaks at the same loudness."""
    write(book / "loud.wav", pluck(RATE_HZ, level=0.999))
    code, document, _ = listen_json(
        capsys, book, "--recorded", "volume=3", "--set", "volume=10", "--true-level", book / "true.wav", source="loud.wav"
    )
    assert code == 0
    true = document["sounds"][1]
    assert true["lowered_db"] > 10
    assert true["gain_db"] == pytest.approx(-true["lowered_db"])
    assert 0.98 < peak_of(book / "true.wav") <= 0.9887
    assert peak_of(book / "out.wav") <= 0.9887
    code, out, _ = listen(capsys, book, "--set", "tone=2", source="loud.wav", target="again.wav")
    assert code == 0
    assert "so that nothing clips: lower the recording by" in out
    assert peak_of(book / "again.wav") <= 0.9887


@pytest.mark.long
def test_long_recordings_go_through_in_blocks(book, capsys, monkeypatch):
    listen(capsys, book, "--set", "tone=4")
    monkeypatch.setattr(listening, "BLOCK_VALUES", 1000)
    listen(capsys, book, "--set", "tone=4", target="blocks.wav")
    whole, blocks = (soundfile.read(book / name)[0] for name in ("out.wav", "blocks.wav"))
    # The loudness is measured block by block as well, and moves the level by less than 0.05 dB.
    scale = whole @ blocks / (blocks @ blocks)
    assert 20 * np.log10(scale) == pytest.approx(0, abs=0.05)
    np.testing.assert_allclose(whole, scale * blocks, rtol=0, atol=2.5 * 2.0**-23)


@pytest.mark.slow
def test_memory_does_not_grow_with_the_length(book, capsys):
    peaks = []
    for duration_s in (60, 240):
        noise = np.random.default_rng(4).normal(size=(duration_s * RATE_HZ, 2)) * 0.05
        write(book / f"{duration_s}.wav", noise)
        del noise
        tracemalloc.start()
        assert listen(capsys, book, "--set", "tone=4", source=f"{duration_s}.wav", target=f"out-{duration_s}.wav")[0] == 0
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]
    assert peaks[1] < 120e6  # bytes; four minutes in double precision would be 184e6 alone


@pytest.mark.long
def test_measured_values_stand_in_for_stated_ones(book, capsys, monkeypatch):
    from fit.answers.parts.fitted import MeasuredParts
    from fit.desk.book.kept_fit import LastFit

    names = ("capacitor.tone", "bridge.inductance")
    values = {"capacitor.tone": 47e-9, "bridge.inductance": 4.4}
    parts = MeasuredParts(values=values, names=names, log_covariance=np.eye(2) * 1e-4, takes=("open",), simulated=True)
    monkeypatch.setattr(predicting, "last_fit", lambda *_, **__: LastFit(parts=parts, notes=("a note",)))
    _, document, _ = listen_json(capsys, book, "--recorded", "tone=2", "--set", "tone=10")
    _, stated, _ = listen_json(capsys, book, "--recorded", "tone=2", "--set", "tone=10", "--stated", target="stated.wav")
    assert document["simulated"] is True
    assert names_of(document) == ["open"]
    assert document["measured"] == ["bridge.inductance", "capacitor.tone"]
    assert document["warnings"] == ["a note"]
    assert stated["measured"] == []
    assert stated["simulated"] is False
    assert np.max(np.abs(np.subtract(document["asked_db"], stated["asked_db"]))) > 1
    _, out, _ = listen(capsys, book, "--recorded", "tone=2", "--set", "tone=10", target="words.wav")
    assert "simulated: " in out
    assert "a note" in out
    assert "Measured, by the last fit (takes open): bridge.inductance, capacitor.tone" in out


@pytest.mark.long
def test_picture(book, capsys):
    picture = book / "change.png"
    code, _, err = listen(
        capsys, book, "--recorded", "tone=0", "--set", "tone=10", "--plot", picture, "--page", book / "change.html"
    )
    assert code == 0
    page = read_page((book / "change.html").read_text(encoding="utf-8"))
    assert page.headings[1:] == [
        "Curves",
        "The circuit",
        "Connections",
        "What was written",
        "What the change does",
        "What this rests on",
    ]
    assert page.columns[-2:] == ["change", "at equal loudness"]
    assert "Written" in err
    assert picture.read_bytes().startswith(b"\x89PNG")
    code, _, err = listen(capsys, book, "--set", "tone=3", "--plot", "change.gif", target="other.wav")
    assert code == 2
    assert "ends in .png" in err
    assert not (book / "other.wav").exists()


def test_picture_holds_the_curves():
    from fit.desk.show.figures.listen import listen_figure

    instrument = read_instrument(layout_text("one-pickup"))
    load = {"input.resistance": parse_quantity("1M", "Ω"), "input.capacitance": parse_quantity("470p", "F")}
    sides = [Side(instrument=instrument, controls=controls, load=load) for controls in ({"tone": "0"}, {})]
    answer = design_change(*sides, rate_hz=RATE_HZ)
    circuit, change = listen_figure(answer, level_change_db=20.0, is_simulated=True).axes[:2]
    lines = {line.get_label(): np.asarray(line.get_ydata()) for axes in (circuit, change) for line in axes.get_lines()}
    np.testing.assert_allclose(lines["after the change"] - lines["as recorded"], lines["what the change would be"], atol=1e-6)
    np.testing.assert_allclose(lines["filter, at equal loudness"], lines["filter"] - 20)
    assert lines["filter"].max() < lines["what the change would be"].max() - 6


WRONG = {
    "nothing changed": ([], "nothing is changed, so there is nothing to hear"),
    "control": (["--set", "blend=3"], 'there is no control "blend"'),
    "recorded control": (["--recorded", "blend=3", "--set", "tone=3"], 'there is no control "blend"'),
    "value": (["--set", "tone=11"], 'tone: "11" is neither a rotation'),
    "part": (["--change", "tone=10n"], 'there is no part "tone"'),
    "input": (["--change", "input.capacitance=2H"], "input.capacitance"),
    "pickup": (["--set", "tone=3", "--excite", "top"], 'there is no pickup "top"'),
    "silence": (["--set", "volume=0"], "there would be silence"),
    "nothing to divide by": (["--recorded", "volume=0", "--set", "volume=5"], "there is nothing to divide by"),
    "other instrument": (["--instrument", "nowhere.toml"], "nowhere.toml"),
    "kind of file": (["--set", "tone=3", "--true-level", "true.mp3"], "give a name that ends in .wav"),
    "folder": (["--set", "tone=3", "--true-level", "nowhere/true.wav"], "there is no such folder"),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_words_are_named_in_one_line(book, capsys, case):
    words, said = WRONG[case]
    code, out, err = listen(capsys, book, *words)
    assert code == 2
    assert out == ""
    assert is_one_line(err)
    assert said in err
    assert not (book / "out.wav").exists()
    assert unfinished(book) == []


BAD_INPUT = {
    "missing": (None, "no such file"),
    "text": (b"this is not audio\n" * 100, "not a WAV, FLAC or AIFF file"),
    "empty": (b"", "the file is empty"),
}


@pytest.mark.parametrize("case", BAD_INPUT)
def test_what_is_no_recording_is_refused(book, capsys, case):
    content, said = BAD_INPUT[case]
    if content is not None:
        (book / "bad.wav").write_bytes(content)
    code, _, err = listen(capsys, book, "--set", "tone=3", source="bad.wav")
    assert code == 2
    assert is_one_line(err)
    assert said in err


@pytest.mark.long
def test_silent_short_cut_and_broken_recordings_are_refused(book, capsys):
    write(book / "silent.wav", np.zeros((RATE_HZ, 2)))
    write(book / "hiss.wav", np.full((RATE_HZ, 1), 2e-7), subtype="FLOAT")
    write(book / "short.wav", pluck(RATE_HZ, 0.05))
    write(book / "nan.wav", np.where(np.arange(RATE_HZ) == 700, np.nan, 0.1), subtype="FLOAT")
    whole = (book / "in.wav").read_bytes()
    (book / "cut.wav").write_bytes(whole[: len(whole) // 2])
    for name, said in (
        ("silent", "silent, its largest sample is below −120 dB"),
        ("hiss", "silent"),
        ("short", "0.05 s long"),
        ("nan", "not a finite number"),
        ("cut", "cut short"),
    ):
        code, _, err = listen(capsys, book, "--set", "tone=3", source=f"{name}.wav")
        assert code == 2
        assert is_one_line(err)
        assert said in err
        assert not (book / "out.wav").exists()


def test_one_silent_channel_is_none_of_our_business(book, capsys):
    samples = pluck(RATE_HZ, 0.4)
    write(book / "left.wav", np.column_stack([samples[:, 0], np.zeros(len(samples))]))
    assert listen(capsys, book, "--set", "tone=3", source="left.wav")[0] == 0
    assert not np.any(soundfile.read(book / "out.wav")[0][:, 1])


def test_the_recording_is_never_written_over(book, capsys):
    kept = (book / "in.wav").read_bytes()
    (book / "link.wav").symlink_to(book / "in.wav")
    os.link(book / "in.wav", book / "same.wav")
    for target in ("in.wav", "link.wav", "same.wav"):
        code, _, err = listen(capsys, book, "--set", "tone=3", "--replace", target=target)
        assert code == 2
        assert "never written over" in err
    code, _, err = listen(capsys, book, "--set", "tone=3", "--replace", "--true-level", book / "in.wav")
    assert code == 2
    assert "never written over" in err
    assert (book / "in.wav").read_bytes() == kept


def test_other_files_are_written_over_only_where_that_is_said(book, capsys):
    assert listen(capsys, book, "--set", "tone=3")[0] == 0
    first = (book / "out.wav").read_bytes()
    code, _, err = listen(capsys, book, "--set", "tone=6")
    assert code == 2
    assert is_one_line(err)
    assert "--replace" in err
    assert (book / "out.wav").read_bytes() == first
    assert listen(capsys, book, "--set", "tone=6", "--replace")[0] == 0
    assert (book / "out.wav").read_bytes() != first
    code, _, err = listen(capsys, book, "--set", "tone=3", "--true-level", book / "new.wav", target="new.wav")
    assert code == 2
    assert "same file" in err


@pytest.mark.parametrize("error", [KeyboardInterrupt, FileError("the disk is full")])
def test_nothing_half_written_is_left(book, capsys, monkeypatch, error):
    """Whatever happens in the middle of writing, the old files stay and no new ones come."""
    (book / "out.wav").write_bytes(b"old")
    passes = []
    whole = listening.convolve_blocks

    def broken(blocks, impulse):
        passes.append(1)
        for number, block in enumerate(whole(blocks, impulse)):
            if len(passes) == 2 and number == 2:
                raise error
            yield block

    monkeypatch.setattr(listening, "BLOCK_VALUES", 20000)
    monkeypatch.setattr(listening, "convolve_blocks", broken)
    code, out, err = listen(capsys, book, "--set", "tone=3", "--replace", "--true-level", book / "true.wav")
    assert code == (130 if error is KeyboardInterrupt else 2)
    assert out == ""
    assert is_one_line(err.lstrip("\n"))  # an interrupted line is ended first
    assert (book / "out.wav").read_bytes() == b"old"
    assert not (book / "true.wav").exists()
    assert unfinished(book) == []


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".aiff"])
def test_a_full_disk_is_noticed(tmp_path, suffix):
    """The system refuses what goes beyond a limit, as a full disk does, also in the last block."""
    resource, signal = pytest.importorskip("resource"), pytest.importorskip("signal")
    samples = pluck(RATE_HZ, 0.4)

    def create(name):
        with create_blocks(tmp_path / f"{name}{suffix}", rate_hz=RATE_HZ, n_channels=1, n_frames=len(samples)) as put:
            for block in np.array_split(samples, 5):
                put(block)
        return (tmp_path / f"{name}{suffix}").stat().st_size

    size, limits = create("whole"), resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        for number, limit in enumerate((10, 1000, size // 2, size - 900, size - 3)):
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limits[1]))
            with pytest.raises(OSError, match=rf"File too large: .*part-{number}{suffix}"):
                create(f"part-{number}")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)


def test_blocks_are_the_file(tmp_path):
    samples = pluck(RATE_HZ, 0.3, n_channels=3)
    path = write(tmp_path / "three.wav", samples)
    with open_blocks(path, n_frames=1000) as audio:
        blocks = list(audio.blocks)
    assert (audio.rate_hz, audio.n_channels, audio.n_frames) == (RATE_HZ, 3, len(samples))
    assert {len(block) for block in blocks[:-1]} == {1000}
    np.testing.assert_allclose(np.concatenate(blocks), samples, rtol=0, atol=2.0**-23)
    with pytest.raises(FileError, match="exists already"), create_blocks(path, rate_hz=1, n_channels=1, n_frames=1):
        pass
    with (
        pytest.raises(ValueError, match="give a name that ends"),
        create_blocks(tmp_path / "x.mp3", rate_hz=1, n_channels=1, n_frames=1),
    ):
        pass


def test_without_instrument_or_rig(tmp_path, capsys):
    write(tmp_path / "in.wav", pluck(RATE_HZ, 0.3))
    code, _, err = listen(capsys, tmp_path, "--set", "tone=3")
    assert code == 2
    assert "coilsweep instrument --layout NAME" in err
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    code, _, err = listen(capsys, tmp_path, "--set", "tone=3")
    assert code == 2
    assert "--input-resistance … --input-capacitance" in err
    assert not (tmp_path / "out.wav").exists()


def test_a_moved_lead_is_another_instrument(tmp_path, capsys):
    run(capsys, "rig", "--input-resistance", "1M", "--input-capacitance", "470p", "--logbook", tmp_path)
    run(capsys, "instrument", "--layout", "three-singles", "--logbook", tmp_path)
    (tmp_path / "moved").mkdir()
    run(capsys, "instrument", "--layout", "three-singles-bridge-tone", "--logbook", tmp_path / "moved")
    write(tmp_path / "in.wav", pluck(RATE_HZ, 0.4))
    code, document, _ = listen_json(
        capsys,
        tmp_path,
        "--instrument",
        tmp_path / "moved" / "instrument.toml",
        "--set",
        "tone-2=5",
        "--recorded",
        "selector=bridge",
    )
    assert code == 0
    at_hz = np.array(document["frequency_hz"])
    assert np.array(document["given_db"])[at_hz > 4e3][0] < -8
    assert document["before"]["pickups"] == document["after"]["pickups"] == ["bridge"]


@pytest.mark.long
def test_what_is_soldered_in_is_heard(book, capsys):
    """A treble bleed, the volume down: the filter is that of the circuit with the part stated in the file."""
    text = (book / "instrument.toml").read_text(encoding="utf-8")
    code, added, _ = listen_json(capsys, book, "--recorded", "volume=5", "--solder", "volume=1n2 ± 1%")
    assert code == 0
    assert added["changes"] == ["added volume=1n2 ± 1%"]
    other = book / "other.toml"
    part = '\n[capacitor.bleed]\nvalue = "1n2 ± 1%"\nbetween = ["bridge hot", "tip"]\n'
    other.write_text(text + part, encoding="utf-8")
    code, stated, _ = listen_json(capsys, book, "--recorded", "volume=5", "--instrument", other, target="other.wav")
    assert code == 0
    np.testing.assert_allclose(added["asked_db"], stated["asked_db"], atol=1e-9)
    assert added["asked_db"][-1] > 1
    code, moved, _ = listen_json(capsys, book, "--recorded", "tone=0", "--move", "tone.wiper=jack", target="moved.wav")
    assert (code, moved["changes"]) == (0, ["moved tone.wiper=jack"])


def test_two_changes_are_heard_in_two_files_as_loud_as_each_other(book, capsys):
    first, second = ["--set", "tone=2"], ["--change", "capacitor.tone=4n7"]
    code, both, _ = listen_json(capsys, book, *first, "--versus", *second, "--true-level", book / "true.wav")
    assert code == 0
    (other,) = both["versus"]
    files = [book / name for name in ("out.wav", "true.wav", "out-2.wav", "true-2.wav")]
    assert both["written"] == [str(file) for file in files]
    assert [one["file"] for one in other["sounds"]] == [str(file) for file in files[2:]]
    # the second stands where the first does, and is what it would be alone
    assert other["after"]["settings"]["tone"]["setting"] == "2"
    code, alone, _ = listen_json(capsys, book, *first, *second, "--true-level", book / "alone-true.wav", target="alone.wav")
    assert other["asked_db"] == alone["asked_db"]
    assert other["asked_db"] != both["asked_db"]
    np.testing.assert_array_equal(soundfile.read(book / "out-2.wav")[0], soundfile.read(book / "alone.wav")[0])
    loud = [weighted_energy(soundfile.read(book / name)[0][:, None], RATE_HZ) for name in ("in.wav", "out.wav", "out-2.wav")]
    assert 10 * np.log10(np.array(loud[1:]) / loud[0]) == pytest.approx([0, 0], abs=0.01)


def test_where_one_of_two_would_clip_both_are_lowered_alike(book, capsys):
    write(book / "in.wav", pluck(RATE_HZ, level=0.9))
    words = ["--recorded", "tone=0", "--set", "tone=1", "--versus", "--set", "tone=10"]
    code, both, _ = listen_json(capsys, book, *words)
    assert code == 0
    sounds = [both["sounds"][0], both["versus"][0]["sounds"][0]]
    assert sounds[0]["lowered_db"] == sounds[1]["lowered_db"] > 0
    loud = [weighted_energy(soundfile.read(book / name)[0][:, None], RATE_HZ) for name in ("out.wav", "out-2.wav")]
    assert 10 * np.log10(loud[1] / loud[0]) == pytest.approx(0, abs=0.01)


@pytest.mark.long
def test_two_changes_are_said_side_by_side_and_drawn(book, capsys):
    words = ["--set", "tone=2", "--versus", "--move", "tone.wiper=nothing", "--plot", book / "p.svg", "--page", book / "p.html"]
    code, out, _ = listen(capsys, book, *words)
    assert code == 0
    text = " ".join(out.split())
    assert re.search(r"The change makes it \d+\.\d dB quieter; versus: \d+\.\d dB louder \(K-weighted", text)
    assert "Changed: tone=2 Versus: tone.wiper taken off" in text
    assert "at equal loudness versus, at equal loudness" in text
    assert f"Written: {book / 'out-2.wav'}, as loud as the recording" in text
    assert max(map(len, out.splitlines())) <= 80 or str(book) in max(out.splitlines(), key=len)
    picture = (book / "p.svg").read_text(encoding="utf-8")
    assert "versus, at equal loudness" in picture
    page = read_page((book / "p.html").read_text(encoding="utf-8"))
    assert "The circuit" in page.headings
    code, _, err = listen(capsys, book, "--set", "tone=3", "--versus", "--set", "tone=4", target="new.wav")
    assert code == 0
    code, _, err = listen(capsys, book, "--set", "tone=3", "--versus", "--set", "tone=4", target="new.wav")
    assert (code, "new.wav" in err, is_one_line(err)) == (2, True, True)
