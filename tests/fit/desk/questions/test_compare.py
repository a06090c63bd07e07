"""The command compare, from recordings to its JSON document and its picture."""

import numpy as np
import pytest

from measure.source.files import read_recording, write_recording
from tests import driven_takes as driven
from tests import guitar_cases as cases
from tests.desk_bench import names_of, run, run_json, run_plain
from tests.guitar_bench import recordings_of
from tests.pages import read_page
from tests.recorded import RECORDINGS
from tests.recorded_guitars import WIRING

SIDES = ("before", "before-plus-1n", "after", "after-plus-1n")
RIG = ["--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--reference", "current"]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Logbook with the recordings from before and after shielding."""
    from fit.desk.command.main import main

    folder = tmp_path_factory.mktemp("book")
    assert main(["rig", "--logbook", str(folder), *RIG]) == 0
    text = WIRING.format(volume="250k", tone="250k", capacitor="22n")
    (folder / "instrument.toml").write_text(text, encoding="utf-8")
    for name in SIDES:
        file = str(RECORDINGS / "shielding" / f"{name}.flac")
        added = ["--add", "1n ± 1%"] if name.endswith("1n") else []
        assert main(["import", name, file, "--set", "volume=10", "--set", "tone=10", *added, "--logbook", str(folder)]) == 0
    return folder


def words(*more):
    return ("compare", "--before", SIDES[0], SIDES[1], "--after", SIDES[2], SIDES[3], "--dcr", "6350 ± 1%", *more)


@pytest.mark.long
def test_document_holds_parts_hum_and_response(capsys, book):
    code, document, _ = run_json(capsys, *words("--logbook", book))
    assert code == 0
    assert document["schema"] == "coilsweep.compare/1"
    assert document["outcome"] == "good"
    assert document["simulated"] is False
    added = document["quantities"]["added_capacitance"]
    assert added["verdict"] == "changed"
    assert added["change"]["unit"] == "F"
    assert added["change"]["value"] == pytest.approx(86e-12, abs=5e-12)
    for name, within in (("inductance", 0.01), ("pot.volume", 0.15), ("pot.tone", 0.15)):
        one = document["quantities"][name]
        assert one["verdict"] == "not resolved"
        # without a take at tone 0 the takes may leave a pot open, and still tell how little it changed
        sides = [one[side]["value"] for side in ("before", "after") if one[side] is not None]
        assert np.ptp(sides or [0.0]) <= within * max(sides, default=1.0)
        low, high = one["change"]["interval_95"]
        assert low < 0 < high
    assert [one["quantity"] for one in document["not_identified"]] == ["capacitor.tone"]
    assert document["hum"]["change"]["value"] == pytest.approx(-14.0, abs=1.0)
    assert document["hum"]["verdict"] == "changed"
    assert document["noise"]["verdict"] == "not resolved"
    assert document["response"]["verdict"] == "changed"
    assert abs(document["response"]["max_change_db"]) > 1.0
    assert 80 <= document["response"]["at_hz"] <= 15000


@pytest.mark.long
def test_lines_and_picture(capsys, book, tmp_path):
    code, out, _ = run_plain(
        capsys, *words("--plot", tmp_path / "change.png", "--page", tmp_path / "change.html", "--logbook", book)
    )
    assert code == 0
    for text in ("Added capacitance", "Tone capacitor: a pot stands between", "Hum", "not resolved"):
        assert text in out
    assert (tmp_path / "change.png").read_bytes()[:4] == b"\x89PNG"
    page = read_page((tmp_path / "change.html").read_text(encoding="utf-8"))
    assert page.headings == [
        *("What the job changed", "Change against frequency", "The circuit", "Connections", "Part by part"),
        *("Not told by these takes", "Response at the jack, for the same field", "Hum and noise"),
    ]
    assert ("td", "class", "mark look") in page.attributes  # what changed
    text = (tmp_path / "change.html").read_text(encoding="utf-8")
    assert text.index("CHANGED: ") < text.index("<svg") < text.index("the sound changed most at") < text.index("<details>")
    assert "Added capacitance" in page.said


@pytest.mark.long
def test_exchanged_leads_are_said(capsys, book, tmp_path):
    """The pickup's channel inverted in the takes from after the job, and nothing else changed."""
    turned = []
    for name in SIDES[:2]:
        recording = read_recording(RECORDINGS / "shielding" / f"{name}.flac")
        samples = recording.samples * np.where(np.arange(recording.samples.shape[1]) == recording.pickup_channel - 1, -1.0, 1.0)
        write_recording(tmp_path / f"{name}.wav", samples, rate_hz=recording.rate_hz)
        added = ["--add", "1n ± 1%"] if name.endswith("1n") else []
        options = ["--set", "volume=10", "--set", "tone=10", *added, "--logbook", book]
        assert run(capsys, "import", f"turned-{name}", tmp_path / f"{name}.wav", *options)[0] == 0
        turned.append(f"turned-{name}")
    sides = ("--before", *SIDES[:2], "--after", *turned, "--dcr", "6350 ± 1%", "--logbook", book)
    code, document, _ = run_json(capsys, "compare", *sides)
    assert code == 0
    (said,) = (text for text in document["warnings"] if "polarity" in text)
    assert said.startswith("the polarity of bridge is reversed after the job: its two leads are exchanged; unless")
    assert {one["verdict"] for one in document["quantities"].values()} == {"not resolved"}


def test_slips_are_one_line_each(capsys, book):
    for typed, message in (
        (("compare", "--before", "before"), "no take is named for the side after"),
        (("compare", "--before", "before", "--after", "before"), "named twice"),
        (("compare", "--before", "before", "--after", "nothere"), "nothere"),
        (words("--plot", "x.jpg"), "ends in .png"),
    ):
        code, out, err = run(capsys, *typed, "--logbook", book)
        assert code == 2
        assert out == ""
        assert message in err
        assert len(err.strip().splitlines()) == 1


@pytest.mark.long
def test_foil_before_and_after(capsys, tmp_path):
    """A drawn guitar's wiring was shielded: the foil's signal fell by what its capacitance did."""
    case = cases.draw_plate(2)
    book = tmp_path / "book"
    for name, recording in recordings_of(case, names=["plate-before", "plate-after"]).items():
        file = tmp_path / f"{name}.wav"
        write_recording(file, recording.samples, rate_hz=recording.rate_hz)
        assert run(capsys, "import", name, file, "--method", "plate", "--logbook", book)[0] == 0
    code, document, _ = run_json(capsys, "compare", "--before", "plate-before", "--after", "plate-after", "--logbook", book)
    assert code == 0
    kept = case.truths["foil.after"] / case.truths["foil.before"]
    bands = {band["frequency_hz"]: band for band in document["shielding"]["bands"] if band["change"] is not None}
    middle = min(bands, key=lambda hz: abs(hz - 3000))
    change = bands[middle]["change"]
    assert abs(change["value"] - 20 * np.log10(kept)) < 3.5 * change["standard_uncertainty"] + 0.05
    assert "quantities" not in document


@pytest.mark.long
def test_foil_in_farads_where_the_guitar_was_fitted(capsys, tmp_path):
    case = cases.draw_plate(3)
    book = tmp_path / "book"
    assert run(capsys, "rig", "--logbook", book, *RIG)[0] == 0
    (book / "instrument.toml").write_text(case.instrument_toml, encoding="utf-8")
    names = ["tone-up", "tone-up-plus-1n", "plate-before", "plate-after"]
    for name, recording in recordings_of(case, names=names).items():
        file = tmp_path / f"{name}.wav"
        write_recording(file, recording.samples, rate_hz=recording.rate_hz)
        options = ["--set", "volume=10", "--set", "tone=10"]
        options += ["--method", "plate"] if name.startswith("plate") else []
        options += ["--add", "1n ± 1%"] if name.endswith("1n") else []
        for again in ("", "-again") if not name.startswith("plate") else ("",):
            assert run(capsys, "import", name + again, file, *options, "--logbook", book)[0] == 0
    before, after = ("tone-up", "tone-up-plus-1n", "plate-before"), ("tone-up-again", "tone-up-plus-1n-again", "plate-after")
    code, document, _ = run_json(capsys, "compare", "--before", *before, "--after", *after, "--logbook", book)
    assert code == 0
    assert document["quantities"]["added_capacitance"]["verdict"] == "not resolved"
    for side in ("before", "after"):
        found = document["shielding"][f"capacitance_{side}"]
        true = case.truths[f"foil.{side}"]
        assert abs(found["value"] - true) < 3.5 * found["standard_uncertainty"] + 0.005 * true


@pytest.mark.long
def test_quiet_takes_tell_hum_alone(capsys, tmp_path):
    book = tmp_path / "book"
    for index, name in enumerate(("still-1", "still-2", "done-1", "done-2")):
        file = driven.save(tmp_path, name, driven.quiet(index))
        assert run(capsys, "import", name, file, "--method", "quiet", "--logbook", book)[0] == 0
    sides = ("--before", "still-1", "still-2", "--after", "done-1", "done-2")
    code, document, _ = run_json(capsys, "compare", *sides, "--logbook", book)
    assert code == 0
    assert document["hum"]["verdict"] == "not resolved"
    assert names_of(document, "noise") == ["still-1", "still-2", "done-1", "done-2"]
