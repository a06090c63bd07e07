"""The page What if: its curve is that of predict, its link brings everything back, and all of it goes by keyboard."""

import shlex

import numpy as np
import pytest

from tests.desk_bench import run_json
from tests.three_pickups import lay_out

REST_MS = 900  # the link follows within


@pytest.fixture
def page(tmp_path, served, visit):
    return opened(visit(served(lay_out(tmp_path / "book"))))


def opened(visitor, path="/what-if"):
    visitor.open(path)
    visitor.wait("document.documentElement.dataset.curves")
    return visitor


def settle(visitor, condition):
    """Wait until the latest curve is one of which a condition holds; give it."""
    for _ in range(400):
        found = visitor.all("what_if")
        if found and condition(found[-1]):
            return found[-1]
        visitor.page.wait_for_timeout(30)
    raise AssertionError(found[-1]["command"] if found else "no curve")


def at(curve, name):
    return next(control["at"] for control in curve["controls"] if control["name"] == name)


def test_by_keyboard_to_the_curve_that_predict_prints(page, capsys):
    page.page.get_by_label("neck", exact=True).focus()
    page.press("Space")
    page.page.get_by_label("tone-1, from 0 to 10").focus()
    page.press(*["ArrowLeft"] * 25)
    page.page.get_by_label("Tone capacitor", exact=True).focus()
    page.press("Control+a", *".022", "Enter")
    curve = settle(page, lambda one: "capacitor.tone=.022" in one["command"] and at(one, "tone-1") == "7.5")
    code, document, _ = run_json(capsys, *shlex.split(curve["command"])[1:])
    assert code == 0
    assert [one["label"] for one in curve["curves"]] == ["neck"]
    expected = document["pickups"]["neck"]
    drawn = curve["curves"][0]
    assert np.abs(np.array(drawn["db"]) - expected["gain_db"]).max() < 1e-6
    half = 1.96 * np.array(expected["gain_db_standard_uncertainty"])
    assert np.array(drawn["high_db"]) - drawn["db"] == pytest.approx(half, abs=1e-4)
    page.wait("document.querySelector('.stage canvas')")
    page.page.locator(".numbers summary").click()
    row = page.page.locator(".numbers tbody tr").first.inner_text().split("\t")
    assert float(row[2].split()[0].replace("\u2212", "-")) == pytest.approx(drawn["db"][0], abs=0.006)


def test_the_link_brings_everything_back(page):
    page.page.get_by_label("neck-middle").check()
    page.page.get_by_label("volume", exact=True).fill("35%")
    page.press("Enter")
    page.page.locator("summary", has_text="Solder").click()
    page.page.get_by_role("button", name="Treble bleed").click()
    curve = settle(page, lambda one: "1n2 + 150k" in one["command"] and at(one, "volume") == "35%")
    page.page.wait_for_timeout(REST_MS)
    link = page.page.url
    page.heard.clear()
    page.page.goto("about:blank")
    page.page.goto(link)
    again = settle(page, lambda one: at(one, "volume") == "35%")
    assert again["command"] == curve["command"]
    assert again["curves"] == curve["curves"]


def test_what_is_held_stays_while_others_are_tried(page):
    page.page.get_by_role("button", name="Hold this").click()
    page.wait("[...document.querySelectorAll('.legend li')].some((one) => one.textContent.endsWith('held'))")
    page.page.get_by_label("middle", exact=True).check()
    settle(page, lambda one: at(one, "selector") == "middle")
    legend = page.page.locator(".legend").inner_text()
    assert "middle" in legend
    assert "bridge, held" in legend
    page.page.get_by_role("button", name="Let go of what is held").click()
    page.wait("![...document.querySelectorAll('.legend li')].some((one) => one.textContent.endsWith('held'))")


def test_what_cannot_be_is_said_and_can_be_taken_back(page):
    field = page.page.get_by_label("Tone capacitor", exact=True)
    field.fill("green")
    field.press("Enter")
    page.wait("document.getElementById('trouble').textContent.includes('capacitor.tone')")
    page.page.get_by_role("button", name="All as it is").click()
    page.wait("document.getElementById('trouble').textContent === ''")
    assert field.input_value() == "21.30 nF"


def test_what_is_refused_does_not_stand_in_the_way_of_what_follows(page):
    page.page.get_by_label("volume", exact=True).fill("22 x")
    page.press("Tab")
    page.wait("document.getElementById('trouble').textContent.startsWith('volume: \"22 x\"')")
    assert page.page.get_by_label("volume", exact=True).input_value() == "10"
    page.page.get_by_label("tone-1", exact=True).fill("3")
    page.press("Enter")
    curve = settle(page, lambda one: at(one, "tone-1") == "3")
    page.wait("document.getElementById('trouble').textContent === ''")
    assert "volume" not in curve["command"]


def test_a_wrong_word_stays_to_be_mended_until_the_field_is_left(page):
    field = page.page.get_by_label("Tone capacitor", exact=True)
    field.fill("22 x")
    page.press("Enter")
    page.wait("document.getElementById('trouble').textContent.includes('22 x')")
    assert field.input_value() == "22 x"
    page.press("Tab")
    assert field.input_value() == "21.30 nF"


def test_a_wrong_link_is_said_and_the_instrument_shown_as_it_is(page):
    page.page.goto("about:blank")
    opened(page, "/what-if#set.volume=504")
    assert '"504"' in page.page.locator("#trouble").inner_text()
    assert page.page.get_by_label("volume", exact=True).input_value() == "10"


def test_another_layout_has_other_controls(page):
    page.page.locator("summary", has_text="Solder").click()
    page.page.get_by_label("wired as").select_option("humbucker-modes")
    settle(page, lambda one: "--layout humbucker-modes" in one["command"])
    page.wait("document.querySelector('.positions legend').textContent === 'mode'")
