"""The command calibrate, from files to rig.toml, and what it does to the takes that follow."""

import json
import re
import shutil
import tomllib
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from fit.desk.bench.calibrate import calibrate_loopback
from fit.desk.bench.recordings import Batch
from fit.desk.bench.take import Order, make_take
from fit.desk.book.desk import Desk, lines_of
from fit.desk.book.response import take_response
from fit.desk.show.words import SIMULATED_TEXT
from measure.errors import FileError
from measure.logbook.card import calibration_warnings
from measure.logbook.conditions import Conditions
from measure.logbook.curves import read_loopback
from measure.logbook.rig import read_rig
from measure.logbook.store import open_logbook, read_take
from measure.quantity import parse_quantity
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.files import write_recording
from measure.source.virtual import Noise, VirtualBench
from tests.desk_bench import flat, run, run_json
from tests.pages import read_page
from tests.places import FAKE_CARD

RATE_HZ = 48000
GAIN = 10 ** (0.5 / 20)  # 0.5 dB
CORNER_HZ = 10e3 / np.tan(np.radians(5.0))  # a low-pass that turns 10 kHz by 5°
INDUCTANCE_H, DCR_OHM, WINDING_F, INPUT_OHM, INPUT_F = 2.6, 6000.0, 100e-12, 1e6, 185e-12
SERIES_OHM, EXCITER_HZ = 100e3, 9e3
NOISE = Noise(pickup_white=1e-5, reference_white=1e-5, pickup_hum=(3e-4, 1e-4), reference_hum=(1e-4,))
LOADS = ("through-100k.wav=100k ± 1%", "through-1M.wav=1M ± 1%", "through-1M-1n.wav=1M ± 1%, 1n ± 1%")


def played(rate_hz=RATE_HZ):
    return sweep_samples(Sweep(rate_hz=rate_hz, duration_s=2.0))


def mismatch(f):
    return GAIN / (1 + 1j * f / CORNER_HZ)


def load(f, *, across_f=0.0):
    return 1 / INPUT_OHM + 2j * np.pi * f * (INPUT_F + across_f)


def divided(f, *, series_ohm, across_f=0.0):
    return 1 / (1 + series_ohm * load(f, across_f=across_f))


def coil(f):
    s = 2j * np.pi * np.maximum(f, 1e-3)
    return 1 / (load(f) + s * WINDING_F + 1 / (DCR_OHM + s * INDUCTANCE_H))


def through_resistor(f):
    return coil(f) / (coil(f) + SERIES_OHM)


def exciter(f):
    return 100 / 130 / (1 + 1j * f / EXCITER_HZ)


def write(folder, name, ratio, *, seed, reference=np.ones_like, rate_hz=RATE_HZ, noise=NOISE):
    """The pickup's input `ratio` times what the output gives, through its mismatch; the reference input the output."""
    bench = VirtualBench(
        pickup=lambda f: flat(f) * ratio(f) * mismatch(f), reference=lambda f: flat(f) * reference(f), noise=noise, seed=seed
    )
    path = folder / name
    write_recording(path, bench.record(played(rate_hz), rate_hz=rate_hz), rate_hz)
    return path


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("recordings")
    write_recording(folder / "sweep.wav", played(), RATE_HZ, n_bits=24)
    write(folder, "loopback.wav", np.ones_like, seed=1)
    write(folder, "again.wav", np.ones_like, seed=11)
    write(folder, "coil.wav", through_resistor, seed=2)
    write(folder, "through-100k.wav", lambda f: divided(f, series_ohm=100e3), seed=3)
    write(folder, "through-1M.wav", lambda f: divided(f, series_ohm=1e6), seed=4)
    write(folder, "through-1M-1n.wav", lambda f: divided(f, series_ohm=1e6, across_f=1e-9), seed=5)
    write(folder, "sense.wav", exciter, seed=6)
    write(folder, "by-output.wav", lambda f: through_resistor(f) * exciter(f), seed=7)
    write(folder, "by-current.wav", lambda f: through_resistor(f) * exciter(f), reference=exciter, seed=8)
    return folder


@pytest.fixture
def book(tmp_path, recordings, monkeypatch, capsys):
    """A logbook with a rig that states the interface alone."""
    folder = tmp_path / "book"
    folder.mkdir()
    monkeypatch.chdir(recordings)
    assert run(capsys, "rig", "--device", "card", "--pickup-channel", 1, "--reference-channel", 2, "--logbook", folder)[0] == 0
    return folder


def loopback(capsys, book, file="loopback.wav"):
    return run_json(capsys, "calibrate", "loopback", "--from", file, "--stimulus", "sweep.wav", "--logbook", book)


def keep_coil(capsys, book, name):
    words = ("--method", "impedance", "--series-resistor", "100k ± 0.1%", "--stimulus", "sweep.wav", "--logbook", book)
    assert run(capsys, "import", name, "coil.wav", *words)[0] == 0
    logbook = open_logbook(book)
    return take_response(logbook, read_take(logbook, name))


def error_of(response):
    """Largest error in dB and degrees, 50 Hz to 15 kHz."""
    inside = (response.frequency_hz > 50) & (response.frequency_hz < 15e3)
    ratio = (response.value / through_resistor(response.frequency_hz))[inside]
    return np.max(np.abs(20 * np.log10(np.abs(ratio)))), np.max(np.abs(np.degrees(np.angle(ratio))))


@pytest.mark.long
def test_a_loopback_frees_the_takes_that_follow(book, capsys):
    before = keep_coil(capsys, book, "before")
    code, document, err = loopback(capsys, book)
    assert code == 0, err
    assert document["schema"] == "coilsweep.calibrate/1"
    assert document["ratio_db"][80] == pytest.approx(0.5, abs=0.002)
    assert document["latency_s"] == pytest.approx(0.02, abs=1e-4)
    assert (document["outcome"], document["warnings"]) == ("good", [])
    after = keep_coil(capsys, book, "after")
    level_db, angle_degree = error_of(before)
    assert (level_db, angle_degree) == (pytest.approx(0.5, abs=0.01), pytest.approx(7.5, abs=0.2))
    level_db, angle_degree = error_of(after)
    assert level_db < 0.01  # the take's own noise at 50 Hz, where 6 % of the voltage are left
    assert angle_degree < 0.07
    assert (before.shift_names, len(after.shift_names)) == ((), 2)
    logbook = open_logbook(book)
    assert take_response(logbook, read_take(logbook, "before")).shift_names == ()  # its rig as it was then


@pytest.mark.long
def test_a_new_loopback_leaves_older_takes_under_theirs(book, capsys):
    loopback(capsys, book)
    first = keep_coil(capsys, book, "first")
    _, document, _ = loopback(capsys, book, "again.wav")
    second = keep_coil(capsys, book, "second")
    assert not np.array_equal(first.value, second.value)  # one recording, two loopbacks with noise of their own
    assert document["file"].endswith(read_rig(book / "rig.toml").calibration.loopback)
    logbook = open_logbook(book)
    again = take_response(logbook, read_take(logbook, "first"))
    np.testing.assert_array_equal(again.value, first.value)
    assert len(list((book / "results").glob("loopback-*.json"))) == 2


@pytest.mark.long
def test_a_take_without_a_reference_is_freed_of_the_card(book, capsys):
    words = ("--reference-channel", "none", "--stimulus", "sweep.wav", "--logbook", book)
    loopback(capsys, book)
    assert run(capsys, "import", "alone", "coil.wav", *words)[0] == 0
    logbook = open_logbook(book)
    response = take_response(logbook, read_take(logbook, "alone"))
    inside = (response.frequency_hz > 50) & (response.frequency_hz < 15e3)
    ratio = np.abs(response.value / through_resistor(response.frequency_hz))[inside]
    # of the card 6 dB, the pickup's input's 0.5 dB and their high-pass are gone; the gate around the arrival costs a little
    assert np.max(np.abs(20 * np.log10(ratio))) < 0.03
    assert all(name.split(",")[0] in ("gain of the card", "delay of the card") for name in response.shift_names)


def quiet_desk(book):
    said = []
    return Desk(logbook=book, say=said.append, tell=said.append, steps=lambda items, label: items if label else ())


def bench(ratio):
    return VirtualBench(pickup=lambda f: flat(f) * ratio(f) * mismatch(f), reference=flat, noise=NOISE, seed=21)


def heard_here(ratio):
    samples = bench(ratio).record(played(), rate_hz=RATE_HZ)
    recording = Recording(samples=samples, rate_hz=RATE_HZ, n_bits=24, simulated=True)
    return Batch(repeats=(recording,), played=played(), time_utc="2026-01-01T00:00:00.000Z", is_live=True)


@pytest.mark.long
def test_takes_made_here_are_freed_whatever_inputs_the_rig_names(book, capsys):
    run(capsys, "rig", "--pickup-channel", 4, "--reference-channel", 3, "--rate", RATE_HZ, "--logbook", book)
    done = calibrate_loopback(quiet_desk(book), lambda: heard_here(np.ones_like))
    assert done.document.channels == (4, 3)
    assert SIMULATED_TEXT in lines_of(done)
    conditions = Conditions(method="impedance", series_resistor="100k ± 0.1%")
    order = Order(name="here", conditions=conditions, duration_s=2.0, is_looked_at_first=False)
    made = make_take(quiet_desk(book), order, source=bench(through_resistor))
    # half a decibel too much would be more than any instrument can give: it is judged without the card
    assert {one.severity for one in made.judgement.findings if one.code == "passive"} == {"pass"}
    logbook = open_logbook(book)
    response = take_response(logbook, read_take(logbook, "here"))
    assert len(response.shift_names) == 2
    assert error_of(response)[0] < 0.01
    assert response.origin.simulated
    run(capsys, "rig", "--pickup-channel", 2, "--reference-channel", 1, "--logbook", book)
    make_take(quiet_desk(book), replace(order, name="elsewhere"), source=bench(through_resistor))
    warned = calibration_warnings(take_response(logbook, read_take(logbook, "elsewhere")))
    assert "recorded by inputs 4 and 3, the take by 2 and 1" in warned[0]


@pytest.mark.long
def test_an_impedance_is_judged_without_the_card(book, recordings, capsys):
    def far(f):  # inputs set 1 dB apart: without the loopback the take would be doubted
        return 10 ** (0.5 / 20) * np.ones_like(f)

    write(book, "open.wav", lambda f: divided(f, series_ohm=10e3) * far(f), seed=31)
    write(book, "apart.wav", far, seed=32)
    words = (
        "--method",
        "impedance",
        "--series-resistor",
        "10k ± 0.1%",
        "--stimulus",
        recordings / "sweep.wav",
        "--logbook",
        book,
    )
    _, doubted, _ = run_json(capsys, "import", "doubted", book / "open.wav", *words)
    loopback(capsys, book, book / "apart.wav")
    _, freed, _ = run_json(capsys, "import", "freed", book / "open.wav", *words)
    outcomes = [{one["name"]: one["outcome"] for one in document["checks"]}["passive"] for document in (doubted, freed)]
    assert outcomes == ["reject", "pass"]
    _, again, _ = run_json(capsys, "inspect", "freed", "--logbook", book)
    assert {one["name"]: one["outcome"] for one in again["checks"]}["passive"] == "pass"


@pytest.mark.long
def test_a_lost_curve_does_not_cost_a_take(book, capsys):
    loopback(capsys, book)
    (book / "results" / read_rig(book / "rig.toml").calibration.loopback).unlink()
    words = ("--method", "impedance", "--series-resistor", "100k ± 0.1%", "--stimulus", "sweep.wav", "--logbook", book)
    assert run(capsys, "import", "kept", "coil.wav", *words)[0] == 0
    assert (book / "takes" / "kept" / "take.json").is_file()


@pytest.mark.long
@pytest.mark.parametrize("kind", ["loopback", pytest.param("exciter", marks=pytest.mark.slow)])
def test_the_card_plays_and_is_calibrated(book, capsys, tmp_path, monkeypatch, kind):
    """A stand-in for the audio library gives every output back on every input, as a loopback does."""
    shutil.copy(FAKE_CARD, tmp_path / "sounddevice.py")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setenv("FAKE_CARD", "{}")
    run(capsys, "rig", "--rate", RATE_HZ, "--logbook", book)
    code, document, err = run_json(capsys, "calibrate", kind, "--no-wait", "--logbook", book)
    assert "headphones off the ears" in err
    if kind == "exciter":  # sense resistor and output are one point here: no corner within reach
        assert code == 3
        assert "corner-not-told" in err
        return
    assert code == 0, err
    np.testing.assert_allclose(document["ratio_db"][20:160], 0.0, atol=0.02)  # its noise is 1e-4 rms, the sweep 0.1
    assert document["latency_s"] == pytest.approx(0.01, abs=1e-4)  # a block of 480
    assert not document["simulated"]


@pytest.mark.long
def test_the_rig_shows_what_was_calibrated(book, capsys):
    loopback(capsys, book)
    _, out, _ = run(capsys, "rig", "--logbook", book)
    assert f"calibration.loopback         {read_rig(book / 'rig.toml').calibration.loopback}" in out


@pytest.mark.long
def test_a_fit_of_an_impedance_needs_the_loopback(book, capsys):
    stated = ("--input-resistance", "1M ± 0.1%", "--input-capacitance", "185p ± 1p", "--logbook", book)
    run(capsys, "rig", *stated)
    keep_coil(capsys, book, "bare")
    loopback(capsys, book)
    keep_coil(capsys, book, "freed")
    _, raw, _ = run_json(capsys, "fit", "bare", "--logbook", book)
    code, freed, err = run_json(capsys, "fit", "freed", "--logbook", book)
    assert code == 0, err
    assert freed["outcome"] == "good"
    inductance = freed["quantities"]["inductance"]
    assert inductance["value"] == pytest.approx(INDUCTANCE_H, rel=2e-3)
    assert abs(inductance["value"] - INDUCTANCE_H) < 3 * inductance["standard_uncertainty"]
    assert any(part["source"].startswith("gain between the inputs, loopback of ") for part in freed["budget"]["inductance"])
    raw_value = raw["quantities"].get("inductance", {"value": np.nan})["value"]
    assert raw["outcome"] == "misfit" or not abs(raw_value / INDUCTANCE_H - 1) < 2e-3


@pytest.mark.long
def test_input_and_exciter_go_to_the_rig(book, capsys):
    loopback(capsys, book)
    words = [word for text in LOADS for word in ("--from", text)]
    code, document, err = run_json(capsys, "calibrate", "input", *words, "--stimulus", "sweep.wav", "--logbook", book)
    assert code == 0, err
    resistance, capacitance = (document["quantities"][key] for key in ("resistance", "capacitance"))
    assert resistance["value"] == pytest.approx(1e6, rel=0.01)
    assert capacitance["value"] == pytest.approx(185e-12, abs=2e-12)
    stated = read_rig(book / "rig.toml")
    for text, found, unit in ((stated.input.resistance, resistance, "Ω"), (stated.input.capacitance, capacitance, "F")):
        quantity = parse_quantity(text, unit)
        assert quantity.standard_uncertainty == pytest.approx(found["standard_uncertainty"], rel=0.05)
        assert abs(quantity.value - found["value"]) < 0.15 * found["standard_uncertainty"]  # four digits
    assert stated.calibration.loopback is not None  # the input's own file does not push it out
    assert (book / "results" / stated.calibration.input).is_file()
    code, document, err = run_json(capsys, "calibrate", "exciter", "--from", "sense.wav", "--logbook", book)
    assert code == 0, err
    assert document["quantities"]["corner"]["value"] == pytest.approx(EXCITER_HZ, rel=2e-3)
    stated = read_rig(book / "rig.toml")
    assert parse_quantity(stated.exciter.corner_hz, "Hz").value == pytest.approx(EXCITER_HZ, rel=2e-3)


def test_the_corner_from_two_takes_of_one_pickup(book, capsys):
    words = ("--by-output", "by-output.wav", "--by-current", "by-current.wav", "--stimulus", "sweep.wav", "--logbook", book)
    code, document, err = run_json(capsys, "calibrate", "exciter", *words)
    assert code == 0, err
    assert document["quantities"]["corner"]["value"] == pytest.approx(EXCITER_HZ, rel=3e-3)


def test_what_is_no_loopback_is_not_written(book, capsys):
    before = (book / "rig.toml").read_bytes()
    code, document, err = loopback(capsys, book, "coil.wav")
    assert code == 3
    assert "rejected: one-point: " in err
    assert "they did not record one voltage" in err
    assert document["outcome"] == "rejected"
    assert (book / "rig.toml").read_bytes() == before
    assert not (book / "results").exists()


@pytest.mark.long
def test_a_pickup_instead_of_an_input_is_not_written(book, capsys):
    before = (book / "rig.toml").read_bytes()
    code, _, err = run_json(capsys, "calibrate", "input", "--from", "coil.wav=100k ± 1%", "--logbook", book)
    assert code == 3
    assert "input-misfit" in err
    code, _, err = run_json(capsys, "calibrate", "exciter", "--from", "coil.wav", "--page", book / "x.html", "--logbook", book)
    assert code == 3
    assert "corner-misfit" in err
    page = read_page((book / "x.html").read_text(encoding="utf-8"))
    assert page.headings == ["Calibration, exciter: rejected", "Checks"]
    assert "corner-misfit" in page.said
    assert (book / "rig.toml").read_bytes() == before


@pytest.mark.long
def test_lines_for_people(book, capsys):
    _, out, _ = run(capsys, "calibrate", "loopback", "--from", "loopback.wav", "--stimulus", "sweep.wav", "--logbook", book)
    assert re.search(r"1\.00 kHz +\+0\.500 dB +−0\.50\d°", out)
    assert "It holds while both inputs' gain controls stay as they are." in out
    words = [word for text in LOADS for word in ("--from", text)]
    _, out, _ = run(capsys, "calibrate", "input", *words, "--details", "--logbook", book)
    assert "Input and cable capacitance" in out
    assert "added 1n ± 1% in through-1M-1n.wav" in out
    _, out, _ = run(
        capsys, "calibrate", "exciter", "--from", "sense.wav", "--details", "--page", book / "x.html", "--logbook", book
    )
    page = read_page((book / "x.html").read_text(encoding="utf-8"))
    assert page.headings[0] == "The exciter's corner"
    assert "in rig.toml" in page.columns
    assert "temperature of the exciter's copper" in out
    assert all(line == line.rstrip() for line in out.splitlines())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("exciter", "--by-output", "coil.wav"), "give either --from FILE, or --by-output FILE and --by-current FILE"),
        (("exciter", "--from", "sense.wav", "--by-output", "coil.wav"), "give either --from FILE"),
        (("input", "--from", "through-1M.wav"), "expected FILE=R, or FILE=R, PARTS"),
        (("input", "--from", "through-1M.wav=1n ± 1%"), '"1n ± 1%" does not begin with a resistor'),
        (("input",), 'give either --through "R[, PARTS]"'),
        (("input", "--through", "1M ± 1%", "--from", "through-1M.wav=1M ± 1%"), 'give either --through "R[, PARTS]"'),
        (("loopback", "--from", "nowhere.wav"), "nowhere.wav"),
    ],
)
def test_wrong_use_is_one_line(book, capsys, words, message):
    code, out, err = run(capsys, "calibrate", *words, "--logbook", book)
    assert code == 2
    assert message in err
    assert out == ""


@pytest.mark.long
def test_a_changed_curve_is_not_applied(book, capsys):
    _, document, _ = loopback(capsys, book)
    keep_coil(capsys, book, "coil")
    path = book / "results" / read_rig(book / "rig.toml").calibration.loopback
    assert document["file"].endswith(path.name)
    path.write_text(path.read_text(encoding="utf-8").replace('"gain_std": 0', '"gain_std": 0.1', 1), encoding="utf-8")
    logbook = open_logbook(book)
    with pytest.raises(FileError, match="has changed since the calibration: run coilsweep calibrate loopback again"):
        take_response(logbook, read_take(logbook, "coil"))
    path.unlink()
    with pytest.raises(FileError, match="not read: No such file"):
        take_response(logbook, read_take(logbook, "coil"))


@pytest.mark.long
def test_another_rate_or_card_is_not_applied_and_said(book, capsys):
    loopback(capsys, book)
    write_recording(book / "sweep-44100.wav", played(44100), 44100, n_bits=24)
    write(book, "coil-44100.wav", through_resistor, seed=9, rate_hz=44100)
    words = ("--method", "impedance", "--series-resistor", "100k ± 0.1%", "--logbook", book)
    assert run(capsys, "import", "slow", book / "coil-44100.wav", *words)[0] == 0
    logbook = open_logbook(book)
    response = take_response(logbook, read_take(logbook, "slow"))
    assert response.shift_names == ()
    assert "was not applied: the loopback was recorded at 48000 Hz, the take at 44100 Hz" in calibration_warnings(response)[0]
    run(capsys, "rig", "--device", "other", "--logbook", book)
    other = keep_coil(capsys, book, "other")
    assert other.shift_names == ()
    assert 'recorded with "card", the take with "other"' in calibration_warnings(other)[0]
    run(capsys, "rig", "--device", "card", "--input-device", "second card", "--logbook", book)
    assert 'the take with "card to second card"' in calibration_warnings(keep_coil(capsys, book, "two"))[0]
    run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--logbook", book)
    _, document, _ = run_json(capsys, "fit", "other", "--logbook", book)
    assert any("the calibration was not applied" in text for text in document["warnings"])


def test_a_rate_that_the_rig_does_not_state_is_refused(book, capsys):
    run(capsys, "rig", "--rate", 96000, "--logbook", book)
    code, document, err = loopback(capsys, book)
    assert code == 2
    assert "rig.toml states 96000 Hz, the recording has 48000 Hz" in err
    assert document["schema"] == "coilsweep.error/1"


@pytest.mark.long
def test_another_card_makes_earlier_calibrations_void(book, capsys):
    loopback(capsys, book)
    run(capsys, "calibrate", "exciter", "--from", "sense.wav", "--logbook", book)
    assert read_rig(book / "rig.toml").calibration.exciter is not None
    run(capsys, "rig", "--device", "other", "--logbook", book)
    code, _, err = run(capsys, "calibrate", "exciter", "--from", "sense.wav", "--logbook", book)
    assert code == 0, err
    stated = read_rig(book / "rig.toml").calibration
    assert (stated.device, stated.loopback, stated.loopback_sha256) == ("other", None, None)
    assert stated.exciter is not None


@pytest.mark.long
def test_an_old_loopback_is_said_to_be_old(book, capsys):
    loopback(capsys, book)
    keep_coil(capsys, book, "coil")
    logbook = open_logbook(book)
    take = msgspec.structs.replace(read_take(logbook, "coil"), time_utc="2099-01-01T00:00:00.000Z")
    warned = calibration_warnings(take_response(logbook, take))
    assert len(warned) == 1
    assert "days from the take (limit 30): run coilsweep calibrate loopback again" in warned[0]


def test_a_calibration_without_its_hash_is_refused(book, capsys):
    loopback(capsys, book)
    path = book / "rig.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text("\n".join(line for line in text.splitlines() if "loopback_sha256" not in line), encoding="utf-8")
    with pytest.raises(FileError, match="loopback_sha256: expected 64 hexadecimal digits"):
        read_rig(path)
    assert "loopback_sha256" in tomllib.loads(text)["calibration"]


@pytest.mark.long
@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: d | {"schema": "coilsweep.loopback/9"}, "schema"),
        (lambda d: d | {"gain_std": -1.0}, "gain_std of a calibration out of its range"),
        (lambda d: d | {"time_utc": "yesterday"}, "is not a time in UTC"),
        (lambda d: d | {"channels": d["channels"] | {"real": [0.0]}}, "1 real and"),
        (lambda d: d | {"more": 1}, "more: no such key"),
        (lambda d: {"schema": d["schema"]}, "missing required field"),
    ],
)
def test_a_damaged_curve_gives_one_line(book, capsys, change, message):
    import hashlib

    loopback(capsys, book)
    rig = read_rig(book / "rig.toml")
    path = book / "results" / rig.calibration.loopback
    content = json.dumps(change(json.loads(path.read_bytes()))).encode()
    path.write_bytes(content)
    stated = msgspec.structs.replace(rig.calibration, loopback_sha256=hashlib.sha256(content).hexdigest())
    with pytest.raises(FileError, match=message) as caught:
        read_loopback(open_logbook(book), msgspec.structs.replace(rig, calibration=stated))
    assert "\n" not in str(caught.value)


def test_a_name_that_leaves_the_folder_is_refused(book, capsys):
    loopback(capsys, book)
    rig = read_rig(book / "rig.toml")
    shutil.copy(book / "results" / rig.calibration.loopback, book / "outside.json")
    stated = msgspec.structs.replace(rig.calibration, loopback="../outside.json")
    with pytest.raises(FileError, match=r"calibration\.loopback of the rig"):
        read_loopback(open_logbook(book), msgspec.structs.replace(rig, calibration=stated))
