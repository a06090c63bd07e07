"""What ``import fit`` offers, against what the command line tells of the same recordings."""

import math
from dataclasses import replace

import numpy as np
import pytest

import fit
import measure
from fit.desk.command.main import main
from measure.errors import FileError
from measure.response import Response
from tests.desk_bench import run_json
from tests.places import RECORDINGS
from tests.python_bench import CHANNELS, RIG, make_logbook
from tests.recorded import response_of

pytestmark = pytest.mark.long

BARE = "bare-single-coil"
INPUT = ("1M ± 1%", "185p ± 3p")
ADDED = {"open": "", "plus-1n": "1n ± 1%", "plus-680p-150k": "680p ± 1%, 150k ± 1%"}


def same(estimate, told):
    numbers = (estimate.value, estimate.standard_uncertainty, *estimate.interval_95)
    return numbers == pytest.approx((told["value"], told["standard_uncertainty"], *told["interval_95"]), rel=1e-6)


@pytest.fixture(scope="module")
def bare():
    takes = [fit.Take(response_of(BARE, name), name=name, added=added) for name, added in ADDED.items()]
    return fit.pickup(takes, input=INPUT, dcr="6.35k ± 1%")


@pytest.fixture(scope="module")
def books(tmp_path_factory):
    folder = tmp_path_factory.mktemp("books")
    for name in ("guitar", "shielding"):
        make_logbook(folder, name)
    return folder


@pytest.fixture(scope="module")
def guitar(books):
    return fit.instrument(measure.Logbook(books / "guitar"), ["up", "up-1n", "down"])


def test_values_of_plain_takes_are_those_of_the_command(bare, tmp_path, capsys):
    assert main(["rig", *RIG, *CHANNELS, "--logbook", str(tmp_path)]) == 0
    for name, added in ADDED.items():
        extra = ["--add", added] if added else []
        assert main(["import", name, str(RECORDINGS / BARE / f"{name}.flac"), *extra, "--logbook", str(tmp_path)]) == 0
    _, told, _ = run_json(capsys, "fit", *ADDED, "--dcr", "6.35k ± 1%", "--logbook", tmp_path)
    assert list(bare) == list(told["quantities"])
    assert len(bare) == len(told["quantities"])
    assert all(same(bare[name], quantity) for name, quantity in told["quantities"].items())
    assert bare.outcome == told["outcome"]
    for name, parts in told["budget"].items():
        given = [(one.source, one.contribution) for one in bare.budget(name)]
        assert [source for source, _ in given] == [part["source"] for part in parts]
        assert [size for _, size in given] == pytest.approx([part["contribution"] for part in parts], rel=1e-6, abs=1e-12)
    assert [one.add for one in bare.next_takes("inductance")] == [one["add"] for one in told["next_takes"]["inductance"]]


def test_a_take_says_all_that_a_logbook_says(books, guitar):
    stated = {"up": ("tone-up", "", "10"), "up-1n": ("tone-up-plus-1n", "1n±1%", "10"), "down": ("tone-down", "", "0")}
    takes = [
        fit.Take(response_of("tone-capacitor", file), name=name, added=added, set={"volume": "10", "tone": tone})
        for name, (file, added, tone) in stated.items()
    ]
    instrument = fit.Instrument.read(books / "guitar" / "instrument.toml")
    again = fit.pickup(takes, input=INPUT, instrument=instrument)
    assert list(again) == list(guitar)
    assert all(again[name].interval_95 == pytest.approx(guitar[name].interval_95, rel=1e-6) for name in again)
    assert again.confirm("capacitor.tone").verdict == "within marking"
    assert "capacitor.tone" in repr(instrument)


def test_values_of_a_logbook_are_those_of_the_command(books, guitar, capsys):
    _, told, _ = run_json(capsys, "fit", "up", "up-1n", "down", "--logbook", books / "guitar")
    assert list(guitar) == list(told["quantities"])
    assert all(same(guitar[name], quantity) for name, quantity in told["quantities"].items())


def test_confirm_judges_as_the_command_does(books, guitar, capsys):
    for marked in (None, "223K"):
        words = [] if marked is None else ["--marked", marked]
        _, told, _ = run_json(capsys, "confirm", "capacitor.tone", "up", "up-1n", "down", *words, "--logbook", books / "guitar")
        given = guitar.confirm("capacitor.tone", marked=marked)
        assert (given.verdict, given.answer.why) == (told["verdict"], told["why"])
    with pytest.raises(ValueError, match=r'there is no part "capacitor\.bass"'):
        guitar.confirm("capacitor.bass")


def test_compare_of_plain_takes_and_of_a_logbook_agree(books, capsys):
    stated = ("before", "before-plus-1n", "after", "after-plus-1n")
    takes = [
        fit.Take(response_of("shielding", file), name=file.replace("plus-", ""), added="1n±1%" if "1n" in file else "")
        for file in stated
    ]
    takes = [replace(take, set={"volume": "10", "tone": "10"}) for take in takes]
    instrument = fit.Instrument.read(books / "shielding" / "instrument.toml")
    plain = fit.compare(before=takes[:2], after=takes[2:], input=INPUT, instrument=instrument)
    book = measure.Logbook(books / "shielding")
    kept = fit.compare(book, before=["before", "before-1n"], after=["after", "after-1n"])
    words = ("compare", "--before", "before", "before-1n", "--after", "after", "after-1n")
    _, told, _ = run_json(capsys, *words, "--logbook", books / "shielding")
    for name, quantity in told["quantities"].items():
        assert same(kept.changes[name], quantity["change"])
        assert same(plain.changes[name], quantity["change"])
        assert plain.verdicts[name] == kept.verdicts[name] == quantity["verdict"]
    assert kept.outcome == plain.outcome == "good"
    assert kept.answer.noise is not None
    assert len(repr(kept).splitlines()) < 40
    with pytest.raises(ValueError, match="expected names of takes in the logbook on both sides"):
        fit.compare(book, before=takes[:1], after=["after"])
    with pytest.raises(ValueError, match="without a logbook input is needed"):
        fit.compare(before=takes[:1], after=takes[1:2])


def test_predict_says_what_the_command_says(books, guitar, capsys):
    instrument = fit.Instrument.read(books / "guitar" / "instrument.toml")
    found = fit.predict(instrument, {"tone": "3"}, parts=guitar.parts, changes={"capacitor.tone": "10n ± 5%"}, at_hz=(3000.0,))
    assert main(["fit", "up", "up-1n", "down", "--logbook", str(books / "guitar")]) == 0
    words = ("--set", "tone=3", "--change", "capacitor.tone=10n ± 5%", "--at", "3k", "--logbook", books / "guitar")
    _, told, _ = run_json(capsys, "predict", *words)
    curve = found.answer.pickups["bridge"]
    assert same(curve.levels[3000.0], told["figures"]["bridge"]["levels"]["3k"]["level"])
    assert same(curve.corner, told["figures"]["bridge"]["minus_3_db"])
    assert found.before is not None
    soldered = fit.predict(instrument, {"volume": 5}, parts=guitar.parts, added={"volume": "1n2"}, moved={"tone.wiper": "jack"})
    words = ("--set", "volume=5", "--solder", "volume=1n2", "--move", "tone.wiper=jack", "--logbook", books / "guitar")
    _, told, _ = run_json(capsys, "predict", *words)
    assert same(soldered.answer.pickups["bridge"].corner, told["figures"]["bridge"]["minus_3_db"])
    assert soldered.before is not None
    stated = fit.predict(instrument, {"tone": "3"}, input=INPUT, parts=guitar.parts)
    assert stated.before is None
    assert len(repr(found).splitlines()) < 40


def test_wiring_reads_what_a_position_connects(books):
    found = fit.wiring(measure.Logbook(books / "guitar"), ["up"])
    assert len(found.positions) == 1
    assert "bridge" in next(iter(found.positions.values()))
    assert found.answer.differences == {}


def test_correlation_is_one(guitar):
    names, matrix = guitar.correlation
    assert matrix.shape == (len(names), len(names))
    np.testing.assert_allclose(matrix, matrix.T, rtol=1e-12)
    np.testing.assert_allclose(np.diag(matrix), 1.0, rtol=1e-12)
    assert np.abs(matrix).max() <= 1 + 1e-9
    at = names.index("bridge.inductance"), names.index("capacitor.tone")
    assert matrix[at] < -0.5  # both rest on the same known capacitor, and their product is known far better


def test_budget_adds_up(bare):
    for name in ("inductance", "winding_capacitance"):
        parts = [one.contribution for one in bare.budget(name)]
        assert math.hypot(*parts) == pytest.approx(bare[name].standard_uncertainty, rel=1e-6)


def test_what_is_not_there_says_why():
    alone = fit.pickup([fit.Take(response_of(BARE, "open"))], input=INPUT)
    untold = [one.quantity for one in alone.answer.not_identified]
    assert "inductance" in untold
    with pytest.raises(KeyError, match="inductance: "):
        alone["inductance"]
    assert all(one.text for one in alone.next_takes("inductance"))
    with pytest.raises(KeyError, match="weight: no such quantity"):
        alone.budget("weight")
    with pytest.raises(ValueError, match="a bare pickup has no part"):
        alone.confirm("capacitor.tone")


def test_what_is_stated_wrongly_is_said(books):
    open_ = fit.Take(response_of(BARE, "open"), name="one")
    with pytest.raises(ValueError, match="expected takes with a name each"):
        fit.pickup([open_, open_], input=INPUT)
    with pytest.raises(FileError, match="give the instrument"):
        fit.pickup([replace(open_, set={"tone": "0"})], input=INPUT)
    instrument = fit.Instrument.read(books / "guitar" / "instrument.toml")
    with pytest.raises(FileError, match="take one: "):
        fit.pickup([replace(open_, set={"blend": "0"})], input=INPUT, instrument=instrument)
    with pytest.raises(ValueError, match="exciter_corner"):
        fit.pickup([open_], input=INPUT, reference="none")


def test_table_of_a_notebook_is_safe_and_short(bare):
    answer = replace(bare.answer, takes=("<script>alert(1)</script>",), simulated=True)
    html = replace(bare, answer=answer, warnings=("<b>loud</b>",))._repr_html_()
    assert "<script>" not in html
    assert "<b>" not in html
    assert "&lt;script&gt;" in html
    assert "simulated: " in html
    assert len(repr(bare).splitlines()) < 40


def test_figures_draw_themselves_in_a_notebook(bare, guitar):
    for figure in (bare.plot(), guitar.confirm("capacitor.tone").plot()):
        assert figure._repr_png_().startswith(b"\x89PNG")


def test_a_response_in_place_of_a_take_is_told():
    with pytest.raises(ValueError, match=r"expected fit\.Take\(response, .*\), got a Response"):
        fit.pickup([response_of(BARE, "open")], input=INPUT)


def test_a_folder_will_do_for_a_logbook_and_a_number_for_a_rotation(books, guitar):
    again = fit.instrument(str(books / "guitar"), ["up", "up-1n", "down"])
    assert again["inductance"].value == guitar["inductance"].value
    file = books / "guitar" / "instrument.toml"
    by_number = fit.predict(str(file), {"tone": 3}, input=INPUT, parts=guitar.parts)
    by_text = fit.predict(fit.Instrument.read(file), {"tone": "3"}, input=INPUT, parts=guitar.parts)
    assert repr(by_number) == repr(by_text)


def test_an_instrument_shows_itself_as_its_circuit(books):
    svg = fit.Instrument.read(books / "guitar" / "instrument.toml")._repr_svg_()
    assert svg.startswith("<svg ")
    assert 'data-part="capacitor.tone"' in svg


def test_an_impedance_measured_elsewhere_needs_no_input():
    frequency_hz = np.geomspace(50, 20e3, 120)
    s = 2j * np.pi * frequency_hz
    size = 1e-3 / np.sqrt(2)
    takes = []
    for added, farad in (("", 0.0), ("1n ± 1%", 1e-9)):
        value = 1 / (1 / (6e3 + 2.5 * s) + s * (100e-12 + farad))
        covariance = (size * np.abs(value))[:, None, None] ** 2 * np.eye(2)
        takes.append(fit.Take(Response(frequency_hz=frequency_hz, value=value, covariance=covariance, unit="Ω"), added=added))
    found = fit.pickup(takes)
    assert abs(found["inductance"].value - 2.5) < 2 * found["inductance"].standard_uncertainty
    assert any("no input is stated" in warning for warning in found.warnings)
    ratio = replace(takes[0], response=replace(takes[0].response, unit="V/V"))
    with pytest.raises(ValueError, match="what the pickup was measured into is needed"):
        fit.pickup([ratio])
