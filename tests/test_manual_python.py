"""The manual's page for Python: its lines run in order, and as a notebook, whose table is looked at."""

import re
from html.parser import HTMLParser
from itertools import takewhile
from pathlib import Path

import pytest

from tests.manual_pages import text_of
from tests.places import TOP
from tests.python_bench import LOGBOOKS, copy_recordings, make_logbook

BLOCKS = re.findall(r"^```python\n(.*?)^```$", text_of("python"), flags=re.DOTALL | re.MULTILINE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("python")
    copy_recordings(made)
    for name in LOGBOOKS:
        make_logbook(made, name)
    return made


class Table(HTMLParser):
    """Rows of cells, and how often each element is opened and closed."""

    def __init__(self):
        super().__init__()
        self.rows, self.opened, self.closed, self.inside = [], {}, {}, ""

    def handle_starttag(self, tag, _attrs):
        self.opened[tag] = self.opened.get(tag, 0) + 1
        if tag == "tr":
            self.rows.append([])
        elif tag in ("th", "td"):
            self.rows[-1].append("")
        self.inside = tag

    def handle_endtag(self, tag):
        self.closed[tag] = self.closed.get(tag, 0) + 1
        self.inside = ""

    def handle_data(self, data):
        if self.inside in ("th", "td"):
            self.rows[-1][-1] += data


@pytest.mark.long
def test_lines_run_in_order(folder, monkeypatch):
    from matplotlib.figure import Figure

    monkeypatch.chdir(folder)
    names = {}
    assert len(BLOCKS) == 3
    for block in BLOCKS:
        exec(compile(block, "python.md", "exec"), names)
    assert names["pickup"].outcome == names["guitar"].outcome == "good"
    low, high = names["pickup"]["inductance"].interval_95
    assert low < 2.87 < high  # fixtures/recordings/bare-single-coil/case.json
    assert names["guitar"].confirm("capacitor.tone").verdict == "within marking"
    assert isinstance(names["guitar"].plot(), Figure)


@pytest.mark.long
def test_lines_run_as_a_notebook(folder, monkeypatch):
    import nbclient
    import nbformat

    monkeypatch.setenv("PYTHONPATH", str(TOP))
    monkeypatch.setenv("IPYTHONDIR", str(folder / "ipython"))
    first = BLOCKS[0][: BLOCKS[0].index("\npickup\n")]
    cells = [nbformat.v4.new_code_cell(text) for text in (first, "pickup", "pickup.plot()", "fit.pickup", "pickup.next_takes")]
    notebook = nbformat.v4.new_notebook(cells=cells)
    nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(folder)}}).execute()
    shown = notebook.cells[1].outputs[0]["data"]
    html = shown["text/html"]
    Path(folder / "pickup.html").write_text(html, encoding="utf-8")
    table = Table()
    table.feed(html)
    assert table.opened == table.closed
    assert table.rows[0] == ["", "value", "95 % interval"]
    values = list(takewhile(lambda row: len(row) == 3, table.rows))  # the first of the sheet's tables
    assert len(values) > 8
    inductance = next(row for row in values if row[0] == "Inductance")
    assert re.fullmatch(r"2\.8\d+ H", inductance[1])
    assert re.fullmatch(r"2\.8\d+ … 2\.9\d+ H", inductance[2])
    assert len(shown["text/plain"].splitlines()) < 40
    assert "image/png" in notebook.cells[2].outputs[0]["data"]
