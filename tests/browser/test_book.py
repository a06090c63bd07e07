"""The pages of what is kept: Result, Before and after, Logbook."""

import pytest

from measure.logbook.store import open_logbook, read_take
from tests.guided import Script, guided


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept") / "book"
    folder.mkdir()
    guided(folder, "compare", Script())
    return folder


def test_takes_are_fitted_by_choosing_them(kept, served, visit):
    (kept / "results" / "fit.json").unlink(missing_ok=True)
    visitor = visit(served(kept))
    visitor.open("/result")
    visitor.wait("document.documentElement.dataset.result === 'none'")
    for name in ("open-before", "plus-added-before"):
        visitor.page.get_by_label(name, exact=True).first.check()
    visitor.page.get_by_role("button", name="Fit", exact=True).click()
    visitor.wait("document.documentElement.dataset.result === 'good'")
    assert visitor.page.locator(".values dt").first.inner_text() == "Inductance"
    assert visitor.page.locator(".panel canvas").count() == 2  # the responses, and what the model leaves
    assert visitor.page.get_by_role("link", name="Make this take").count() == 0  # the job that made them has more takes
    assert visitor.page.get_by_text("coilsweep take further", exact=False).first.is_visible()
    assert "limited most by" in visitor.page.locator("main").inner_text()


def test_the_take_that_would_narrow_it_is_made_at_once(tmp_path, served, visit):
    guided(tmp_path / "book", "pickup", Script())
    visitor = visit(served())
    visitor.open("/result")
    visitor.wait("document.documentElement.dataset.result === 'good'")
    visitor.page.get_by_role("link", name="Make this take").first.click()
    visitor.wait("document.querySelector('.step')?.dataset.is === 'asked'")
    asked = visitor.all("guide_ask")[0]
    assert asked["is_take"]
    assert asked["setup"]["added"]
    while visitor.page.locator(".step").get_attribute("data-is") != "done":
        n_asked = visitor.page.locator(".step").get_attribute("data-asked")
        visitor.press("Space")
        visitor.wait(
            "n => document.querySelector('.step').dataset.is === 'done' || document.querySelector('.step').dataset.asked !== n",
            n_asked,
        )
    made = visitor.all("take_made")[0]["name"]
    visitor.page.get_by_role("link", name="The result in full").click()
    visitor.wait("name => document.getElementById('said').textContent.endsWith(name)", made)


def test_what_a_job_changed_is_shown_at_once(kept, served, visit):
    visitor = visit(served(kept))
    visitor.open("/before-after")
    visitor.wait("document.documentElement.dataset.compared === '2'")
    assert visitor.page.locator(".verdict .said").inner_text().startswith("CHANGED: winding capacitance")
    assert visitor.page.locator(".panel canvas").count() == 4
    visitor.wait("document.querySelector('#said').textContent.startsWith('Compared')")


def test_a_note_is_amended_where_it_stands(kept, served, visit):
    visitor = visit(served(kept))
    visitor.open("/logbook")
    visitor.wait("document.documentElement.dataset.takes === '6'")
    assert visitor.page.locator("svg.small-picture").count() == 4
    entry = visitor.page.locator("li.entry", has_text="plus-added-after")
    entry.locator("input").fill("pole pieces <b>flush</b>")
    visitor.press("Enter")
    visitor.wait("document.getElementById('said').textContent.includes('plus-added-after')")
    assert read_take(open_logbook(kept), "plus-added-after").conditions.note == "pole pieces <b>flush</b>"
    assert entry.locator("input").input_value() == "pole pieces <b>flush</b>"
    assert visitor.page.locator("li.entry b").count() == 0


def test_another_logbook_is_opened(kept, tmp_path, served, visit):
    server = served(tmp_path / "other")
    visitor = visit(server)
    visitor.open("/logbook")
    visitor.wait("document.documentElement.dataset.takes === '0'")
    visitor.page.locator("summary", has_text="Open another logbook").click()
    visitor.page.get_by_label("Its folder").fill(str(kept))
    visitor.press("Enter")
    visitor.wait("document.documentElement.dataset.takes === '6'")
