"""The command wiring, from recordings of the virtual bench: two pickups on a switch, the neck's leads exchanged."""

import itertools
import re

import numpy as np
import pytest

from measure.source.files import read_stimulus, write_recording
from measure.source.virtual import Faults, Noise, VirtualBench
from tests.desk_bench import RIG, flat, run, run_json
from tests.pages import read_page
from tests.two_pickups import LEAKAGE, PICKUPS, guitar

pytestmark = pytest.mark.long

POSITIONS = ("bridge", "both", "neck", "chain")
INSTRUMENT = """\
name = "two pickups"
output = "tip"
[pickup.bridge]
ends = ["bridge hot", "bridge cold"]
[pickup.neck]
ends = ["neck hot", "ground"]
[pot.volume]
marked = "250k"
taper = "audio"
cw = "bus"
wiper = "tip"
ccw = "ground"
[switch.selector.positions]
bridge = [["bridge hot", "bus"], ["bridge cold", "ground"]]
both = [["bridge hot", "bus"], ["neck hot", "bus"], ["bridge cold", "ground"]]
neck = [["neck hot", "bus"]]
chain = [["bridge hot", "bus"], ["bridge cold", "neck hot"]]
"""


def record(folder, name, response, *, seed):
    stimulus, rate_hz = read_stimulus(folder / "sweep.wav")
    noise = Noise(pickup_hum=(1e-3, 0.0, 3e-4), pickup_white=2e-5, reference_white=1e-5)
    bench = VirtualBench(pickup=response, reference=flat, noise=noise, seed=seed)
    path = folder / f"{name}.wav"
    write_recording(path, bench.record(stimulus, rate_hz=rate_hz, n_channels=2), rate_hz)
    return path


def names_of(pickups=PICKUPS, positions=POSITIONS):
    return [f"{pickup}-{position}" for pickup, position in itertools.product(pickups, positions)]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A logbook with eight takes and one where nothing arrives."""
    from fit.desk.command.main import main

    folder = tmp_path_factory.mktemp("wiring")
    at = ["--logbook", str(folder)]
    assert main(["rig", *RIG, *at]) == 0
    assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "1", *at]) == 0
    for seed, name in enumerate(names_of()):
        pickup, _, position = name.partition("-")
        file = record(folder, name, guitar(pickup, position), seed=seed)
        where = ["--coil-over", pickup, "--set", "volume=10", "--set", f"selector={position}"]
        assert main(["import", name, str(file), "--stimulus", str(folder / "sweep.wav"), *where, *at]) == 0
    silent = record(folder, "silent", lambda f: 0 * guitar("neck", "bridge")(f), seed=77)
    where = ["--coil-over", "neck", "--set", "selector=bridge"]
    assert main(["import", "silent", str(silent), "--stimulus", str(folder / "sweep.wav"), *where, *at]) == 3
    # the generator muted: neither channel holds a stimulus, so nothing is said of the pickup
    muted = VirtualBench(
        pickup=guitar("neck", "neck"), reference=flat, noise=Noise(pickup_white=2e-5), faults=Faults(is_muted=True)
    )
    stimulus, rate_hz = read_stimulus(folder / "sweep.wav")
    write_recording(folder / "muted.wav", muted.record(stimulus, rate_hz=rate_hz, n_channels=2), rate_hz)
    assert main(["import", "muted", str(folder / "muted.wav"), "--stimulus", str(folder / "sweep.wav"), *where, *at]) == 3
    quiet = ["import", "hum", str(folder / "muted.wav"), "--method", "quiet", *where, *at]
    assert main(quiet) == 0
    nowhere = ["import", "nowhere", str(folder / "neck-neck.wav"), "--stimulus", str(folder / "sweep.wav")]
    assert main([*nowhere, *at]) == 0
    return folder


@pytest.fixture
def instrument(book):
    path = book / "instrument.toml"
    path.write_text(INSTRUMENT, encoding="utf-8")
    yield path
    path.unlink(missing_ok=True)


def test_wiring_tells_every_position(book, capsys):
    code, out, _ = run(capsys, "wiring", *names_of(), "--logbook", book)
    assert code == 0
    lines = [line.split("  ") for line in out.splitlines()]
    told = {cells[1].strip(): cells[-1].strip() for cells in lines if len(cells) > 3 and "selector" in cells[1]}
    assert told == {
        "selector=bridge": "bridge",
        "selector=both": "bridge parallel to neck, out of phase",
        "selector=neck": "neck",
        "selector=chain": "bridge in series with neck, out of phase",
    }
    leakage = float(re.search(r"read at most ([0-9.]+) %", out)[1])
    assert leakage == pytest.approx(100 * LEAKAGE / 0.8, rel=0.05)  # 3 % of an EMF of 1 over one of 0.8, less what the pots take
    assert "reverse wound with reversed magnets" in out
    assert "instrument.toml" not in out


def test_wiring_as_json(book, capsys):
    code, document, _ = run_json(capsys, "wiring", *names_of(), "--logbook", book)
    assert code == 0
    assert document["schema"] == "coilsweep.wiring/1"
    assert document["pickups"] == ["bridge", "neck"]
    assert document["simulated"] is False
    both = next(one for one in document["positions"] if one["position"] == "selector=both")
    assert both["joined"]["kind"] == "parallel"
    assert [member["name"] for member in both["joined"]["members"]] == ["bridge", "neck"]
    assert both["differs"] is None
    readings = both["pickups"]
    assert {name: (one["connected"], one["sign"]) for name, one in readings.items()} == {"bridge": (True, 1), "neck": (True, -1)}
    # at the middle of the band, |Zneck/(Zbridge + Zneck)| of the windings above
    z = {name: ohm + 2j * np.pi * 370 * henry for name, (ohm, henry, _) in PICKUPS.items()}
    share = abs(z["neck"] / sum(z.values()))
    assert readings["bridge"]["level"]["value"] == pytest.approx(share, abs=0.03)  # the load makes it a little more
    low, high = readings["bridge"]["level"]["interval_95"]
    assert low < readings["bridge"]["level"]["value"] < high
    off = next(one for one in document["positions"] if one["position"] == "selector=bridge")["pickups"]["neck"]
    assert (off["connected"], off["sign"]) == (False, None)


@pytest.mark.usefixtures("instrument")
def test_wiring_differs_from_the_instrument(book, capsys):
    code, out, _ = run(capsys, "wiring", *names_of(), "--logbook", book)
    assert code == 0
    assert "DIFFERS from instrument.toml" in out
    assert "selector=both: polarity: neck out of phase, by instrument.toml all in phase" in out
    assert out.count("by instrument.toml") == 2


def test_wiring_agrees_with_the_instrument_once_it_is_put_right(book, instrument, capsys):
    text = INSTRUMENT.replace('ends = ["neck hot", "ground"]', 'ends = ["ground", "neck hot"]')
    instrument.write_text(text, encoding="utf-8")
    code, out, _ = run(capsys, "wiring", *names_of(), "--logbook", book)
    assert code == 0
    assert "Nothing differs from instrument.toml." in out


def test_wiring_finds_a_pickup_in_the_wrong_place(book, instrument, capsys):
    joins = '["neck hot", "bus"]'
    text = INSTRUMENT.replace(f"neck = [{joins}]", f'neck = [{joins}, ["bridge hot", "bus"], ["bridge cold", "ground"]]')
    instrument.write_text(text, encoding="utf-8")
    _, document, _ = run_json(capsys, "wiring", *names_of(), "--logbook", book)
    at_neck = next(one for one in document["positions"] if one["position"] == "selector=neck")
    assert at_neck["differs"] == ["bridge is not connected, by instrument.toml it is connected"]


@pytest.mark.usefixtures("instrument")
def test_wiring_says_what_is_missing(book, capsys):
    names = [name for name in names_of() if name != "neck-both"]
    code, out, _ = run(capsys, "wiring", *names, "--logbook", book)
    assert code == 0
    assert "bridge; no take over neck" in out
    assert "these takes would tell\n  the coil over neck at selector=both" in out
    assert "selector=both: instrument.toml would have bridge parallel to neck" in out


def test_wiring_takes_silence_for_what_it_is(book, capsys):
    names = [name if name != "neck-bridge" else "silent" for name in names_of()]
    code, document, _ = run_json(capsys, "wiring", *names, "--logbook", book)
    assert code == 0
    at_bridge = next(one for one in document["positions"] if one["position"] == "selector=bridge")
    assert at_bridge["pickups"]["neck"]["connected"] is False
    assert at_bridge["text"] == "bridge"
    assert any("take silent: nothing but noise arrived" in text for text in document["warnings"])


def test_wiring_refuses_what_it_cannot_use(book, instrument, capsys):
    code, _, err = run(capsys, "wiring", "nowhere", "--logbook", book)
    assert code == 2
    assert "does not say which pickup the coil lay over: make it with --coil-over PICKUP" in err
    instrument.write_text(INSTRUMENT.replace("neck", "middle"), encoding="utf-8")
    code, _, err = run(capsys, "wiring", "neck-neck", "--logbook", book)
    assert code == 2
    assert 'has the coil over "neck", instrument.toml knows only bridge, middle' in err
    instrument.unlink()
    code, _, err = run(capsys, "wiring", "bridge-bridge", "muted", "--logbook", book)
    assert code == 3
    assert 'the take "muted" was rejected' in err
    code, _, err = run(capsys, "wiring", "bridge-bridge", "hum", "--logbook", book)
    assert code == 2
    assert 'made by the method "quiet": wiring needs takes with the exciter over a pickup' in err
    code, _, err = run(capsys, "wiring", "bridge-bridge", "--plot", "w.pdf", "--logbook", book)
    assert code == 2
    assert "give a name that ends in .png" in err


def test_wiring_draws_a_picture(book, capsys, tmp_path):
    code, _, err = run(
        capsys, "wiring", *names_of(), "--plot", tmp_path / "w.png", "--page", tmp_path / "w.html", "--logbook", book
    )
    assert code == 0
    assert f"Written: {tmp_path / 'w.png'}\nWritten: {tmp_path / 'w.html'}\n" in err
    page = read_page((tmp_path / "w.html").read_text(encoding="utf-8"))
    assert page.headings[:3] == ["What the switch connects", "At a glance", "The same as a table"]
    assert page.columns == ["position", "bridge", "neck", "what is connected"]
    assert (tmp_path / "w.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
