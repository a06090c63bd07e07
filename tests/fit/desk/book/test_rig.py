"""What a logbook states of the rig, row by row."""

from fit.desk.book.rig import RIG_OPTIONS, rig_of, rig_rows
from measure.logbook.rig import Calibration, Exciter, Input, Interface, Reference, Rig, write_rig
from measure.logbook.store import open_logbook, rig_path


def test_a_logbook_without_rig_has_an_empty_one(tmp_path):
    assert rig_of(open_logbook(tmp_path)) == Rig()
    assert rig_rows(Rig()) == []


def test_what_is_written_is_read(tmp_path):
    logbook = open_logbook(tmp_path)
    write_rig(rig_path(logbook), {"input.resistance": "1M ± 1%", "interface.rate_hz": 48000})
    assert rig_rows(rig_of(logbook)) == [("interface.rate_hz", "48000 Hz"), ("input.resistance", "1M ± 1%")]


def test_rows_stand_in_the_order_of_the_file_each_with_its_unit():
    rig = Rig(
        interface=Interface(device="box", rate_hz=96000, pickup_channel=2, clock=20.0),
        reference=Reference(kind="current", sense_resistor="100 ± 1%"),
        exciter=Exciter(corner_hz=9000.0),
        input=Input(capacitance="185p ± 3p"),
        calibration=Calibration(date="2026-01-31", rate_hz=96000, device="", input="input.json"),
    )
    rows = rig_rows(rig)
    assert [key for key, _ in rows] == [
        *("interface.device", "interface.rate_hz", "interface.pickup_channel", "interface.clock"),
        *("reference.kind", "reference.sense_resistor", "exciter.corner_hz", "input.capacitance", "calibration.input"),
    ]
    told = dict(rows)
    assert told["interface.rate_hz"] == "96000 Hz"
    assert told["interface.clock"] == "20 ppm"
    assert told["interface.pickup_channel"] == "2"
    assert told["exciter.corner_hz"] == "9000 Hz"
    assert told["interface.device"] == "box"


def test_each_key_has_the_option_that_states_it():
    from fit.desk.command.bench import rig

    options = {option for parameter in rig.params for option in parameter.opts}
    assert set(RIG_OPTIONS.values()) <= options
    for key in RIG_OPTIONS:
        section, name = key.split(".")
        assert hasattr(getattr(Rig(), section), name)
