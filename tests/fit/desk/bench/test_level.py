"""The commands devices, level and rig --ask without a card: what PortAudio would list and deliver is given."""

import shlex
from types import SimpleNamespace

import numpy as np
import pytest

from fit.desk.bench import level as leveling
from fit.desk.bench.level import card_of
from fit.desk.command.console import desk_at
from fit.desk.show.sheet import Table
from measure.logbook.rig import Interface, Reference, Rig
from measure.source.listening import Progress
from tests.desk_bench import RIG, run, run_json
from tests.listed_cards import BOX, DUMB, OTHER, list_cards

RATE_HZ = 48000


@pytest.fixture
def delivered(monkeypatch):
    """Blocks of what the inputs hear while the tone plays, until it is stopped; what was played is returned."""
    played = []

    def put(pickup, reference, *, n_blocks=120):
        def play(card, stimulus, *, rate_hz, n_channels, on_block, repeats):
            assert repeats
            played.append((card, stimulus))
            time_s, n_block = np.arange(RATE_HZ) / rate_hz, rate_hz // 100
            heard = np.stack([pickup(time_s), reference(time_s)], axis=1)[:, :n_channels].astype(np.float32)
            for index in range(n_blocks):
                at = index % 100 * n_block
                part = heard[at : at + n_block]
                if on_block(Progress(samples=part, n_recorded=(index + 1) * n_block, n_wanted=None, rate_hz=rate_hz)):
                    return
            raise KeyboardInterrupt

        monkeypatch.setattr(leveling, "play_and_record", play)
        monkeypatch.setattr(leveling, "REDRAW_S", 0.0)
        return played

    return put


def sine(level, hz=1000.0):
    return lambda time_s: level * np.sin(2 * np.pi * hz * time_s)


def test_devices_of_the_rig_by_name_and_host_api(tmp_path, capsys, monkeypatch):
    list_cards(monkeypatch, BOX, OTHER, DUMB)
    assert run(capsys, "rig", "--device", "box", "--host-api", "JACK", "--logbook", tmp_path)[0] == 0
    code, document, _ = run_json(capsys, "devices", "--logbook", tmp_path)
    assert code == 0
    assert [device["is_in_rig"] for device in document["devices"]] == [False, True, False]
    assert [device["rates_hz"] for device in document["devices"]] == [[44100, 48000], [96000], None]
    (rows,) = (block.rows for block in leveling.show_devices(desk_at(tmp_path)).sheet.blocks if isinstance(block, Table))
    assert [row[-1] for row in rows[1:]] == ["default output", "in the rig", ""]
    assert [row[4] for row in rows[1:]] == ["44.1, 48 kHz", "96 kHz", "did not answer"]
    assert run(capsys, "rig", "--host-api", "elsewhere", "--logbook", tmp_path)[0] == 0
    assert "The rig names box, which is not there." in run(capsys, "devices", "--logbook", tmp_path)[1]


def test_no_devices_and_no_logbook(tmp_path, capsys, monkeypatch):
    list_cards(monkeypatch)
    code, out, _ = run(capsys, "devices", "--logbook", tmp_path / "nowhere")
    assert (code, out) == (0, "that one is the default\n")
    assert not (tmp_path / "nowhere").exists()


def test_card_of_a_rig():
    usual = card_of(Rig())
    assert (usual.device, usual.output_channel, usual.pickup_channel, usual.reference_channel) == (None, 1, 1, 2)
    assert card_of(Rig(interface=Interface(pickup_channel=2))).reference_channel == 1
    assert card_of(Rig(interface=Interface(reference_channel=1))).pickup_channel == 2
    assert card_of(Rig(reference=Reference(kind="none"))).reference_channel is None
    two = card_of(Rig(interface=Interface(device="out", input_device="in", host_api="ALSA", output_channel=3)))
    assert (two.device, two.input_device, two.host_api, two.output_channel) == ("out", "in", "ALSA", 3)


@pytest.mark.long
def test_level_for_some_seconds(delivered, tmp_path, capsys, monkeypatch):
    clock = iter(np.arange(0, 100, 0.005))
    monkeypatch.setattr(leveling, "time", SimpleNamespace(monotonic=lambda: next(clock)))
    played = delivered(sine(1e-3), sine(0.018), n_blocks=400)
    code, document, said = run_json(capsys, "level", "--duration", 1.5, "--level", 0.02, "--logbook", tmp_path)
    assert code == 0
    assert document["inputs"]["pickup"]["tone_dbfs"] == pytest.approx(20 * np.log10(1e-3), abs=0.01)
    assert document["inputs"]["reference"]["peak_dbfs"] == pytest.approx(20 * np.log10(0.018), abs=0.01)
    assert {check["outcome"] for check in document["checks"]} == {"pass"}
    lines = [line for line in said.splitlines() if "exciter found" in line]
    assert len(lines) > 3  # no terminal: each stands on a line of its own
    ((card, stimulus),) = played
    assert card.device is None
    assert np.max(np.abs(stimulus)) == pytest.approx(0.02, rel=1e-3)
    assert np.all(np.abs(stimulus[[0, -1]]) < 0.02 * 0.14)  # whole periods: it joins itself


@pytest.mark.long
def test_what_comes_after_a_good_level_can_be_typed(delivered, tmp_path, capsys, monkeypatch):
    """A take, which needs a card; on the virtual bench it is one all the same."""
    clock = iter(np.arange(0, 100, 0.005))
    monkeypatch.setattr(leveling, "time", SimpleNamespace(monotonic=lambda: next(clock)))
    delivered(sine(1e-3), sine(0.018), n_blocks=400)
    assert run(capsys, "rig", *RIG, "--rate", RATE_HZ, "--logbook", tmp_path)[0] == 0
    for name in ("open", "open-2"):
        code, out, _ = run(capsys, "level", "--duration", 1.5, "--logbook", tmp_path)
        last = out.splitlines()[-1]
        assert (code, last) == (0, f"Next: coilsweep take {name} --logbook {tmp_path}")
        words = shlex.split(last)[2:]
        assert run(capsys, *words, "--virtual", "--no-look", "--duration", "1")[0] == 0


@pytest.mark.long
def test_level_until_it_is_interrupted(delivered, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", SimpleNamespace(readline=lambda: __import__("time").sleep(60)))
    delivered(sine(0.5), sine(1.0))
    assert run(capsys, "rig", *RIG, "--rate", RATE_HZ, "--logbook", tmp_path)[0] == 0
    code, out, _ = run(capsys, "level", "--logbook", tmp_path)
    assert code == 0
    assert "look: reference clips (0.0 dBFS): lower its input gain" in out
    assert "look: the exciter is too near or too loud" in " ".join(out.split())


def test_level_that_is_interrupted_before_its_time(delivered, tmp_path, capsys):
    delivered(sine(0.5), sine(1.0))
    code, out, said = run(capsys, "level", "--duration", 600, "--logbook", tmp_path)
    assert (code, out) == (130, "")
    assert said.endswith("coilsweep: Interrupted; nothing half-written is left.\n")
