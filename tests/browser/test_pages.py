"""What holds on every page, light and dark, wide and narrow: no barrier that axe-core knows, nothing cut off, no complaint."""

import pytest

from tests.browser.books import PATHS, book_for, fill

LOOKS = ((1280, False), (390, True))
SETTLED_MS = 1500  # what a page asks for on opening has come by then, or axe-core judges it without


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("filled"))


@pytest.fixture
def opened(filled, served, visit):
    def go(path, **how):
        visitor = visit(served(book_for(filled, path)), **how)
        visitor.open(path)
        visitor.page.wait_for_timeout(SETTLED_MS)
        return visitor

    return go


@pytest.mark.parametrize("path", PATHS)
def test_axe_core_finds_no_barrier(path, filled, served, visit):
    server = served(book_for(filled, path))
    for width, dark in LOOKS:
        visitor = visit(server, width=width, dark=dark)
        visitor.open(path)
        visitor.page.wait_for_timeout(SETTLED_MS)
        assert visitor.barriers() == []
        visitor.leave()


@pytest.mark.parametrize("path", PATHS)
def test_nothing_is_cut_off_at_320_pixels_or_twice_the_size(path, filled, served, visit):
    server = served(book_for(filled, path))
    for width, zoom in ((320, 1), (1280, 2)):
        visitor = visit(server, width=width, zoom=zoom)
        visitor.open(path)
        visitor.page.wait_for_timeout(SETTLED_MS)
        wide = visitor.page.evaluate("[document.scrollingElement.scrollWidth, document.scrollingElement.clientWidth]")
        assert wide[0] <= wide[1], (path, width, zoom, wide)
        visitor.leave()


@pytest.mark.parametrize("path", PATHS)
def test_a_page_has_one_heading_the_links_and_a_title(path, opened):
    page = opened(path).page
    assert page.locator("h1").count() == 1
    assert page.locator("nav a").count() == 8
    assert page.locator("nav a[aria-current=page]").count() == 1
    assert page.title().lower().endswith("the bench")
    assert page.locator("a, button, input, select, summary").first.text_content() == "To the page"
    if "job=" not in path:  # a step of a job takes the focus as soon as it is there
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "To the page"


def test_without_its_server_a_page_says_so(served, visit):
    server = served()
    visitor = visit(server)
    visitor.open("/level")
    server.interrupt()
    visitor.wait("document.getElementById('trouble').textContent.startsWith('The connection to the program is lost')")
    visitor.complaints.clear()  # the browser's own words on a connection that is refused
