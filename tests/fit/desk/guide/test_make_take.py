"""The stages that make a take: ready, the sweep, a look at it, and a repeat where it is needed."""

import pytest

from measure.errors import ServerDiedError
from measure.logbook.store import list_takes, open_logbook
from tests.guided import Script, answers, bad, bench_with, desk_of, guided, settled


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
