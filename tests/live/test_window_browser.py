"""The pages in a browser on the live bench: a pickup by keyboard alone, and silence when tab or browser goes."""

import contextlib
import os
import re
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from measure.logbook.store import list_takes, open_logbook
from tests.browser.visitor import ARGUMENTS, CHROMIUM, MISSING, Visitor
from tests.desk_bench import run_json
from tests.live.bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, coil
from tests.live.server import wait_until
from tests.window_server import Server, descendants

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(bool(MISSING), reason=f"no pages in a browser without {' and '.join(MISSING)}"),
]
ADDED_F = 1.0024e-9  # [F] of a part that says 1n ± 1%
RATE_HZ, TONE = 48000, 0.03
SILENT_S = 3.0  # [s]
DCR = "6.35k ± 1%"
TYPED = {"rig.input_resistance": "1M ± 1%", "rig.input_capacitance": "185p ± 3p", "dcr": DCR, "level": "0.3"}
STEP = "({...document.querySelector('.step').dataset})"
ASKED = "n => (({asked, is}) => Number(asked ?? 0) > n || is === 'done')(document.querySelector('.step').dataset)"


@pytest.fixture
def opened(live, tmp_path):
    """The live bench, a server at it, and a browser in front of that."""
    from playwright.sync_api import sync_playwright

    _, bench = live(RATE_HZ, pickup_noise=2e-5, hum=1e-3)
    server = Server(tmp_path / "book")
    with contextlib.ExitStack() as stack:
        stack.callback(server.end)
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield bench, server, Visitor(browser, server)
        with contextlib.suppress(Exception):  # it was killed
            browser.close()
    assert [line for line in server.complaints if "Ctrl-C ends it" not in line] == []


def keys_for(question):
    """What is pressed where Enter alone will not do."""
    key = question["key"]
    if key == "rig.device":
        return [str(1 + next(n for n, name in enumerate(question["choices"]) if name.startswith("bench (")))]
    if key == "look":
        return ["2"]
    return ["Control+a", f"type {TYPED[key]}", "Enter"] if key in TYPED else ["Enter"]


def test_a_pickup_by_keyboard_alone(opened, tmp_path, capsys):
    """And a fit of the same takes at the terminal says the same."""
    bench, _, visitor = opened
    visitor.open("/take?job=pickup")
    n = 0
    while True:
        visitor.wait(ASKED, n)
        step = visitor.page.evaluate(STEP)
        if step["is"] == "done":
            break
        n = int(step["asked"])
        question = visitor.all("guide_ask")[-1]
        if question["is_take"]:
            text = " ".join(question["todo"])
            bench.change(lambda f, text=text: coil(f, added_f=ADDED_F if re.search("clip 1n", text) else 0.0))
        for key in keys_for(question):
            if key.startswith("type "):
                visitor.page.keyboard.type(key.removeprefix("type "))
            else:
                visitor.press(key)
    done = visitor.all("guide_done")[-1]
    assert done["is_finished"], done
    found = done["document"]["answer"]["quantities"]
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        assert abs(found[name]["value"] - truth) < 3 * found[name]["standard_uncertainty"]
    book = tmp_path / "book"
    made = [take.name for take in list_takes(open_logbook(book)).takes]
    _, told, _ = run_json(capsys, "fit", *made, "--dcr", DCR, "--logbook", book)
    for name, one in told["quantities"].items():
        assert one["value"] == pytest.approx(found[name]["value"], rel=1e-9), name
    assert visitor.complaints == []
    assert visitor.places == {f"127.0.0.1:{visitor.server.port}"}


def browsers():
    """Ids of this process's browser and of all that belongs to it."""
    commands = {number: Path(f"/proc/{number}/cmdline") for number in descendants(os.getpid())}
    return [number for number, path in commands.items() if path.exists() and b"chrom" in path.read_bytes()]


def close_tab(visitor):
    visitor.page.close()


def close_browser(visitor):
    visitor.context.close()


def leave_for_another_page(visitor):
    visitor.page.goto("about:blank")


def kill_browser(visitor):
    del visitor
    for number in browsers():
        with contextlib.suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)


def hold_up_browser(visitor):
    """It hangs, and its connection with it."""
    del visitor
    for number in browsers():
        os.kill(number, signal.SIGSTOP)


@pytest.mark.parametrize("go", [close_tab, close_browser, leave_for_another_page, kill_browser, hold_up_browser])
def test_the_tone_fades_when_the_browser_goes(opened, book, go):
    bench, _, visitor = opened
    book(RATE_HZ)
    visitor.open("/level")
    visitor.press("Space")
    visitor.wait("Number(document.documentElement.dataset.levels ?? 0) > 10")
    wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * TONE, limit_s=20.0, what="the tone")
    n_before = len(bench.played())
    try:
        go(visitor)
        time.sleep(SILENT_S + 1.5)
        played = bench.played()
    finally:
        if go is hold_up_browser:
            kill_browser(visitor)
    last = int(np.max(np.flatnonzero(np.abs(played) > 0), initial=-1)) + 1
    sounded_s = (last - n_before) / RATE_HZ
    print(f"{go.__name__}: silent after {sounded_s:.2f} s")
    assert len(played) > n_before + SILENT_S * RATE_HZ
    assert sounded_s < SILENT_S
