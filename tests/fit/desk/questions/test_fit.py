"""The command fit, from takes to values and intervals."""

import pytest

from tests.coil_book import make_coil_book
from tests.desk_bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, QUANTITY_KEYS, RIG, names_of, record, run, run_json, run_plain
from tests.guided import Script, guided
from tests.pages import read_page


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


@pytest.mark.long
def test_fit_finds_the_coil_and_says_how_well(capsys, bench):
    code, out, err = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", "--logbook", bench / "book")
    assert code == 0
    assert err == ""
    assert out["schema"] == "coilsweep.fit/1"
    assert names_of(out, "fitted") == ["open", "plus-1n"]
    assert out["outcome"] == "good"
    for key, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        low, high = out["quantities"][key]["interval_95"]
        assert low <= truth <= high
    assert out["quantities"]["inductance"]["unit"] == "H"
    assert set(out["quantities"]["inductance"]) == QUANTITY_KEYS
    assert out["released"] == []
    assert set(out["agreement"]) == {"open", "plus-1n"}
    assert set(out["agreement"]["open"]) == {"rms_db", "max_db", "rms_degree"}
    assert {"value", "correlation_octaves", "common"} <= set(out["floor"])
    assert {"name", "bic", "reduced_chi_square"} == set(out["model"]["candidates"][0])
    assert any("1n" in part["source"] for part in out["budget"]["inductance"])
    assert out["warnings"] == []


def test_fit_in_plain_words(capsys, bench):
    code, out, _ = run_plain(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", "--logbook", bench / "book")
    assert code == 0
    assert "Inductance" in out
    assert "95 % interval" in out
    assert "Agreement" in out
    assert "\x1b" not in out


@pytest.mark.long
def test_fit_of_one_take_names_what_it_does_not_tell(capsys, bench):
    code, out, _ = run_json(capsys, "fit", "open", "--logbook", bench / "book")
    assert code == 0
    assert {"inductance", "winding_capacitance"} <= {one["quantity"] for one in out["not_identified"]}
    assert "inductance" not in out["quantities"]
    assert "resonance_loaded" in out["quantities"]


@pytest.mark.long
def test_value_without_bound_gets_a_stated_one_and_a_warning(capsys, bench):
    code, out, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6k", "--have", "470p", "--logbook", bench / "book")
    assert code == 0
    assert any("6k (dcr)" in text and "± 5 %" in text for text in out["warnings"])
    assert any("470p (at hand)" in text and "± 10 %" in text for text in out["warnings"])


@pytest.mark.long
def test_fit_writes_a_picture(capsys, bench, tmp_path):
    words = ("--plot", tmp_path / "x.png", "--page", tmp_path / "x.html", "--logbook", bench / "book")
    code, _, err = run(capsys, "fit", "open", "plus-1n", *words)
    assert code == 0
    page = read_page((tmp_path / "x.html").read_text(encoding="utf-8"))
    assert page.headings[0] == "Measurement report: a pickup"
    assert "Not used for the values: 1 take" in page.headings  # the whole report
    assert "x.png" in err
    assert (tmp_path / "x.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.long
def test_winding_that_is_warmer_than_when_its_dcr_was_read(capsys, bench, tmp_path):
    """The resistance of copper at 30 °C, stated as read at 20 °C: right with the temperatures, a misfit of the dcr without."""
    cold = f"{DCR_OHM / (1 + 0.00393 * 10):.1f} ± 0.2%"
    book = ["--logbook", tmp_path]
    assert run(capsys, "rig", *RIG, *book)[0] == 0
    for name, temperature in (("warm", ("--temperature", "30C")), ("unsaid", ())):
        assert run(capsys, "import", f"{name}-open", bench / "open.wav", *temperature, *book)[0] == 0
        assert run(capsys, "import", f"{name}-1n", bench / "plus.wav", "--add", "1n ± 1%", *temperature, *book)[0] == 0
    code, out, _ = run_json(capsys, "fit", "warm-open", "warm-1n", "--dcr", f"{cold} at 20C", *book)
    assert code == 0
    assert out["outcome"] == "good"
    found = out["quantities"]["dc_resistance"]
    assert abs(found["value"] - DCR_OHM) < 3 * found["standard_uncertainty"] < 0.02 * DCR_OHM
    code, out, _ = run_json(capsys, "fit", "unsaid-open", "unsaid-1n", "--dcr", cold, *book)
    assert out["outcome"] == "misfit"
    (released,) = out["released"]
    assert (released["parameter"], released["reference"], released["instead"]) == ("dcr", True, [])
    assert released["stated"]["value"] == pytest.approx(DCR_OHM / (1 + 0.00393 * 10), rel=1e-4)
    assert abs(released["found"]["value"] - DCR_OHM) < 3 * released["found"]["standard_uncertainty"] < 0.03 * DCR_OHM
    (said,) = (text for text in out["warnings"] if text.startswith("misfit of a reference: dcr"))
    assert "K warmer than when it was read" in said
    code, out, _ = run_plain(capsys, "inspect", "warm-open", *book)
    assert ", winding at 30 °C" in out
    code, out, _ = run(capsys, "report", tmp_path / "r.html", "warm-open", "warm-1n", "--dcr", f"{cold} at 20C", *book)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "winding at 30 °C" in page
    assert f"{cold} at 20C" in page


def test_take_in_which_nothing_was_played_tells_no_part(capsys, bench, tmp_path):
    book = tmp_path / "book"
    code, _, _ = run(capsys, "import", "still", bench / "open.wav", "--method", "quiet", "--logbook", book)
    assert code == 0
    code, _, err = run(capsys, "fit", "still", "--logbook", book)
    assert code == 2
    assert "nothing was played" in err


@pytest.mark.long
def test_takes_with_and_without_a_reference_are_not_mixed(capsys, bench, tmp_path):
    book = ["--logbook", tmp_path / "book"]
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "mono", n_channels=1)
    words = ["--reference-channel", "none", "--stimulus", tmp_path / "sweep.wav"]
    assert run(capsys, "rig", *RIG, *book)[0] == 0
    assert run(capsys, "import", "mono", path, *words, *book)[0] == 0
    assert run(capsys, "import", "open", bench / "open.wav", *book)[0] == 0
    code, _, err = run(capsys, "fit", "open", "mono", *book)
    assert code == 2
    assert "different reference.kind" in err


def test_fit_without_a_rig_says_what_is_missing(capsys, bench, tmp_path):
    book = ["--logbook", tmp_path / "book"]
    assert run(capsys, "import", "open", bench / "open.wav", *book)[0] == 0
    code, _, err = run(capsys, "fit", "open", *book)
    assert code == 2
    assert "--input-resistance" in err


@pytest.mark.long
def test_of_two_references_that_disagree_both_are_named(capsys, tmp_path):
    """A winding resistance typed 13 % too high, and one known part: nothing in the takes tells which of the two is wrong."""
    guided(tmp_path, "pickup", Script())
    code, out, _ = run_json(capsys, "fit", "open", "plus-added", "--dcr", "6.35k ± 1%", "--logbook", tmp_path)
    assert (code, out["outcome"]) == (0, "misfit")
    (said,) = [one for one in out["warnings"] if one.startswith("misfit of a reference")]
    assert "added 1n ± 1% in plus-added" in said
    assert "dcr" in said
