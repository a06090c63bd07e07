"""The page Listen: what it plays is what listen writes, and the recording never leaves the page."""

import itertools
import shlex

import numpy as np
import pytest
import soundfile

from fit.desk.command.main import main
from tests.three_pickups import lay_out

RATE_HZ = 44100
BANDS_HZ = np.geomspace(80.0, 15e3, 61)


@pytest.fixture
def played(tmp_path):
    """Ten seconds of a falling spectrum in two channels, as loud as a guitar's."""
    rng = np.random.default_rng(11)
    n = 10 * RATE_HZ
    spectrum = np.fft.rfft(rng.standard_normal((2, n)), axis=1) / (1 + np.fft.rfftfreq(n, 1 / RATE_HZ) / 300.0)
    samples = np.fft.irfft(spectrum, n, axis=1).T
    path = tmp_path / "played.wav"
    soundfile.write(path, 0.3 * samples / np.abs(samples).max(), RATE_HZ, subtype="PCM_24")
    return path


def band_levels(path):
    samples, rate_hz = soundfile.read(path)
    power = np.abs(np.fft.rfft(samples, axis=0)) ** 2
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    inside = [(frequency_hz >= low) & (frequency_hz < high) for low, high in itertools.pairwise(BANDS_HZ)]
    return 10 * np.log10([power[one].sum(axis=0) for one in inside])


def loaded(visitor, file):
    visitor.open("/listen")
    visitor.wait("document.querySelector('.positions input')")
    visitor.page.locator("input[type=file]").set_input_files(file)
    visitor.wait("document.documentElement.dataset.loaded")
    return visitor


def saved(visitor, path):
    with visitor.page.expect_download() as download:
        visitor.page.get_by_role("button", name="Save as WAV").click()
    download.value.save_as(path)
    return path


@pytest.mark.parametrize("bleed", [False, True])
def test_what_is_heard_is_what_listen_writes(tmp_path, played, served, visit, bleed, capsys):
    page = loaded(visit(served(lay_out(tmp_path / "book"))), played)
    page.page.locator("summary", has_text="How the recording was made").click()
    page.page.get_by_label("selector in the recording").select_option("neck")
    page.page.get_by_label("tone-1", exact=True).fill("3")
    page.press("Enter")
    if bleed:
        page.page.get_by_label("volume", exact=True).fill("4")
        page.press("Enter")
        page.page.locator("summary", has_text="Solder").click()
        page.page.get_by_role("button", name="Treble bleed").click()
    wanted = "1n2 + 150k" if bleed else "tone-1=3"
    page.wait(f"[...document.querySelectorAll('code')].some((one) => one.textContent.includes('{wanted}'))")
    page.page.wait_for_timeout(500)
    words = shlex.split(page.page.locator("code").text_content())
    assert words[:2] == ["coilsweep", "listen"]
    target = tmp_path / "reference.wav"
    names = {"IN.wav": str(played), "OUT.wav": str(target)}
    assert main([names.get(word, word) for word in words[1:]]) == 0
    capsys.readouterr()
    found, expected = band_levels(saved(page, tmp_path / "page.wav")), band_levels(target)
    assert np.abs(found - expected).max() < 0.01
    changed = band_levels(played) - expected
    assert np.ptp(changed) > 1.0


def test_both_ends_of_the_interval_and_the_recording_itself(tmp_path, played, served, visit):
    page = loaded(visit(served(lay_out(tmp_path / "book"))), played)
    page.page.get_by_role("radio", name="neck", exact=True).check()
    page.page.get_by_label("tone-1", exact=True).fill("4")
    page.press("Enter")
    levels = {}
    for name, label in (("low", "Lower end"), ("high", "Upper end"), ("middle", "Changed")):
        page.page.get_by_role("radio", name=label).check()
        page.wait(f"document.documentElement.dataset.heard === '{name}'")
        levels[name] = band_levels(saved(page, tmp_path / f"{name}.wav"))
    spread = levels["high"] - levels["low"]
    assert np.ptp(spread) > 1e-3
    assert np.abs((levels["high"] + levels["low"]) / 2 - levels["middle"]).max() < 0.05
    page.page.get_by_role("radio", name="As recorded").check()
    same = band_levels(saved(page, tmp_path / "same.wav"))
    assert same == pytest.approx(band_levels(played), abs=1e-4)


def test_it_plays_and_stops_by_keys_and_sends_no_sample(tmp_path, played, served, visit):
    sent = []
    visitor = visit(served(lay_out(tmp_path / "book")))
    visitor.page.on("websocket", lambda socket: socket.on("framesent", lambda data: sent.append(len(data))))
    page = loaded(visitor, played)
    page.page.locator("h1").click()
    page.press("Space")
    page.wait("[...document.querySelectorAll('button')].some((one) => one.textContent.startsWith('Stop'))")
    page.press("3")
    page.wait("document.documentElement.dataset.heard === 'low'")
    page.press("Space")
    page.wait("[...document.querySelectorAll('button')].some((one) => one.textContent.startsWith('Play'))")
    assert max(sent) < 2000


def test_a_wrong_place_of_a_control_is_said_and_not_kept(tmp_path, served, visit):
    page = visit(served(lay_out(tmp_path / "book")))
    page.open("/listen")
    page.page.locator("summary", has_text="How the recording was made").click()
    page.page.get_by_label("volume in the recording").fill("22 x")
    page.press("Tab")
    page.wait("document.getElementById('trouble').textContent.startsWith('volume: \"22 x\"')")
    page.wait("document.querySelector('[aria-label=\"volume in the recording\"]').value === '10'")
    page.page.get_by_label("tone-1", exact=True).fill("3")
    page.press("Enter")
    page.wait("document.querySelector('code').textContent.includes('tone-1=3')")
    assert page.page.locator("#trouble").inner_text() == ""


def test_what_is_no_recording_is_said(tmp_path, served, visit):
    page = visit(served(lay_out(tmp_path / "book")))
    page.open("/listen")
    text = tmp_path / "letter.wav"
    text.write_text("not a sound", encoding="utf-8")
    page.page.locator("input[type=file]").set_input_files(text)
    page.wait("document.getElementById('trouble').textContent.includes('cannot read the file')")
