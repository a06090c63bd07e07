"""The manual in a browser: one file, well formed, nothing from elsewhere, every link within it leads to a place in it."""

import re
from html.parser import HTMLParser

import pytest

from fit.desk.show.manual import topics as manual_topics
from fit.desk.show.manual.markdown import parse
from fit.desk.show.manual.pages import manual_html
from fit.desk.show.manual.topics import TOPICS, purpose, title
from fit.desk.show.page import POLICY

VOID = {"meta", "img"}


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.stack, self.tags, self.attributes, self.texts = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in VOID:
            self.stack.append(tag)

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        if self.stack[-1:] != ["style"]:
            self.texts.append(data)


def read(text):
    assert text.startswith("<!doctype html>")
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.stack == []
    return reader


@pytest.fixture(scope="module")
def whole():
    return read(manual_html(TOPICS, footer="made today"))


def test_all_of_it_is_there(whole):
    said = " ".join(whole.texts)
    assert all(title(topic) in said and purpose(topic) in said for topic in TOPICS)
    assert "made today" in said
    assert whole.tags.count("h1") == 1
    assert {"pre", "table", "ul", "nav", "img"} <= set(whole.tags)


def test_links_lead_to_places_in_it(whole):
    ids = [value for _, name, value in whole.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    links = [value for tag, name, value in whole.attributes if (tag, name) == ("a", "href")]
    assert len(links) > 2 * len(TOPICS)
    assert {link.removeprefix("#") for link in links} <= set(ids)


def test_nothing_comes_from_elsewhere(whole):
    assert not {"script", "link", "iframe", "object", "embed", "base", "form"} & set(whole.tags)
    sources = [value for _, name, value in whole.attributes if name in ("src", "srcset", "data")]
    assert sources
    assert all(re.match(r"data:image/(?:png|svg\+xml);base64,", source) for source in sources)
    assert all(value for tag, name, value in whole.attributes if (tag, name) == ("img", "alt"))
    assert ("meta", "content", POLICY) in whole.attributes


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_alone_is_a_page(topic):
    page = read(manual_html((topic,)))
    assert page.tags.count("h1") == 1
    own = [value for tag, name, value in page.attributes if (tag, name) == ("a", "href")]
    assert all(value.startswith(f"#{topic}") for value in own)


def test_what_looks_like_markup_is_shown(monkeypatch):
    evil = '# <b>T\n\n<script>alert(1)</script> `<i>` **<u>**\n\n| a<br> | b |\n|---|---|\n| <hr> | "q" |\n\n```\n<pre>\n```\n'
    monkeypatch.setattr("fit.desk.show.manual.pages.page", lambda _: parse(evil))
    monkeypatch.setattr(manual_topics, "page", lambda _: parse(evil))
    reader = read(manual_html(("limits",)))
    assert not {"script", "b", "i", "u", "br", "hr"} & set(reader.tags)
    assert "<script>alert(1)</script>" in "".join(reader.texts)
