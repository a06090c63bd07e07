"""The command check: a kept coil over the weeks, charts and limits, what is kept of it, and what later results say."""

import contextlib
import io
import json
import re
import shutil
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from fit.desk.book.drift import drift_warnings
from fit.desk.command.main import main
from measure.logbook.drifts import CHECKED_FILE, CheckedCoil, DriftRecord, keep_checked, read_checked
from measure.logbook.store import list_takes, open_logbook
from tests.answer_by_hand import answer, estimate
from tests.desk_bench import run, run_json, run_plain
from tests.kept_coil import Bench, date_take, write_check
from tests.pages import read_page

SHIFT_F = 8e-12
N_GOOD, N_ALL = 9, 11
RECORD = DriftRecord(
    centre=5900.0,
    size=-59.0,
    unit="Hz",
    since_take="drawer-10",
    since_utc="2026-07-06T17:00:00.000Z",
    good_until_utc="2026-06-22T17:00:00.000Z",
    is_lasting=True,
)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Eleven fortnights; in the last two a cable adds 8 pF that nobody stated."""
    folder = tmp_path_factory.mktemp("check") / "book"
    bench = Bench(day_f=0.3e-12, placement_f=0.3e-12, placement_field=0.003, day_k=0.3)
    write_check(folder, N_ALL, shift_f=SHIFT_F, shifts_from=N_GOOD, bench=bench, seed=2)
    return folder


@pytest.fixture
def copy(book, tmp_path):
    shutil.copytree(book, tmp_path / "book", ignore=shutil.ignore_patterns("results"))
    return tmp_path / "book"


@pytest.fixture
def by_hand(monkeypatch):
    """Answers without a fit, for tests of what is done with them: a resonance that wobbles from take to take."""

    def answer_for(_desk, _logbook, wish):
        wobble = 5.0 * np.sin(7.0 * int(re.search(r"\d+", f"{wish.names[-1]}0").group()))
        one = answer(outcome="misfit" if wish.dcr else "good")
        return replace(one, quantities={"resonance_loaded": estimate(5900.0 + wobble, 9.0, "Hz")}), ()

    monkeypatch.setattr("fit.desk.book.take_sets.answer_for", answer_for)


def names(*numbers):
    return [f"drawer-{number}{part}" for number in numbers for part in ("", "-1n")]


@pytest.fixture(scope="module")
def checked(book, tmp_path_factory):
    """The document of a check of all takes, by prefix, with its picture."""
    picture = tmp_path_factory.mktemp("pictures") / "chart.png"
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
        assert (
            main(
                [
                    "check",
                    "drawer",
                    "--logbook",
                    str(book),
                    "--plot",
                    str(picture),
                    "--page",
                    str(picture.with_suffix(".html")),
                    "--json",
                ]
            )
            == 0
        )
    return json.loads(said.getvalue()), picture


@pytest.mark.long
def test_a_drift_is_found_dated_and_measured(checked):
    document, picture = checked
    assert document["schema"] == "coilsweep.check/1"
    assert (document["outcome"], document["n_measurements"], document["n_needed"]) == ("drifted", N_ALL, 0)
    assert document["measurements"][0] == {"takes": ["drawer-1", "drawer-1-1n"], "time_utc": "2026-03-02T17:01:00.000Z"}
    capacitance = document["quantities"]["winding_capacitance"]
    assert capacitance["drift"]["since_take"] == "drawer-10"
    assert capacitance["drift"]["size"] == pytest.approx(SHIFT_F, rel=0.15)
    assert capacitance["drift"]["is_lasting"]
    assert capacitance["baseline"] == list(range(N_GOOD))
    assert capacitance["individuals"]["outside"] == [N_GOOD, N_GOOD + 1]
    assert capacitance["centre"] == pytest.approx(np.mean(capacitance["values"][:N_GOOD]), rel=1e-12)
    assert capacitance["moving_range"]["points"][0] is None
    assert N_GOOD in capacitance["moving_range"]["outside"]
    assert document["quantities"]["dc_resistance"]["drift"] is None
    assert picture.read_bytes().startswith(b"\x89PNG")
    page = read_page(picture.with_suffix(".html").read_text(encoding="utf-8"))
    assert str(picture.with_suffix(".html")) in document["written"]
    assert page.headings == ["Kept coil drawer: drifted (simulated)", "Charts", "Latest measurement and weighted average"]
    assert "DRIFTED: winding capacitance by" in page.said


@pytest.mark.long
def test_limits_are_told_beside_a_point_that_lies_outside(book, capsys):
    code, out, _ = run_plain(capsys, "check", "drawer", "--logbook", book, "--quantity", "inductance")
    row = out.partition(" Winding capacitance ")[2]
    baseline, latest, low, high = (float(text) for text in re.findall(r"\d+\.?\d*", row)[:4])
    assert code == 0
    assert low < baseline < high < latest
    assert "drifted, +" in row
    assert out.startswith("DRIFTED: winding capacitance by +")


@pytest.mark.long
@pytest.mark.usefixtures("checked")
def test_later_results_are_warned_and_earlier_ones_not(book, capsys):
    """By fit, compare and report; a take from before the drift is none of its business."""
    _, out, _ = run_json(capsys, "fit", *names(11), "--logbook", book)
    (warning,) = [text for text in out["warnings"] if "kept coil" in text]
    assert warning.startswith("the kept coil drawer (simulated) has drifted: winding capacitance by +")
    assert "since take drawer-10 of 2026-07-06" in warning
    assert warning.endswith("coilsweep check drawer")
    _, lines, _ = run_plain(capsys, "fit", *names(11), "--logbook", book)
    assert warning in lines
    _, out, _ = run_json(capsys, "fit", *names(3), "--logbook", book)
    assert [text for text in out["warnings"] if "kept coil" in text] == []
    _, out, _ = run_json(capsys, "compare", "--before", *names(3), "--after", *names(10), "--logbook", book)
    assert warning in out["warnings"]
    _, out, _ = run_json(capsys, "report", book / "report.html", *names(10), "--logbook", book)
    assert warning in out["warnings"]
    assert "has drifted" in (book / "report.html").read_text(encoding="utf-8")


@pytest.mark.long
@pytest.mark.usefixtures("by_hand")
def test_a_check_within_limits_takes_the_warning_back(copy, capsys):
    keep_checked(open_logbook(copy), "drawer", CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=10, drifts={"x": RECORD}))
    code, out, _ = run(capsys, "check", "drawer", *names(*range(1, 10)), "--logbook", copy)
    assert code == 0
    assert "WITHIN LIMITS" in out
    assert "The baseline is 9 measurements; it grows to 20" in out
    logbook = open_logbook(copy)
    assert read_checked(logbook)["drawer"].drifts == {}
    assert drift_warnings(logbook, list_takes(logbook).takes) == ()


@pytest.mark.usefixtures("by_hand")
def test_too_few_say_how_many_more(copy, capsys):
    code, out, _ = run(capsys, "check", "drawer", *names(1, 2, 3), "--logbook", copy)
    assert code == 0
    assert "3 measurements" in out
    assert "5 more measurements are needed before limits can be drawn (8 in all)" in out
    assert "Resonance" in out
    code, document, _ = run_json(capsys, "check", "drawer", *names(4), "--logbook", copy)
    assert (document["outcome"], document["n_needed"]) == ("too few", 7)
    assert not (copy / "results" / CHECKED_FILE).exists()


@pytest.mark.usefixtures("by_hand")
def test_takes_are_found_by_the_coils_name(copy, capsys):
    """drawer and drawer-…, not drawers-…; rejected ones are left out and named."""
    for number, name in ((4, "drawers-4"), (5, "drawer")):
        (copy / "takes" / f"drawer-{number}").rename(copy / "takes" / name)
        file = copy / "takes" / name / "take.json"
        file.write_text(file.read_text(encoding="utf-8").replace(f'"drawer-{number}"', f'"{name}"'), encoding="utf-8")
    for number in range(6, N_ALL + 1):
        for name in names(number):
            shutil.rmtree(copy / "takes" / name)
    file = copy / "takes" / "drawer-3" / "take.json"
    file.write_text(file.read_text(encoding="utf-8").replace('"outcome": "good"', '"outcome": "rejected"'), encoding="utf-8")
    code, document, _ = run_json(capsys, "check", "drawer", "--logbook", copy)
    assert code == 0
    assert [one["takes"] for one in document["measurements"]] == [names(1), names(2), ["drawer", "drawer-5-1n"]]
    assert any("take drawer-3: rejected" in text for text in document["warnings"])
    assert any("drawer-3-1n" in text and "left out" in text for text in document["warnings"])


@pytest.mark.usefixtures("by_hand")
def test_repeats_of_one_placement_are_one_measurement(copy, capsys):
    for name in names(2):
        file = copy / "takes" / name / "take.json"
        file.write_text(file.read_text(encoding="utf-8").replace('"coil_moved": true', '"coil_moved": false'), encoding="utf-8")
        at = next(take.time_utc for take in list_takes(open_logbook(copy)).takes if take.name == name.replace("-2", "-1"))
        date_take(copy, name, datetime.fromisoformat(at) + timedelta(minutes=5))
    code, document, _ = run_json(capsys, "check", "drawer", *names(1, 2, 3), "--logbook", copy)
    assert code == 0
    assert [one["takes"] for one in document["measurements"]] == [names(1), names(3)]
    assert any("drawer-2" in text and "one measurement each time" in text for text in document["warnings"])


@pytest.mark.usefixtures("by_hand")
def test_a_misfit_stays_on_the_charts_and_is_said(copy, capsys):
    """What a drift does may be a misfit, so it must not drop out."""
    code, document, _ = run_json(capsys, "check", "drawer", *names(1, 2), "--dcr", "6k ± 1%", "--logbook", copy)
    assert (code, document["n_measurements"]) == (0, 2)
    assert any(text.startswith("takes drawer-1, drawer-1-1n: the fit misfits") for text in document["warnings"])


@pytest.mark.usefixtures("by_hand")
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["attic"], "no take to be fitted is called attic or attic-…"),
        (["a b"], "cannot be a name"),
        (["drawer", "nothing"], 'no take "nothing"'),
        (["drawer", "drawer-1", "drawer-1"], "named twice"),
        (["drawer", *names(1, 2), "--plot", "x.png"], "nothing to draw yet"),
        (["drawer", *names(1, 2), "--quantity", "weight"], '"weight" is no quantity'),
        (["drawer", "--plot", "x.gif"], ".png or .svg"),
        ([], "COIL"),
    ],
)
def test_whatever_is_wrong_gets_one_line(copy, tmp_path, monkeypatch, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "check", *words, "--logbook", copy)
    assert (code, out) == (2, "")
    assert err.startswith("coilsweep: ")
    assert err.count("\n") == 1
    assert says in err
    assert not (copy / "results" / CHECKED_FILE).exists()


def test_an_empty_logbook(tmp_path, capsys):
    code, _, err = run(capsys, "check", "drawer", "--logbook", tmp_path)
    assert code == 2
    assert "there are: none yet" in err
