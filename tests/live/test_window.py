"""The bench in a window on the live bench: levels, a guided pickup, and silence in time whoever goes: page, browser, server."""

import os
import signal
import socket
import time

import numpy as np
import pytest

from measure.logbook.store import list_takes, open_logbook
from tests.desk_bench import run_json
from tests.live.bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, coil
from tests.live.server import wait_until
from tests.live.steps import ramp_step
from tests.window_server import Server, descendants, wait_until_gone

ADDED_F = 1.0024e-9  # [F] of a part that says 1n ± 1%
RATE_HZ = 48000
TONE = 0.03  # [1] as the level page plays it
SILENT_S = 3.0  # [s]
INPUT = {"rig.input_resistance": "1M ± 1%", "rig.input_capacitance": "185p ± 3p"}
ANSWERS = {**INPUT, "dcr": "6.35k ± 1%", "look": "no", "level": "0.3"}


@pytest.fixture
def served(tmp_path):
    servers = []

    def start(folder=tmp_path / "book"):
        servers.append(Server(folder))
        return servers[-1]

    yield start
    for server in servers:
        server.end()


def last_sound(played):
    """Where the last sample lies that is not silent, from 1; 0 for none."""
    return int(np.max(np.flatnonzero(np.abs(played) > 0), initial=-1)) + 1


def silent_after_s(bench, n_before):
    """How long it sounded since the bench had heard `n_before` samples, by the bench's own clock."""
    time.sleep(SILENT_S + 1.5)
    played = bench.played()
    assert len(played) > n_before + SILENT_S * RATE_HZ, "the bench runs on"
    assert not np.any(played[-RATE_HZ:]), "it sounds on"
    return (last_sound(played) - n_before) / RATE_HZ, played


def play_tone(server, bench):
    """A page with a tone that plays."""
    page = server.page()
    page.send("level_start")
    told = page.next("level", "refused", "level_ended")
    assert told["kind"] == "level", told
    wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * TONE, limit_s=20.0, what="the tone")
    return page


def rig(book):
    return book(RATE_HZ, "--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--sense-resistor", "100 ± 1%")


def close_page(page, _server):
    page.close()


def kill_browser(page, _server):
    """Nobody says good-bye: the connection is just gone."""
    page.is_still.set()
    raw = page.socket.socket
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    raw.shutdown(socket.SHUT_RDWR)


def freeze_page(page, _server):
    """The page is there and says nothing any more."""
    page.is_still.set()


def interrupt_server(_page, server):
    server.process.send_signal(signal.SIGINT)


def terminate_server(_page, server):
    server.process.send_signal(signal.SIGTERM)


def kill_server(_page, server):
    server.process.kill()


def kill_card_process(_page, server):
    """That which has the recording process as its child."""
    for number in descendants(server.process.pid):
        if descendants(number):
            os.kill(number, signal.SIGKILL)
            return
    pytest.fail("nothing is recorded")


def press_stop(page, _server):
    page.send("stop")


GOING = (close_page, kill_browser, freeze_page, interrupt_server, terminate_server, kill_server, kill_card_process, press_stop)


@pytest.mark.parametrize("go", GOING)
def test_the_tone_fades_to_silence_whoever_goes(live, book, served, go):
    _, bench = live(RATE_HZ)
    server = served(rig(book))
    page = play_tone(server, bench)
    family = descendants(server.process.pid)
    n_before = len(bench.played())
    go(page, server)
    sounded_s, played = silent_after_s(bench, n_before)
    print(f"{go.__name__}: silent after {sounded_s:.2f} s")
    assert sounded_s < SILENT_S
    period = played[n_before - RATE_HZ // 10 : n_before]
    own_step = np.max(np.abs(np.diff(period)))
    steps = np.abs(np.diff(played[n_before:]))
    assert np.max(steps) < own_step + ramp_step(RATE_HZ, TONE), "it ends without a click"
    page.is_still.set()
    if go in (interrupt_server, terminate_server, kill_server):
        server.process.wait(timeout=10.0)
        wait_until_gone(family)
    else:
        with server.page() as other:
            other.send("level_start")
            assert other.next("level", "refused")["kind"] == "level"
            other.send("level_stop")
            assert other.next("level_ended")["text"] == ""


def answer_until(page, key, bench=None):
    """Answer the guide's questions until it asks this one."""
    while (asked := page.next("guide_ask", "guide_done"))["kind"] == "guide_ask":
        if asked["key"] == key:
            return asked
        if bench is not None and asked["is_take"]:
            bench.change(lambda f, asked=asked: coil(f, added_f=ADDED_F if "clip 1n" in " ".join(asked["todo"]) else 0.0))
        answer(page, asked)
    return asked


def answer(page, asked):
    if asked["key"] == "rig.device":
        number = next(n for n, name in enumerate(asked["choices"], start=1) if name.startswith("bench ("))
        page.send("guide_answer", key=asked["key"], text=str(number))
    elif asked["key"] in ANSWERS:
        page.send("guide_answer", key=asked["key"], text=ANSWERS[asked["key"]])
    else:
        page.send("guide_do", key=asked["key"])


def test_a_pickup_is_found_at_the_page(live, served, tmp_path, capsys):
    """And a fit of the same takes at the terminal says the same."""
    _, bench = live(RATE_HZ, pickup_noise=2e-5, hum=1e-3)
    server = served(tmp_path / "pickup")
    with server.page() as page:
        page.send("guide_open", job="pickup")
        done = answer_until(page, "", bench)
    assert done["is_finished"], done
    found = done["document"]["answer"]["quantities"]
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        print(name, found[name]["value"], found[name]["interval_95"])
        assert abs(found[name]["value"] - truth) < 3 * found[name]["standard_uncertainty"]
    made = [take.name for take in list_takes(open_logbook(tmp_path / "pickup")).takes]
    words = ["fit", *made, "--dcr", ANSWERS["dcr"], "--logbook", tmp_path / "pickup"]
    _, told, _ = run_json(capsys, *words)
    again = told["quantities"]
    assert again.keys() == found.keys()
    for name, one in again.items():
        assert one["value"] == pytest.approx(found[name]["value"], rel=1e-9), name
        assert one["interval_95"] == pytest.approx(found[name]["interval_95"], rel=1e-9), name


@pytest.mark.parametrize("go", [close_page, kill_browser, press_stop, kill_server])
def test_a_sweep_that_is_left_fades_and_leaves_the_logbook_whole(live, served, tmp_path, go):
    _, bench = live(RATE_HZ)
    server = served(tmp_path / "pickup")
    page = server.page()
    page.send("guide_open", job="pickup")
    asked = answer_until(page, "ready.open")
    page.send("guide_do", key=asked["key"])
    wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * 0.3, limit_s=20.0, what="the sweep")
    n_before = len(bench.played())
    go(page, server)
    sounded_s, _ = silent_after_s(bench, n_before)
    print(f"{go.__name__}: silent after {sounded_s:.2f} s")
    assert sounded_s < 1.5, "the sweep itself would have gone on for more than two seconds"
    listing = list_takes(open_logbook(tmp_path / "pickup"))
    assert (listing.takes, listing.damaged) == ((), {})
    page.is_still.set()
    if go is not kill_server:
        other = page if go is press_stop else server.page()
        if other is not page:
            other.send("guide_open", job="pickup")
        assert answer_until(other, "ready.open")["key"] == "ready.open", "it is asked for again"
        other.close()


def test_the_meters_move_ten_times_a_second_and_more(live, book, served):
    """By the bench's own clock, which is that of the sound."""
    _, bench = live(RATE_HZ, hum=1e-3)
    with play_tone(served(rig(book)), bench) as page:
        n_before, n_levels = len(bench.played()), 60
        told = [page.next("level") for _ in range(n_levels)]
        seconds = (len(bench.played()) - n_before) / RATE_HZ
    print(f"{n_levels / seconds:.1f} readings a second")
    assert n_levels / seconds > 10
    assert told[-1]["inputs"][1]["peak_db"] == pytest.approx(20 * np.log10(0.6 * TONE), abs=0.5)
    assert told[-1]["advice"]
    looks = [one["spectrum"] for one in told if one["spectrum"]]
    assert 50.0 in looks[-1]["mains_hz"]


def test_a_look_at_the_levels_is_stopped_at_the_page(live, served, tmp_path):
    _, bench = live(RATE_HZ)
    server = served(tmp_path / "pickup")
    with server.page() as page:
        page.send("guide_open", job="pickup")
        asked = answer_until(page, "look")
        page.send("guide_answer", key=asked["key"], text="yes")
        wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * TONE, limit_s=20.0, what="the tone")
        assert page.next("card")["activity"] == "guide"
        n_before = len(bench.played())
        page.send("stop")
        asked = page.next("guide_ask")
        assert (asked["key"], asked["choices"]) == ("look", ["yes", "no"])
        sounded_s, _ = silent_after_s(bench, n_before)
        assert sounded_s < SILENT_S
        page.send("guide_answer", key="look", text="no")
        assert page.next("guide_ask")["key"] == "level"


def test_a_second_page_looks_on_and_may_take_over(live, book, served):
    _, bench = live(RATE_HZ)
    server = served(rig(book))
    one = play_tone(server, bench)
    with one, server.page() as other:
        assert other.next("level")["inputs"][0]["name"] == "pickup"
        assert "page 1 has the sound card" in other.ask("level_stop")["text"]
        n_before = len(bench.played())
        assert other.ask("card_take")["owner"]
        sounded_s, _ = silent_after_s(bench, n_before)
        assert sounded_s < SILENT_S
        other.send("level_start", what="quiet")
        told = other.next("level")
        assert told["inputs"][0]["peak_db"] < -60
