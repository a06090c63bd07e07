"""Sheets: blocks are frozen data."""

from dataclasses import FrozenInstanceError

import pytest

from fit.desk.show.sheet import Mark, Section, Sheet, Table, Text


def test_blocks_are_data_that_compare_and_do_not_change():
    sheet = Sheet("Title", (Text(("a",)), Section((Table((("x", Mark("good", "good")),)),), heading="More")))
    again = Sheet("Title", (Text(("a",)), Section((Table((("x", Mark("good", "good")),)),), heading="More")))
    assert sheet == again
    assert hash(sheet) == hash(again)
    with pytest.raises(FrozenInstanceError, match="title"):
        sheet.title = "other"
