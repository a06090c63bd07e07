"""The guide by scripted answers: all four jobs on the virtual bench, leaving and going on, going back, wrong and bad answers."""

import io
import json
import re
import shutil
from dataclasses import replace

import pytest

from fit.desk.bench.demo import Drawer
from fit.desk.bench.intake import KeptTake
from fit.desk.bench.take import make_take
from fit.desk.bench.virtual import JOB_F, TONE_CAPACITOR_F
from fit.desk.book.desk import Desk, Outcome
from fit.desk.command.main import main
from fit.desk.guide.bench import virtual_bench
from fit.desk.guide.console import file_name, read_memory, run_guide
from fit.desk.guide.scene import Bench, Offer, read_parts, read_quantity
from fit.desk.show.document.pieces import plain
from measure.checks.judgement import Judgement
from measure.errors import FileError, ServerDiedError
from measure.logbook.store import list_takes, open_logbook
from measure.response import Finding
from measure.source.virtual import Noise, VirtualBench
from tests.desk_bench import flat, run
from tests.documents import typed
from tests.pages import read_page
from tests.spies import spy_on
from tests.two_pickups import guitar


class Script:
    """Answers questions by how they begin, each key's texts in turn, then with Enter; keeps what was shown."""

    def __init__(self, **answers):
        self.shown = []
        self.answers = {key: list(texts) for key, texts in answers.items()}
        self.n_asked = 0

    def read_line(self, prompt):
        self.n_asked += 1
        assert self.n_asked < 150, "\n".join(self.shown[-60:])
        self.shown.append(prompt)
        for key, texts in self.answers.items():
            if prompt.startswith(key) and texts:
                return texts.pop(0)
        return ""

    @property
    def text(self):
        return " ".join(" ".join(self.shown).split())


def desk_of(folder, script):
    return Desk(logbook=folder, say=script.shown.append, tell=script.shown.append, steps=lambda items, label: items)  # noqa: ARG005


def guided(folder, job, script, *, bench=None, virtual=True):
    desk = desk_of(folder, script)
    outcome = run_guide(desk, job, virtual=virtual, bench=bench or virtual_bench(desk, job), read_line=script.read_line)
    typed(told := plain(outcome.document))
    return told


def answers(**by_word):
    """Words of the keyword arguments to the beginnings of the questions."""
    begins = {
        "ready": "Ready?",
        "layout": "Which wiring",
        "level": "How loud",
        "more": "Make that take",
        "now": "What now",
        "capacitor": "What is printed on the tone capacitor",
        "input_capacitance": "Capacitance of input",
        "input_resistance": "Resistance of the pickup",
        "dcr": "Winding resistance",
        "part": "Which part is in doubt",
        "pickups": "Its pickups",
        "positions": "The switch's positions",
        "rate": "Sample rate",
        "cautions": "Read that?",
        "done": "Is the job done",
        "anew": "Begin anew",
    }
    return {begins[word]: texts for word, texts in by_word.items()}


@pytest.fixture(scope="module")
def pickup(tmp_path_factory):
    """A whole session, wrong answers, a question mark and steps back in it."""
    folder = tmp_path_factory.mktemp("guide") / "new"
    script = Script(
        **answers(
            cautions=["what?", ""],
            input_resistance=["1M", "?", "ten ± 1%", "b"],
            input_capacitance=["190p ± 3p", "186p ± 3p"],
            dcr=["b"],
            level=["0", "much", "0.1"],
            ready=["no", ""],
        )
    )
    with pytest.MonkeyPatch.context() as patch:
        spy = spy_on(patch)
        document = guided(folder, "pickup", script)
    assert spy.fits == 1  # the plan, the answer and the report rest on one
    return folder, script, document


def test_pickup_is_found_from_nothing_set_up(pickup):
    folder, script, document = pickup
    assert (document["finished"], document["report"]) == (True, str(folder / "report.html"))
    answer, drawer = document["answer"], Drawer()
    assert (answer["takes"], answer["simulated"], answer["outcome"]) == (["open", "plus-added"], True, "good")
    truths = {
        "inductance": (drawer.inductance_h, 0.01 * drawer.inductance_h),
        "winding_capacitance": (drawer.capacitance_f, 5e-12),
        "dc_resistance": (drawer.resistance_ohm, 0.01 * drawer.resistance_ohm),
    }
    for name, (truth, within) in truths.items():
        found = answer["quantities"][name]
        assert found["value"] == pytest.approx(truth, abs=within)
        assert abs(found["value"] - truth) < 3 * found["standard_uncertainty"]
    assert (folder / "report.html").stat().st_size > 100_000
    assert all(take.simulated for take in list_takes(open_logbook(folder)).takes)
    assert "simulated: these recordings came from the virtual bench" in script.text


def test_cautions_are_shown_once(pickup):
    script = pickup[1]
    assert script.text.count("Valve amplifiers hold lethal voltage") == 1
    assert script.text.index("lethal voltage") < script.text.index("Ready?")


def test_wrong_answers_are_asked_again_with_the_reason(pickup):
    text = pickup[1].text
    for reason in (
        "Not so: how exact is it? Add ± and the bound",
        'Not so: "ten',
        'Not so: "0" is not a share of full scale, expected 0.001 to 1',
        'Not so: "much" is not a share of full scale',
        'Not so: "no" was not expected',
    ):
        assert reason in text
    assert "It stands in the interface's data sheet" in text  # what ? explains


def test_temperatures_and_loss_angles_are_kept_as_they_were_typed():
    assert read_quantity("Ω")("7.9k ± 1% at 24C") == "7.9k ± 1% at 24C"
    assert read_parts(may_be_none=False)("1n ± 1% tan 0.1%") == "1n ± 1% tan 0.1%"
    with pytest.raises(ValueError, match=r'for example "1n ± 1% tan 0\.1%"; \+- will do'):
        read_parts(may_be_none=False)("1n tan 0.1%")
    with pytest.raises(ValueError, match="at is the temperature of a resistance, -40 to 120"):
        read_quantity("Ω")("7.9k ± 1% at 240C")


def test_back_asks_again_and_the_last_answer_counts(pickup):
    folder, script, _ = pickup
    assert 'capacitance = "186p ± 3p"' in (folder / "rig.toml").read_text(encoding="utf-8")
    assert script.text.count("The sense resistor?") == 2  # b at the question after it
    again = [line for line in script.shown if line.startswith("Capacitance of input")]
    assert [re.search(r"\[(.*)\]", line)[1] for line in again] == ["185p ± 3p", "190p ± 3p"]


def test_finished_guide_is_not_run_twice_unasked(pickup):
    folder = pickup[0]
    script = Script()
    assert guided(folder, "pickup", script)["finished"] is False
    assert script.n_asked == 1
    assert len(list_takes(open_logbook(folder)).takes) == 2
    with pytest.raises(FileError, match="begun on the virtual bench: go on with --virtual"):
        guided(folder, "pickup", Script(), virtual=False)


@pytest.mark.slow
def test_capacitor_by_the_take_that_tells_it(tmp_path, monkeypatch):
    script = Script(**answers(capacitor=["223", "223K", "33n ± 10%"]))
    spy = spy_on(monkeypatch)
    document = guided(tmp_path, "capacitor", script)
    assert spy.fits == 2  # before the further take, and with it
    answer = document["answer"]
    assert [take.conditions.controls["tone"] for take in list_takes(open_logbook(tmp_path)).takes] == ["10", "10", "0"]
    assert (
        "What would help most one more take with the controls set to tone=0, the coil left where it is Tone capacitor: a pot"
        in script.text
    )
    assert answer["verdict"] == "outside marking"
    assert answer["measured"]["value"] == pytest.approx(TONE_CAPACITOR_F, rel=0.01)
    assert abs(answer["measured"]["value"] - TONE_CAPACITOR_F) < 3 * answer["measured"]["standard_uncertainty"]
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "Is it what is printed on it? (simulated)"
    expected = ["What was asked", "The answer", "Measured and marked", "Takes"]
    assert [heading for heading in page.headings if heading in expected] == expected
    assert "OUTSIDE MARKING" in page.said
    assert "Known part clipped across the jack" in page.said
    assert 'marked = "33n ± 10%"' in (tmp_path / "instrument.toml").read_text(encoding="utf-8")
    # the fit is kept, so that other commands go on from here
    assert main(["predict", "--set", "tone=3", "--logbook", str(tmp_path)]) == 0


@pytest.mark.slow
def test_compare_makes_a_further_take_on_both_sides(tmp_path):
    document = guided(tmp_path, "compare", Script(**answers(more=["yes"])))
    takes = [(take.name, take.conditions.controls["tone"]) for take in list_takes(open_logbook(tmp_path)).takes]
    assert takes[3:4] + takes[-1:] == [("volume-5", "10"), ("volume-5-after", "10")]
    parts = document["answer"]["quantities"]
    for name in ("pot.volume", "pot.tone"):
        assert parts[name]["verdict"] == "not resolved"  # the job leaves them as they are
        assert parts[name]["before"]["standard_uncertainty"] < 0.05 * parts[name]["before"]["value"]
    assert parts["winding_capacitance"]["verdict"] == "changed"


@pytest.mark.slow
def test_compare_finds_what_the_job_changed(tmp_path):
    """Left while the job is done, and gone on with."""
    script = Script(**answers(layout=["none"], done=["q"]))
    assert guided(tmp_path, "compare", script)["finished"] is False
    assert len(list_takes(open_logbook(tmp_path)).takes) == 3
    script = Script()
    document = guided(tmp_path, "compare", script)
    assert "takes so far: quiet-before, open-before, plus-added-before" in script.text
    changed = document["answer"]["quantities"]["winding_capacitance"]
    assert changed["verdict"] == "changed"
    assert changed["change"]["value"] == pytest.approx(JOB_F, abs=3 * changed["change"]["standard_uncertainty"])
    assert document["answer"]["quantities"]["inductance"]["verdict"] == "not resolved"
    assert document["answer"]["hum"]["change"]["value"] == pytest.approx(-14.0, abs=1.5)  # 20·lg(0.2)
    assert "What the job changed (simulated)" in (tmp_path / "answer.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_wiring_finds_the_exchanged_leads(tmp_path):
    script = Script(**answers(layout=["two-pickups-tone-after"]))
    document = guided(tmp_path, "wiring", script)
    takes = list_takes(open_logbook(tmp_path)).takes
    assert [(take.conditions.coil_over, take.conditions.controls["selector"]) for take in takes] == [
        (pickup, position) for pickup in ("bridge", "neck") for position in ("bridge", "both", "neck")
    ]
    assert [take.conditions.coil_moved for take in takes] == [True, False, False] * 2
    assert "bridge parallel to neck, out of phase" in script.text
    assert "DIFFERS from instrument.toml" in script.text
    assert document["report"] == str(tmp_path / "answer.html")
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "What the switch connects (simulated)"
    assert "Wiring of the guitar two-pickups-tone-after" in page.said


def settled(folder, key, job="pickup"):
    """Latest answer in the file of a session."""
    entries = json.loads((folder / "results" / file_name(job)).read_text(encoding="utf-8"))["entries"]
    return next((entry["answer"] for entry in reversed(entries) if entry["key"] == key), None)


@pytest.mark.parametrize("n_questions", [4, 12])
def test_left_anywhere_and_resumed_asks_nothing_twice(tmp_path, n_questions):
    """Up to the sweep of the second take, whose bench is interrupted."""

    def until_second_take(folder, script, *, n_most=1000):
        bench = bench_with(desk_of(folder, script), outcomes=[None, KeyboardInterrupt()])

        def read_line(prompt):
            return None if script.n_asked == n_most else script.read_line(prompt)

        return run_guide(desk_of(folder, script), "pickup", virtual=True, bench=bench, read_line=read_line)

    whole, part, rest = Script(), Script(), Script()
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        until_second_take(tmp_path / "whole", whole)
    assert until_second_take(tmp_path / "part", part, n_most=n_questions).document.finished is False
    assert "Left; nothing is lost. To go on: coilsweep guide pickup --virtual, with the same logbook." in part.text
    is_first_taken = part.text.count("Ready?") > 0
    left = [KeyboardInterrupt()] if is_first_taken else [None, KeyboardInterrupt()]
    bench = bench_with(desk_of(tmp_path / "part", rest), outcomes=left)
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        guided(tmp_path / "part", "pickup", rest, bench=bench)
    assert part.n_asked + rest.n_asked == whole.n_asked
    assert (tmp_path / "part/rig.toml").read_bytes() == (tmp_path / "whole/rig.toml").read_bytes()
    assert settled(tmp_path / "part", "take.open") == settled(tmp_path / "whole", "take.open") == "open"


def test_take_that_was_deleted_is_made_again(tmp_path):
    guided(tmp_path, "pickup", Script(**answers(ready=["", "q"])))
    shutil.rmtree(tmp_path / "takes" / "open")
    script = Script(**answers(ready=["", "q"]))
    guided(tmp_path, "pickup", script)
    assert "no take was made yet" in script.text
    assert script.text.index("First take") < script.text.index("Second take")


def test_going_back_over_a_take_makes_it_anew_and_keeps_the_old_one(tmp_path):
    script = Script(**answers(ready=["", "b", "", "q"]))
    guided(tmp_path, "pickup", script)
    assert 'The take "open" stays in the logbook, but is not used.' in script.text
    assert [take.name for take in list_takes(open_logbook(tmp_path)).takes] == ["open", "open-2"]
    assert settled(tmp_path, "take.open") == "open-2"


def test_take_that_would_clip_is_offered_softer(tmp_path):
    script = Script(**answers(level=["0.4"], ready=["", "", "q"]))
    guided(tmp_path, "pickup", script)
    assert "the pickup would clip" in script.text
    assert "What now: again, softer, louder? [softer]" in script.text
    assert [take.stimulus.level for take in list_takes(open_logbook(tmp_path)).takes] == [0.2]


def bench_with(desk, *, outcomes):
    """The virtual bench, where it is given what it says of its first takes: None as it is, an exception is raised."""
    real, waiting = virtual_bench(desk, "pickup"), list(outcomes)

    def take(order):
        said = waiting.pop(0) if waiting else None
        if isinstance(said, BaseException):
            raise said
        made = real.take(order)
        return made if said is None else said

    return Bench(take=take, offers=None, defaults=real.defaults)


def bad(severity, *codes):
    findings = tuple(Finding(code=code, severity=severity, text=code) for code in codes)
    reply = Outcome(lines=(f"{severity}: {', '.join(codes)}",), document=None)
    return KeptTake(take=None, judgement=Judgement(findings=findings), reply=reply)


@pytest.mark.parametrize(
    ("said", "choices", "default"),
    [
        (bad("reject", "dropouts"), "again, softer, louder", "again"),
        (bad("reject", "clipped"), "again, softer, louder", "softer"),
        (bad("reject", "silent"), "again, softer, louder", "louder"),
        (bad("warn", "noisy-response"), "keep, again, softer, louder", "keep"),
    ],
)
def test_bad_take_is_offered_for_repeat(tmp_path, said, choices, default):
    script = Script(**answers(now=["again"], ready=["", "", "q"]))
    guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[said]))
    assert f"What now: {choices}? [{default}]" in script.text
    assert "Second take" not in script.text.partition("What now")[2].partition("Ready?")[0]
    assert settled(tmp_path, "take.open") == "open-2"  # the first one is kept, and not used


def test_rejected_take_cannot_be_kept(tmp_path):
    script = Script(**answers(now=["keep", "q"]))
    guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[bad("reject", "dropouts")]))
    assert 'Not so: "keep" is not one of again, softer, louder' in script.text


def test_trouble_with_the_card_is_said_and_the_take_asked_for_again(tmp_path):
    script = Script(**answers(ready=["", "q"]))
    trouble = ServerDiedError("the sound server ended")
    guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[trouble]))
    assert "No take: the sound server ended" in script.text
    assert script.text.count("First take") == 2


def test_interrupted_sweep_is_not_played_unasked_on_going_on(tmp_path):
    script = Script()
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[KeyboardInterrupt()]))
    assert "To go on: coilsweep guide pickup --virtual" in script.text
    script = Script(**answers(ready=["q"]))
    guided(tmp_path, "pickup", script)
    assert script.n_asked == 1
    assert not (tmp_path / "takes").exists() or not list((tmp_path / "takes").iterdir())


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b'{"schema": "coilsweep.guide/2", "job": "pickup"}',
        b'{"schema": "coilsweep.guide/1", "job": "wiring"}',
        b'{"schema": "coilsweep.guide/1", "job": "pickup", "entries": [{"key": 1, "answer": ""}]}',
        b'{"schema": "coilsweep.guide/1", "job": "pickup", "more": 1}',
        json.dumps({"schema": "coilsweep.guide/1", "job": "pickup", "entries": [{"key": "a", "answer": "x" * 2000}]}).encode(),
        b"\xff\xfe",
    ],
)
def test_damaged_session_is_one_line(tmp_path, capsys, content):
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / file_name("pickup")).write_bytes(content)
    with pytest.raises(FileError, match=r"guide-pickup\.json"):
        read_memory(open_logbook(tmp_path), "pickup")
    code, _, err = run(capsys, "guide", "pickup", "--virtual", "--logbook", tmp_path)
    assert code == 2
    assert "delete it; takes and rig stay" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "nonsense",
    [
        {"part": "capacitor.none"},
        {"level": "loud"},
        {"layout": "../x"},
        {"over": "nobody"},
        {"added": "\x1b[31m"},
        {"report": "\x1b[31mhere"},
    ],
)
def test_hostile_session_gives_no_traceback(tmp_path, capsys, monkeypatch, nonsense):
    """An answer replaced by nonsense: asked again, or one line; control characters do not reach the screen."""
    guided(tmp_path, "capacitor", Script(**answers(layout=["two-pickups-tone-after"], ready=["q"])))
    path = tmp_path / "results" / file_name("capacitor")
    session = json.loads(path.read_text(encoding="utf-8"))
    session["entries"] += [{"key": key, "answer": answer} for key, answer in nonsense.items()]
    path.write_text(json.dumps(session), encoding="utf-8")
    (tmp_path / "instrument.toml").unlink(missing_ok=True)
    monkeypatch.setattr("builtins.input", iter(["", "q"]).__next__)
    code, out, err = run(capsys, "guide", "capacitor", "--virtual", "--logbook", tmp_path)
    assert code in (0, 2)
    assert "Traceback" not in err
    assert "\x1b" not in out + err


def test_rig_that_is_stated_is_not_asked_for(tmp_path, capsys):
    code, *_ = run(capsys, "rig", "--input-resistance", "1M ± 1%", "--sense-resistor", "68 ± 1%", "--logbook", tmp_path)
    assert code == 0
    script = Script(**answers(level=["q"]))
    guided(tmp_path, "pickup", script)
    assert "rig.toml states already: reference.sense_resistor 68 ± 1% input.resistance 1M ± 1%" in script.text
    assert "The sense resistor?" not in script.text
    assert "Capacitance of input" in script.text


def test_guide_to_a_pickup_leaves_a_guitar_alone(tmp_path, capsys):
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    code, _, err = run(capsys, "guide", "pickup", "--virtual", "--logbook", tmp_path)
    assert code == 2
    assert "states a guitar around the pickup" in err


def test_json_keeps_stdout_for_the_document(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("builtins.input", iter([*[""] * 11, "q"]).__next__)
    code, out, err = run(capsys, "guide", "pickup", "--virtual", "--json", "--logbook", tmp_path)
    assert code == 0
    document = json.loads(out)
    assert (document["job"], document["finished"], document["report"]) == ("pickup", False, None)
    assert "Ready? Enter plays [yes]" in err


def test_answers_from_a_pipe_are_shown(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\nq\n"))
    code, out, _ = run(capsys, "guide", "wiring", "--virtual", "--logbook", tmp_path)
    assert code == 0
    assert "counted from 1? [1] q\nLeft; nothing is lost." in out


def test_end_of_input_leaves(tmp_path, capsys, monkeypatch):
    def nobody():
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    code, out, _ = run(capsys, "guide", "wiring", "--virtual", "--logbook", tmp_path)
    assert code == 0
    assert "Left; nothing is lost." in out


def test_interrupted_at_a_question(tmp_path, capsys, monkeypatch):
    def interrupt():
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", interrupt)
    code, _, err = run(capsys, "guide", "compare", "--virtual", "--logbook", tmp_path)
    assert code == 130
    assert "To go on: coilsweep guide compare --virtual" in err


OFFERS = (
    Offer(device="other", host_api="ALSA", rates_hz=(44100,)),
    Offer(device="bench", host_api="JACK", rates_hz=(48000, 96000, 192000), is_default=True),
)


def card_of_two_pickups(desk, *, silent=()):
    """A bench with interfaces to choose from; what hangs on it is the independent guitar of the tests of `wiring`."""

    def take(order):
        over, position = order.conditions.coil_over, order.conditions.controls["selector"]
        is_silent = (over, position) in silent
        source = VirtualBench(
            pickup=(lambda f: 0 * f) if is_silent else guitar(over, position),
            reference=flat,
            noise=Noise(pickup_white=2e-5, reference_white=1e-5),
            seed=len(list_takes(open_logbook(desk.logbook)).takes),
        )
        return make_take(desk, replace(order, duration_s=1.0), source=source)

    return Bench(take=take, offers=lambda: OFFERS, defaults={})


def test_wiring_of_a_guitar_that_nobody_knows(tmp_path):
    """No instrument.toml: names from the person; a pickup that is not connected gives silence, which is an answer."""
    script = Script(**answers(layout=["none"], pickups=["bridge, bridge", "bridge, neck"], positions=["bridge, both, neck"]))
    bench = card_of_two_pickups(desk_of(tmp_path, script), silent={("neck", "bridge")})
    document = guided(tmp_path, "wiring", script, bench=bench, virtual=False)
    assert "expected 1 to 12 different names" in script.text
    assert "Nothing of the sweep reached the jack" in script.text
    assert "bridge parallel to neck, out of phase" in script.text
    told = {
        one["position"]: {name: each["sign"] for name, each in one["pickups"].items() if each["connected"]}
        for one in document["answer"]["positions"]
    }
    assert told == {
        "selector=bridge": {"bridge": 1},
        "selector=both": {"bridge": 1, "neck": -1},
        "selector=neck": {"neck": -1},
    }
    rig = (tmp_path / "rig.toml").read_text(encoding="utf-8")
    for line in ('device = "bench"', 'host_api = "JACK"', "rate_hz = 96000", "output_channel = 1", "reference_channel = 2"):
        assert line in rig


def test_interface_that_is_plugged_in_late_is_found(tmp_path):
    offers = [(), (), OFFERS]
    bench = Bench(
        take=lambda order: bad("reject", order.name),
        offers=lambda: offers.pop(0) if len(offers) > 1 else offers[0],
        defaults={},
    )
    script = Script(**answers(rate=["q"]))
    guided(tmp_path, "pickup", script, bench=bench, virtual=False)
    assert script.text.count("PortAudio finds no interface") == 2
    assert "1 bench (JACK) 2 other (ALSA)" in script.text
    assert "Sample rate in hertz? [96000]" in script.text


def test_inputs_that_are_a_device_of_their_own(tmp_path, capsys):
    """As some host APIs show an interface: what plays and what records apart."""
    apart = (
        Offer(device="Speakers (box)", host_api="MME", rates_hz=(44100, 48000), is_default=True, has_inputs=False),
        Offer(device="Elsewhere", host_api="ALSA", rates_hz=(48000,), has_outputs=False),
        Offer(device="Line (box)", host_api="MME", rates_hz=(48000, 192000), has_outputs=False),
    )
    bench = Bench(take=lambda order: bad("reject", order.name), offers=lambda: apart, defaults={})
    script = Script(**answers(input_capacitance=["q"]))
    guided(tmp_path, "pickup", script, bench=bench, virtual=False)
    assert "Interfaces 1 Line (box) (MME) Which device records? [1] Sample rate in hertz? [48000]" in script.text
    out = run(capsys, "rig", "--logbook", tmp_path)[1]
    assert re.search(r"interface\.input_device +Line \(box\)", out)


@pytest.mark.parametrize("is_edited", [False, True])
def test_instrument_that_was_edited_is_not_written_over(tmp_path, is_edited):
    """Back over what is printed on a part: the guide's own file is written anew, one that was edited stays."""
    path = tmp_path / "instrument.toml"
    guided(tmp_path, "capacitor", Script(**answers(part=["q"])))
    written = path.read_text(encoding="utf-8")
    assert 'marked = "22n ± 10%"' in written
    if is_edited:
        path.write_text(written.replace('taper = "audio"', 'taper = "linear"', 1), encoding="utf-8")
    script = Script(**answers(part=["b", "q"], capacitor=["33n ± 10%"]))
    guided(tmp_path, "capacitor", script)
    text = path.read_text(encoding="utf-8")
    assert ('marked = "33n ± 10%"' in text) is not is_edited
    assert ("linear" in text) is is_edited
    assert ("was changed in an editor since and stays as it is" in script.text) is is_edited
