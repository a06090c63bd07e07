"""Takes made here: on the virtual bench, with what can go wrong on the way."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from fit.desk.bench.drawer import Drawer
from fit.desk.bench.take import MOST_REPEATS, Order, PreflightError, make_take
from fit.desk.book.desk import Desk
from fit.desk.book.rig import rig_of
from measure.errors import DeviceError, FileError
from measure.logbook.conditions import Conditions
from measure.logbook.recordings import kept_recordings
from measure.logbook.store import list_takes, open_logbook, read_take
from measure.response import Finding
from measure.signal.levels import SWEEP_GAIN_DB, TONE_HZ, TONE_LEVEL, read_levels
from measure.source.listening import Progress
from measure.source.soundcard import SoundCard
from measure.source.virtual import Faults, Noise, VirtualBench
from tests.desk_bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, INPUT_F, INPUT_OHM, RIG, coil, flat, run, run_json

QUIET = Noise(pickup_hum=(1e-3, 0.0, 3e-4), pickup_white=2e-5, reference_white=1e-5)


def bench(*, added_f=0.0, faults=None, noise=QUIET, gain=0.04, seed=1):
    return VirtualBench(pickup=coil(added_f, gain), reference=flat, noise=noise, faults=faults or Faults(), seed=seed)


@pytest.fixture
def desk(tmp_path, capsys):
    said = []
    desk = Desk(logbook=tmp_path / "book", say=said.append, tell=said.append, steps=lambda items, _label: items)
    assert run(capsys, "rig", *RIG, "--rate", 48000, "--logbook", desk.logbook)[0] == 0
    return desk, said


def order(name, *, added="", method="exciter", simulated=True, series_resistor=None, **options):
    conditions = Conditions(added=added, method=method, series_resistor=series_resistor)
    return Order(name=name, conditions=conditions, simulated=simulated, **options)


@pytest.mark.long
def test_two_takes_tell_the_coil(desk, capsys):
    desk, said = desk
    for name, added, added_f in (("open", "", 0.0), ("plus-1n", "1n ± 1%", 1e-9)):
        made = make_take(desk, order(name, added=added), source=bench(added_f=added_f, seed=len(name)))
        assert made.judgement.outcome == "good"
        assert made.reply.exit_code == 0
    assert not any("Phantom power off" in line for line in said)  # nothing is played
    code, document, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", f"{DCR_OHM} ± 1%", "--logbook", desk.logbook)
    assert code == 0
    assert document["simulated"] is True
    assert document["quantities"]["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.01)


def test_take_keeps_what_was_played_and_with_what(desk):
    desk, _ = desk
    make_take(desk, order("open", level=0.3, duration_s=2.0, repeats=2), source=bench())
    logbook = open_logbook(desk.logbook)
    take = read_take(logbook, "open")
    assert len(take.recordings) == 2
    assert (take.stimulus.level, take.stimulus.duration_s, take.rate_hz) == (0.3, 2.0, 48000)
    assert take.rig == rig_of(logbook)
    recordings, stimulus = kept_recordings(logbook, take)
    assert np.max(np.abs(stimulus)) == pytest.approx(0.3, rel=1e-3)
    assert len(recordings[0].samples) >= len(stimulus)


def test_rejected_take_is_kept_and_marked(desk):
    desk, said = desk
    made = make_take(desk, order("lost", is_looked_at_first=False), source=bench(faults=Faults(is_reference_dead=True)))
    assert made.reply.exit_code == 3
    assert read_take(open_logbook(desk.logbook), "lost").outcome == "rejected"
    assert any(line.startswith("rejected:") for line in said)


def test_look_before_stops_what_would_clip_or_be_silent(desk):
    desk, _ = desk
    with pytest.raises(PreflightError, match=r"the pickup would clip: it would reach \d+ %.* softer, by --level 0\.\d+$"):
        make_take(desk, order("loud"), source=bench(gain=0.4))
    with pytest.raises(PreflightError, match="nothing arrives at the reference's input"):
        make_take(
            desk, order("dead"), source=bench(faults=Faults(is_reference_dead=True), noise=replace(QUIET, reference_white=0.0))
        )
    assert list_takes(open_logbook(desk.logbook)).takes == ()


def test_look_before_does_not_take_hum_for_the_sweep(desk):
    """Half of full scale is hum: the sweep adds to it, and does not raise it."""
    desk, _ = desk
    source = bench(noise=Noise(pickup_hum=(0.5,), pickup_white=2e-5, reference_white=1e-5))
    assert make_take(desk, order("hum"), source=source).take.name == "hum"


@pytest.mark.long
def test_repeats_go_on_until_the_noise_is_low_enough(desk):
    desk, said = desk
    loud = replace(QUIET, pickup_white=3e-3)
    made = make_take(desk, order("noisy", noise_db=-31.0, duration_s=0.8), source=bench(noise=loud))
    n_repeats = made.reply.document.repeats
    assert 3 < n_repeats < MOST_REPEATS
    figures = [float(line.split("noise ")[1].split(" dB")[0]) for line in said if line.startswith("repeat ")]
    assert len(figures) == n_repeats
    assert figures[-1] <= -31.0 < figures[-2]
    assert figures[-1] < figures[0]


def test_take_is_no_noisier_than_level_says(desk):
    """What `level` foretells from a tone is what a take of the usual sweep then has, or better."""
    desk, _ = desk
    source = bench(noise=Noise(pickup_white=1e-3))
    tone = TONE_LEVEL * np.sin(2 * np.pi * TONE_HZ * np.arange(48000) / 48000)
    pickup, _ = read_levels(source.record(tone, rate_hz=48000)[12000:36000], 48000)
    foretold_db = -(pickup.tone_dbfs - pickup.noise_dbfs + 20 * np.log10(0.5 / TONE_LEVEL) + SWEEP_GAIN_DB)
    made = make_take(desk, order("open"), source=source)
    assert foretold_db - 15 < made.reply.document.noise_db <= foretold_db


def test_quiet_take_plays_nothing(desk):
    desk, said = desk
    made = make_take(desk, order("still", method="quiet", duration_s=2.0, simulated=False), source=bench())
    assert made.judgement.response is None
    take = read_take(open_logbook(desk.logbook), "still")
    assert take.stimulus is None
    assert any(line == "Phantom power off." for line in said)
    assert not any("Sweeps are loud" in line for line in said)


@pytest.mark.long
def test_cautions_are_said_once_a_session_and_with_another_card(desk, capsys):
    desk, said = desk
    for name, device, is_said in (("a", "one", True), ("b", "one", False), ("c", "other", True)):
        assert run(capsys, "rig", "--device", device, "--logbook", desk.logbook)[0] == 0
        said.clear()
        make_take(desk, order(name, duration_s=0.5, simulated=False), source=bench())
        assert ("Phantom power off." in said) == is_said
    path = desk.logbook / "takes" / "c" / "take.json"
    document = json.loads(path.read_text())
    long_ago = datetime.now(UTC) - timedelta(hours=9)
    for name in ("a", "b", "c"):
        path = desk.logbook / "takes" / name / "take.json"
        document = json.loads(path.read_text())
        path.write_text(json.dumps(document | {"time_utc": long_ago.isoformat(timespec="milliseconds").replace("+00:00", "Z")}))
    said.clear()
    make_take(desk, order("d", duration_s=0.5, simulated=False), source=bench())
    assert "Phantom power off." in said


def test_interrupted_leaves_the_logbook_as_it_was(desk):
    desk, _ = desk

    class Interrupted(Breaking):
        def record(self, stimulus, **options):
            del stimulus, options
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_take(desk, order("gone"), source=Interrupted())
    assert list_takes(open_logbook(desk.logbook)).takes == ()
    assert not (desk.logbook / "takes").exists()


def through_resistor(frequency_hz):
    """The jack's share of a voltage behind 100 kΩ: coil of this file, input and cable, by hand."""
    s = 2j * np.pi * frequency_hz
    impedance = 1 / (1 / (DCR_OHM + s * INDUCTANCE_H) + s * (CAPACITANCE_F + INPUT_F) + 1 / INPUT_OHM)
    return flat(frequency_hz) * impedance / (impedance + 100e3)


@pytest.mark.long
def test_impedance_through_a_resistor(desk, capsys):
    desk, _ = desk
    source = VirtualBench(pickup=through_resistor, reference=flat, noise=QUIET)
    with pytest.raises(ValueError, match="needs the resistor that the jack is driven through: --series-resistor"):
        make_take(desk, order("z", method="impedance"), source=source)
    with pytest.raises(ValueError, match="is for --method impedance alone"):
        make_take(desk, order("z", series_resistor="100k ± 1%"), source=source)
    made = make_take(desk, order("z", method="impedance", series_resistor="100k ± 1%"), source=source)
    assert made.judgement.outcome == "good"
    take = read_take(open_logbook(desk.logbook), "z")
    assert (take.conditions.method, take.conditions.series_resistor) == ("impedance", "100k ± 1%")
    code, document, _ = run_json(capsys, "fit", "z", "--dcr", f"{DCR_OHM} ± 1%", "--logbook", desk.logbook)
    assert code == 0
    assert document["quantities"]["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.015)
    assert run(capsys, "rig", "--reference", "none", "--logbook", desk.logbook)[0] == 0
    with pytest.raises(ValueError, match="records both ends of the series resistor, but the rig has no reference"):
        make_take(desk, order("z2", method="impedance", series_resistor="100k ± 1%"), source=source)


def test_plate_may_be_faint(desk):
    """A foil's current is proportional to the frequency; behind good shielding it is faint, and kept all the same."""
    desk, _ = desk
    source = VirtualBench(pickup=lambda f: 1e-9 * f * flat(f), reference=flat, noise=replace(QUIET, pickup_hum=()))
    made = make_take(desk, order("foil", method="plate"), source=source)
    assert made.judgement.outcome != "rejected"
    assert read_take(open_logbook(desk.logbook), "foil").conditions.method == "plate"


def test_sweep_can_be_narrowed(desk):
    desk, _ = desk
    make_take(desk, order("narrow", start_hz=50.0, stop_hz=18e3), source=bench())
    take = read_take(open_logbook(desk.logbook), "narrow")
    assert (take.stimulus.start_hz, take.stimulus.stop_hz) == (50.0, 18e3)


@pytest.mark.long
def test_what_the_card_told_is_kept_and_inspected_again(desk, capsys, monkeypatch):
    desk, said = desk
    lost = Finding(code="stream-flags", severity="warn", text="the card reported output underflow 2 times", figure=2.0)

    def play(card, stimulus, *, rate_hz, n_channels, on_block):
        assert card.reference_channel == 2
        on_block(Progress(samples=np.zeros((0, 2), np.float32), n_recorded=1, n_wanted=2, rate_hz=rate_hz))
        samples = bench().record(stimulus, rate_hz=rate_hz, n_channels=n_channels).astype(np.float32)
        return SimpleNamespace(samples=samples, findings=(lost,))

    monkeypatch.setattr("measure.source.soundcard.play_and_record", play)
    made = make_take(desk, order("open", simulated=False), source=SoundCard())
    assert made.judgement.outcome == "usable"
    (line,) = [line for line in said if line.startswith("The rig does not say otherwise")]
    taken = "the default sound card, output 1, input 1 for the pickup, input 2 for the reference."
    assert line.endswith(f"so these are taken: {taken}")
    _, document, _ = run_json(capsys, "inspect", "open", "--logbook", desk.logbook)
    assert document["outcome"] == "usable"
    assert "stream-flags" in [check["name"] for check in document["checks"]]


@pytest.mark.long
def test_command_on_the_virtual_bench(desk, capsys):
    desk, _ = desk
    for name, words in (("open", []), ("plus-1n", ["--add", "1n ± 1%"])):
        code, document, _ = run_json(capsys, "take", name, *words, "--virtual", "--logbook", desk.logbook)
        assert (code, document["simulated"], document["rate_hz"]) == (0, True, 48000)
    code, document, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "5.62k ± 1%", "--logbook", desk.logbook)
    assert document["quantities"]["inductance"]["value"] == pytest.approx(Drawer().inductance_h, rel=0.01)
    code, _, said = run(
        capsys, "take", "z", "--virtual", "--method", "impedance", "--series-resistor", "1k", "--logbook", desk.logbook
    )
    assert (code, said) == (2, "coilsweep: --virtual: the virtual bench knows the methods exciter and quiet, not impedance\n")


class Breaking:
    """A card that goes away in mid-sweep."""

    def describe(self):
        return "a card"

    def record(self, stimulus, **options):
        del stimulus, options
        msg = "the sound card went away in mid-sweep"
        raise DeviceError(msg)


def test_card_that_goes_away_leaves_the_logbook_as_it_was(desk):
    desk, _ = desk
    with pytest.raises(DeviceError, match="went away"):
        make_take(desk, order("gone"), source=Breaking())
    assert list_takes(open_logbook(desk.logbook)).takes == ()
    takes = desk.logbook / "takes"
    assert not takes.exists() or not list(takes.iterdir())


def test_taken_name_is_refused_before_anything_plays(desk):
    desk, _ = desk
    make_take(desk, order("open", duration_s=0.5), source=bench())
    with pytest.raises(FileError, match="there is a take"):
        make_take(desk, order("open"), source=Breaking())


def test_command_without_a_card_is_one_line(tmp_path, capsys, monkeypatch):
    from measure.errors import NoCardError

    def no_card(*_args, **_options):
        msg = "PortAudio finds no device"
        raise NoCardError(msg)

    monkeypatch.setattr("measure.source.soundcard.play_and_record", no_card)
    code, out, err = run(capsys, "take", "open", "--json", "--logbook", tmp_path)
    assert code == 4
    assert json.loads(out)["error"]["exit_code"] == 4
    assert "PortAudio finds no device" in err
