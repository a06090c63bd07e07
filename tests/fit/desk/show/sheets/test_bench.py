"""Cards, rig, levels and a sweep's file as sheets."""

from dataclasses import replace
from pathlib import Path

import pytest

from fit.desk.show.sheets.bench import sheet_of_devices, sheet_of_level, sheet_of_rig, sheet_of_stimulus
from fit.desk.show.terminal import lines
from measure.logbook.rig import Interface, Rig
from measure.response import Finding
from measure.signal.levels import ChannelLevel
from measure.signal.stimulus import Sweep
from measure.source.devices import Device, DeviceList


def card(name, *, rates_hz=(48000,), is_default=False):
    return Device(
        name=name,
        host_api="JACK",
        n_inputs=2,
        n_outputs=2,
        own_rate_hz=48000,
        rates_hz=rates_hz,
        is_default_input=is_default,
        is_default_output=False,
    )


def test_a_card_that_the_rig_names_is_marked_and_one_that_is_gone_is_said():
    rig = Rig(interface=Interface(device="box", input_device="gone"))
    listed = DeviceList(library="", explanation="2 devices.", devices=(card("box", is_default=True), card("dumb", rates_hz=None)))
    table, shared, said = sheet_of_devices(listed, rig).blocks
    assert table.rows[1] == ("box", "JACK", "2", "2", "48 kHz", "48", "maybe", "in the rig, default input")
    assert table.rows[2][4:] == ("did not answer", "", "", "")
    assert shared.lines[0].startswith("Resampled maybe: shared mode,")
    assert said.lines == ("2 devices.", "The rig names gone, which is not there.")


@pytest.mark.parametrize(
    ("promise", "word"),
    [
        ({"may_resample": False}, "no"),
        ({"exact_hz": (44100, 48000)}, "no"),
        ({"exact_hz": (48000,)}, "not at 48 kHz"),
        ({"exact_hz": ()}, "maybe"),
        ({}, "maybe"),
    ],
)
def test_what_a_card_promises_of_its_samples_is_said(promise, word):
    one = replace(card("box", rates_hz=(44100, 48000)), **promise)
    table, *others = sheet_of_devices(DeviceList(library="", explanation="", devices=(one,)), Rig()).blocks
    assert table.rows[1][6] == word
    assert any("shared mode" in line for text in others for line in text.lines) == (word != "no")


def test_control_characters_of_a_card_never_reach_the_terminal():
    listed = DeviceList(library="", explanation="", devices=(card("a\x1b[31mb"),))
    assert "\x1b" not in "".join(lines(sheet_of_devices(listed, Rig())))


def test_levels_say_the_cure_or_what_comes_next():
    level = ChannelLevel(peak_dbfs=-12.3, tone_dbfs=-20.0, hum_dbfs=-70.0, noise_dbfs=-90.0)
    good = Finding(code="exciter", severity="pass", text="the pickup hears the exciter")
    bad = Finding(code="clipped", severity="warn", text="lower the gain")
    assert lines(sheet_of_level((), (), "")) == ["Nothing was heard long enough to tell levels."]
    assert lines(sheet_of_level((level,), (good,), "coilsweep take open"))[-2:] == [
        "All right: the pickup hears the exciter.",
        "Next: coilsweep take open",
    ]
    told = lines(sheet_of_level((level, level), (good, bad), "coilsweep take open"))
    assert told[1].split()[:3] == ["pickup", "-12.3", "dBFS"]
    assert told[3:] == ["look: lower the gain"]


def test_a_rig_says_what_is_stated_missing_and_odd():
    told = lines(sheet_of_rig(Path("rig.toml"), [("input.resistance", "1M")], [("input.capacitance", "--c", "of it")], ["low"]))
    assert told == [
        "Rig in rig.toml",
        "  input.resistance  1M",
        "",
        "Still missing",
        "  input.capacitance  --c  of it",
        "",
        "look: low",
    ]
    assert lines(sheet_of_rig(Path("rig.toml"), [], [], [])) == ["No rig is stated yet."]


def test_a_stimulus_names_the_command_that_uses_it():
    told = lines(sheet_of_stimulus(Path("a b.wav"), Sweep(rate_hz=48000, start_hz=20, stop_hz=20000), seconds=3.25))
    assert told[0] == "Written: a b.wav, 3.25 s, 48000 Hz, 24 bit"
    assert told[-1] == '  coilsweep import NAME RECORDING.wav --stimulus "a b.wav"'
