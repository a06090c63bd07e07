"""The command repeat: sets of takes by placement and day, their spread against a drawn bench, one line for what is wrong."""

import contextlib
import io
import json

import numpy as np
import pytest

from fit.desk.command.main import main
from tests.desk_bench import run, run_json, run_plain
from tests.kept_coil import Bench, write_repeat
from tests.pages import read_page

WOBBLY = Bench(set_f=0.1e-12, placement_f=3e-12, day_f=0.0, placement_field=0.0, day_k=0.0)
DESIGN = ((2, 1), (1, 2))
DCR = ["--dcr", "6k ± 1%"]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Six sets of two takes, two placements on each of two days; the cable lies 3 pF (1 σ) off from one to the next."""
    folder = tmp_path_factory.mktemp("repeat") / "book"
    names = write_repeat(folder, DESIGN, bench=WOBBLY, seed=4)
    return folder, names


@pytest.fixture(scope="module")
def told(book, tmp_path_factory):
    """What the command said, once, as a document, and its pictures."""
    folder, names = book
    pictures = tmp_path_factory.mktemp("pictures")
    page = ["--page", str(pictures / "x.html")]
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
        assert main(["repeat", *names, *DCR, "--logbook", str(folder), "--plot", str(pictures / "x.svg"), *page, "--json"]) == 0
    return json.loads(said.getvalue()), pictures


@pytest.mark.long
def test_spread_of_a_drawn_bench_is_found(told):
    """The cable's 3 pF lie parallel to the winding: s_placement of its capacitance; the fit's intervals do not know of them."""
    document, _ = told
    assert document["schema"] == "coilsweep.repeat/1"
    assert (document["n_sets"], document["n_placements"], document["n_days"]) == (6, 4, 2)
    assert document["simulated"]
    capacitance = document["quantities"]["winding_capacitance"]
    low, high = capacitance["standard_deviations"]["placement"]["interval_95"]
    assert low < 3e-12 < high
    assert low > 0.5e-12
    assert capacitance["standard_deviations"]["repeat"]["standard_deviation"] < 0.7e-12
    assert capacitance["verdict"] == "too narrow"
    assert capacitance["p_value"] < 1e-3
    stated, one = capacitance["stated"], capacitance["one_result"]
    together = capacitance["together"]["standard_deviation"]
    assert one["standard_uncertainty"] == pytest.approx(np.hypot(stated["shared"], together), rel=1e-9)
    assert one["half_width_95"] > stated["half_width_95"]
    assert stated["standard_uncertainty"] == pytest.approx(np.hypot(stated["shared"], stated["not_shared"]), rel=1e-9)


@pytest.mark.long
def test_what_the_bench_does_not_move_holds(told):
    document, _ = told
    for key in ("inductance", "dc_resistance"):
        one = document["quantities"][key]
        assert one["verdict"] == "holds"
        assert one["one_result"]["standard_uncertainty"] == pytest.approx(one["stated"]["standard_uncertainty"], rel=0.1)
    values = [own["values"]["inductance"] for own in document["sets"]]
    assert document["quantities"]["inductance"]["mean"] == pytest.approx(np.mean(values), rel=1e-12)


@pytest.mark.long
def test_pictures_of_both_kinds(told, book, capsys):
    _, pictures = told
    text = (pictures / "x.svg").read_text(encoding="utf-8")
    assert text.startswith("<?xml")
    page = read_page((pictures / "x.html").read_text(encoding="utf-8"))
    assert page.headings[:4] == [
        *("How well this bench repeats (simulated)", "Results", "Standard deviations", "One result, half of its 95 % interval")
    ]
    assert "<svg" in text
    folder, names = book
    code, out, err = run_plain(capsys, "repeat", *names[:4], *DCR, "--logbook", folder, "--plot", pictures / "y.png")
    assert code == 0
    assert "y.png" in err
    assert (pictures / "y.png").read_bytes().startswith(b"\x89PNG")
    assert "exciter laid down once on 1 day" in out  # one alone: repeats, and what to do for the rest
    assert "exciter left where" in out
    assert "the exciter lay in one place all the time" in out
    assert "hold" not in out


@pytest.mark.long
def test_in_plain_words(book, capsys):
    folder, names = book
    code, out, _ = run_plain(capsys, "repeat", *names[4:], "--logbook", folder)
    assert code == 0
    assert "from 4 sets of 2 takes (nothing added; 1n ± 1%): exciter laid down 3 times on 2 days" in out
    for words in ("exciter laid down anew", "all of it", "degrees of freedom", "on this bench", "TOO NARROW", "simulated"):
        assert words in out
    assert "\x1b" not in out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["coil-1", "coil-1"], 2, "named twice"),
        (["coil-1", "coil-1-1n"], 2, "1 set of 2 takes (nothing added; 1n ± 1%), a spread needs two"),
        (["coil-1", "coil-3-1n"], 2, "no load is common to most places of the exciter"),
        (["nothing"], 2, 'no take "nothing"'),
        (["coil-1", "--plot", "x.jpg"], 2, ".png or .svg"),
        (["coil-1", "--plot", "nowhere/x.png"], 2, "no folder nowhere"),
        ([], 2, "NAME"),
        (["coil-1", "coil-1-1n", "coil-2", "coil-2-1n", "--dcr", "6 bananas"], 2, "6 bananas"),
    ],
)
def test_whatever_is_wrong_gets_one_line(book, capsys, words, code, says):
    folder, _ = book
    got, out, err = run(capsys, "repeat", *words, "--logbook", folder)
    assert (got, out) == (code, "")
    assert err.startswith("coilsweep: ")
    assert err.count("\n") == 1
    assert says in err
    got, document, _ = run_json(capsys, "repeat", *words, "--logbook", folder)
    assert (got, document["schema"]) == (code, "coilsweep.error/1")
