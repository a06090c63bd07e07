"""Takes made here: on the virtual bench, with what can go wrong on the way."""

import json
from dataclasses import replace

import numpy as np
import pytest

from fit.desk.intake import TakeFacts
from fit.desk.outcome import Desk
from fit.desk.takes import kept_recordings, rig_of
from fit.desk.taking import MOST_REPEATS, PreflightError, TakeOrder, make_take
from measure.errors import DeviceError, FileError
from measure.logbook.store import list_takes, open_logbook, read_take
from measure.source.virtual import Faults, Noise, VirtualBench
from tests.desk_bench import DCR_OHM, INDUCTANCE_H, RIG, coil, flat, run, run_json

QUIET = Noise(pickup_hum=(1e-3, 0.0, 3e-4), pickup_white=2e-5, reference_white=1e-5)


def bench(*, added_f=0.0, faults=None, noise=QUIET, gain=0.04, seed=1):
    return VirtualBench(pickup=coil(added_f, gain), reference=flat, noise=noise, faults=faults or Faults(), seed=seed)


@pytest.fixture
def desk(tmp_path, capsys):
    said = []
    desk = Desk(logbook=tmp_path / "book", say=said.append, tell=said.append, steps=lambda items, _label: items)
    assert run(capsys, "rig", *RIG, "--rate", 48000, "--logbook", desk.logbook)[0] == 0
    return desk, said


def order(name, *, added="", method="exciter", **options):
    return TakeOrder(name=name, facts=TakeFacts(added=added, method=method, simulated=True), **options)


def test_two_takes_tell_the_coil(desk, capsys):
    desk, said = desk
    for name, added, added_f in (("open", "", 0.0), ("plus-1n", "1n ± 1%", 1e-9)):
        made = make_take(desk, order(name, added=added), source=bench(added_f=added_f, seed=len(name)))
        assert made.looked.outcome == "good"
        assert made.outcome.exit_code == 0
    assert sum("Phantom power off" in line for line in said) == 1  # once a session
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
    assert made.outcome.exit_code == 3
    assert read_take(open_logbook(desk.logbook), "lost").outcome == "rejected"
    assert any(line.startswith("rejected:") for line in said)


def test_look_before_stops_what_would_clip_or_be_silent(desk):
    desk, _ = desk
    with pytest.raises(PreflightError, match=r"the pickup would clip: it would reach \d+ % of full scale"):
        make_take(desk, order("loud"), source=bench(gain=0.4))
    with pytest.raises(PreflightError, match="nothing arrives at the reference's input"):
        make_take(
            desk, order("dead"), source=bench(faults=Faults(is_reference_dead=True), noise=replace(QUIET, reference_white=0.0))
        )
    assert list_takes(open_logbook(desk.logbook)).takes == ()


def test_repeats_go_on_until_the_noise_is_low_enough(desk):
    desk, said = desk
    loud = replace(QUIET, pickup_white=3e-3)
    made = make_take(desk, order("noisy", noise_db=-31.0, duration_s=0.8), source=bench(noise=loud))
    n_repeats = made.outcome.document["repeats"]
    assert 3 < n_repeats < MOST_REPEATS
    figures = [float(line.split("noise ")[1].split(" dB")[0]) for line in said if line.startswith("repeat ")]
    assert len(figures) == n_repeats
    assert figures[-1] <= -31.0 < figures[-2]
    assert figures[-1] < figures[0]


def test_quiet_take_plays_nothing(desk):
    desk, said = desk
    made = make_take(desk, order("still", method="quiet", duration_s=2.0), source=bench())
    assert made.looked.response is None
    take = read_take(open_logbook(desk.logbook), "still")
    assert take.stimulus is None
    assert any(line == "Phantom power off." for line in said)
    assert not any("Sweeps are loud" in line for line in said)


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
    assert list((desk.logbook / "takes").glob("*")) == [] if (desk.logbook / "takes").exists() else True


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
