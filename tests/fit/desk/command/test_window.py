"""The command bench, as it is typed."""

import pytest

from fit.desk.show.document.bench import BenchDocument
from fit.desk.window import serve
from tests.desk_bench import run, run_json


@pytest.fixture
def opened(monkeypatch):
    """What the server would be opened with; nothing is served."""
    seen = []

    def open_bench(desk, **wanted):
        from fit.desk.book.desk import Outcome

        desk.tell("The bench is open at ADDRESS")
        seen.append({"logbook": desk.logbook, **wanted})
        return Outcome(document=BenchDocument(logbook=str(desk.logbook), simulated=wanted["is_virtual"]))

    monkeypatch.setattr(serve, "open_bench", open_bench)
    return seen


def test_alone_it_opens_a_browser_at_a_free_port(capsys, tmp_path, opened):
    code, out, err = run(capsys, "bench", "--logbook", tmp_path)
    assert (code, out, err) == (0, "The bench is open at ADDRESS\n", "")
    assert opened == [{"logbook": tmp_path, "is_virtual": False, "port": 0, "opens": True}]


def test_what_is_typed_is_what_is_opened(capsys, tmp_path, opened):
    code, document, err = run_json(capsys, "bench", "--virtual", "--port", 8765, "--no-open", "--logbook", tmp_path)
    assert opened == [{"logbook": tmp_path, "is_virtual": True, "port": 8765, "opens": False}]
    assert (code, document["simulated"], err) == (0, True, "The bench is open at ADDRESS\n")


@pytest.mark.parametrize("port", ["80", "0", "65536", "x", "8000.5", "-1"])
def test_a_port_that_nobody_may_open_is_refused(capsys, tmp_path, opened, port):
    code, _, err = run(capsys, "bench", "--port", port, "--logbook", tmp_path)
    assert (code, err.count("\n"), opened) == (2, 1, [])
