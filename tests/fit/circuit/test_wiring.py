"""From settings to the network that matters: what is joined, what drops out."""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.instrument import Instrument, Part, Pickup, Pot, SecondCoil, Switch
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness, solve_instrument
from fit.circuit.wiring import Passive, is_at_stop, joined_nodes, passives_of, stop_key, wire_instrument
from tests.wired_layouts import FREQUENCY_HZ, S, harness_of, values_of


def coils_at(instrument, **stated):
    return harness_of(instrument, stated).groups[0].wiring.coils


def test_parts_that_the_output_cannot_feel_drop_out():
    instrument = read_instrument(layout_text("three-singles"))
    harness = harness_of(instrument, {"selector": "bridge", "volume": "10"})
    assert harness.groups[0].wiring.coils == ("bridge",)
    assert len(harness.groups[0].wiring.network.nodes) == 1
    (transfer,) = solve_harness(harness, values=values_of(instrument))
    assert "pot.tone-1" not in transfer.by_log
    assert "neck.inductance" not in transfer.by_log
    assert not transfer.voltage[1:].any()


def test_shorted_output_is_silent():
    instrument = read_instrument(layout_text("one-pickup"))
    (transfer,) = solve_harness(harness_of(instrument, {"volume": "0"}), values=values_of(instrument))
    assert not transfer.voltage.any()
    assert transfer.by_log == {}


def test_coil_cut_off_stays_where_it_is_coupled():
    instrument = read_instrument(layout_text("humbucker-modes"))
    assert coils_at(instrument, mode="series") == ("bridge", "bridge.second")
    assert set(coils_at(instrument, mode="split")) == {"bridge", "bridge.second"}
    values = values_of(instrument)
    harness = harness_of(instrument, {"mode": "split"})
    (coupled,) = solve_harness(harness, values=values)
    (free,) = solve_harness(harness, values=values | {"bridge.coupling": 1e-9})
    assert np.abs(coupled.voltage / free.voltage - 1).max() > 1e-3


POT = Pot(taper="linear", cw="hot", wiper="tip", ccw="ground")
PICKUPS = {"bridge": Pickup(ends=("hot", "ground")), "neck": Pickup(ends=("neck hot", "ground"))}
SWITCHED = Instrument(
    pickup=PICKUPS,
    pot={"volume": POT},
    switch={"mode": Switch(positions={"off": (), "on": (("neck hot", "hot"), ("x", "neck hot"))})},
)


def joined(*, has_stops=False, **stated):
    return joined_nodes(SWITCHED, read_settings(SWITCHED, stated), has_stops=has_stops)


def test_closed_switches_make_nodes_one():
    assert joined(volume="5") == {}
    found = joined(volume="5", mode="on")
    assert found["neck hot"] == found["hot"] == found["x"]


@pytest.mark.parametrize(("turn", "pair"), [("0", ("ground", "tip")), ("10", ("hot", "tip"))])
def test_a_pot_at_an_end_joins_its_wiper_with_that_lug(turn, pair):
    found = joined(volume=turn)
    assert set(found) == set(pair)
    assert len(set(found.values())) == 1
    stop = {"0": "pot.volume.stop_0", "10": "pot.volume.stop_10"}
    assert joined(volume=turn, has_stops=True) == {}
    assert joined(volume=turn, has_stops=[stop[turn]]) == {}
    (other,) = set(stop.values()) - {stop[turn]}
    assert joined(volume=turn, has_stops=[other]) == found


def test_ground_stands_for_all_that_is_joined_to_it():
    instrument = Instrument(pickup=PICKUPS, switch={"mode": Switch(positions={"on": (("a", "b"), ("b", "ground"), ("c", "a"))})})
    found = joined_nodes(instrument, read_settings(instrument, {}))
    assert found == dict.fromkeys(("a", "b", "c", "ground"), "ground")


def parts_at(turn, *, pot=POT, has_stops=False):
    instrument = Instrument(
        pickup=PICKUPS, pot={"volume": pot}, capacitor={"c": Part(between=("a", "b"))}, resistor={"r": Part(between=("b", "d"))}
    )
    found = list(passives_of(instrument, read_settings(instrument, {"volume": turn}), has_stops=has_stops))
    assert found[-2:] == [
        Passive(key="capacitor.c", is_capacitor=True, ends=("a", "b")),
        Passive(key="resistor.r", is_capacitor=False, ends=("b", "d")),
    ]
    assert all(part.key == "pot.volume" and not part.is_capacitor for part in found[:-2])
    return [(part.ends, part.side, part.stop) for part in found[:-2]]


LOWER, UPPER = ("tip", "ground"), ("hot", "tip")


@pytest.mark.parametrize(
    ("turn", "expected"),
    [("5", [(LOWER, "ccw", ""), (UPPER, "cw", "")]), ("0", [(UPPER, "", "")]), ("10", [(LOWER, "", "")])],
)
def test_a_pot_is_its_segments_beside_the_wiper(turn, expected):
    assert parts_at(turn) == expected


def test_a_pot_with_ohms_left_is_them_and_the_rest():
    low, high = "pot.volume.stop_0", "pot.volume.stop_10"
    assert parts_at("0", has_stops=True) == [(LOWER, "stop", low), (UPPER[::-1], "rest", low)]
    assert parts_at("10", has_stops=True) == [(UPPER[::-1], "stop", high), (LOWER, "rest", high)]
    assert parts_at("10", has_stops=[low]) == parts_at("10")
    assert parts_at("5", has_stops=True) == parts_at("5")


def test_a_pot_without_all_its_lugs():
    tone = Pot(taper="audio", wiper="tip", ccw="t")
    assert parts_at("10", pot=tone) == [(("tip", "t"), "", "")]
    assert parts_at("0", pot=tone) == []
    assert parts_at("0", pot=tone, has_stops=True) == [(("tip", "t"), "stop", "pot.volume.stop_0")]
    assert parts_at("5", pot=Pot(taper="audio", cw="a", ccw="b")) == [(("a", "b"), "", "")]


def test_ends_of_the_travel():
    assert [is_at_stop(fraction) for fraction in (0.0, 1e-10, 1e-8, 0.5, 1 - 1e-8, 1 - 1e-10, 1.0)] == [
        True,
        True,
        False,
        False,
        False,
        True,
        True,
    ]
    assert [stop_key("pot.tone", fraction) for fraction in (0.0, 1.0)] == ["pot.tone.stop_0", "pot.tone.stop_10"]


LOAD = [Passive(key="input.resistance", is_capacitor=False, ends=("tip", "ground"))]


def test_parts_in_parallel_are_one_branch_and_the_load_comes_first():
    instrument = Instrument(
        pickup={"bridge": Pickup(ends=("tip", "ground"))},
        capacitor={"one": Part(between=("ground", "tip")), "apart": Part(between=("tip", "loose"))},
    )
    wiring = wire_instrument(instrument, read_settings(instrument, {}), load=LOAD)
    assert wiring.network.nodes == ("tip",)
    ((*parts,),) = wiring.branches
    assert [part.key for part in parts] == ["input.resistance", "capacitor.one", "bridge.winding_capacitance"]
    assert (wiring.coils, wiring.pairs) == (("bridge",), ())


def test_the_load_is_no_part_of_the_signature():
    instrument = Instrument(pickup={"bridge": Pickup(ends=("tip", "ground"))})
    more = [*LOAD, Passive(key="added.1", is_capacitor=True, ends=("tip", "ground"))]
    one, other = (wire_instrument(instrument, read_settings(instrument, {}), load=load) for load in (LOAD, more))
    assert one.signature == other.signature


def test_polarity_and_values_tell_networks_apart():
    def signature(*ends, pot=POT, turn="5"):
        instrument = Instrument(pickup={"bridge": Pickup(ends=ends)}, pot={"volume": pot})
        return wire_instrument(instrument, read_settings(instrument, {"volume": turn}), load=LOAD).signature

    assert signature("hot", "ground") == signature("hot", "ground", turn="7")
    assert signature("hot", "ground") != signature("ground", "hot")
    assert signature("hot", "ground") != signature("hot", "ground", turn="10")


def test_coupled_coils_are_paired_first_to_second():
    instrument = read_instrument(layout_text("humbucker-modes"))
    (group,) = harness_of(instrument, {"mode": "series"}).groups
    wiring = group.wiring
    assert [(wiring.coils[first], wiring.coils[second]) for first, second in wiring.pairs] == [("bridge", "bridge.second")]


def test_nothing_is_heard_without_a_coil_or_with_the_output_on_ground():
    instrument = Instrument(pickup=PICKUPS, resistor={"r": Part(between=("tip", "ground"))})
    assert wire_instrument(instrument, read_settings(instrument, {}), load=LOAD).network is None
    shorted = Instrument(pickup={"bridge": Pickup(ends=("hot", "ground"))}, pot={"volume": POT})
    at_0 = read_settings(shorted, {"volume": "0"})
    assert wire_instrument(shorted, at_0, load=LOAD).network is None
    assert wire_instrument(shorted, at_0, load=LOAD, has_stops=["pot.volume.stop_0"]).network is not None
    assert wire_instrument(shorted, at_0, load=LOAD, has_stops=["pot.volume.stop_10"]).network is None


def test_without_a_word_of_stops_pots_reach_their_ends():
    settings = read_settings(SWITCHED, {"volume": "0"})
    assert joined_nodes(SWITCHED, settings) == joined(volume="0") != {}
    assert [part.ends for part in passives_of(SWITCHED, settings)] == [UPPER]


# A coil that hangs free of the circuit is felt by its field alone; which of its nodes stands for ground is all the same.
@pytest.mark.parametrize("ends", [("k", "m"), ("k", "ground"), ("ground", "k")])
def test_a_coupled_coil_that_floats(ends):
    second = SecondCoil(ends=ends, coupling=0.4)
    instrument = Instrument(
        pickup={"bridge": Pickup(ends=("tip", "ground"), second=second)},
        resistor={"r": Part(between=second.ends)},
    )
    coil = {"dcr": 4e3, "inductance": 2.0, "winding_capacitance": 1e-10}
    values = {f"bridge{of}.{name}": value for of in ("", ".second") for name, value in coil.items()}
    values |= {"bridge.coupling": 0.4, "resistor.r": 1e4, "input.resistance": 1e6, "input.capacitance": 4e-10}
    case = Case(settings=read_settings(instrument, {}), frequency_hz=FREQUENCY_HZ)
    (transfer,) = solve_instrument(instrument, [case], values=values, excite=[{"bridge": 1.0}])
    z, mutual = 4e3 + S * 2.0, S * 0.8
    seen = z - mutual**2 / (z + 1 / (1e-4 + S * 1e-10))
    np.testing.assert_allclose(transfer.voltage[0], 1 / (1 + seen * (1e-6 + S * 5e-10)), rtol=1e-10)
