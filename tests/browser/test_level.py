"""The page Level: two meters, the spectrum with the mains lines, one sentence; a key plays and stops."""

import pytest

HEARD = "n => Number(document.documentElement.dataset.levels ?? 0) > n"
METERS = "[...document.querySelectorAll('[role=meter]')].map(one => [one.ariaLabel, one.ariaValueText])"
BARS = "[...document.querySelectorAll('.meter .bar')].map(one => Number(one.style.transform.match(/[\\d.]+/)[0]))"
FLOOR_DB = -90  # lower end of a meter


def test_a_key_plays_shows_what_is_heard_and_stops(served, visit):
    visitor = visit(served())
    visitor.open("/level")
    page = visitor.page
    assert page.locator("button.main").inner_text().startswith("Play the quiet tone")
    visitor.press("Space")
    visitor.wait(HEARD, 30)
    assert page.locator("button.main").inner_text().startswith("Stop")
    names, texts = zip(*page.evaluate(METERS), strict=True)
    assert names == ("Pickup, peak", "Reference, peak")
    assert all(text.endswith("dBFS") for text in texts)
    last = visitor.all("level")[-1]["inputs"]
    wanted = [1 - one["rms_db"] / FLOOR_DB for one in last]
    assert page.evaluate(BARS) == pytest.approx(wanted, abs=0.05)  # a later one may have come by now
    assert page.locator(".advice").inner_text() == visitor.all("level")[-1]["advice"] != ""
    assert [one.inner_text() for one in page.locator(".clip").all()] == ["no clip", "no clip"]
    with_lines = [one["spectrum"] for one in visitor.all("level") if one["spectrum"]]
    assert 50 in [round(hz) for hz in with_lines[-1]["mains_hz"]]
    assert page.locator(".legend li").all_inner_texts() == ["Pickup", "Reference"]
    visitor.press("Space")
    visitor.wait("document.querySelector('button.main').textContent.startsWith('Play')")
    visitor.wait("document.documentElement.dataset.card === 'free'")
    assert visitor.all("card")[-1]["activity"] == "idle"


def test_the_cursor_of_the_spectrum_moves_by_arrow_keys_and_says_what_it_stands_on(served, visit):
    visitor = visit(served())
    visitor.open("/level")
    visitor.press("l")
    visitor.wait(HEARD, 10)
    visitor.press("l")
    visitor.wait("document.documentElement.dataset.card === 'free'")
    stage = visitor.page.locator(".stage")
    assert stage.get_attribute("aria-valuetext").startswith("Pickup: highest")
    stage.focus()
    visitor.press("Home")
    first = stage.get_attribute("aria-valuetext")
    visitor.press("ArrowRight", "ArrowRight")
    assert "; Reference" in first
    assert stage.get_attribute("aria-valuetext") != first
    spectrum = [one["spectrum"] for one in visitor.all("level") if one["spectrum"]][-1]
    assert float(stage.get_attribute("aria-valuenow")) == pytest.approx(spectrum["frequency_hz"][2])
    visitor.page.locator(".numbers summary").press("Enter")
    visitor.wait("document.querySelectorAll('.numbers tbody tr').length > 15")
    cells = visitor.page.locator(".numbers tbody tr").last.locator("th,td").all_inner_texts()
    assert len(cells) == 4
    assert cells[0].endswith("kHz")
