"""Every page as a picture, to be looked at, light and dark, wide and narrow: python -m tests.browser.pictures DIR [PATH ...]."""

import sys
import tempfile
from pathlib import Path

from tests.browser.books import PATHS, book_for, fill
from tests.browser.visitor import ARGUMENTS, CHROMIUM, Visitor
from tests.window_server import Server

LOOKS = ((1280, False), (1280, True), (390, False), (390, True))
SETTLED_MS = 6000


def take_pictures(folder, wanted):
    """Each page with something to show."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as books, sync_playwright() as playwright:
        fill(Path(books))
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        for path in wanted:
            server = Server(book_for(Path(books), path), "--virtual")
            try:
                for width, dark in LOOKS:
                    take_picture(browser, server, path, folder, width=width, dark=dark)
            finally:
                server.end()
        browser.close()


def take_picture(browser, server, path, folder, *, width, dark):
    visitor = Visitor(browser, server, width=width, dark=dark)
    visitor.open(path)
    if path == "/level":
        visitor.press("Space")
    visitor.page.wait_for_timeout(SETTLED_MS)
    name = path.strip("/").replace("?job=", "-") or "start"
    visitor.page.screenshot(path=folder / f"{name}-{width}-{'dark' if dark else 'light'}.png", full_page=True)
    print(path, *visitor.complaints, sep="\n  ")
    visitor.leave()


if __name__ == "__main__":
    target = Path(sys.argv[1])
    target.mkdir(parents=True, exist_ok=True)
    take_pictures(target, sys.argv[2:] or PATHS)
