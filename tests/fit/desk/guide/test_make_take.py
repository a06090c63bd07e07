"""The stages that make a take: ready, the sweep, a look at it, and a repeat where it is needed."""

import pytest

from fit.desk.bench.take import PreflightError
from fit.desk.guide.console import run_guide
from fit.desk.guide.make_take import Slot, level_stage, take_of, take_stage
from fit.desk.guide.scene import Bench
from measure.errors import NoCardError, ServerDiedError
from measure.logbook.store import list_takes, open_logbook
from tests.guide_scenes import scene
from tests.guided import Script, answers, bad, bench_with, desk_of, guided, settled


@pytest.mark.long
def test_going_back_over_a_take_makes_it_anew_and_keeps_the_old_one(tmp_path):
    script = Script(**answers(ready=["", "b", "", "q"]))
    guided(tmp_path, "pickup", script)
    assert 'The take "open" stays in the logbook, but is not used.' in script.text
    assert [take.name for take in list_takes(open_logbook(tmp_path)).takes] == ["open", "open-2"]
    assert settled(tmp_path, "take.open") == "open-2"


@pytest.mark.long
def test_take_that_would_clip_is_offered_softer(tmp_path):
    script = Script(**answers(level=["0.4"], ready=["", "", "q"]))
    guided(tmp_path, "pickup", script)
    assert "the pickup would clip" in script.text
    assert "What now: again, softer, louder? [softer]" in script.text
    assert [take.stimulus.level for take in list_takes(open_logbook(tmp_path)).takes] == [0.2]


@pytest.mark.long
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
    assert "Take 2 of 2" not in script.text.partition("What now")[2].partition("Ready?")[0]
    assert settled(tmp_path, "take.open") == "open-2"  # the first one is kept, and not used


@pytest.mark.long
def test_rejected_take_cannot_be_kept(tmp_path):
    script = Script(**answers(now=["keep", "q"]))
    guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[bad("reject", "dropouts")]))
    assert 'Not so: "keep" is not one of again, softer, louder' in script.text


def test_trouble_with_the_card_is_said_and_the_take_asked_for_again(tmp_path):
    script = Script(**answers(ready=["", "q"]))
    trouble = ServerDiedError("the sound server ended")
    guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[trouble]))
    assert "No take: the sound server ended" in script.text
    assert script.text.count("Take 1 of 2: the pickup as it is") == 2


def test_interrupted_sweep_is_not_played_unasked_on_going_on(tmp_path):
    script = Script()
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        guided(tmp_path, "pickup", script, bench=bench_with(desk_of(tmp_path, script), outcomes=[KeyboardInterrupt()]))
    assert "To go on: coilsweep guide pickup --virtual" in script.text
    script = Script(**answers(ready=["q"]))
    guided(tmp_path, "pickup", script)
    assert script.n_asked == 1
    assert not (tmp_path / "takes").exists() or not list((tmp_path / "takes").iterdir())


SLOT = Slot(name="open", title="First take", todo=("lay the coil",))


def swept(folder, slot, *, said=None, codes=(), outcome="good", **settled):
    """What a sweep is remembered by; and the order that the bench got."""
    orders = []

    def take(order):
        orders.append(order)
        if isinstance(said, Exception):
            raise said
        return bad("reject" if outcome == "rejected" else "warn", *codes)

    bench = Bench(take=take, offers=None, defaults={})
    done = take_stage(scene(folder, bench=bench, **{f"ready__{slot.name}": "yes"} | settled), slot).run()
    return done, orders


def test_a_take_begins_with_what_is_to_be_done(tmp_path):
    ready = take_stage(scene(tmp_path), SLOT)
    assert (ready.key, ready.before[1:3]) == ("ready.open", ("First take", "  - lay the coil"))


def test_a_sweep_is_made_at_the_level_that_was_settled(tmp_path):
    _, (order,) = swept(tmp_path, SLOT, level="0.25", codes=("noisy-response",))
    assert (order.name, order.level, order.is_looked_at_first, order.conditions.note) == ("open", 0.25, True, "guide: First take")


def test_a_look_that_stops_the_sweep_makes_no_take(tmp_path):
    done, _ = swept(tmp_path, SLOT, said=PreflightError("it would clip", code="clipped", options="--level 0.1"))
    assert done.lines == ("  it would clip",)
    assert done.entries == {"outcome.open": "failed", "codes.open": "clipped"}


def test_silence_is_an_answer_only_where_it_may_be(tmp_path):
    for may_be_silent, outcome in ((True, "silent"), (False, "rejected")):
        slot = Slot(name="a", title="t", todo=(), may_be_silent=may_be_silent)
        done, _ = swept(tmp_path, slot, codes=("dead-channel", "no-signal"), outcome="rejected")
        assert done.entries["outcome.a"] == outcome


def test_clipping_is_no_silence(tmp_path):
    slot = Slot(name="a", title="t", todo=(), may_be_silent=True)
    done, _ = swept(tmp_path, slot, codes=("dead-channel", "clipped"), outcome="rejected")
    assert done.entries["outcome.a"] == "rejected"


@pytest.mark.parametrize(("answer", "level"), [("softer", "0.2"), ("louder", "0.8"), ("again", "0.4")])
def test_once_more_at_another_level(tmp_path, answer, level):
    settled = {"level": "0.4", "ready__open": "yes", "outcome__open": "rejected", "codes__open": "dropouts", "take__open": "open"}
    verdict = take_stage(scene(tmp_path, **settled), SLOT)
    done = verdict.act(answer)
    assert (done.entries["level"], done.back_to) == (level, "ready.open")


def test_no_level_leaves_its_range(tmp_path):
    question = level_stage(scene(tmp_path))
    assert question.read("0,5") == "0.5"
    for typed in ("0", "1.1", "nan", "loud", "-0.1"):
        with pytest.raises(ValueError, match=r"expected 0\.001 to 1"):
            question.read(typed)
    settled = {"level": "0.8", "ready__open": "yes", "outcome__open": "rejected", "take__open": "open"}
    assert take_stage(scene(tmp_path, **settled), SLOT).act("louder").entries["level"] == "1"


def test_a_good_take_is_used(tmp_path):
    settled = {"ready__open": "yes", "outcome__open": "good", "take__open": "open-2"}
    assert take_stage(scene(tmp_path, **settled), SLOT) is None
    assert take_of(scene(tmp_path, **settled), SLOT) == "open-2"


def test_leaving_since_there_is_no_card_is_sound_card_trouble(tmp_path):
    script = Script(**answers(ready=["", "q"]))
    desk = desk_of(tmp_path, script)
    bench = bench_with(desk, outcomes=[NoCardError("there is no sound card")])
    outcome = run_guide(desk, "pickup", virtual=True, bench=bench, read_line=script.read_line)
    assert outcome.exit_code == 4
    assert "To rehearse without one: coilsweep guide pickup --virtual --logbook rehearsal" in script.text
    again = Script(**answers(ready=["q"]))
    assert run_guide(desk_of(tmp_path, again), "pickup", virtual=True, bench=bench, read_line=again.read_line).exit_code == 0
