"""Pictures of confirm and wiring: what is written where, read back from the figure."""

import pytest

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.wiring.arrangement import Joined
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import Position, WiringAnswer
from fit.desk.show.figures.style import COLOURS
from fit.desk.show.figures.verdict import confirm_figure, wiring_figure
from measure.quantity import parse_quantity
from tests.answer_by_hand import estimate

MARKED = parse_quantity("33n ± 10%", "F")


def texts_of(figure):
    figure.canvas.draw()
    (axes,) = figure.axes
    return [
        text.get_text() for text in (*axes.texts, *axes.get_xticklabels(), *axes.get_yticklabels(), axes.title, axes._left_title)
    ]


def test_a_measured_part_lies_over_its_band():
    figure = confirm_figure(confirm_part("capacitor.tone", marked=MARKED, measured=estimate(30.6e-9, 1.5e-10, "F")))
    texts = texts_of(figure)
    assert {"marked 33n ± 10%", "measured 30.60 nF, 95 % interval", "capacitor.tone: within marking", "30 nF"} <= set(texts)
    # what is accepted: the limits moved inwards by U = 1.96 · 0.15 nF, which is symmetric here
    drawn = [segment[0][0] for lines in figure.axes[0].collections for segment in lines.get_segments()]
    assert drawn == pytest.approx([33e-9, 29.994e-9, 36.006e-9, 30.6e-9 - 0.294e-9], rel=1e-6)
    low, high = figure.axes[0].get_xlim()
    assert low < 29.7e-9 < 36.3e-9 < high
    assert "simulated" not in [text.get_text() for text in figure.texts]


# A value far from the marking is still in the picture, and so is one without a marking.
@pytest.mark.parametrize(("marked", "value"), [(MARKED, 100e-9), (MARKED, 4.7e-9), (None, 22e-9), (MARKED, None)])
def test_whatever_is_known_is_in_view(marked, value):
    measured = None if value is None else estimate(value, 0.01 * value, "F")
    figure = confirm_figure(confirm_part("capacitor.tone", marked=marked, measured=measured), is_simulated=True)
    texts_of(figure)
    low, high = figure.axes[0].get_xlim()
    assert all(low < one < high for one in ([] if value is None else [measured.low, measured.high]))
    assert all(low < one < high for one in ([] if marked is None else [29.7e-9, 36.3e-9]))
    assert figure.get_suptitle() == "simulated"


def test_the_matrix_shows_levels_signs_and_what_is_missing():
    readings = {
        "bridge": Reading(take="a", is_connected=True, level=0.62, level_std=0.01, sign=1),
        "middle": Reading(take="b", is_connected=True, level=0.42, level_std=0.01, sign=-1),
        "neck": Reading(take="c", is_connected=False, level=0.0, level_std=0.0),
        "piezo": Reading(take="d", is_connected=None, level=0.1, level_std=0.1),
        "spare": Reading(),
    }
    position = Position(
        label="selector=2",
        controls={},
        readings=readings,
        joined=Joined(kind="parallel", members=(Joined(kind="one", name="bridge"), Joined(kind="one", name="middle"))),
        possible=(),
        halves={},
        is_complete=False,
        needs=(),
    )
    answer = WiringAnswer(pickups=tuple(readings), positions=(position,), leakage=0.02, unheard=(), unmeasured=("spare",))
    figure = wiring_figure(answer, ["bridge parallel to middle, out of phase"])
    texts = texts_of(figure)
    assert texts[:6] == ["+0.62", "−0.42", "·", "?", "", "bridge parallel to\nmiddle, out of phase"]
    assert {"selector=2", *readings} <= set(texts)
    bars = [(bar.get_facecolor(), bar.get_x() + bar.get_width() / 2) for bar in figure.axes[0].patches]
    assert [round(x) for _, x in bars] == [0, 1]
    from matplotlib.colors import to_rgb

    assert [bar[0][:3] for bar in bars] == [to_rgb(COLOURS[0]), to_rgb(COLOURS[1])]
