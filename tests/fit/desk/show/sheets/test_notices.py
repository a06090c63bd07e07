"""What every sheet may have to say beside its answer."""

from fit.desk.show.sheet import Listing, Notice, Section, Text
from fit.desk.show.sheets.notices import next_line, next_section, simulated_notice, titled, warnings_section
from fit.desk.show.words import SIMULATED_TEXT


def test_what_is_simulated_says_so_in_title_and_notice():
    assert titled("A pickup", is_simulated=True) == "A pickup (simulated)"
    assert titled("A pickup", is_simulated=False) == "A pickup"
    assert simulated_notice(is_simulated=True) == (Notice((SIMULATED_TEXT,)),)
    assert simulated_notice(is_simulated=False) == ()


def test_warnings_are_listed_where_there_are_any():
    assert warnings_section(()) == ()
    assert warnings_section(["a", "b"]) == (Section((Listing(("a", "b")),), heading="Warnings"),)


def test_what_comes_next_stands_in_a_line_of_its_own():
    assert next_line("coilsweep fit open") == "Next: coilsweep fit open"
    assert next_section("coilsweep fit open") == (Section((Text(("Next: coilsweep fit open",)),)),)
    assert next_section("") == ()
