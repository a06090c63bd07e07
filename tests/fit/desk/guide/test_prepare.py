"""The stages that offer a look at the levels, and to measure an input whose capacitance is a guess."""

from dataclasses import replace

import pytest

from fit.desk.book.desk import Outcome
from fit.desk.guide.bench import virtual_bench
from fit.desk.guide.prepare import LOADS, input_stage, loads_of, look_stage
from fit.desk.guide.scene import Bench, InputBench
from fit.desk.guide.session import Deed, converse, prompt_of
from fit.desk.show.document.pieces import Document
from measure.errors import NoCardError
from measure.logbook.rig import read_rig
from measure.logbook.store import open_logbook
from tests.desk_bench import run
from tests.guide_scenes import no_take, scene
from tests.guided import Script, answers, desk_of, guided
from tests.kept_takes import keep


def no_record(load):
    raise AssertionError(f"{load.name} was recorded")


BENCH = Bench(take=no_take, offers=None, defaults={}, calibration=InputBench(record=no_record))


def rigged(capsys, folder, capacitance, *, reference="current"):
    words = ("--reference", reference, "--input-resistance", "1M ± 1%", "--input-capacitance", capacitance)
    assert run(capsys, "rig", *words, "--logbook", folder)[0] == 0


@pytest.mark.parametrize(
    ("capacitance", "reference", "is_offered"),
    [
        ("200p ± 50p", "current", True),
        ("350p ± 250p", "loopback", True),
        ("200p ± 50p", "none", False),
        ("185p ± 3p", "current", False),
    ],
)
def test_only_a_guess_is_offered_to_be_measured_and_only_where_two_inputs_are(
    capsys, tmp_path, capacitance, reference, is_offered
):
    rigged(capsys, tmp_path, capacitance, reference=reference)
    step = input_stage(scene(tmp_path, bench=BENCH))
    assert (step is not None) is is_offered
    if step is not None:
        assert (step.key, step.default) == ("input", "no")
        assert capacitance in " ".join(step.before)
    assert input_stage(scene(tmp_path, bench=BENCH, input="no")) is None
    assert input_stage(scene(tmp_path, bench=replace(BENCH, calibration=None))) is None


def test_the_input_is_driven_through_each_resistor_and_then_with_the_capacitor():
    assert [(load.series.text, [part.text for part in load.added]) for load in loads_of(LOADS)] == [
        ("100k ± 1%", []),
        ("1M ± 1%", []),
        ("1M ± 1%", ["1n ± 1%"]),
    ]
    with pytest.raises(ValueError, match="name at least one"):
        loads_of("1n ± 1%")


@pytest.mark.long
def test_a_guess_is_measured_and_written_before_the_takes(tmp_path):
    script = Script(**answers(input_capacitance=["don't know"], layout=["q"]) | {"Measure the input": ["yes"]})
    guided(tmp_path, "guitar", script)
    assert "input capacitance: 350p ± 250p is taken" in script.text
    assert script.text.count("for the input - output and reference input") == 3
    rig = read_rig(tmp_path / "rig.toml")
    assert rig.calibration.input is not None
    value, _, bound = rig.input.capacitance.partition("p ± ")
    assert 100 < float(value) < 600
    assert float(bound.removesuffix("%")) < 1


def test_sweeps_of_an_earlier_session_are_made_again(capsys, tmp_path):
    rigged(capsys, tmp_path, "200p ± 50p")
    settled = {f"input__{what}__{number}": "yes" for what in ("load", "recorded") for number in (1, 2, 3)}
    step = input_stage(scene(tmp_path, bench=BENCH, input="yes", input__through=LOADS, **settled))
    assert isinstance(step, Deed)
    assert step.run().back_to == "input.load.1"


def test_the_levels_are_looked_at_as_often_as_is_wished(tmp_path):
    seen = []

    def level():
        seen.append(1)
        return Outcome(document=Document(), lines=("pickup -40 dBFS", "Next: coilsweep take open"))

    bench = replace(BENCH, level=level)
    script = Script(**{"Look at the levels": ["", "yes", ""]})

    class Person:
        tell = script.shown.append

        def ask(self, question, *, can_go_back):
            del can_go_back
            return script.read_line(prompt_of(question))

        def keep(self, memory):
            pass

    begun = scene(tmp_path, bench=bench)
    ending = converse(lambda memory: look_stage(replace(begun, memory=memory)), begun.memory, Person())
    assert ending.is_finished
    assert (len(seen), script.n_asked) == (2, 3)
    assert "Look at the levels again: yes or no? [no]" in script.text
    assert "Next:" not in script.text


def test_levels_without_a_card_are_sound_card_trouble(tmp_path):
    def level():
        msg = "there is no sound card"
        raise NoCardError(msg)

    done = look_stage(scene(tmp_path, bench=replace(BENCH, level=level), look="yes")).run()
    assert (done.exit_code, done.back_to, done.entries) == (4, "look", {"looked": "no"})
    assert any("how to rehearse" in line for line in done.lines)


def test_no_rehearsal_is_written_to_the_rig_of_real_takes(capsys, tmp_path):
    rigged(capsys, tmp_path, "200p ± 50p")
    assert input_stage(scene(tmp_path, bench=virtual_bench(desk_of(tmp_path, Script()), "guitar"))) is not None
    keep(open_logbook(tmp_path), "real")
    assert input_stage(scene(tmp_path, bench=virtual_bench(desk_of(tmp_path, Script()), "guitar"))) is None


def test_the_virtual_bench_has_levels_and_a_calibration(tmp_path):
    bench = virtual_bench(desk_of(tmp_path, Script()), "guitar")
    assert "exciter found" in str(bench.level().sheet)
    assert bench.calibration.record(loads_of(LOADS)[0]).repeats[0].simulated
