"""Responses of takes: made once, read again, told."""

import shutil

from fit.desk.book.response import take_response
from fit.desk.command.main import main
from measure.logbook.store import open_logbook, read_take
from tests.desk_bench import RIG, record
from tests.same import assert_same


def test_response_that_import_keeps_is_the_one_of_its_recordings(tmp_path):
    folder, at = tmp_path / "book", ["--logbook", str(tmp_path / "book")]
    folder.mkdir()
    assert main(["rig", *RIG, *at]) == 0
    assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "1.5", *at]) == 0
    file = record(folder, "late", added_f=0.0, seed=5)
    assert main(["import", "late", str(file), "--stimulus", str(folder / "sweep.wav"), *at]) == 0
    book = open_logbook(folder)
    kept = take_response(book, read_take(book, "late"))
    assert len(list((folder / "derived").iterdir())) == 1
    shutil.rmtree(folder / "derived")
    assert_same(kept, take_response(book, read_take(book, "late")))
