"""What is read first, of every answer: none of the words that only the details need, and nothing wider than a terminal."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import click
import pytest

from fit.answers.exciter.rating import analyse_exciter
from fit.answers.figures import Contribution, NextTake, NotIdentified
from fit.answers.listen.impulse import Side, design_change
from fit.answers.predict.prediction import predict_instrument
from fit.answers.wiring.arrangement import Joined
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import Position, WiringAnswer
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.command.console import said_lines
from fit.desk.command.main import OVERVIEW, coilsweep
from fit.desk.questions.confirm import judge_part
from fit.desk.questions.report import figures_of
from fit.desk.show.page import html
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.bench import sheet_of_devices, sheet_of_stimulus
from fit.desk.show.sheets.check import sheet_of_check
from fit.desk.show.sheets.compare import sheet_of_compare
from fit.desk.show.sheets.confirm import sheet_of_confirm
from fit.desk.show.sheets.drawing import connection_blocks
from fit.desk.show.sheets.exciter import Shown, sheet_of_exciter
from fit.desk.show.sheets.fit import sheet_of_fit
from fit.desk.show.sheets.inspect import sheet_of_inspect
from fit.desk.show.sheets.listen import Facts, Levels, Written, sheet_of_listen
from fit.desk.show.sheets.predict import Predicted, sheet_of_predict
from fit.desk.show.sheets.repeat import sheet_of_repeat
from fit.desk.show.sheets.report import sheet_of_report
from fit.desk.show.sheets.wiring import sheet_of_wiring
from fit.desk.show.terminal import details_lines, lines
from fit.desk.show.words import QUANTITY_NAMES, WIDTH, text_width
from measure.checks.judgement import Judgement
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Rig
from measure.logbook.take import RecordingFile, Take
from measure.quantity import parse_quantity
from measure.response import Finding
from measure.signal.stimulus import Sweep
from measure.source.devices import Device, DeviceList
from tests.answer_by_hand import answer, estimate
from tests.changes_by_hand import changed_foil, changed_noise, changed_parts
from tests.desk_bench import run
from tests.exciter_setups import SETUP
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.listed_cards import list_cards
from tests.sets_by_hand import checked, repeated

FORBIDDEN = re.compile(
    r"\bBIC\b|χ|chi.?squared?|model floor|smooth(ly)? differ|differ smoothly|eddy spread|\bplacements?\b|s_placement|\bEMFs?\b"
    r"|\bnodes?\b|\bstimul(us|i)\b|host.?APIs?|σ|\bsigmas?\b",
    re.IGNORECASE,
)
OPTIONS = re.compile(r"--(stimulus|host-api)\b|coilsweep stimulus")  # are typed, so they stay
LONG = "a long name of a take that somebody thought of at night"


def guitar():
    owners = ("neck", "middle", "bridge")
    quantities = {f"{owner}.{key}": one for owner in owners for key, one in answer().quantities.items()}
    losses = {f"{owner}.eddy_spread_1.{end}": estimate(0.4, 0.03, "1") for owner in owners for end in ("coupling", "corner")}
    parts = {"pot.volume": estimate(251e3, 2e3, "Ω"), "capacitor.tone": estimate(22.13e-9, 0.02e-9, "F")}
    untold = ("neck.eddy_loop_2.corner", "pot.tone", "bridge.inductance")
    following = NextTake(add="", text=f"one more take with the controls set to tone=0, {LONG}", predicted_relative_std=0.004)
    return replace(
        answer(),
        takes=("up", "up-1n", LONG),
        quantities=quantities | losses | parts,
        budget={key: (Contribution(source=f"model floor, {LONG}", contribution=one.value),) for key, one in quantities.items()},
        not_identified=tuple(NotIdentified(quantity=key, why=LONG * 2, next_take=following) for key in untold),
        findings=(*answer().findings, Finding(code="rests-on", severity="pass", text=f"nothing shows it if {LONG} were off")),
    )


def wiring():
    names = ("neck", "middle", "bridge")
    reading = Reading(take="t", is_connected=True, level=0.5, level_std=0.01, sign=-1)
    joined = Joined(kind="series", members=tuple(Joined(kind="one", name=name) for name in names))
    facts = {"controls": {}, "joined": joined, "possible": (), "halves": {}, "is_complete": True}
    positions = tuple(
        Position(label=f"selector={label}", readings=dict.fromkeys(names, reading), needs=(f"a take {LONG}",), **facts)
        for label in ("neck-and-middle-and-bridge", "bridge")
    )
    return WiringAnswer(pickups=names, positions=positions, leakage=0.03, unheard=(), unmeasured=(), left_out=())


def predictions():
    at = {"E4": 329.63, "A#3": 233.1, "2k": 2000.0}
    changes = {"capacitor.tone": parse_quantity("10n", "F")}
    plain, other = (
        predict_instrument(INSTRUMENT, {"volume": "7"}, load=LOAD, at_hz=at.values(), changes=one) for one in ({}, changes)
    )
    changed = Predicted(answer=other, changes=("capacitor.tone=10n",) * 6)
    yield sheet_of_predict(Predicted(answer=plain), None, name="mine", at=at)
    yield sheet_of_predict(changed, plain, name="mine", at=at)
    yield sheet_of_predict(changed, plain, (Predicted(answer=plain), changed), name="mine", at=at, notes=(LONG * 3,))


def change_to_hear():
    changes = {"capacitor.tone": parse_quantity("10n", "F")}
    sides = [Side(instrument=INSTRUMENT, controls={"tone": "3"}, load=LOAD, changes=each) for each in ({}, changes)]
    return sheet_of_listen(
        Facts(
            changed=("capacitor.tone=10n",),
            excite="",
            answer=design_change(*sides, rate_hz=48000),
            levels=Levels(n_frames=48000, n_channels=1, change=1.25, peak=0.5),
            written=(Written(path=Path("out.wav"), level="matched", gain=0.8, lowered=1.0),),
            measured=found_parts(),
            notes=(LONG * 3,),
        )
    )


def card():
    names = {"name": "An interface of six inputs, on the third bus", "host_api": "A long name of a sound system", "n_inputs": 2}
    rates = {"own_rate_hz": 48000, "rates_hz": (44100, 48000, 88200, 96000, 192000)}
    return Device(**names, **rates, n_outputs=2, is_default_input=True, is_default_output=True)


def take():
    recordings = (RecordingFile(file="1.wav"),)
    return Take(name="open", conditions=Conditions(), time_utc="2026-01-31T12:00:00.000Z", recordings=recordings, rate_hz=48000)


def sheets():
    drifted = [*(5900.0 + number % 3 for number in range(9)), 5800.0, 5801.0]
    marked = parse_quantity("20n ± 5%", "F")
    budget = (Contribution(source="model floor", contribution=2e-11), Contribution(source=LONG, contribution=1e-11))
    checks = Judgement(findings=tuple(Finding(code="low-level", severity=one, text=LONG * 2) for one in ("pass", "reject")))
    exciter = analyse_exciter(SETUP, bounds={"drive.level_v": 0.1}, at_hz=(100.0, 1e3))
    told = Shown(answer=exciter, wire="0.2 mm", typed="--former 20", is_design=True, unmet={}, assumed=(LONG,))
    yield "fit", sheet_of_fit(guitar(), warnings=(LONG * 3,))
    yield "misfit", sheet_of_fit(answer(outcome="misfit", floor=0.02), warnings=())
    judged = judge_part("capacitor.tone", marked, guitar())
    yield "confirm", sheet_of_confirm(judged, budget, takes=(LONG, "b"), simulated=True)
    yield "compare", sheet_of_compare(changed_parts(), changed_noise(), changed_foil(), simulated=True, warnings=(LONG * 3,))
    yield "wiring", sheet_of_wiring(wiring(), wiring(), differences={"bridge": (LONG * 3,)}, takes=(LONG, "b"), simulated=True)
    yield from ((f"predict-{number}", one) for number, one in enumerate(predictions()))
    yield "listen", change_to_hear()
    yield "exciter", sheet_of_exciter(told)
    yield "inspect", sheet_of_inspect(take(), checks)
    yield "repeat", sheet_of_repeat(repeated())
    yield "repeat-narrow", sheet_of_repeat(repeated(spread=50.0))
    yield "check", sheet_of_check(checked(drifted))
    yield "devices", sheet_of_devices(DeviceList(library="", explanation=LONG * 3, devices=(card(),)), Rig())
    yield "stimulus", sheet_of_stimulus(Path("sweep.wav"), Sweep(rate_hz=48000, stop_hz=22e3, duration_s=3.0), seconds=4.2)
    yield from ((name, Sheet("", connection_blocks(read_instrument(layout_text(name))))) for name in DESCRIPTIONS)


SHEETS = dict(sheets())
FAMILIES = {name: one for name, one in coilsweep.commands.items() if isinstance(one, click.Group)}
COMMANDS = dict(coilsweep.commands) | {
    f"{family} {name}": one for family, group in FAMILIES.items() for name, one in group.commands.items()
}


def forbidden(text):
    return [found[0] for found in FORBIDDEN.finditer(OPTIONS.sub("", text))]


@pytest.mark.parametrize("word", ["BIC", "reduced χ²", "chi-square", "model floor", "EMFs", "a node", "1 σ", "host API"])
def test_the_words_are_seen_where_they_stand(word):
    assert forbidden(f"it says {word} here")
    assert not forbidden("import open.wav --stimulus sweep.wav")


@pytest.mark.parametrize("name", SHEETS)
def test_the_first_level_needs_no_word_of_the_details(name):
    told = [*lines(SHEETS[name]), *details_lines(SHEETS[name])]
    assert {word: line for line in told for word in forbidden(line)} == {}


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("with_details", [False, True])
def test_a_terminal_of_80_columns_holds_it(name, with_details):
    told = [line for line in lines(SHEETS[name], with_details=with_details) if not line.lstrip().startswith("coilsweep ")]
    assert [line for line in told if text_width(line) > WIDTH] == []


def test_details_are_there_where_they_are_asked_for():
    first, everything = lines(SHEETS["fit"]), lines(SHEETS["fit"], with_details=True)
    assert "BIC above the best" in " ".join(everything)
    assert len(first) < len(everything)
    assert "More with --details: losses in pole pieces" in " ".join(details_lines(SHEETS["fit"]))
    assert details_lines(Sheet("", ())) == []


class Outside(HTMLParser):
    """Words of a page that stand outside of all that is folded."""

    def __init__(self):
        super().__init__()
        self.depth, self.said = 0, []

    def handle_starttag(self, tag, attrs):  # noqa: ARG002 — as the parser calls it
        self.depth += tag in ("details", "style")

    def handle_endtag(self, tag):
        self.depth -= tag in ("details", "style")

    def handle_data(self, data):
        if not self.depth:
            self.said.append(data)


def outside(page):
    reader = Outside()
    reader.feed(page)
    return " ".join(reader.said)


@pytest.mark.long
@pytest.mark.parametrize("found", [answer(), guitar(), answer(outcome="misfit", floor=0.02)], ids=["pickup", "guitar", "misfit"])
def test_the_report_says_it_outside_of_what_is_folded(found):
    page = html(sheet_of_report(found, takes=(take(),)), figures_of(answer()))
    assert "Measurement report" in outside(page)
    assert forbidden(outside(page)) == []
    assert "BIC" in page  # folded


@pytest.mark.parametrize("name", SHEETS)
def test_so_does_each_page(name):
    assert forbidden(outside(html(SHEETS[name]))) == []


@pytest.mark.parametrize("name", COMMANDS)
def test_helps_do_without_them(name):
    context = click.Context(COMMANDS[name], info_name=f"coilsweep {name}", terminal_width=80)
    text = COMMANDS[name].get_help(context)
    assert forbidden(text.replace("coilsweep stimulus", "")) == []
    assert max(map(text_width, text.splitlines())) <= WIDTH


def test_families_are_among_them():
    assert {"calibrate", "calibrate input", "takes", "takes amend", "takes rename"} <= set(COMMANDS)


RIG = ("--input-resistance", "1M ± 1%", "--input-capacitance", "185p", "--sense-resistor", "100", "--reference", "current")
TYPED = (
    ("rig", *RIG),
    ("take", "open", "--virtual", "--duration", "1", "--repeats", "2", "--add", "1n"),
    ("take", "hum", "--virtual", "--method", "quiet", "--duration", "1"),
    ("take", "loud", "--virtual", "--no-look", "--duration", "1", "--level", "1"),
    ("takes", "amend", "open", "--add", "2n"),
    ("level", "--virtual"),
    ("stimulus", "sweep.wav", "--duration", "1"),
    ("calibrate", "loopback", "--virtual", "--no-wait", "--logbook", "cal"),
    ("calibrate", "input", "--virtual", "--no-wait", "--through", "100k ± 1%", "--through", "1M ± 1%", "--logbook", "cal"),
    ("calibrate", "exciter", "--virtual", "--no-wait", "--logbook", "cal"),
    ("calibrate", "loopback"),
    ("take", "alone"),
    ("fit", "nothing"),
    ("confirm", "capacitor.tone", "open"),
    ("takes", "rm", "open"),
)


@pytest.mark.long
def test_what_is_said_beside_an_answer_does_without_them_too(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    list_cards(monkeypatch)
    said = [run(capsys, *words)[2] for words in TYPED]
    assert all(one for one, words in zip(said, TYPED, strict=True) if words[0] in ("calibrate", "rig"))
    every = [line for one in said for line in one.splitlines() if "dBFS" not in line and not line.startswith("   ")]
    assert {line: found for line in every if (found := forbidden(line))} == {}
    at_terminal = [part for line in every for part in said_lines(line, is_terminal=True) if "coilsweep " not in part]
    assert [part for part in at_terminal if text_width(part) > WIDTH and len(part.split()) > 3] == []
    assert any(len(line) > WIDTH for line in every)  # a file gets each whole
    assert [line for line in every if said_lines(line, is_terminal=False) != [line]] == []


def test_what_stands_alone_fits_a_terminal():
    help_text = coilsweep.get_help(click.Context(coilsweep, info_name="coilsweep", terminal_width=80))
    assert max(map(text_width, [*OVERVIEW.splitlines(), *help_text.splitlines()])) <= WIDTH
    assert max(map(text_width, QUANTITY_NAMES.values())) <= WIDTH // 2
