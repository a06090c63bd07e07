"""Files for other programs: what they hold, that they come back, and that they are written whole or not at all."""

import errno
import re

import numpy as np
import pytest
import soundfile

from fit.answers.netlist.oneport import pickup_gain, pickup_impedance
from fit.desk.book.response import take_response
from fit.desk.show.words import SIMULATED_TEXT
from measure.logbook.responses import response_of_take
from measure.logbook.store import open_logbook, read_take
from measure.tables.files import parse_csv, parse_touchstone
from tests.desk_bench import INDUCTANCE_H, INPUT_F, INPUT_OHM, RIG, record, run, run_json
from tests.net_coil import TRUTH


@pytest.fixture(scope="module")
def logbook(tmp_path_factory):
    """A logbook with two good takes and a silent one, made once."""
    from fit.desk.command.main import main

    folder = tmp_path_factory.mktemp("bench")
    place = ["--logbook", str(folder)]
    assert main(["rig", *RIG, *place]) == 0
    assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "1.5", *place]) == 0
    for name, added_f, add in (("open", 0.0, []), ("plus", 1e-9, ["--add", "1n ± 1%"])):
        file = record(folder, name, added_f=added_f, seed=len(name))
        said = ["import", name, str(file), "--stimulus", str(folder / "sweep.wav"), "--note", "on the bench", *add, *place]
        assert main(said) == 0
    silent = record(folder, "silent", gain=0.0)
    assert main(["import", "silent", str(silent), "--stimulus", str(folder / "sweep.wav"), *place]) == 3
    return folder


@pytest.fixture
def there(logbook, tmp_path, monkeypatch):
    """An empty folder to export to; the logbook beside it."""
    monkeypatch.chdir(tmp_path)
    return ["--logbook", str(logbook)]


@pytest.mark.long
def test_a_table_is_imported_again_exactly(there, logbook, tmp_path, capsys):
    code, out, _ = run(capsys, "export", "open", "plus", "--to", "csv", *there)
    assert code == 0
    assert "Written: open.csv (" in out
    assert "Written: plus.csv (" in out
    assert "coilsweep import NAME open.csv" in out
    book = open_logbook(logbook)
    measured = take_response(book, read_take(book, "plus"))
    text = (tmp_path / "plus.csv").read_text(encoding="utf-8")
    assert "# coilsweep: response of take plus, made 20" in text
    assert "added 1n ± 1%" in text
    assert "# note: on the bench" in text
    again = tmp_path / "again"
    assert run(capsys, "rig", *RIG, "--logbook", again)[0] == 0
    assert run(capsys, "import", "plus", "plus.csv", "--add", "1n ± 1%", "--logbook", again)[0] == 0
    other = open_logbook(again)
    back = response_of_take(other, read_take(other, "plus"))
    assert np.array_equal(back.frequency_hz, measured.frequency_hz)
    assert np.array_equal(back.value, measured.value)
    trace = np.trace(measured.covariance, axis1=1, axis2=2)
    np.testing.assert_allclose(np.trace(back.covariance, axis1=1, axis2=2), trace, rtol=1e-12)


@pytest.mark.long
def test_a_fit_of_what_came_back_is_the_same(there, tmp_path, capsys):
    assert run(capsys, "export", "open", "plus", "--to", "csv", *there)[0] == 0
    again = tmp_path / "again"
    run(capsys, "rig", *RIG, "--logbook", again)
    run(capsys, "import", "open", "open.csv", "--logbook", again)
    run(capsys, "import", "plus", "plus.csv", "--add", "1n ± 1%", "--logbook", again)
    _, first, _ = run_json(capsys, "fit", "open", "plus", "--dcr", "6k ± 1%", *there)
    _, second, _ = run_json(capsys, "fit", "open", "plus", "--dcr", "6k ± 1%", "--logbook", again)
    for name, quantity in first["quantities"].items():
        # the noise's share of real and imaginary part is not in the file, only their sum
        assert second["quantities"][name]["value"] == pytest.approx(quantity["value"], rel=1e-3), name


@pytest.mark.long
def test_touchstone_of_the_fitted_pickup(there, tmp_path, capsys):
    code, out, _ = run(capsys, "export", "open", "plus", "--to", "touchstone", "--dcr", "6k ± 1%", *there)
    assert code == 0
    assert "impedance of the fitted pickup without cable and input, one port, R 10000 Ω" in out
    text = (tmp_path / "open-plus.s1p").read_text(encoding="ascii")
    assert "! Inductance: 2.6" in text
    table = parse_touchstone(text)
    assert (table.frequency_hz[0], table.frequency_hz[-1]) == (20, 20e3)
    # the references have 1 %; beside the resonance, where 1 % of frequency is much, the impedance has that too
    low = table.frequency_hz < 3000
    np.testing.assert_allclose(table.value[low], pickup_impedance(TRUTH, table.frequency_hz)[low], rtol=0.015)
    code, _, _ = run(
        capsys, "export", "open", "plus", "--to", "touchstone", "--reference-resistance", "50", "--out", "low.s1p", *there
    )
    assert code == 0
    assert "# Hz Z RI R 50" in (tmp_path / "low.s1p").read_text()


def test_touchstone_of_an_impedance_is_what_was_measured(there, tmp_path, capsys):
    run(capsys, "export", "open", "plus", "--to", "touchstone", "--dcr", "6k ± 1%", *there)
    again = tmp_path / "again"
    assert run(capsys, "import", "jack", "open-plus.s1p", "--logbook", again)[0] == 0
    code, out, _ = run(capsys, "export", "jack", "--to", "touchstone", "--logbook", again)
    assert code == 0
    assert "impedance at the jack as measured" in out
    first, second = (parse_touchstone((tmp_path / name).read_text()) for name in ("open-plus.s1p", "jack.s1p"))
    np.testing.assert_allclose(second.value, first.value, rtol=1e-11)
    assert run(capsys, "export", "jack", "--to", "csv", "--logbook", again)[0] == 0
    table = parse_csv((tmp_path / "jack.csv").read_text())
    assert table.unit == "Ω"
    assert np.array_equal(table.value, first.value)
    code, _, _ = run(capsys, "import", "third", "jack.csv", "--method", "impedance", "--logbook", again)
    assert code == 0


@pytest.mark.long
def test_the_last_fit_of_the_same_takes_gives_the_dcr(there, tmp_path, capsys):
    run(capsys, "fit", "open", "plus", "--dcr", "6k ± 1%", *there)
    code, _, err = run(capsys, "export", "plus", "open", "--to", "spice", "--out", "a.cir", *there)
    assert code == 0
    assert "dcr 6k ± 1%, as in the last fit of these takes" in err
    assert run(capsys, "export", "open", "plus", "--to", "spice", "--dcr", "6k ± 1%", "--out", "b.cir", *there)[0] == 0
    assert run(capsys, "export", "open", "plus", "--to", "spice", "--dcr", "6050 ± 1%", "--out", "c.cir", *there)[0] == 0
    own, same, other = (
        re.findall(r"^[LRCKE]coil.*$", (tmp_path / name).read_text(), re.MULTILINE) for name in ("a.cir", "b.cir", "c.cir")
    )
    assert own == same != other


def test_netlist_of_the_fitted_pickup_says_what_it_is(there, tmp_path, capsys):
    code, out, _ = run(capsys, "export", "open", "plus", "--to", "spice", "--dcr", "6k ± 1%", *there)
    assert code == 0
    assert "Written: open-plus.cir" in out
    text = (tmp_path / "open-plus.cir").read_text(encoding="ascii")
    assert text.splitlines()[0] == "* coilsweep: pickup, from open, plus"
    assert text.rstrip().endswith(".end")
    inductance = float(re.search(r"^Lcoil1 \S+ \S+ (\S+)$", text, re.MULTILINE)[1])
    assert inductance == pytest.approx(INDUCTANCE_H, rel=0.015)


def test_impulse_response_has_the_gain_of_the_fit(there, tmp_path, capsys):
    code, out, _ = run(capsys, "export", "open", "plus", "--to", "ir", "--dcr", "6k ± 1%", *there)
    assert code == 0
    assert "scaled by" in out
    _, document, _ = run_json(capsys, "export", "open", "plus", "--to", "ir", "--dcr", "6k ± 1%", "--out", "b.wav", *there)
    (told,) = document["files"]
    samples, rate_hz = soundfile.read(tmp_path / "open-plus.wav")
    assert soundfile.info(tmp_path / "open-plus.wav").subtype == "PCM_24"
    assert rate_hz == told["rate_hz"] == 48000
    assert len(samples) == told["n_samples"]
    assert np.max(np.abs(samples)) == pytest.approx(1, abs=1e-6)
    frequency_hz = np.fft.rfftfreq(8192, 1 / rate_hz)
    inside = (frequency_hz > 50) & (frequency_hz < 15e3)
    found = np.fft.rfft(samples, 8192)[inside] / told["factor"]
    truth = pickup_gain(TRUTH, frequency_hz[inside], input_ohm=INPUT_OHM, input_f=INPUT_F)
    # the loaded resonance is known far better than the parts: the model is that of the recordings
    np.testing.assert_allclose(20 * np.log10(np.abs(found)), 20 * np.log10(np.abs(truth)), atol=0.05)


def test_netlist_of_the_instrument(logbook, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    own = tmp_path / "own"
    assert run(capsys, "rig", *RIG, "--logbook", own)[0] == 0
    assert run(capsys, "instrument", "--layout", "three-singles", "--logbook", own)[0] == 0
    words = ["--to", "spice", "--set", "volume=7", "--change", "capacitor.tone=10n ± 5%", "--excite", "middle"]
    code, out, _ = run(capsys, "export", *words, "--logbook", own)
    assert code == 0
    assert "Written: instrument.cir (the instrument at these settings, 1 V in the winding of middle)" in out
    text = (tmp_path / "instrument.cir").read_text(encoding="ascii")
    assert "* set volume=7" in text
    assert "* capacitor.tone = 10.00 nF (changed)" in text
    assert "* pot.volume = 250.0 kohm (marked)" in text
    assert "Vemf_middle emf_middle 0 AC 1" in text
    assert "Vemf_bridge emf_bridge 0 AC 0" in text
    code, _, err = run(capsys, "export", "--to", "spice", "--set", "volume=0", "--out", "s.cir", "--logbook", own)
    assert (code, (tmp_path / "s.cir").exists()) == (2, False)
    assert "joined to ground" in err
    code, _, err = run(
        capsys, "export", "--to", "spice", "--logbook", logbook, "--instrument", own / "instrument.toml", "--out", "t.cir"
    )
    assert code == 0


WRONG = [
    (["--to", "csv"], "name the takes"),
    (["--to", "spice"], "instrument.toml is not there"),
    (["open"], "--to"),
    (["open", "--to", "pdf"], "pdf"),
    (["open", "open", "--to", "csv"], 'the take "open" is named twice'),
    (["nothing", "--to", "csv"], 'no take "nothing"'),
    (["open", "--to", "csv", "--set", "volume=3"], "--set is for the instrument"),
    (["open", "--to", "csv", "--out", "a.wav"], "ends in .csv"),
    (["open", "plus", "--to", "csv", "--out", "a.csv"], "--out must be a folder that is there"),
    (["open", "--to", "csv", "--out", "nowhere/a.csv"], "there is no folder nowhere"),
    (["open", "--to", "csv", "--out", "here.csv"], "here.csv is there already and is not overwritten"),
    (["open", "--to", "touchstone"], "nothing is written: its ohms and henries would be one choice of many"),
    (["open", "--to", "spice"], "nothing is written"),
    (["open", "plus", "--to", "touchstone", "--reference-resistance", "many"], "many"),
]


@pytest.mark.long
@pytest.mark.parametrize(("words", "message"), WRONG)
def test_wrong_use_gives_one_line_and_writes_nothing(there, tmp_path, capsys, words, message):
    (tmp_path / "here.csv").write_text("mine")
    code, _, err = run(capsys, "export", *words, *there)
    assert code == 2
    assert message in err
    assert len(err.strip().splitlines()) == 1 or "Usage" in err
    assert [path.name for path in tmp_path.iterdir()] == ["here.csv"]
    assert (tmp_path / "here.csv").read_text() == "mine"


def test_nothing_rests_on_a_rejected_take(there, tmp_path, capsys):
    for to in ("csv", "touchstone", "spice", "ir"):
        code, _, err = run(capsys, "export", "silent", "--to", to, *there)
        assert code == 3
        assert "was rejected" in err
    assert not list(tmp_path.iterdir())


# Where the second file cannot be written, the first is not either, and an older one stays.
def test_files_are_written_all_or_none(there, tmp_path, capsys, monkeypatch):
    import fit.desk.export.files

    written = fit.desk.export.files.write_new

    def fail(path, content):
        if path.name.startswith(".plus.csv"):
            raise OSError(errno.ENOSPC, "no space")
        written(path, content)

    monkeypatch.setattr(fit.desk.export.files, "write_new", fail)
    code, _, err = run(capsys, "export", "open", "plus", "--to", "csv", *there)
    assert code == 2
    assert "plus.csv not written, left as it was: no space; free some space and try again" in err
    assert not list(tmp_path.iterdir())
    (tmp_path / "open.csv").write_text("mine")
    assert run(capsys, "export", "open", "plus", "--to", "csv", "--replace", *there)[0] == 2
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("open.csv", "mine")]


@pytest.mark.long
def test_what_is_simulated_says_so_everywhere(there, tmp_path, capsys):
    again = tmp_path / "again"
    assert run(capsys, "export", "open", "plus", "--to", "csv", *there)[0] == 0
    for name in ("open", "plus"):
        path = tmp_path / f"{name}.csv"
        path.write_text(path.read_text(encoding="utf-8").replace("# simulated: no", "# simulated: yes"), encoding="utf-8")
    run(capsys, "rig", *RIG, "--logbook", again)
    run(capsys, "import", "open", "open.csv", "--logbook", again)
    run(capsys, "import", "plus", "plus.csv", "--add", "1n ± 1%", "--logbook", again)
    for to, suffix, extra in (
        ("csv", "csv", []),
        ("touchstone", "s1p", []),
        ("spice", "cir", []),
        ("ir", "wav", ["--rate", "48000"]),
    ):
        folder = tmp_path / to
        folder.mkdir()
        words = ["open", "plus", "--to", to, "--dcr", "6k ± 1%", "--out", folder, *extra, "--logbook", again]
        code, out, _ = run(capsys, "export", *words)
        assert code == 0
        assert SIMULATED_TEXT in out
        for file in folder.iterdir():
            assert file.suffix == f".{suffix}"
            assert to == "ir" or "simulated: yes" in file.read_text()
    assert run(capsys, "import", "jack", tmp_path / "touchstone" / "open-plus.s1p", "--logbook", again)[0] == 0
    code, out, _ = run(capsys, "export", "jack", "--to", "touchstone", "--logbook", again)
    assert code == 0
    assert SIMULATED_TEXT in out
    assert "! simulated: yes" in (tmp_path / "jack.s1p").read_text()
    code, _, err = run(capsys, "export", "open", "plus", "--to", "ir", "--dcr", "6k ± 1%", "--logbook", again)
    assert code == 2
    assert "responses measured elsewhere have no sample rate" in err
