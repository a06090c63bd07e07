"""What carries over from a fit: losses into the wiring, parts into another one, and coils that stay passive."""

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.carry_over import adopt_losses, check_changes, shared_parts
from fit.answers.predict.prediction import read_changes
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from tests.found_parts import INSTRUMENT, found_parts, real_parts


def test_parts_of_another_wiring_are_kept_where_they_are_stated_alike():
    parts = found_parts()
    rewired = layout_text("one-pickup")
    for lug in ("cw", "wiper"):
        rewired = rewired.replace(f'{lug} = "bridge hot"', f'{lug} = "bus"')
    rewired += '\n[resistor.link]\nvalue = "10k"\nbetween = ["bridge hot", "bus"]\n'
    assert shared_parts(parts, INSTRUMENT, read_instrument(rewired)).names == parts.names
    other_pot = read_instrument(rewired.replace('marked = "500k ± 20%"', 'marked = "250k ± 20%"', 1))  # the volume pot's
    assert set(parts.names) - set(shared_parts(parts, INSTRUMENT, other_pot).names) == {"pot.volume"}
    other_coil = read_instrument(rewired.replace('"4.4"', '"3"').replace("22n", "10n"))
    assert set(shared_parts(parts, INSTRUMENT, other_coil).names) == {
        "pot.volume",
        "pot.tone",
        "pot.tone@6",
        "input.resistance",
        "input.capacitance",
    }
    linear = read_instrument(rewired.replace('"audio"', '"linear"').replace('"4.4"', '"3"').replace("22n", "10n"))
    assert shared_parts(parts, INSTRUMENT, linear) is None


def test_they_stay_with_their_part_in_another_wiring():
    parts = real_parts()
    assert shared_parts(parts, INSTRUMENT, INSTRUMENT).names == parts.names
    other = read_instrument(layout_text("one-pickup").replace("22n", "10n"))
    gone = set(parts.names) - set(shared_parts(parts, INSTRUMENT, other).names)
    assert gone == {"capacitor.tone", "capacitor.tone.loss_tangent", "capacitor.tone.leak"}


WITH_LOSSES = read_instrument(
    layout_text("one-pickup").replace('"110p"', '"110p"\neddy_loops = [[0.6, 9e3]]\neddy_spreads = [[0.5, 2e3, 1.2]]', 1)
)


# An active coil would be predicted to have no peak, and nobody would notice.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("bridge.eddy_loop_1.coupling=2", r"pickup\.bridge\.eddy_loops: \[2, 9000\] is no loop"),
        (
            "bridge.eddy_loop_1.coupling=0.9",
            r"eddy_loops and eddy_spreads: 2 loops with Σk² 1\.06, expected at most 8",
        ),
        ("bridge.eddy_spread_1.half_width=1e9", r"eddy_spreads: \[0\.5, 2000, 1e\+09\] is no spread"),
        ("bridge.eddy_spread_1.corner=0.1", r"eddy_spreads: \[0\.5, 0\.1, 1\.2\] is no spread"),
    ],
)
def test_changed_losses_must_leave_the_coil_passive(text, said):
    with pytest.raises(ValueError, match=said):
        read_changes(WITH_LOSSES, [text])
    assert read_changes(WITH_LOSSES, ["bridge.eddy_loop_1.coupling=0.7"])["bridge.eddy_loop_1.coupling"].value == 0.7


def test_coupling_of_two_coils_must_stay_below_one():
    instrument = read_instrument(layout_text("humbucker-modes"))
    (name,) = instrument.pickup
    with pytest.raises(ValueError, match=r"coupling: 1\.2 is no coupling, expected a number between -1 and 1"):
        read_changes(instrument, [f"{name}.coupling=1.2"])
    assert read_changes(instrument, [f"{name}.coupling=0.2"])


def parts_of(values):
    return MeasuredParts(
        values=values, names=tuple(values), log_covariance=np.zeros((len(values),) * 2), takes=("open",), simulated=False
    )


TWO_COILS = {
    "bridge.inductance": 2.0, "bridge.dcr": 4e3, "bridge.winding_capacitance": 1e-10, "bridge.coupling": 0.2,
    "bridge.second.inductance": 1.5, "bridge.second.dcr": 3e3, "bridge.second.winding_capacitance": 9e-11,
    "bridge.eddy_loop_1.coupling": 0.3, "bridge.eddy_loop_1.corner": 8e3, "bridge.eddy_loop_2.coupling": 0.2,
    "bridge.eddy_loop_2.corner": 2e3, "bridge.second.eddy_spread_1.coupling": 0.4, "bridge.second.eddy_spread_1.corner": 9e3,
    "bridge.second.eddy_spread_1.half_width": 1.1,
}  # fmt: skip


def test_losses_that_were_found_stand_in_for_those_stated():
    found = adopt_losses(WITH_LOSSES, found_parts()).pickup["bridge"]
    assert found.eddy_loops == ()  # the fit found a spread alone
    assert found.eddy_spreads == ((0.4, 8e3, 1.2),)
    assert (found.ends, found.second) == (WITH_LOSSES.pickup["bridge"].ends, None)
    stated = adopt_losses(WITH_LOSSES, parts_of({"pot.tone": 5e5})).pickup["bridge"]  # not measured: as it was
    assert stated == WITH_LOSSES.pickup["bridge"]


def test_a_pickup_of_two_coils_is_parted_in_the_middle():
    found = adopt_losses(INSTRUMENT, parts_of(TWO_COILS)).pickup["bridge"]
    hot, cold = INSTRUMENT.pickup["bridge"].ends
    assert found.ends == (hot, "(middle)bridge")
    assert found.second.ends == ("(middle)bridge", cold)
    assert found.second.coupling == 0.2
    assert found.eddy_loops == ((0.3, 8e3), (0.2, 2e3))
    assert (found.second.eddy_loops, found.second.eddy_spreads) == ((), ((0.4, 9e3, 1.1),))
    assert found.eddy_spreads == ()


def test_a_pickup_whose_middle_is_wired_keeps_its_ends():
    instrument = read_instrument(layout_text("humbucker-modes"))
    before = instrument.pickup["bridge"]
    found = adopt_losses(instrument, parts_of(TWO_COILS)).pickup["bridge"]
    assert (found.ends, found.second.ends) == (before.ends, before.second.ends)
    assert found.second.coupling == 0.2


def test_changes_that_leave_a_coil_passive():
    check_changes(WITH_LOSSES, {"bridge.eddy_loop_1.coupling": 0.8})  # 0.8² + 0.5² < 1
    check_changes(WITH_LOSSES, {"bridge.inductance": 9.0})
    with pytest.raises(ValueError, match=r"Σk² 1\.05"):
        check_changes(WITH_LOSSES, {"bridge.eddy_loop_1.coupling": 0.6, "bridge.eddy_spread_1.coupling": 0.83})
    instrument = read_instrument(layout_text("humbucker-modes"))
    check_changes(instrument, {"bridge.coupling": -0.9})
    with pytest.raises(ValueError, match="is no coupling, expected a number between -1 and 1"):
        check_changes(instrument, {"bridge.coupling": -1.0})


def test_nothing_but_the_input_is_nothing():
    assert shared_parts(parts_of({"input.resistance": 1e6}), INSTRUMENT, INSTRUMENT) is None
    both = parts_of({"input.resistance": 1e6, "pot.tone": 5e5})
    assert shared_parts(both, INSTRUMENT, INSTRUMENT).names == ("input.resistance", "pot.tone")
    assert shared_parts(both, INSTRUMENT, read_instrument(layout_text("one-pickup").replace("pot.tone]", "pot.colour]"))) is None


def test_a_marking_that_became_a_measurement_is_another_statement():
    text = layout_text("one-pickup")
    measured = read_instrument(text.replace('marked = "22n ± 10%"', 'value = "22n ± 10%"'))
    parts = parts_of({"capacitor.tone": 22e-9, "pot.tone": 5e5})
    assert shared_parts(parts, INSTRUMENT, measured).names == ("pot.tone",)
