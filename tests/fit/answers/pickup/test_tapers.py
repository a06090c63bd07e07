"""Tapers: from the fractions of a fit to a table and a picture."""

import pytest

from fit.answers.figures import Estimate
from fit.answers.pickup.characterisation import characterise_pickup
from fit.answers.pickup.tapers import read_tapers
from fit.desk.show.figures.taper import taper_figure
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.taper import taper_section
from fit.desk.show.terminal import lines
from tests import guitar_cases as cases
from tests.guitar_evidence import evidence_of_guitar


def share(value):
    return Estimate(value=value, unit="1", standard_uncertainty=0.01, low=value - 0.02, high=value + 0.02)


def test_fractions_become_a_table_by_rotation():
    quantities = {
        "pot.tone@5": share(0.1),
        "pot.volume@8": share(0.62),
        "pot.volume@3": share(0.07),
        "pot.volume@35%": share(0.35),
    }
    tapers = read_tapers(quantities, {"volume": "audio", "tone": "linear"})
    assert [point.rotation for point in tapers["volume"].points] == [3.0, 8.0]
    assert tapers["volume"].points[0].nominal == pytest.approx(0.072)
    assert tapers["tone"].points[0].nominal == pytest.approx(0.5)
    text = "\n".join(lines(Sheet("", taper_section(tapers))))
    assert "volume at 3" in text
    assert "60.0 … 64.0 %" in text
    assert "50 % (linear)" in text


def test_nothing_between_the_ends_is_no_table():
    assert taper_section(read_tapers({"pot.tone": share(0.1)}, {"tone": "audio"})) == ()
    with pytest.raises(ValueError, match="no take has a pot between 0 and 10"):
        taper_figure({}, simulated=False)


@pytest.mark.long
def test_picture_shows_measured_points_and_both_laws():
    case = cases.draw_one_pickup(5, takes=("tone-up", "tone-up-plus-1n", "tone-down", "tone-5", "volume-6"))
    answer = characterise_pickup(evidence_of_guitar(case))
    tapers = read_tapers(answer.quantities, answer.tapers)
    assert set(tapers) == {"volume", "tone"}
    axes = taper_figure(tapers, simulated=True).axes[0]
    labels = axes.get_legend_handles_labels()[1]
    assert labels == ["nominal, audio", "nominal, linear", "usual of audio pots", *(f"{pot}, measured" for pot in tapers)]
    drawn = axes.containers[list(tapers).index("volume")].lines[0].get_ydata()
    assert drawn[0] == pytest.approx(100 * case.truths["pot.volume@6"], rel=0.05)
