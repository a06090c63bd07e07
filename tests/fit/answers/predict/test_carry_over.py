"""What carries over from a fit: losses into the wiring, parts into another one, and coils that stay passive."""

import pytest

from fit.answers.predict.carry_over import shared_parts
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
