"""What a result was measured with and is referred to, row by row."""

from fit.circuit.reading import read_instrument
from fit.desk.book.equipment import equipment_rows, reference_rows
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Calibration, Exciter, Input, Interface, Reference, Rig, ValueOrigin
from measure.logbook.take import RecordingFile, ResponseFile, Take
from tests.instrument_texts import SOUND

RIG = Rig(
    interface=Interface(device="two-channel card", host_api="some api", rate_hz=96000),
    reference=Reference(kind="current", sense_resistor="100 ± 1%", source="data sheet"),
    input=Input(resistance="1M ± 1%", capacitance="185p ± 3p", source="meter no. 3", date="2026-03-01"),
    part={"1 nF ±1 %": ValueOrigin(source="certificate 12", date="2026-02"), "what is no part": ValueOrigin(source="x")},
)


def take(name="open", *, rig=RIG, simulated=False, added="", **stated):
    return Take(
        name=name,
        conditions=Conditions(added=added, **stated),
        recordings=(RecordingFile(file="recording.wav"),),
        rate_hz=96000,
        rig=rig,
        simulated=simulated,
        tool_version="0.1.0",
    )


def test_equipment_is_named_once():
    assert equipment_rows([take(), take("plus")], Rig()) == [
        ("sound card", "two-channel card, some api; 96000 Hz; pickup at input 1, reference at input 2"),
        ("sample clock", "100 ppm, assumed"),
        ("sense resistor", "100 ± 1%, data sheet"),
        ("program", "coilsweep 0.1.0"),
    ]


def test_a_virtual_bench_and_a_table_have_no_card():
    table = Take(name="t", kind="response", response_file=ResponseFile(file="response.csv"))
    rows = dict(equipment_rows([take(simulated=True), table], Rig()))
    assert rows["virtual bench"] == "computed, no equipment"
    assert rows["measured elsewhere"] == "with what, nobody stated"
    assert "sound card" not in rows


def test_calibrations_are_named_with_their_date():
    calibration = Calibration(date="2026-03-02T10:00:00Z", rate_hz=96000, device="card", input="input-1.json")
    rig = Rig(calibration=calibration, input=Input(resistance="1M ± 1%", capacitance="185p ± 3p"))
    assert ("calibration of input", "input-1.json, 2026-03-02") in equipment_rows([take(rig=rig)], Rig())
    assert ("input.resistance", "1M ± 1%", "coilsweep calibrate input", "2026-03-02") in reference_rows(
        [take(rig=rig)], Rig(), None, dcr=None
    )


def test_references_say_where_they_are_from():
    takes = [take(), take("plus", added="1n ± 1%, 150k ± 1%"), take("ohms", series_resistor="100k ± 1%")]
    assert reference_rows(takes, Rig(), None, dcr="6.35k ± 1%") == [
        ("dcr", "6.35k ± 1%", "with the fit", ""),
        ("input.resistance", "1M ± 1%", "meter no. 3", "2026-03-01"),
        ("input.capacitance", "185p ± 3p", "meter no. 3", "2026-03-01"),
        ("added in plus", "1n ± 1%", "certificate 12", "2026-02"),
        ("added in plus", "150k ± 1%", "", ""),
        ("series resistor in ohms", "100k ± 1%", "", ""),
    ]


def test_what_was_stated_later_tells_of_older_takes():
    """A take keeps its rig as it was then; where that says nothing of an origin, what rig.toml says now does."""
    old = Rig(input=Input(resistance="1M ± 1%", capacitance="185p ± 3p"))
    rows = reference_rows([take(rig=old, added="1n ± 1%")], RIG, None, dcr=None)
    assert ("input.resistance", "1M ± 1%", "meter no. 3", "2026-03-01") in rows
    assert ("added in open", "1n ± 1%", "certificate 12", "2026-02") in rows


def test_without_a_current_reference_the_corner_is_one():
    rig = Rig(reference=Reference(kind="none"), exciter=Exciter(corner_hz="9k ± 5%", source="reckoned"))
    assert reference_rows([take(rig=rig)], Rig(), None, dcr=None) == [("exciter.corner_hz", "9k ± 5%", "reckoned", "")]
    assert "reference" not in dict(equipment_rows([take(rig=rig)], Rig()))["sound card"]


def test_values_of_an_instrument_with_a_bound_are_references():
    text = SOUND.replace('value = "500k ± 1%"', 'value = "500k ± 1%"\nsource = "meter no. 3"\ndate = "2026-03-01"')
    instrument = read_instrument(text)
    rows = reference_rows([], Rig(), instrument, dcr=None)
    assert ("pot.volume, instrument.toml", "500k ± 1%", "meter no. 3", "2026-03-01") in rows
    assert ("neck.dcr, instrument.toml", "7.9k ± 1%", "", "") in rows
    assert not any("pot.tone" in row[0] for row in rows)  # only marked
    assert not any("neck.dcr" in row[0] for row in reference_rows([], Rig(), instrument, dcr="7k"))
