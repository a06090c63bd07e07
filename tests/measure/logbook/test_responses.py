"""Responses measured elsewhere: imported, checked, kept with their hash, inspected, and fitted like recordings."""

import json
import os
import re
from pathlib import Path

import numpy as np
import pytest

from fit.desk.show.words import SIMULATED_TEXT
from measure.checks.table import ASSUMED_STD
from measure.errors import FileError
from measure.logbook.responses import response_of_take
from measure.logbook.store import open_logbook, read_take
from measure.response import relative_std
from measure.tables.files import parse_csv
from tests.desk_bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, RIG, coil, flat, run, run_json, run_plain

GRID_HZ = 1000 * 2.0 ** (np.arange(-80, 70) / 16)  # as other instruments have them too: rising, some 16 an octave


def table_text(added_f=0.0, *, noise=1e-3, seed=1, std=False, head=""):
    """A response in dB and degrees with a decimal comma, noisy."""
    value = coil(added_f)(GRID_HZ) / flat(GRID_HZ)
    rng = np.random.default_rng(seed)
    value = value * (1 + noise * (rng.standard_normal(len(GRID_HZ)) + 1j * rng.standard_normal(len(GRID_HZ))) / np.sqrt(2))
    lines = [f"{head}frequency (Hz);gain (dB);phase (deg)" + (";std (%)" if std else "")]
    for frequency, one in zip(GRID_HZ, value, strict=True):
        cells = [f"{frequency:.6f}", f"{20 * np.log10(abs(one)):.6f}", f"{np.degrees(np.angle(one)):.5f}"]
        cells += [f"{100 * noise:g}"] if std else []
        lines.append(";".join(cells).replace(".", ","))
    return "\n".join(lines) + "\n"


def impedance_text(parameter="Z"):
    s = 2j * np.pi * GRID_HZ
    loop = s / (s + 2 * np.pi * 8e3)
    winding = DCR_OHM + s * INDUCTANCE_H * (1 - 0.35**2 * loop)
    ratio = 1 / (1 / winding + s * CAPACITANCE_F) / 1e4
    rows = [f"{f / 1e3:.9f} {z.real:.12g} {z.imag:.12g}" for f, z in zip(GRID_HZ, ratio, strict=True)]
    return "\n".join([f"# kHz {parameter} RI R 10000", *rows]) + "\n"


@pytest.fixture
def bench(tmp_path, capsys):
    assert run(capsys, "rig", *RIG, "--logbook", tmp_path)[0] == 0
    return tmp_path


def put(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


@pytest.mark.long
def test_two_tables_are_fitted_like_recordings(bench, capsys):
    bare = put(bench, "bare.csv", table_text(seed=1, std=True))
    plus = put(bench, "plus.csv", table_text(1e-9, seed=2, std=True))
    code, out, err = run(capsys, "import", "bare", bare, "--logbook", bench)
    assert (code, err) == (0, "")
    assert "Kept: take bare" in out
    assert "pickup over reference in V/V, 150 frequencies, 31.25 Hz to 19870 Hz" in out
    assert "Outcome: good (7 of 7 checks passed)" in out
    assert run(capsys, "import", "plus", plus, "--add", "1n ± 1%", "--logbook", bench)[0] == 0
    code, document, _ = run_json(capsys, "fit", "bare", "plus", "--dcr", "6k ± 1%", "--logbook", bench)
    assert code == 0
    assert document["outcome"] == "good"
    assert document["simulated"] is False
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        found = document["quantities"][name]
        assert abs(found["value"] - truth) < 3 * found["standard_uncertainty"]
    # the references have 1 %: the result is within it
    assert document["quantities"]["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.01)
    code, _, _ = run(capsys, "report", "--logbook", bench)
    assert code == 0
    assert "measured elsewhere" in (bench / "report.html").read_text(encoding="utf-8")


@pytest.mark.long
def test_without_a_stated_deviation_one_is_assumed_and_said(bench, capsys):
    code, out, err = run(capsys, "import", "bare", put(bench, "bare.csv", table_text()), "--logbook", bench)
    assert code == 0
    assert "warning: noise: The file states no standard deviation; 0.5 % of the value is assumed as noise." in err
    assert "Outcome: usable" in out
    take = read_take(open_logbook(bench), "bare")
    response = response_of_take(open_logbook(bench), take)
    np.testing.assert_allclose(relative_std(response), ASSUMED_STD, rtol=1e-12)
    assert response.origin.rate_hz == 0
    assert response.origin.recording_sha256 == (take.response_file.sha256,)
    assert [finding.code for finding in response.findings] == ["noise"]
    _, document, _ = run_json(capsys, "fit", "bare", "--dcr", "6k ± 1%", "--logbook", bench)
    assert any("0.5 % of the value is assumed" in warning for warning in document["warnings"])


def test_touchstone_is_an_impedance_at_the_jack(bench, capsys):
    code, out, _ = run(capsys, "import", "jack", put(bench, "jack.s1p", impedance_text()), "--logbook", bench)
    assert code == 0
    assert "method impedance: impedance at the jack in Ω" in out
    logbook = open_logbook(bench)
    take = read_take(logbook, "jack")
    assert (take.kind, take.conditions.method, take.rate_hz) == ("response", "impedance", None)
    response = response_of_take(logbook, take)
    assert response.unit == "Ω"
    low = response.value[0]
    assert low.real == pytest.approx(DCR_OHM, rel=1e-3)
    assert low.imag == pytest.approx(2 * np.pi * GRID_HZ[0] * INDUCTANCE_H, rel=2e-3)


def test_inspect_says_what_it_is_and_checks_it_again(bench, capsys):
    run(capsys, "import", "bare", put(bench, "bare.csv", table_text(std=True)), "--set", "volume=7", "--logbook", bench)
    code, out, _ = run(capsys, "inspect", "bare", "--logbook", bench)
    assert code == 0
    assert "A response measured elsewhere (response.csv), method exciter" in out
    assert "Frequencies rise from line to line." in out
    code, document, _ = run_json(capsys, "inspect", "bare", "--logbook", bench)
    assert document["schema"] == "coilsweep.inspect/1"
    assert document["response"]["n_frequencies"] == len(GRID_HZ)
    assert [check["name"] for check in document["checks"]] == ["order", "finite", "points", "band", "gaps", "noise", "causal"]
    assert read_take(open_logbook(bench), "bare").conditions.controls == {"volume": "7"}


def test_a_changed_file_is_noticed(bench, capsys):
    run(capsys, "import", "bare", put(bench, "bare.csv", table_text(std=True)), "--logbook", bench)
    kept = bench / "takes" / "bare" / "response.csv"
    assert kept.read_text(encoding="utf-8") == table_text(std=True)
    kept.write_text(table_text(std=True).replace("-", "", 1), encoding="utf-8")
    for command in ("inspect", "fit"):
        code, _, err = run(capsys, command, "bare", "--logbook", bench)
        assert code == 2
        assert "response.csv has changed since the take was made" in err


@pytest.mark.long
def test_a_simulated_table_stays_simulated(bench, capsys):
    file = put(bench, "bare.csv", table_text(std=True, head="# simulated: yes\n"))
    code, out, _ = run(capsys, "import", "bare", file, "--logbook", bench)
    assert code == 0
    assert SIMULATED_TEXT in out
    _, document, _ = run_json(capsys, "fit", "bare", "--dcr", "6k ± 1%", "--logbook", bench)
    assert document["simulated"] is True


def test_what_is_rejected_is_kept_and_marked(bench, capsys):
    rows = table_text(std=True).splitlines()
    file = put(bench, "down.csv", "\n".join([rows[0], *rows[:0:-1]]))
    code, out, err = run(capsys, "import", "down", file, "--logbook", bench)
    assert code == 3
    assert "rejected: order: Frequencies do not rise at 149 of 150 lines, first in line 3" in err
    assert "Outcome: rejected" in out
    code, _, err = run(capsys, "fit", "down", "--logbook", bench)
    assert code == 3
    assert "was rejected" in err
    with pytest.raises(FileError, match="cannot be used: Frequencies do not rise"):
        response_of_take(open_logbook(bench), read_take(open_logbook(bench), "down"))
    assert run(capsys, "inspect", "down", "--logbook", bench)[0] == 0


def test_a_phase_of_the_other_sign_is_rejected_and_said(bench, capsys):
    rows = [line.split(";") for line in table_text(std=True).splitlines()]
    turned = [rows[0], *([f, gain, phase[1:] if phase[0] == "-" else f"-{phase}", std] for f, gain, phase, std in rows[1:])]
    file = put(bench, "turned.csv", "\n".join(";".join(row) for row in turned))
    code, document, err = run_json(capsys, "import", "turned", file, "--logbook", bench)
    assert code == 3
    assert document["outcome"] == "rejected"
    checks = {check["name"]: check for check in document["checks"]}
    assert [name for name, check in checks.items() if check["outcome"] != "pass"] == ["causal"]
    assert checks["causal"]["figure"] > 10
    assert "with the opposite sign of the phase they do" in err
    with pytest.raises(FileError, match="magnitude and phase do not belong together"):
        response_of_take(open_logbook(bench), read_take(open_logbook(bench), "turned"))


@pytest.mark.long
def test_of_very_many_frequencies_a_fit_uses_sixteen_an_octave(bench, capsys):
    frequency_hz = np.linspace(20, 20e3, 4000)
    rows = "".join(f"{f!r},0.01,{f / 1e4!r}\n" for f in frequency_hz.tolist())
    code, _, _ = run(capsys, "import", "many", put(bench, "many.csv", "frequency,real,imaginary\n" + rows), "--logbook", bench)
    assert code == 0
    logbook = open_logbook(bench)
    take = read_take(logbook, "many")
    whole, used = response_of_take(logbook, take, is_whole=True), response_of_take(logbook, take)
    assert np.array_equal(whole.frequency_hz, frequency_hz)
    assert set(used.frequency_hz) < set(frequency_hz)
    np.testing.assert_allclose(used.value.imag, used.frequency_hz / 1e4, rtol=1e-15)  # as measured, nothing between
    high = used.frequency_hz[used.frequency_hz > 1000]
    assert np.max(np.abs(16 * np.log2(high / 1000) - np.round(16 * np.log2(high / 1000)))) < 0.06
    assert len(high) == 69  # 16·log2(20) = 69.15: k from 1 to 69
    _, out, _ = run_plain(capsys, "inspect", "many", "--logbook", bench)
    assert f"a fit uses {len(used.value)} of all, 16 an octave" in out
    assert len(response_of_take(logbook, take).value) < 160


def test_a_first_line_at_0_hz_is_left_out(bench, capsys):
    file = put(bench, "bare.csv", table_text().replace("\n31,", "\n0;-200;0\n31,", 1))
    assert run(capsys, "import", "bare", file, "--logbook", bench)[0] == 0
    response = response_of_take(open_logbook(bench), read_take(open_logbook(bench), "bare"))
    assert len(response.value) == len(GRID_HZ)


REFUSED = [
    (["bare.csv", "bare.csv"], "2 files: a response measured elsewhere is one file"),
    (["bare.csv", "--stimulus", "x.wav"], "--stimulus is for recordings; bare.csv holds a response already"),
    (["bare.csv", "--pickup-channel", "1"], "--pickup-channel is for recordings"),
    (["bare.csv", "--method", "quiet"], 'method "quiet" has no response'),
    (["ohm.csv"], "holds impedance at the jack .Ω., but the method is exciter: import it with --method impedance"),
    (["jack.s1p", "--method", "exciter"], "import it with --method impedance"),
    (["two.s2p"], "two.s2p: a response is read from .csv, .txt .* or .s1p"),
    (["words.csv"], "words.csv, no line of numbers"),
    (["bad.csv"], 'bad.csv, line 2, column 3: "x" is not a number'),
    (["binary.csv"], "binary.csv, not a text file"),
    (["missing.csv"], "missing.csv not read"),
    (["bare.csv", "--add", "1x"], "1x"),
    (["bare.csv", "--set", "volume"], "CONTROL=VALUE"),
]


@pytest.mark.parametrize(("words", "message"), REFUSED)
def test_wrong_use_gives_one_line_and_keeps_nothing(bench, capsys, words, message):
    put(bench, "bare.csv", table_text())
    put(bench, "jack.s1p", impedance_text())
    put(bench, "two.s2p", "# Hz S RI R 50\n1 2 3 4 5 6 7 8 9\n")
    put(bench, "words.csv", "nothing here\n")
    put(bench, "ohm.csv", "frequency,real (ohm),imaginary (ohm)\n" + "".join(f"{f},1,2\n" for f in GRID_HZ))
    put(bench, "bad.csv", "frequency,real,imaginary\n1,2,x\n")
    (bench / "binary.csv").write_bytes(b"\x00\x01" * 200)
    words = [bench / word if word.endswith(("csv", "s1p", "s2p")) else word for word in words]
    code, _, err = run(capsys, "import", "new", *words, "--logbook", bench)
    assert code == 2
    assert len(err.strip().splitlines()) == 1
    assert re.search(message, err)
    assert not (bench / "takes" / "new").exists()


def test_a_take_is_not_overwritten(bench, capsys):
    file = put(bench, "bare.csv", table_text())
    assert run(capsys, "import", "bare", file, "--logbook", bench)[0] == 0
    code, _, err = run(capsys, "import", "bare", file, "--logbook", bench)
    assert code == 2
    assert "takes are never overwritten" in err


def test_latin_text_is_read_too(bench, capsys):
    (bench / "old.csv").write_bytes(table_text().replace("(deg)", "(°)").encode("latin-1"))
    assert run(capsys, "import", "old", bench / "old.csv", "--logbook", bench)[0] == 0


def test_json_of_an_import(bench, capsys):
    code, document, _ = run_json(capsys, "import", "jack", put(bench, "jack.s1p", impedance_text()), "--logbook", bench)
    assert code == 0
    assert document["schema"] == "coilsweep.import/1"
    assert document["outcome"] == "usable"
    assert json.loads((bench / "takes" / "jack" / "take.json").read_text())["response_file"]["file"] == "response.s1p"


# A 47 Ω resistor measured against one of 100 Ω by a frequency response analyser, 10 Hz and up: tests/*_47R_100R_shunt.csv in the
# source archive of impedancefitter 2.0.12 (GPL-3, so no copy of it is kept here). COILSWEEP_OUTSIDE_DATA names a folder with it.
# 100·(1/g − 1) over the 113 points from 80 Hz to 15 kHz: 47.956 Ω, scatter 0.059 Ω, imaginary part −0.009 Ω.
def test_series_resistor_method_on_measured_data():
    folder = Path(os.environ.get("COILSWEEP_OUTSIDE_DATA", "."))
    files = [file for file in sorted(folder.glob("*_47R_100R_shunt.csv")) if "Gain in dB" in file.read_text()]
    if not files:
        pytest.skip("COILSWEEP_OUTSIDE_DATA does not name a folder with the source archive's *_47R_100R_shunt.csv")
    table = parse_csv(files[0].read_text())
    inside = (table.frequency_hz >= 80) & (table.frequency_hz <= 15e3)
    impedance = 100 * (1 / table.value[inside] - 1)
    assert len(impedance) == 113
    assert impedance.real.mean() == pytest.approx(47.956, abs=5e-4)
    assert impedance.real.std(ddof=1) == pytest.approx(0.059, abs=5e-4)
    assert impedance.imag.mean() == pytest.approx(-0.009, abs=5e-4)


def test_two_bytes_a_sign_are_text_too(bench, capsys):
    (bench / "wide.csv").write_bytes(table_text().encode("utf-16"))
    assert run(capsys, "import", "wide", bench / "wide.csv", "--logbook", bench)[0] == 0


def test_a_table_with_an_absurd_value_is_kept_and_rejected_with_its_place(bench, capsys):
    lines = table_text().splitlines()
    lines[60] = f"{lines[60].split(';')[0]};400;0"
    code, out, err = run(capsys, "import", "slip", put(bench, "slip.csv", "\n".join(lines)), "--logbook", bench)
    assert code == 3
    assert "line 61, " in err
    assert "Kept: take slip" in out


def impedance_table(added_f=0.0, *, seed=1):
    """R and X between marks, as an analyser writes them, decimal comma."""
    s = 2j * np.pi * GRID_HZ
    z = 1 / (1 / (DCR_OHM + s * INDUCTANCE_H) + s * (CAPACITANCE_F + added_f))
    z = z * (1 + 1e-3 * np.random.default_rng(seed).standard_normal(len(s)))
    rows = [f"{f / 1e3:.9f};{one.real:.6f};{one.imag:.6f}".replace(".", ",") for f, one in zip(GRID_HZ, z, strict=True)]
    return "\n".join(["! made elsewhere", "BEGIN TRACE A", "f (kHz);R (ohm);X (ohm)", *rows, "END TRACE A"]) + "\n"


@pytest.mark.long
def test_an_impedance_is_fitted_in_a_logbook_without_a_rig(tmp_path, capsys):
    book = ["--logbook", tmp_path / "book"]
    bare, plus = put(tmp_path, "bare.csv", impedance_table()), put(tmp_path, "plus.txt", impedance_table(1e-9, seed=2))
    code, _, err = run(capsys, "import", "bare", bare, *book)
    assert code == 2
    assert "import it with --method impedance" in err
    code, out, _ = run(capsys, "import", "bare", bare, "--method", "impedance", *book)
    assert code == 0
    assert "Next: coilsweep fit bare --logbook" in out
    code, out, _ = run(capsys, "import", "plus", plus, "--method", "impedance", "--add", "1n ± 1%", *book)
    assert "Next: coilsweep fit bare plus --logbook" in out
    code, document, _ = run_json(capsys, "fit", "bare", "plus", *book)
    assert code == 0
    assert not (tmp_path / "book" / "rig.toml").exists()
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        found = document["quantities"][name]
        assert abs(found["value"] - truth) < 3 * found["standard_uncertainty"]
    assert any("no input is stated" in warning for warning in document["warnings"])
