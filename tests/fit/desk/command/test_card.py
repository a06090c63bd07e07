"""Commands that use the sound card as they are typed, without one."""

from types import SimpleNamespace

import pytest

from fit.desk.bench.take import Order
from fit.desk.show.words import SIMULATED_TEXT
from measure.logbook.conditions import Conditions
from tests.desk_bench import run, run_json
from tests.listed_cards import list_cards
from tests.typed import DONE, catch, refused, typed


@pytest.fixture
def made(monkeypatch):
    monkeypatch.setattr("fit.desk.book.next_step.with_next_step", lambda outcome, *_: outcome)
    monkeypatch.setattr("fit.desk.bench.level.card_of", lambda _: "card")
    monkeypatch.setattr("fit.desk.bench.preparation.virtual_source", lambda *_: "virtual bench")
    return catch(monkeypatch, "fit.desk.bench.take.make_take", SimpleNamespace(reply=DONE))


def test_devices_of_a_logbook(monkeypatch, capsys, tmp_path):
    shown = catch(monkeypatch, "fit.desk.bench.level.show_devices")
    typed(capsys, "devices", "--logbook", tmp_path)
    assert shown.args[0].logbook == tmp_path


@pytest.mark.parametrize(
    ("words", "options"),
    [([], {"duration_s": None, "level": 0.03}), (["--duration", "5", "--level", "0.1"], {"duration_s": 5, "level": 0.1})],
)
def test_level_is_quiet_and_lasts_until_enter_unless_it_is_said_otherwise(monkeypatch, capsys, words, options):
    watched = catch(monkeypatch, "fit.desk.bench.level.watch_level")
    typed(capsys, "level", *words)
    assert watched.options == {"seconds": options["duration_s"], "level": options["level"]}


def test_take_hands_on_what_is_true_and_how_it_is_made(capsys, tmp_path, made):
    stated = ("--add", "1n ± 1%", "--set", "tone=0", "--coil-over", "neck", "--coil-moved", "--temperature", "24C", "--note", "n",
              "--item", "red one", "--operator", "me")  # fmt: skip
    how = (
        "--repeats",
        "3",
        "--noise",
        "-60",
        "--level",
        "0.2",
        "--duration",
        "2",
        "--start",
        "20",
        "--stop",
        "18000",
        "--no-look",
    )
    typed(capsys, "take", "open", *stated, *how, "--logbook", tmp_path)
    desk, order = made.args
    assert desk.logbook == tmp_path
    assert order == Order(
        name="open",
        conditions=Conditions(
            added="1n ± 1%",
            controls={"tone": "0"},
            coil_over="neck",
            coil_moved=True,
            temperature_c=24.0,
            note="n",
            item="red one",
            operator="me",
        ),
        simulated=False,
        is_looked_at_first=False,
        repeats=3,
        noise_db=-60.0,
        level=0.2,
        duration_s=2.0,
        start_hz=20.0,
        stop_hz=18000.0,
    )
    assert made.options["source"] == "card"


def test_take_looks_first_plays_once_and_at_half_of_full_scale(capsys, tmp_path, made):
    typed(capsys, "take", "open", "--logbook", tmp_path)
    assert made.args[1] == Order(
        name="open", conditions=Conditions(), simulated=False, is_looked_at_first=True, repeats=1, level=0.5
    )


def test_take_on_the_virtual_bench_is_marked_as_simulated(capsys, tmp_path, made):
    typed(capsys, "take", "open", "--virtual", "--logbook", tmp_path)
    assert made.args[1].simulated
    assert made.options["source"] == "virtual bench"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["take"], "NAME"),
        (["take", "a", "--repeats", "17"], "17"),
        (["take", "a", "--level", "0"], "level"),
        (["take", "a", "--noise", "3"], "3"),
        (["take", "a", "--method", "hammer"], "hammer"),
        (["take", "a", "--set", "tone"], "CONTROL=VALUE"),
        (["take", "a", "--temperature", "300"], '"300" is not a temperature'),
        (["level", "--level", "0.3"], "0.3"),
        (["level", "--duration", "0.5"], "0.5"),
        (["devices", "more"], "more"),
    ],
)
def test_wrong_words_are_refused_before_anything_sounds(capsys, tmp_path, made, words, says):
    assert says in refused(capsys, *words, "--logbook", tmp_path)
    assert made.calls == []
    assert list(tmp_path.iterdir()) == []


CARD_COMMANDS = (
    ("level", "--duration", "1"),
    ("take", "open"),
    ("calibrate", "loopback", "--no-wait"),
    ("calibrate", "input", "--through", "1M ± 1%", "--no-wait"),
    ("calibrate", "exciter", "--no-wait"),
)


@pytest.mark.long
@pytest.mark.parametrize("words", CARD_COMMANDS, ids=lambda words: " ".join(words[:2]))
def test_a_card_that_is_not_there_is_exit_4_in_one_line_and_nothing_is_kept(capsys, tmp_path, words):
    assert run(capsys, "rig", "--device", "no such card", "--host-api", "nowhere", "--logbook", tmp_path)[0] == 0
    code, out, err = run(capsys, *words, "--logbook", tmp_path)
    assert (code, out) == (4, "")
    assert err.splitlines()[-1].startswith("coilsweep: ")
    assert "Traceback" not in err
    assert [file.name for file in tmp_path.rglob("*") if file.is_file() and file.name != ".lock"] == ["rig.toml"]


@pytest.mark.parametrize("words", [("rig", "--ask"), ("guide", "guitar"), ("guide", "pickup"), ("guide", "wiring")], ids=" ".join)
@pytest.mark.parametrize("typed", [["", "q"], []], ids=["left", "end of input"])
def test_questions_without_a_card_say_how_to_leave_and_how_to_rehearse(capsys, tmp_path, monkeypatch, words, typed):
    list_cards(monkeypatch)
    told = iter(["", *typed] if words[0] == "guide" else typed)

    def read():
        try:
            return next(told)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", read)
    code, out, err = run(capsys, *words, "--logbook", tmp_path)
    assert code == 4
    assert "Look again?" in out
    assert "q leaves" in out
    assert f"To rehearse without one: coilsweep {' '.join(words)} --virtual --logbook rehearsal" in out
    assert "Traceback" not in err


def test_a_rehearsal_of_level_lasts_as_long_as_is_asked(capsys, tmp_path, monkeypatch):
    slept_s = []
    monkeypatch.setattr("fit.desk.bench.level.time.sleep", slept_s.append)
    code, out, err = run(capsys, "level", "--virtual", "--duration", "3", "--logbook", tmp_path / "none")
    assert (code, slept_s) == (0, [1.0, 1.0, 1.0])
    assert err.count("exciter found") == 3
    assert out.count("exciter found") == 1


def test_level_is_rehearsed_without_a_card_and_says_so(capsys, tmp_path):
    code, document, err = run_json(capsys, "level", "--virtual", "--logbook", tmp_path / "none")
    assert (code, document["simulated"]) == (0, True)
    assert SIMULATED_TEXT in err
    assert document["inputs"]["pickup"]["tone_dbfs"] > -80
    assert {one["outcome"] for one in document["checks"]} == {"pass"}
    louder = run_json(capsys, "level", "--virtual", "--level", "0.06", "--logbook", tmp_path / "none")[1]
    assert louder["inputs"]["reference"]["tone_dbfs"] - document["inputs"]["reference"]["tone_dbfs"] == pytest.approx(
        6.02, abs=0.1
    )
    assert not (tmp_path / "none").exists()
