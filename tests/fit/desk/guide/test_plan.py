"""The stages that fit and plan: which further take is offered, how it is put, and what the fit is asked with."""

from dataclasses import replace

import pytest

from fit.answers.figures import NextTake, NotIdentified
from fit.circuit.layouts import layout_text
from fit.desk.book.fits import FitWish
from fit.desk.guide.make_take import Slot
from fit.desk.guide.plan import (
    LEFT_ALONE,
    MOST_ROUNDS,
    accepted_plans,
    dcr_stage,
    further_slot,
    further_stage,
    hushed,
    names_of,
    plan_for_comparison,
    plan_for_part,
    plan_for_pickup,
    reference_stage,
    report_stage,
    wish_of,
    with_further,
)
from fit.desk.guide.scene import Bench
from fit.desk.guide.session import Deed, Question, answer_of, is_settled
from measure.logbook.conditions import Conditions
from tests.answer_by_hand import answer
from tests.guide_scenes import no_take, scene

SLOTS = (Slot(name="open", title="first", todo=()), Slot(name="plus", title="second", todo=()))
TOLD = replace(answer(), not_identified=())


def helps(std, key="inductance", **changes):
    take = NextTake(add="470p ± 1%", text="a take with 470p", predicted_relative_std=std, **changes)
    return replace(TOLD, next_takes={key: (take,)})


def planned(monkeypatch, answered, planner=plan_for_pickup, **settled):
    """What a fit that gives this answer is remembered by."""
    monkeypatch.setattr("fit.desk.book.fits.answer_for", lambda *_: (answered, ()))
    return lambda folder: further_stage(scene(folder, **settled), SLOTS, planner)


def test_the_known_part_is_asked_for_then_the_others(tmp_path):
    first = reference_stage(scene(tmp_path))
    assert (first.key, first.default) == ("added", "1n ± 1%")
    assert first.read("1n") == "1n"
    assert first.act("1n").lines == ("  1n (added) states no tolerance; ± 10 % is assumed (common practice)",)
    assert first.act("102J").lines == ("  added: 1 nF ± 5 %, from 102 and J",)
    with pytest.raises(ValueError, match="may be 100 nF"):
        first.read("104")
    second = reference_stage(scene(tmp_path, added="1n ± 1%"))
    assert (second.key, second.read("None")) == ("at_hand", "none")
    assert reference_stage(scene(tmp_path, added="1n ± 1%", at_hand="none")) is None


@pytest.mark.parametrize(("is_closed", "default"), [(False, "6k ± 1%"), (True, "none")])
def test_in_a_closed_guitar_nobody_measures_the_winding(tmp_path, is_closed, default):
    bench = Bench(take=no_take, offers=None, defaults={"dcr": "6k ± 1%"})
    assert dcr_stage(scene(tmp_path, bench=bench), is_closed=is_closed).default == default
    assert dcr_stage(scene(tmp_path, dcr="none"), is_closed=is_closed) is None


@pytest.mark.parametrize(
    ("settled", "wish"),
    [
        ({}, FitWish(names=("a", "b"))),
        ({"dcr": "none", "at_hand": "none"}, FitWish(names=("a", "b"))),
        ({"dcr": "6k ± 1%", "at_hand": "2n2 ± 1%"}, FitWish(names=("a", "b"), dcr="6k ± 1%", at_hand="2n2 ± 1%")),
        ({"dcr": "6k ± 1%", "over": "neck"}, FitWish(names=("a", "b"), dcr="neck=6k ± 1%")),
    ],
)
def test_a_fit_is_asked_with_what_the_person_named(tmp_path, settled, wish):
    assert wish_of(scene(tmp_path, **settled), ("a", "b")) == wish


def test_what_is_not_told_goes_before_what_could_be_sharper():
    take = NextTake(add="", text="tone down", predicted_relative_std=0.01)
    untold = NotIdentified(quantity="capacitor.tone", why="a pot hides it", next_take=take)
    hopeless = NotIdentified(quantity="sharing", why="nothing tells it", next_take=None)
    plan = plan_for_pickup(replace(helps(0.0001), not_identified=(hopeless, untold)))
    assert (plan.take, plan.is_needed, plan.why) == (take, True, "Tone capacitor: a pot hides it")


@pytest.mark.parametrize(("std", "is_offered"), [(0.5 * 0.0157 / 2.874, True), (0.95 * 0.0157 / 2.874, False)])
def test_a_take_is_offered_where_it_narrows_enough(std, is_offered):
    plan = plan_for_pickup(helps(std))
    assert (plan is not None) is is_offered
    if plan is not None:
        assert not plan.is_needed
        assert plan.why == "it would bring the inductance from ± 1.1 % to ± 0.54 %"


def test_a_take_that_helps_nothing_that_is_asked_for_is_not_offered():
    assert plan_for_pickup(helps(0.0001, key="q_loaded")) is None
    assert plan_for_pickup(replace(TOLD, next_takes={})) is None


def test_a_comparison_is_never_urged():
    take = NextTake(add="", text="tone down", predicted_relative_std=0.01)
    untold = NotIdentified(quantity="inductance", why="no scale", next_take=take)
    assert plan_for_comparison(replace(TOLD, not_identified=(untold,))).is_needed is False
    assert plan_for_comparison(replace(TOLD, next_takes={})) is None


@pytest.mark.parametrize("is_resolved", [False, True])
def test_for_a_part_only_takes_that_tell_it_count(is_resolved):
    other = plan_for_part(helps(0.0001), "winding_capacitance", is_resolved=is_resolved)
    assert other is None
    plan = plan_for_part(helps(0.0001), "inductance", is_resolved=is_resolved)
    assert plan.is_needed is not is_resolved


def test_a_fit_is_followed_by_an_offer_and_that_by_a_take(tmp_path, monkeypatch):
    deed = planned(monkeypatch, helps(0.0001), take__open="open", take__plus="plus-2")(tmp_path)
    assert isinstance(deed, Deed)
    assert deed.before[-1] == "What these takes tell: open, plus-2"
    done = deed.run()
    assert done.entries["plan.1"] == "470p ± 1%|"
    assert done.entries["need.1"] == "no"
    assert any(line.startswith("  Inductance") for line in done.lines)
    settled = {key.replace(".", "__"): value for key, value in done.entries.items()}
    offer = further_stage(scene(tmp_path, **settled), SLOTS, plan_for_pickup)
    assert isinstance(offer, Question)
    assert (offer.key, offer.default) == ("more.1", "no")
    assert "  a take with 470p" in offer.before
    ready = further_stage(scene(tmp_path, **settled, more__1="yes"), SLOTS, plan_for_pickup)
    assert ready.key == "ready.plus-470p-1"
    assert further_stage(scene(tmp_path, **settled, more__1="no"), SLOTS, plan_for_pickup) is None


def test_where_no_take_helps_nothing_is_offered(tmp_path, monkeypatch):
    done = planned(monkeypatch, replace(TOLD, next_takes={}))(tmp_path).run()
    assert done.entries["plan.1"] == "none"
    assert further_stage(scene(tmp_path, plan__1="none"), SLOTS, plan_for_pickup) is None


def test_a_misfit_is_said_beside_the_values(tmp_path, monkeypatch):
    lines = planned(monkeypatch, replace(TOLD, outcome="misfit"))(tmp_path).run().lines
    assert "  INDICATIVE ONLY: model and measurement do not go together." in lines


def test_rounds_come_to_an_end(tmp_path):
    settled = {}
    for number in range(1, MOST_ROUNDS + 1):
        name = f"plus-{number}n-1"
        settled |= {f"plan__{number}": f"{number}n ± 1%|", f"more__{number}": "yes"}
        settled |= {f"ready__{name}": "yes", f"outcome__{name}": "good", f"take__{name}": name}
    whole = scene(tmp_path, **settled)
    assert further_stage(whole, SLOTS, plan_for_pickup) is None
    assert accepted_plans(whole) == (1, 2, 3, 4, 5)
    assert names_of(whole, SLOTS) == ("plus-1n-1", "plus-2n-1", "plus-3n-1", "plus-4n-1", "plus-5n-1")


def test_a_planned_take_leaves_the_coil_and_turns_what_tells(tmp_path):
    slot = further_slot(scene(tmp_path, plan__1="470p ± 1%|"), 1)
    assert (slot.name, slot.conditions.added, slot.conditions.coil_moved) == ("plus-470p-1", "470p ± 1%", False)
    assert slot.todo == (LEFT_ALONE, "clip 470p ± 1% across the jack, tip to sleeve")
    (tmp_path / "instrument.toml").write_text(layout_text("one-pickup"), encoding="utf-8")
    turned = further_slot(scene(tmp_path, plan__2="|tone=0"), 2)
    assert (turned.name, turned.conditions.controls) == ("tone-0", {"volume": "10", "tone": "0"})
    assert turned.todo[1] == "take every added part off the jack"


def test_the_report_is_written_once(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr("fit.desk.questions.report.write_report", lambda *args, **options: asked.append((args, options)))
    done = report_stage(scene(tmp_path, dcr="6k ± 1%"), ("open",)).run()
    assert [options for _, options in asked] == [{"names": ("open",), "dcr": "6k ± 1%", "at_hand": ""}]
    assert done.entries == {"report": str(tmp_path / "report.html")}
    assert report_stage(scene(tmp_path, report="there"), ("open",)) is None


def test_a_hushed_desk_says_nothing(tmp_path):
    desk = hushed(scene(tmp_path).desk)
    desk.say("x")
    desk.tell("x")
    assert desk.logbook == tmp_path


def test_a_take_that_was_chosen_stands_where_the_next_would_be_offered(tmp_path):
    wanted = Conditions(added="2n2 ± 1%", controls={"tone": "5"})
    settled = {
        "plan__1": "1n|",
        "more__1": "yes",
        "take__plus-1n": "plus-1n",
        "plan__2": "470p|",
        "more__2": "no",
        "report": "page",
    }
    memory = with_further(scene(tmp_path, **settled).memory, wanted)
    assert (answer_of(memory, "plan.2"), answer_of(memory, "more.2")) == ("2n2 ± 1%|tone=5", "yes")
    assert answer_of(memory, "take.plus-1n") == "plus-1n"
    assert not is_settled(memory, "report")  # it is written anew
    made = further_slot(replace(scene(tmp_path), memory=memory), 2).conditions
    assert (made.added, made.controls) == (wanted.added, wanted.controls)


def test_no_take_is_chosen_where_none_is_offered_yet_or_any_more(tmp_path):
    assert with_further(scene(tmp_path, added="1n").memory, Conditions()) is None
    full = {f"{key}__{number}": text for number in range(1, MOST_ROUNDS + 1) for key, text in (("plan", "1n|"), ("more", "yes"))}
    assert with_further(scene(tmp_path, **full).memory, Conditions()) is None
