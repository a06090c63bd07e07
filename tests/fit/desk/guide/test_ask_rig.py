"""The stage that asks for the rig: interfaces, what is stated already, what is needed."""

import re

from fit.desk.guide.scene import Bench, Offer
from tests.desk_bench import run
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
