"""Before a take: cautions once a session, what the rig leaves open, what a method needs, the virtual bench."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import msgspec
import numpy as np
import pytest

from fit.circuit.layouts import layout_text
from fit.desk.bench.preparation import (
    INPUT_GAIN,
    SESSION_S,
    bench_of,
    require_reference,
    require_resistor,
    say_cautions,
    say_open,
    virtual_source,
)
from fit.desk.book.desk import Desk
from fit.desk.show.words import CAUTIONS
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Input, Interface, Reference, Rig
from measure.logbook.store import list_takes, open_logbook
from measure.signal.stimulus import Sweep
from measure.source.soundcard import SoundCard
from tests.kept_takes import keep, new_book

RIG = Rig(input=Input(resistance="1M ± 1%", capacitance="185p ± 3p"))


def talk(folder):
    said = []
    return Desk(logbook=folder, say=said.append, tell=said.append, steps=lambda items, _: items), said


@pytest.fixture
def made(monkeypatch):
    """The takes of a logbook as if made here, so long ago, with a card of that name."""

    def put(age_s, device="box"):
        then = (datetime.now(UTC) - timedelta(seconds=age_s)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        facts = {"stimulus": Sweep(rate_hz=48000), "time_utc": then, "rig": Rig(interface=Interface(device=device))}

        def listed(logbook):
            listing = list_takes(logbook)
            return replace(listing, takes=tuple(msgspec.structs.replace(take, **facts) for take in listing.takes))

        monkeypatch.setattr("fit.desk.bench.preparation.list_takes", listed)

    return put


@pytest.mark.parametrize(
    ("age_s", "device", "is_said"), [(60.0, "box", False), (SESSION_S + 60, "box", True), (60.0, "another", True)]
)
def test_cautions_are_said_once_a_session_and_with_another_card(tmp_path, made, age_s, device, is_said):
    logbook = new_book(tmp_path)
    keep(logbook, "open")
    made(age_s, device)
    desk, said = talk(tmp_path)
    say_cautions(desk, logbook, Rig(interface=Interface(device="box")), method="exciter")
    assert said == (list(CAUTIONS) if is_said else [])


def test_before_the_first_take_all_cautions_are_said(tmp_path):
    desk, said = talk(tmp_path)
    say_cautions(desk, open_logbook(tmp_path), Rig(), method="exciter")
    assert said == list(CAUTIONS)


def test_a_quiet_take_needs_no_word_on_sweeps(tmp_path):
    desk, said = talk(tmp_path)
    say_cautions(desk, open_logbook(tmp_path), Rig(), method="quiet")
    assert said == [line for line in CAUTIONS if not line.startswith("Sweeps")]
    assert len(said) == len(CAUTIONS) - 1


def test_imported_takes_do_not_silence_the_cautions(tmp_path):
    logbook = new_book(tmp_path)
    keep(logbook, "open")
    desk, said = talk(tmp_path)
    say_cautions(desk, logbook, Rig(), method="exciter")
    assert said == list(CAUTIONS)


def test_what_the_rig_leaves_open_is_said_with_what_is_taken(tmp_path, monkeypatch):
    monkeypatch.setattr(SoundCard, "describe", lambda _: "the system's own card")
    desk, said = talk(tmp_path)
    say_open(desk, Rig(interface=Interface(rate_hz=48000)), SoundCard())
    assert said[0].startswith("The rig does not say otherwise, so these are taken: ")
    assert "input 1 for the pickup" in said[0]
    assert "Hz" not in said[0]  # the rate is stated
    assert said[1].startswith("Before a fit the rig has to state ")
    assert "input.resistance" in said[1]


def test_on_the_virtual_bench_no_channel_is_taken(tmp_path):
    desk, said = talk(tmp_path)
    say_open(desk, Rig(), virtual_source(open_logbook(tmp_path), RIG, Conditions()))
    assert not any(line.startswith("The rig does not say otherwise") for line in said)


@pytest.mark.parametrize(
    ("method", "resistor", "says"),
    [("impedance", None, "needs the resistor"), ("exciter", "100k ± 1%", "--method impedance alone")],
)
def test_a_series_resistor_belongs_to_an_impedance(method, resistor, says):
    with pytest.raises(ValueError, match=says):
        require_resistor(Conditions(method=method, series_resistor=resistor))


@pytest.mark.parametrize(
    ("method", "resistor"), [("impedance", "100k ± 1%"), ("exciter", None), ("plate", None), ("quiet", None)]
)
def test_what_fits_together_is_let_through(method, resistor):
    require_resistor(Conditions(method=method, series_resistor=resistor))


def test_an_impedance_needs_a_reference():
    impedance = Conditions(method="impedance", series_resistor="100k ± 1%")
    with pytest.raises(ValueError, match="the rig has no reference channel"):
        require_reference(Rig(reference=Reference(kind="none")), impedance)
    require_reference(Rig(reference=Reference(kind="loopback")), impedance)
    require_reference(Rig(reference=Reference(kind="none")), Conditions())


@pytest.mark.parametrize("method", ["impedance", "plate"])
def test_the_virtual_bench_has_not_every_method(tmp_path, method):
    with pytest.raises(ValueError, match=f"exciter and quiet, not {method}"):
        virtual_source(open_logbook(tmp_path), RIG, Conditions(method=method))


def test_the_input_of_the_virtual_bench_is_turned_down(tmp_path):
    logbook, hz = open_logbook(tmp_path), np.array([100.0, 1e3, 5e3])
    whole, source = bench_of(logbook, RIG, Conditions()), virtual_source(logbook, RIG, Conditions())
    np.testing.assert_allclose(source.pickup(hz), INPUT_GAIN * whole.pickup(hz), rtol=1e-12)
    np.testing.assert_allclose(source.reference(hz), whole.reference(hz), rtol=1e-12)


def test_each_take_has_its_own_noise_and_instrument_toml_is_what_lies_there(tmp_path):
    logbook, hz = new_book(tmp_path), np.array([100.0, 1e3, 5e3])
    first = bench_of(logbook, RIG, Conditions())
    keep(logbook, "open")
    second = bench_of(logbook, RIG, Conditions())
    assert first.seed != second.seed
    (logbook.path / "instrument.toml").write_text(layout_text("one-pickup"), encoding="utf-8")
    assert not np.allclose(bench_of(logbook, RIG, Conditions()).pickup(hz), second.pickup(hz), rtol=1e-2)
