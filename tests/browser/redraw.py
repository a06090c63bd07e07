"""How long a slider takes to its redraw, and a cold server to its first curve: python -m tests.browser.redraw.

For the guitar with three pickups whose parts are measured, two of them heard; each step of the slider waits for nothing.
"""

import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.visitor import ARGUMENTS, CHROMIUM, Visitor
from tests.three_pickups import lay_out
from tests.window_server import Server

STEPS, EVERY_MS = 100, 80


def main():
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        book = lay_out(Path(folder))
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        began = time.perf_counter()
        server = Server(book, "--virtual")
        visitor = Visitor(browser, server)
        visitor.open("/what-if")
        visitor.wait("document.documentElement.dataset.curves")
        print(f"cold start to the first curve: {time.perf_counter() - began:.2f} s")
        visitor.page.get_by_label("neck-middle").check()
        visitor.page.get_by_label("tone-1, from 0 to 10").focus()
        visitor.page.evaluate("performance.clearMeasures()")
        for _ in range(STEPS):
            visitor.press("ArrowLeft")
            visitor.page.wait_for_timeout(EVERY_MS)
        times = sorted(visitor.page.evaluate("performance.getEntriesByName('slider to redraw').map((one) => one.duration)"))
        nine = times[int(0.9 * len(times))]
        print(f"slider to redraw, {len(times)} times: median {statistics.median(times):.1f} ms, 9 of 10 below {nine:.1f} ms")
        visitor.leave()
        browser.close()
        server.end()


if __name__ == "__main__":
    main()
