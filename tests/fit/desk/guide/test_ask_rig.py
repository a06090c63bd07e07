"""The stage that asks for the rig: interfaces, what is stated already, what is needed."""

import re

import pytest

from fit.desk.guide.ask_rig import QUESTIONS, rig_stage
from fit.desk.guide.scene import Bench, Offer
from measure.logbook.rig import read_rig
from tests.desk_bench import run
from tests.guide_scenes import no_take, scene
from tests.guided import Script, answers, bad, guided


def test_rig_that_is_stated_is_not_asked_for(tmp_path, capsys):
    code, *_ = run(capsys, "rig", "--input-resistance", "1M ± 1%", "--sense-resistor", "68 ± 1%", "--logbook", tmp_path)
    assert code == 0
    script = Script(**answers(level=["q"]))
    guided(tmp_path, "pickup", script)
    assert "rig.toml states already: reference.sense_resistor 68 ± 1% input.resistance 1M ± 1%" in script.text
    assert "The sense resistor?" not in script.text
    assert "Capacitance of input" in script.text


OFFERS = (
    Offer(device="other", host_api="ALSA", rates_hz=(44100,)),
    Offer(device="bench", host_api="JACK", rates_hz=(48000, 96000, 192000), is_default=True),
)


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


def asked_through(folder, bench=None, **typed):
    """Keys that are asked for, each answered with what is typed or with Enter."""
    settled, keys = {"rig__known": ""}, []
    while (step := rig_stage(scene(folder, bench=bench, **settled))) is not None:
        name = step.key.removeprefix("rig.")
        keys.append(name)
        answer = step.read(typed.get(name, step.default))
        step.act(answer)
        settled[step.key.replace(".", "__")] = answer
    return keys


def test_on_the_virtual_bench_no_interface_is_chosen(tmp_path):
    keys = asked_through(tmp_path)
    assert keys == ["pickup_channel", "reference", "reference_channel", "sense_resistor", "input_resistance", "input_capacitance"]
    rig = read_rig(tmp_path / "rig.toml")
    assert (rig.reference.kind, rig.interface.reference_channel, rig.input.resistance) == ("current", 2, "1M ± 5%")


@pytest.mark.parametrize(("kind", "has_channel"), [("loopback", True), ("none", False)])
def test_without_a_current_the_corner_is_needed_and_no_resistor(tmp_path, kind, has_channel):
    keys = asked_through(tmp_path, reference=kind, exciter_corner="9k ± 5%")
    assert "exciter_corner" in keys
    assert "sense_resistor" not in keys
    assert ("reference_channel" in keys) is has_channel


def test_a_rate_is_one_at_which_the_interface_opens_and_not_above_what_helps(tmp_path):
    bench = Bench(take=no_take, offers=lambda: OFFERS, defaults={})
    assert asked_through(tmp_path, bench)[:3] == ["device", "rate_hz", "output_channel"]
    assert read_rig(tmp_path / "rig.toml").interface.rate_hz == 96000  # of 48000, 96000 and 192000


@pytest.mark.parametrize(
    ("name", "typed", "says"), [("pickup_channel", "one", "whole number"), ("input_resistance", "1", "is 1M meant")]
)
def test_what_will_not_do_is_refused_with_the_reason(tmp_path, name, typed, says):
    assert name in QUESTIONS
    with pytest.raises(ValueError, match=says):
        asked_through(tmp_path, **{name: typed})


def test_what_is_stated_already_is_told_and_not_asked(tmp_path):
    asked_through(tmp_path)
    done = rig_stage(scene(tmp_path)).run()
    assert done.lines[1] == "rig.toml states already:"
    assert rig_stage(scene(tmp_path, rig__known=done.entries["rig.known"])) is None
