"""The pages as files: nothing that their policy forbids, nothing from elsewhere, each file from one table, uPlot as it came."""

import hashlib
import re
from importlib.resources import files

import pytest

from fit.desk.guide.console import OFFERS
from fit.desk.show.page import STYLE
from fit.desk.window.pages import ASSETS, PAGES, SHELLS, asset, shell

FOLDER = files("fit.desk.window") / "assets"
IMPORTED = re.compile(r'\bfrom "\./([\w.-]+)"')
RECORDED = re.compile(r"SHA-256 of (\S+): ([0-9a-f]{64})")
UNLISTED = {"uplot.txt"}  # said of a file, for whoever looks into the folder


@pytest.mark.parametrize("path", SHELLS)
def test_a_page_has_neither_script_nor_style_in_it(path):
    text = PAGES[path]()
    assert text == shell(path)
    assert re.findall(r"<script[^>]*>(.*?)</script>", text, re.DOTALL) == [""] * text.count("<script")
    assert "<style" not in text
    assert not re.search(r"\s(?:style|on\w+)=", text)
    fetched = re.findall(r'<(?:script|link)[^>]*\s(?:src|href)="([^"]+)"', text)
    assert fetched
    assert {one.removeprefix("/assets/") for one in fetched} <= set(ASSETS)


@pytest.mark.parametrize("path", SHELLS)
def test_a_page_links_all_pages_and_says_which_it_is(path):
    text = shell(path)
    for other, page in SHELLS.items():
        here = ' aria-current="page"' if other == path else ""
        assert f'<a href="{other}"{here}>{page.title}</a>' in text
    assert text.count("<h1>") == 1
    assert '<p id="trouble" role="alert"></p><p id="said" role="status"></p>' in text


def test_the_first_page_offers_every_job():
    text = shell("/")
    for job in OFFERS:
        assert f'href="/take?job={job}"' in text


def test_the_table_names_every_file_and_no_other_is_read():
    assert {file.name for file in FOLDER.iterdir()} - UNLISTED == set(ASSETS) - {"report.css"}
    for name in ASSETS:
        assert asset(name)
    for name in ("../pages.py", "uplot.txt", ".", "BENCH.CSS"):
        with pytest.raises(KeyError, match=re.escape(name)):
            asset(name)


def test_the_report_and_the_pages_have_one_style():
    assert asset("report.css").decode().startswith(STYLE)
    assert "--series-5" in asset("report.css").decode()


@pytest.mark.parametrize("name", [name for name in ASSETS if name.endswith((".js", ".css")) and name != "uplot.js"])
def test_a_file_fetches_nothing_from_elsewhere_and_makes_no_code_of_text(name):
    text = asset(name).decode()
    assert not re.search(
        r"https?://|url\(|@import|\beval\(|new Function|document\.write", text.replace("http://www.w3.org/2000/svg", "")
    )
    assert set(IMPORTED.findall(text)) <= set(ASSETS)


def test_uplot_is_what_its_record_says():
    record = (FOLDER / "uplot.txt").read_text(encoding="utf-8")
    sums = dict(RECORDED.findall(record))
    assert set(sums) == {"uplot.js", "uplot.license.txt"}
    for name, wanted in sums.items():
        assert hashlib.sha256(asset(name)).hexdigest() == wanted
    version = re.search(r"uPlot (\d+\.\d+\.\d+)", record)
    assert version
    assert f"(v{version[1]})" in asset("uplot.js").decode()[:80]
    assert "MIT" in asset("uplot.license.txt").decode()[:20]
