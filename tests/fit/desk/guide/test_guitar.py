"""The guide to a whole guitar: which takes it plans, how it counts them, and what it finds."""

from dataclasses import replace

import pytest

from fit.answers.figures import Estimate, NextTake, NotIdentified
from fit.circuit.layouts import layout_text
from fit.desk.bench.virtual import PICKUPS, TONE_CAPACITOR_F, USUAL_OHM
from fit.desk.book.desk import Outcome
from fit.desk.guide import guitar
from fit.desk.guide.guitar import ALL, SOME
from fit.desk.guide.plan import plan_for_guitar
from fit.desk.show.document.guitar import WiringDocument
from fit.desk.show.document.pieces import Document
from fit.desk.show.sheet import Sheet, Text
from fit.desk.show.sheets.notices import CIRCUIT
from measure.errors import FileError
from measure.logbook.store import list_takes, open_logbook
from tests.answer_by_hand import answer
from tests.guide_scenes import scene
from tests.guided import Script, answers, guided
from tests.pages import read_page

NOTHING = dict.fromkeys(("pickups", "positions", "unheard", "unmeasured", "left_out", "takes", "warnings"), ())
WIRED = WiringDocument(**NOTHING, leakage=None, simulated=True)


def stated(folder, layout, **settled):
    (folder / "instrument.toml").write_text(layout_text(layout), encoding="utf-8")
    return scene(folder, job="guitar", **{"added": "1n ± 1%"} | settled)


def test_one_pickup_is_taken_as_it_is_with_the_known_part_and_with_the_tone_down(tmp_path):
    first, second, third = guitar.plan(stated(tmp_path, "one-pickup"))
    assert (first.name, second.name, third.name) == ("bridge-open", "bridge-plus", "bridge-tone-0")
    assert [slot.conditions.coil_moved for slot in (first, second, third)] == [True, False, False]
    assert second.conditions.added == "1n ± 1%"
    assert third.conditions.controls == {"volume": "10", "tone": "0"}
    assert third.conditions.added == ""


@pytest.mark.parametrize(
    ("check", "n_takes", "n_silent"),
    [("none", 8, 0), (SOME, 12, 4), (ALL, 20, 12)],
)
def test_three_pickups_and_their_switch(tmp_path, check, n_takes, n_silent):
    """Three times two, each tone pot once; four places where a joined position has a pickup; fifteen less three in all."""
    planned = guitar.plan(stated(tmp_path, "three-singles", check=check))
    assert len(planned) == len({slot.name for slot in planned}) == n_takes
    assert sum(slot.may_be_silent for slot in planned) == n_silent
    assert sum(slot.conditions.coil_moved for slot in planned) == 3  # the coil lies over each pickup once
    over = [slot.conditions.coil_over for slot in planned]
    assert over == sorted(over, key=["bridge", "middle", "neck"].index)
    turned = [slot.conditions.controls for slot in planned if "0" in slot.conditions.controls.values()]
    assert [(one["tone-1"], one["tone-2"], one["selector"]) for one in turned] == [("10", "0", "middle"), ("0", "10", "neck")]


def test_the_switch_is_asked_about_where_there_is_one(tmp_path):
    question = guitar._check_stage(stated(tmp_path, "three-singles"))
    assert (question.key, question.default) == ("check", SOME)
    assert "4 more takes" in " ".join(question.before)
    assert "12 more takes" in " ".join(question.before)
    assert guitar._check_stage(stated(tmp_path, "three-singles", check=ALL)) is None
    assert guitar._check_stage(stated(tmp_path, "one-pickup")) is None


def test_the_plan_is_told_with_its_number_and_each_take_with_its_place(tmp_path):
    done = guitar._plan_stage(stated(tmp_path, "three-singles", check=SOME)).run()
    assert done.lines[1] == "The plan: 12 takes, about 24 minutes; then one fit of all of them"
    assert done.entries == {"planned": "12", "over": "bridge", "coil_last": "neck"}
    settled = {"cautions": "yes", "planned": "12", "level": "0.1", "rig__known": "x", "check": SOME}
    ready = guitar.takes_stage(
        whole := stated(tmp_path, "three-singles", **settled), guitar._before_fit(whole), guitar.plan(whole)
    )
    assert ready.before[1] == "Take 1 of 12: the bridge pickup, everything up"


def test_a_further_take_changes_the_number_and_brings_the_coil_back(tmp_path):
    further = {
        "plan__1": "|volume=5",
        "more__1": "yes",
        "over": "bridge",
        "coil_last": "neck",
        "plan__2": "|tone-1=5",
        "more__2": "yes",
    }
    planned = guitar.plan(stated(tmp_path, "three-singles", **further))
    assert len(planned) == 10
    assert planned[-2].conditions.controls["volume"] == "5"
    assert planned[-2].conditions.coil_over == "bridge"
    assert planned[-2].todo[0] == "lay the exciter over the bridge pickup again, and fix it"
    assert planned[-1].todo[0] == "leave the coil exactly where it is"


def test_without_a_guitar_there_is_no_plan(tmp_path):
    with pytest.raises(FileError, match="the guitar is not stated"):
        guitar.plan(scene(tmp_path, job="guitar"))


TURN = NextTake(add="", text="turn", predicted_relative_std=0.004, controls=("volume=5",))
CLIP = NextTake(add="2n2 ± 1%", text="clip", predicted_relative_std=0.001)
POT = Estimate(value=5e5, unit="Ω", standard_uncertainty=2.5e4, low=4.5e5, high=5.5e5)


def test_a_guitar_is_told_most_by_what_is_at_hand():
    told = replace(answer(), not_identified=(), quantities={"pot.volume": POT}, next_takes={"pot.volume": (CLIP, TURN)})
    assert plan_for_guitar(told, has_parts=False).take is TURN
    assert plan_for_guitar(told, has_parts=False).is_needed  # 5 % to 0.4 %
    assert plan_for_guitar(told, has_parts=True).take is CLIP
    sharp = replace(told, quantities={"pot.volume": replace(POT, standard_uncertainty=5e3)})
    assert not plan_for_guitar(sharp, has_parts=False).is_needed
    assert plan_for_guitar(replace(told, next_takes={"pot.volume": (CLIP,)}), has_parts=False) is None


def test_what_is_not_told_yet_goes_first():
    untold = NotIdentified(quantity="capacitor.tone", why="a pot hides it", next_take=TURN)
    told = replace(answer(), not_identified=(untold,), next_takes={})
    assert plan_for_guitar(told, has_parts=False).is_needed


def test_a_switch_that_cannot_be_told_keeps_nothing_else_back(tmp_path, monkeypatch):
    def refuse(_, names):
        msg = f"nothing is to be told of {len(names)} takes"
        raise ValueError(msg)

    found = Outcome(document=Document(), sheet=Sheet(title="t", blocks=(Text(("the values",)),)))
    monkeypatch.setattr("fit.desk.questions.wiring.wiring_of", refuse)
    monkeypatch.setattr("fit.desk.questions.fit.fit_takes", lambda *_: found)
    whole = stated(tmp_path, "three-singles", check=SOME)
    done = guitar._answer_stage(whole).run()
    assert "the values" in done.lines
    assert "not told: nothing is to be told of 7 takes" in done.lines
    assert done.beside == ()


def test_what_the_switch_connects_is_asked_once_and_told_people_and_programs(tmp_path, monkeypatch):
    asked = []

    def wire(_, names):
        asked.append(names)
        return Outcome(document=WIRED, sheet=Sheet(title="w", blocks=(Text(("it connects",)), CIRCUIT)))

    report = Sheet(title="p", blocks=(Text(("the report",)),))
    found = Outcome(document=Document(), sheet=Sheet(title="t", blocks=(Text(("the values",)),)), page=lambda: report)
    monkeypatch.setattr("fit.desk.questions.wiring.wiring_of", wire)
    monkeypatch.setattr("fit.desk.questions.fit.fit_takes", lambda *_: found)
    done = guitar._answer_stage(stated(tmp_path, "three-singles", check=SOME)).run()
    assert len(asked) == 1
    assert "it connects" in done.lines
    assert done.beside == (WIRED,)
    page = (tmp_path / "answer.html").read_text(encoding="utf-8")
    assert "the report" in page
    assert "it connects" in page


@pytest.mark.slow
def test_one_pickup_is_found_whole_and_nobody_has_looked_inside(tmp_path):
    script = Script(**answers(ready=["", "", "q"]))
    left = guided(tmp_path, "guitar", script)
    assert (left["finished"], left["answer"], left["wiring"]) == (False, None, None)
    rest = Script()
    document = guided(tmp_path, "guitar", rest)
    assert "takes so far: bridge-open, bridge-plus" in rest.text
    assert "Take 3 of 3: the bridge pickup, tone turned down" in rest.text
    assert "The plan has 4 takes now. Take 4 of 4: one more, with volume at 5" in " ".join(
        rest.text.replace("Make that", "").split()
    )
    found = document["answer"]["quantities"]
    truths = {
        "inductance": PICKUPS["bridge"][0],
        "winding_capacitance": PICKUPS["bridge"][2],
        "capacitor.tone": TONE_CAPACITOR_F,
        "pot.volume": USUAL_OHM["pot"],
    }
    for name, truth in truths.items():
        assert abs(found[name]["value"] - truth) < 3 * found[name]["standard_uncertainty"], name
    assert (document["answer"]["outcome"], document["wiring"]) == ("good", None)
    assert not any("stated without" in one for one in document["answer"]["warnings"])
    assert "OUTSIDE" not in rest.text
    text = (tmp_path / "instrument.toml").read_text(encoding="utf-8")
    assert not any(line.startswith("marked") for line in text.splitlines())
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "What is in the guitar (simulated)"
    assert "OUTSIDE" not in read_page((tmp_path / "report.html").read_text(encoding="utf-8")).said


@pytest.mark.slow
def test_three_pickups_are_found_whole_with_their_switch(tmp_path):
    script = Script(**answers(layout=["three-singles"], capacitor=["223K"], more=["no"]))
    document = guided(tmp_path, "guitar", script)
    assert "The plan: 12 takes" in script.text
    assert len(list_takes(open_logbook(tmp_path)).takes) == 12
    found = document["answer"]["quantities"]
    for name, (henry, _, farad, _) in PICKUPS.items():
        for key, truth in (("inductance", henry), ("winding_capacitance", farad)):
            one = found[f"{name}.{key}"]
            assert abs(one["value"] - truth) < 3 * one["standard_uncertainty"], (name, key)
    assert found["capacitor.tone"]["value"] == pytest.approx(TONE_CAPACITOR_F, rel=0.01)
    positions = {one["position"]: one for one in document["wiring"]["positions"]}
    assert positions["selector=neck-middle"]["differs"] == ["polarity: neck out of phase, by instrument.toml all in phase"]
    assert positions["selector=bridge-middle"]["differs"] == []
    assert "What the switch connects" in script.text
