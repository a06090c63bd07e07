"""A page as a browser's parser meets it: well formed, needing nothing from elsewhere, its tables with headings."""

import re
from html.parser import HTMLParser

VOID = {"meta", "br", "img", "hr", "input", "link"}
REFERENCES = ("href", "src", "xlink:href", "srcset", "action", "data", "poster")
FOREIGN = {"script", "link", "iframe", "img", "object", "embed", "base", "form"}


class Page(HTMLParser):
    """Collects tags, attributes and text, and sees that what opens is closed."""

    def __init__(self):
        super().__init__()
        self.stack, self.tags, self.attributes, self.texts, self.headings, self.columns = [], [], [], [], [], []
        self.title = ""

    def handle_starttag(self, tag, attrs):
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.stack.append(tag)
        if tag in ("h1", "h2", "h3"):
            self.headings.append("")

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data):
        if self.stack[-1:] == ["style"]:
            return
        self.texts.append(data)
        if {"h1", "h2", "h3"} & set(self.stack):
            self.headings[-1] += data
        if self.stack[-2:] == ["head", "title"]:
            self.title += data
        if "thead" in self.stack and data.strip():
            self.columns.append(data)

    @property
    def said(self):
        return " ".join(self.texts)


def read_page(text):
    """Parse a page, and see to all that holds for every one of them."""
    assert text.startswith("<!doctype html>")
    page = Page()
    page.feed(text)
    page.close()
    assert page.stack == []
    assert page.title
    assert page.headings[0] == page.title
    assert ("html", "lang", "en") in page.attributes
    assert ("meta", "name", "viewport") in page.attributes
    assert not FOREIGN & set(page.tags)
    assert not [name for _, name, _ in page.attributes if name.startswith("on")]
    assert all(value.startswith("#") for _, name, value in page.attributes if name in REFERENCES)
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", text))
    assert not re.search(r"https?:|@import", text)
    ids = [value for _, name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    scopes = [value for tag, name, value in page.attributes if tag == "th" and name == "scope"]
    assert len(scopes) == page.tags.count("th")
    assert set(scopes) <= {"col", "row"}
    assert all(label for tag, name, label in page.attributes if tag == "svg" and name == "aria-label")
    assert page.tags.count("svg") == sum(tag == "svg" and name == "aria-label" for tag, name, _ in page.attributes)
    return page
