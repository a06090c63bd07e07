"""The command inspect: checks and noise of one take."""

import pytest

from fit.desk.book.desk import Desk
from fit.desk.questions.inspect import inspect_take
from fit.desk.show.document.pieces import plain
from measure.errors import FileError
from tests.coil_book import make_coil_book
from tests.desk_bench import run, run_json
from tests.kept_takes import keep, new_book
from tests.pages import read_page


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


@pytest.mark.long
def test_inspect_tells_checks_and_noise(capsys, bench, tmp_path):
    code, document, err = run_json(capsys, "inspect", "open", "--logbook", bench / "book")
    assert code == 0
    assert err == ""
    assert document["outcome"] == "good"
    assert {"name", "outcome", "figure", "unit", "advice"} == set(document["checks"][0])
    assert document["noise"]["hum_hz"] == pytest.approx(50.0, abs=0.05)
    # 1e-3 of full scale is −60 dBFS against a sine of full scale
    assert document["noise"]["hum_dbfs"] == pytest.approx(-60, abs=1.5)
    code, out, _ = run(
        capsys, "inspect", "open", "--logbook", bench / "book", "--page", tmp_path / "open.html", "--plot", tmp_path / "open.svg"
    )
    assert code == 0
    assert "mains at 50.0" in out
    page = read_page((tmp_path / "open.html").read_text(encoding="utf-8"))
    assert page.headings == ["Take open: good", "Noise and hum", "Checks", "Noise"]
    assert page.columns == ["check", "outcome", "what was found"]
    assert "<svg" in (tmp_path / "open.svg").read_text(encoding="utf-8")


def test_what_was_amended_is_told(capsys, tmp_path):
    book = new_book(tmp_path)
    keep(book, "noise", item="red one", operator="me")
    assert run(capsys, "takes", "amend", "noise", "--add", "1n ± 1%", "--logbook", book.path)[0] == 0
    _, out, _ = run(capsys, "inspect", "noise", "--logbook", book.path)
    assert "\nTake noise of red one, made " in out
    assert " by me\n" in out
    said = out.partition("\nAmended\n")[2].split()
    assert said[-5:] == ["added", "-", "1n", "±", "1%"]


def test_what_the_recordings_say_now_counts_not_what_was_kept(tmp_path):
    """Noise that was kept as good: looked at again, it is no take of a sweep."""
    book = new_book(tmp_path)
    keep(book, "noise")
    desk = Desk(logbook=book.path, say=str, tell=str, steps=lambda items, _: items)
    outcome = inspect_take(desk, "noise")
    assert plain(outcome.document)["outcome"] == "rejected"
    assert plain(outcome.document)["noise"].keys() >= {"hum_dbfs", "floor_dbfs"}
    assert outcome.exit_code == 0  # it was asked, and is answered
    with pytest.raises(FileError, match='no take "nothing"'):
        inspect_take(desk, "nothing")
