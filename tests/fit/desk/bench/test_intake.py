"""The one way in: whatever a take comes from, it is kept as it was stated."""

import numpy as np
import pytest

from fit.desk.bench.imports import Files, import_take
from fit.desk.bench.take import Order, make_take
from fit.desk.book.desk import Desk
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.store import open_logbook, read_take
from measure.source.virtual import Noise, VirtualBench
from tests.desk_bench import coil, flat

STATED = Conditions(
    added="1n, 150k ± 1%",
    controls={"volume": "10", "selector": "both"},
    coil_over="neck",
    coil_moved=True,
    is_after=True,
    temperature_c=24.0,
    note="a warm day",
)


def quiet_desk(folder):
    said = []
    return Desk(logbook=folder, say=said.append, tell=said.append, steps=lambda items, _label: items), said


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    """One made here, its recording imported, and a table of a response."""
    folder = tmp_path_factory.mktemp("intake")
    desk, said = quiet_desk(folder / "book")
    source = VirtualBench(pickup=coil(1e-9), reference=flat, noise=Noise(pickup_white=2e-5, reference_white=1e-5), seed=1)
    made = make_take(desk, Order(name="made", conditions=STATED, simulated=True, duration_s=1.0), source=source)
    recording = folder / "book" / "takes" / "made" / "recording.wav"
    import_take(desk, "brought", Files(paths=(recording,), simulated=True), conditions=STATED)
    frequency_hz = np.geomspace(50, 15e3, 60)
    value = coil(1e-9)(frequency_hz)
    table = folder / "response.csv"
    rows = zip(frequency_hz, value.real, value.imag, strict=True)
    table.write_text("frequency,real,imaginary\n" + "".join(f"{f},{re},{im}\n" for f, re, im in rows))
    import_take(desk, "table", Files(paths=(table,)), conditions=STATED)
    logbook = open_logbook(folder / "book")
    return desk, said, made, {name: read_take(logbook, name) for name in ("made", "brought", "table")}


@pytest.mark.long
def test_conditions_are_kept_as_stated(takes):
    _, said, made, kept = takes
    assert [take.conditions for take in kept.values()] == [STATED] * 3
    assert made.take == kept["made"]
    assert sum("added" in line and line.startswith("warning: ") for line in said) == 3  # the bound of 1n is assumed, each time


@pytest.mark.long
def test_what_was_recorded_is_told_apart(takes):
    kept = takes[3]
    assert [(take.kind, take.rate_hz, take.simulated) for take in kept.values()] == [
        ("recording", kept["made"].rate_hz, True),
        ("recording", kept["made"].rate_hz, True),
        ("response", None, False),
    ]
    assert kept["made"].recordings[0].sha256 == kept["brought"].recordings[0].sha256
    assert kept["made"].stimulus.duration_s == 1.0
    assert kept["brought"].stimulus is None  # nobody said what was played


def test_a_name_is_used_once_by_every_way_in(takes, tmp_path):
    desk = takes[0]
    for name in takes[3]:
        with pytest.raises(FileError, match=f'there is a take "{name}" already'):
            import_take(desk, name, Files(paths=(tmp_path / "any.wav",)), conditions=STATED)
        with pytest.raises(FileError, match=f'there is a take "{name}" already'):
            make_take(desk, Order(name=name, conditions=STATED), source=None)
