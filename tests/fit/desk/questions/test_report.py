"""The command report: which takes it is of, and what it says."""

import pytest

from tests.coil_book import make_coil_book
from tests.desk_bench import run, run_json
from tests.pages import read_page


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


def test_report_uses_the_last_fit(capsys, bench, tmp_path):
    book = ["--logbook", bench / "book"]
    assert run(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", *book)[0] == 0
    path = tmp_path / "out.html"
    code, document, _ = run_json(capsys, "report", path, *book)
    assert code == 0
    assert document["takes"] == ["open", "plus-1n"]
    text = path.read_text(encoding="utf-8")
    read_page(text)
    assert "6k ± 1%" in text
    assert "loud" in text
    assert not [name for name in tmp_path.iterdir() if name != path]
    code, document, _ = run_json(capsys, "report", path, "open", *book)
    assert document["takes"] == ["open"]


def test_report_without_a_fit_says_so(capsys, tmp_path):
    code, _, err = run(capsys, "report", "--logbook", tmp_path)
    assert code == 2
    assert "coilsweep fit" in err
