"""One fit: made once, read by all that rest on it, made again when anything that it rests on has changed."""

import json
import os
import shutil
import subprocess
import sys

import numpy as np
import pytest

from fit.answers.encoding import encode_answer
from fit.answers.figures import Contribution
from fit.desk.book import derived
from fit.desk.book.desk import Desk
from fit.desk.book.fits import RESULT_FILE, FitWish, RejectedError, fit_of, last_wish, takes_of
from fit.desk.command.main import main
from measure.errors import FileError
from measure.logbook.derived import keep_derived
from measure.logbook.drifts import CheckedCoil, DriftRecord, keep_checked
from measure.logbook.store import open_logbook, write_result
from measure.response import Finding
from measure.source.files import write_recording
from tests.desk_bench import RIG, record, run
from tests.kept_takes import keep, new_book
from tests.recorded import RECORDINGS
from tests.recorded_guitars import WIRING
from tests.same import assert_same
from tests.spies import spy_on

GUITAR = ("tone-up", "tone-up-plus-1n", "tone-down")
DCR = ("--dcr", "6k ± 1%")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A coil, measured twice with and without 1 nF."""

    folder = tmp_path_factory.mktemp("bench")
    at = ["--logbook", str(folder)]
    assert main(["rig", *RIG, *at]) == 0
    assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "1.5", *at]) == 0
    for name, added_f, words in (
        ("open", 0.0, []),
        ("plus", 1e-9, ["--add", "1n ± 1%"]),
        ("open-2", 0.0, ["--coil-moved"]),
        ("plus-2", 1e-9, ["--add", "1n ± 1%"]),
    ):
        file = record(folder, name, added_f=added_f, seed=len(name))
        assert main(["import", name, str(file), "--stimulus", str(folder / "sweep.wav"), *words, *at]) == 0
    shutil.rmtree(folder / "derived", ignore_errors=True)
    return folder


@pytest.fixture
def book(bench, tmp_path, monkeypatch):
    """The same, with nothing derived yet; files are exported beside it."""
    folder = tmp_path / "book"
    shutil.copytree(bench, folder)
    monkeypatch.chdir(tmp_path)
    return folder


@pytest.fixture
def spy(monkeypatch):
    return spy_on(monkeypatch)


def fit(capsys, book, *more):
    code, out, err = run(capsys, "fit", "open", "plus", *(more or DCR), "--logbook", book)
    assert code == 0, err
    return out


def kept_file(book, kind="fit"):
    return next((book / "derived").glob(f"{kind}-*"))


@pytest.mark.long
def test_readers_after_a_fit_fit_and_transform_nothing(book, capsys, spy):
    fit(capsys, book)
    assert spy.look() == (1, 2)
    for words in (
        ("fit", "open", "plus", *DCR, "--plot", "fit.png", "--replace"),
        ("fit", "plus", "open", *DCR),  # the same takes
        ("report", "page.html"),
        ("export", "open", "plus", "--to", "csv"),
        ("export", "open", "plus", "--to", "touchstone"),
        ("export", "open", "plus", "--to", "spice", *DCR),
        ("export", "open", "plus", "--to", "ir"),
    ):
        code, _, err = run(capsys, *words, "--logbook", book)
        assert (code, spy.look()) == (0, (0, 0)), (words, err)


@pytest.mark.long
def test_export_asks_for_the_last_fit_whatever_parts_were_at_hand(book, capsys, spy):
    fit(capsys, book, *DCR, "--have", "470p ± 1%")
    spy.look()
    assert run(capsys, "export", "open", "plus", "--to", "spice", "--logbook", book)[0] == 0
    assert spy.look() == (0, 0)


@pytest.mark.long
def test_readers_after_a_fit_of_a_guitar_fit_and_transform_nothing(tmp_path, capsys, spy):
    at = ("--logbook", tmp_path)
    rig = ("--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--reference", "current")
    assert run(capsys, "rig", *rig, *at)[0] == 0
    (tmp_path / "instrument.toml").write_text(WIRING.format(volume="500k", tone="500k", capacitor="33n"), encoding="utf-8")
    for name in GUITAR:
        words = ["--set", "volume=10", "--set", f"tone={0 if name == 'tone-down' else 10}"]
        words += ["--add", "1n ± 1%"] if name.endswith("1n") else []
        assert run(capsys, "import", name, RECORDINGS / "tone-capacitor" / f"{name}.flac", *words, *at)[0] == 0
    write_recording(tmp_path / "in.wav", np.random.default_rng(1).normal(0, 0.1, (48000, 1)), rate_hz=48000)
    spy.look()
    assert run(capsys, "fit", *GUITAR, *at)[0] == 0
    assert spy.look() == (1, 0)  # the checks of `import` have come to the responses
    for words in (
        ("confirm", "capacitor.tone", *GUITAR),
        ("confirm", "pot.tone", *GUITAR, "--marked", "500k ± 20%"),
        ("predict", "--set", "tone=3"),
        ("listen", tmp_path / "in.wav", tmp_path / "out.wav", "--set", "tone=3"),
        ("export", *GUITAR, "--to", "touchstone", "--out", tmp_path / "out.s1p"),
        ("export", "--to", "spice", "--out", tmp_path / "out.cir"),
        ("report", tmp_path / "page.html"),
    ):
        code, _, err = run(capsys, *words, *at)
        assert (code, spy.look()) == (0, (0, 0)), (words, err)


def restate(book, name, **stated):
    path = book / "takes" / name / "take.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | stated), encoding="utf-8")


def rig(*words):
    return lambda book, capsys, _: run(capsys, "rig", *words, "--logbook", book)


def take(name="plus", **stated):
    return lambda book, _, __: restate(book, name, **stated)


def instrument(book, _, __):
    path = book / "instrument.toml"
    path.write_text('output = "tip"\n[pickup.bridge]\nends = ["tip", "ground"]\n', encoding="utf-8")


def version(_, __, monkeypatch):
    monkeypatch.setattr(derived, "VERSION", "0.2.0")


CHANGES = {
    "input capacitance": (rig("--input-capacitance", "185p ± 2p"), DCR, 0),
    "added part": (take(added="1n ± 2%"), DCR, 0),
    "what the coil stood over": (take(coil_over="bridge"), DCR, 0),
    "temperature": (take("open", temperature_c=21.0), DCR, 0),
    "coil moved": (take(coil_moved=True), DCR, 0),
    "when it was made": (take(time_utc="2031-01-01T00:00:00.000Z"), DCR, 1),
    "dcr": (lambda *_: None, ("--dcr", "6k ± 0.5%"), 0),
    "no dcr": (lambda *_: None, ("--plot", "fit.png", "--replace"), 0),
    "part at hand": (lambda *_: None, (*DCR, "--have", "470p ± 1%"), 0),
    "instrument": (instrument, DCR, 0),
    "program version": (version, DCR, 2),
}


@pytest.mark.long
@pytest.mark.parametrize("change", CHANGES)
def test_a_change_is_one_fit_more(book, capsys, spy, monkeypatch, change):
    do, words, n_transforms = CHANGES[change]
    fit(capsys, book)
    spy.look()
    do(book, capsys, monkeypatch)
    fit(capsys, book, *words)
    assert spy.look() == (1, n_transforms)
    fit(capsys, book, *words)
    assert spy.look() == (0, 0)


@pytest.mark.long
def test_what_a_fit_does_not_rest_on_changes_nothing(book, capsys, spy):
    said = fit(capsys, book)
    spy.look()
    restate(book, "open", note="another note")
    shutil.rmtree(book / "takes" / "open-2")
    with (book / "rig.toml").open("a", encoding="utf-8") as file:
        file.write("# a comment\n")
    assert fit(capsys, book) == said
    assert spy.look() == (0, 0)


@pytest.mark.long
def test_kept_fit_says_the_same_to_the_letter(book, capsys, spy):
    words = ("fit", "open", "plus", *DCR, "--have", "470p ± 1%", "--logbook", book)
    made = [run(capsys, *words), (book / "results" / "fit.json").read_bytes(), run(capsys, *words, "--json")]
    assert spy.look() == (1, 2)
    read = [run(capsys, *words), (book / "results" / "fit.json").read_bytes(), run(capsys, *words, "--json")]
    shutil.rmtree(book / "derived")
    again = [run(capsys, *words), (book / "results" / "fit.json").read_bytes(), run(capsys, *words, "--json")]
    assert spy.look() == (1, 2)
    assert [each[1] for each in (made[0], made[2])] == [each[1] for each in (read[0], read[2])]
    assert [each[1] for each in (made[0], made[2])] == [each[1] for each in (again[0], again[2])]
    assert made[1] == read[1] == again[1]


@pytest.mark.long
def test_kept_fit_is_equal_to_the_one_just_made(book):
    desk, wish = Desk(logbook=book, say=print, tell=print, steps=lambda items, _: items), FitWish(names=("open", "plus"))
    logbook = open_logbook(book)
    assert_same(fit_of(desk, logbook, wish), fit_of(desk, logbook, wish))


@pytest.mark.long
@pytest.mark.parametrize("kind", ["fit", "response"])
@pytest.mark.parametrize("harm", ["emptied", "cut short", "one bit", "of another form", "a folder"])
def test_damaged_is_made_again(book, capsys, spy, kind, harm):
    said = fit(capsys, book)
    spy.look()
    path = kept_file(book, kind)
    content = path.read_bytes()
    if harm == "a folder":
        path.unlink()
        path.mkdir()
    elif harm == "of another form":
        part = Contribution(source="noise", contribution=1.0)
        keep_derived(open_logbook(book), kind, path.name.removeprefix(f"{kind}-"), encode_answer(part))
    else:
        path.write_bytes({"emptied": b"", "cut short": content[:-1], "one bit": content[:-1] + bytes([content[-1] ^ 1])}[harm])
    if kind == "response":
        kept_file(book).unlink()
    assert fit(capsys, book) == said
    assert spy.look() == (1, 1 if kind == "response" else 0)


@pytest.mark.long
def test_recording_that_changed_is_refused_though_its_fit_is_kept(book, capsys):
    fit(capsys, book)
    with next((book / "takes" / "open").glob("recording*")).open("ab") as file:
        file.write(b"\0")
    code, _, err = run(capsys, "fit", "open", "plus", *DCR, "--logbook", book)
    assert code == 2
    assert "has changed since the take was made" in err


@pytest.mark.long
def test_a_coil_that_drifted_since_is_told_with_a_kept_fit(book, capsys, spy):
    fit(capsys, book)
    spy.look()
    drift = DriftRecord(
        centre=2.6, size=0.1, unit="H", since_take="coil-9", since_utc="2020-01-01T00:00:00Z", good_until_utc="", is_lasting=True
    )
    judged = CheckedCoil(judged_utc="2020-01-01T00:00:00Z", n_measurements=9, drifts={"inductance": drift})
    keep_checked(open_logbook(book), "coil", judged)
    assert "coil" in fit(capsys, book).partition("Warnings")[2]
    assert spy.look() == (0, 0)


@pytest.mark.long
def test_sets_share_the_kept_fits(book, capsys, spy):
    fit(capsys, book)
    spy.look()
    words = ("repeat", "open", "plus", "open-2", "plus-2", *DCR, "--logbook", book)
    assert run(capsys, *words)[0] == 0
    assert spy.look() == (1, 2)
    said = run(capsys, *words)[1]
    assert spy.look() == (0, 0)
    assert run(capsys, *words)[1] == said


@pytest.mark.long
def test_comparison_is_made_once(book, capsys, spy):
    words = ("compare", "--before", "open", "plus", "--after", "open-2", "plus-2", *DCR, "--logbook", book)
    made, document = run(capsys, *words)[1], run(capsys, *words, "--json")[1]
    assert spy.look() == (1, 4)
    shutil.rmtree(book / "derived")
    again = run(capsys, *words, "--json")[1]
    assert spy.look() == (1, 4)
    assert (run(capsys, *words)[1], run(capsys, *words, "--json")[1], again) == (made, document, document)
    turned = ("compare", "--before", "open-2", "plus-2", "--after", "open", "plus", *DCR, "--logbook", book)
    assert run(capsys, *turned)[0] == 0
    assert spy.look() == (1, 0)


@pytest.mark.long
def test_a_kept_fit_loads_no_optimiser(book, capsys):
    fit(capsys, book)
    code = (
        "import sys; from fit.desk.command.main import main\n"
        f"assert main(['fit', 'open', 'plus', *{DCR!r}, '--logbook', {str(book)!r}]) == 0\n"
        "loaded = [name for name in sys.modules if name.partition('.')[0] in ('lmfit', 'scipy', 'soundfile', 'matplotlib')]\n"
        "assert not loaded, loaded[:5]\n"
        "assert 'fit.estimate.ladder' not in sys.modules\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stderr
    assert "Inductance" in done.stdout


@pytest.fixture
def three(tmp_path):
    logbook = new_book(tmp_path)
    for name in ("first", "second", "third"):
        keep(logbook, name)
    return logbook


def test_takes_come_in_the_order_they_were_made(three):
    assert [take.name for take in takes_of(three, ("third", "first"))] == ["first", "third"]


def test_a_take_counts_once(three):
    with pytest.raises(ValueError, match='the take "first" is named twice'):
        takes_of(three, ("first", "second", "first"))


def test_what_may_not_be_fitted_is_refused(three):
    keep(three, "loud", outcome="rejected", findings=(Finding(code="clipped", severity="reject", text="too loud"),))
    with pytest.raises(RejectedError, match="too loud"):
        takes_of(three, ("first", "loud"))
    keep(three, "still", method="quiet")
    with pytest.raises(FileError, match="nothing was played"):
        takes_of(three, ("still",))


def test_the_last_wish_is_read_as_it_was_typed(tmp_path):
    logbook = open_logbook(tmp_path)
    wish = {"names": ["a", "b"], "dcr": "6k ± 1%", "at_hand": "1n"}
    write_result(logbook, RESULT_FILE, json.dumps({"wish": wish, "more": 1}).encode())
    assert last_wish(logbook, is_needed=True) == FitWish(names=("a", "b"), dcr="6k ± 1%", at_hand="1n")


def test_without_a_fit_there_is_no_wish(tmp_path):
    logbook = open_logbook(tmp_path)
    assert last_wish(logbook, is_needed=False) == FitWish(names=())
    with pytest.raises(FileError, match=r"run `coilsweep fit NAME\.\.\.` first"):
        last_wish(logbook, is_needed=True)


@pytest.mark.parametrize(
    "content",
    ["", "{", "[]", "{}", '{"wish": {"dcr": "6k"}}', '{"wish": {"names": "open", "dcr": 6000}}', '{"wish": ' + "[" * 200_000],
    ids=["empty", "cut", "list", "nothing", "no names", "no text", "nested"],
)
@pytest.mark.parametrize("is_needed", [False, True])
def test_a_damaged_file_is_named(tmp_path, content, is_needed):
    logbook = open_logbook(tmp_path)
    write_result(logbook, RESULT_FILE, content.encode())
    with pytest.raises(FileError, match=r"fit\.json is damaged: run `coilsweep fit"):
        last_wish(logbook, is_needed=is_needed)
