"""A browser for each file, servers for each test; without the browser of the system's packages all of it is skipped."""

from pathlib import Path

import pytest

from tests.browser.visitor import ARGUMENTS, CHROMIUM, MISSING, Visitor
from tests.window_server import Server


def pytest_collection_modifyitems(items):
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if MISSING:
                item.add_marker(pytest.mark.skip(reason=f"no pages in a browser without {' and '.join(MISSING)}"))


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield opened
        opened.close()


@pytest.fixture
def served(tmp_path):
    """Starts a server on the virtual bench; each is ended, and must have said nothing but how to end it."""
    servers = []

    def start(folder=tmp_path / "book", *words):
        servers.append(Server(folder, "--virtual", *words))
        return servers[-1]

    yield start
    for server in servers:
        if server.process.poll() is None:
            server.interrupt()
    assert [line for server in servers for line in server.complaints if "Ctrl-C ends it" not in line] == []


@pytest.fixture
def visit(browser):
    """Opens the pages of a server; nothing may be complained of, and nothing asked for elsewhere."""
    visitors = []

    def go(server, **how):
        visitors.append(Visitor(browser, server, **how))
        return visitors[-1]

    yield go
    for visitor in visitors:
        visitor.leave()
    for visitor in visitors:
        assert visitor.complaints == []
        assert visitor.places <= {f"127.0.0.1:{visitor.server.port}"}
