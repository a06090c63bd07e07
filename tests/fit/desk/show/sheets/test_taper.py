"""The table of measured tapers."""

from fit.answers.pickup.tapers import PotTaper, TaperPoint
from fit.desk.show.sheets.taper import taper_rows, taper_section
from tests.answer_by_hand import estimate

TAPERS = {"tone": PotTaper(taper="audio", points=(TaperPoint(rotation=5.0, share=estimate(0.12, 0.002, "1"), nominal=0.1),))}


def test_shares_are_told_in_percent_beside_the_nominal_law():
    head, row = taper_rows(TAPERS)
    assert head == ("", "from ccw to wiper", "95 % interval", "nominal")
    assert row == ("tone at 5", "12.00 %", "11.60 … 12.40 %", "10 % (audio)")


def test_without_a_taper_there_is_no_table():
    assert taper_rows({}) == ()
    assert taper_section({}) == ()
    (section,) = taper_section(TAPERS)
    assert section.heading == "Tapers, share of the track"
    assert section.blocks[0].rows == taper_rows(TAPERS)
