"""What a command said, wrote and drew, as text that does not depend on folder, time or version."""

import contextlib
import io
import json
import re
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from importlib import metadata

import numpy as np
import soundfile

N_FULL = 40  # numbers of a list, or lines of a table, that are kept in full
N_HEAD = 12
TABLES = (".csv", ".s1p", ".cir", ".txt")
BLOCKS = {"p", "div", "tr", "li", "table", "section", "header", "footer", "figure", "figcaption", "title", "pre", "dt", "dd"}
HEADINGS = {"h1", "h2", "h3", "h4", "summary"}


def neutral(text, folders):
    """Replace what is another one each time."""
    for folder in folders:
        text = text.replace(str(folder), "FOLDER")
    text = re.sub(rf"(?<![\d.]){re.escape(metadata.version('coilsweep'))}(?![\d.])", "VERSION", text)
    text = re.sub(r"\b[0-9a-f]{64}\b", "SHA256", text)
    text = re.sub(r"(?<=~)\d{8}T\d{9}Z", "WHEN", text)
    text = re.sub(r"(?<=-)[0-9a-f]{12}\b", "DIGEST", text)
    text = re.sub(r'"figure": -?(\d\.\d+e-\d+|0\.000\d+)', '"figure": 0.00000', text)  # what rounding leaves of nothing
    text = re.sub(r'"figure": [^,]*, "unit": "days"', '"figure": "AGE", "unit": "days"', text)  # of a calibration made just now
    return re.sub(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|\+00:00)?)?", _when, text)


# Days long past are part of a scene, those of its own making are not.
def _when(found):
    try:
        day = datetime.strptime(found[0][:10], "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        return found[0]
    return "WHEN" if abs(datetime.now(UTC) - day) < timedelta(days=3) else found[0]


def document_lines(document, *, depth=2):
    """A document as JSON, the keys of its upper levels on lines of their own, rounded, long lists told by what they hold."""
    if not isinstance(document, dict) or not document or depth == 0:
        return [_in_one_line(document)]
    lines = ["{"]
    for key, value in document.items():
        first, *rest = document_lines(value, depth=depth - 1)
        lines += [f"{json.dumps(key, ensure_ascii=False)}: {first}", *rest]
        lines[-1] += ","
    lines[-1] = lines[-1].removesuffix(",")
    return [*lines, "}"]


def _in_one_line(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key, ensure_ascii=False)}: {_in_one_line(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        numbers = _numbers(value)
        if numbers is not None and len(numbers) > N_FULL:
            rms = float(np.sqrt(np.nanmean(np.square(numbers)))) if not np.all(np.isnan(numbers)) else None
            return _in_one_line({"length": len(value), "numbers": len(numbers), "first": value[0], "last": value[-1], "rms": rms})
        return "[" + ", ".join(map(_in_one_line, value)) + "]"
    if isinstance(value, float):
        digits = f"{value:#.6g}"
        return digits + "0" if digits.endswith(".") else digits
    return json.dumps(value, ensure_ascii=False)


# Of a list, or of lists in it; None stands for a number that is not told.
def _numbers(value):
    found = []
    for one in value:
        inner = _numbers(one) if isinstance(one, list) else [np.nan if one is None else one]
        if inner is None or not all(isinstance(number, (int, float)) for number in inner):
            return None
        found += inner
    return found


class _Page(HTMLParser):
    """Text blocks and headings of a page."""

    def __init__(self):
        super().__init__()
        self.lines, self.headings, self.hidden, self.heading = [""], [], 0, ""

    def handle_starttag(self, tag, attrs):
        if tag in ("style", "script", "svg"):
            self.hidden += 1
            self.lines.append("[picture] " + (dict(attrs).get("aria-label") or "")) if tag == "svg" and self.hidden == 1 else None
        if tag in BLOCKS | HEADINGS | {"svg", "br"}:
            self.lines.append("")
        if tag in ("td", "th"):
            self.lines[-1] += " "
        self.heading = tag if tag in HEADINGS else self.heading

    def handle_endtag(self, tag):
        if tag in ("style", "script", "svg"):
            self.hidden -= 1
        if tag in BLOCKS | HEADINGS:
            self.lines.append("")
        if tag == self.heading:
            self.heading = ""

    def handle_data(self, data):
        if self.hidden:
            return
        self.lines[-1] += data.replace("\n", " ")
        if self.heading:
            self.headings.append(f"{self.heading} {data.strip()}")


def page_lines(html):
    page = _Page()
    page.feed(html)
    return ["headings: " + " | ".join(page.headings), *(" ".join(line.split()) for line in page.lines if line.strip())]


def sound_line(path):
    samples, rate_hz = soundfile.read(path, always_2d=True)
    levels = [f"rms {np.sqrt(np.mean(one**2)):.4g} peak {np.max(np.abs(one)):.4g}" for one in samples.T]
    return f"{len(samples)} samples, {samples.shape[1]} channels, {rate_hz} Hz: " + "; ".join(levels)


def table_lines(text):
    """A short text whole; of a long table its head, its last line, and the rms of each column of numbers."""
    lines = text.splitlines()
    if len(lines) <= N_FULL:
        return lines
    rows = [re.split(r"[,\s]+", line.strip()) for line in lines]
    numbers = [[float(word) for word in row] for row in rows if all(_is_number(word) for word in row)]
    width = max(map(len, numbers), default=0)
    columns = np.array([row for row in numbers if len(row) == width])
    if len(columns) < N_FULL:
        return lines
    rms = " ".join(f"{one:.6g}" for one in np.sqrt(np.mean(columns**2, axis=0)))
    return [*lines[:N_HEAD], f"[{len(lines)} lines]", lines[-1], f"[{width} columns, rms: {rms} ]"]


def _is_number(word):
    return re.fullmatch(r"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?", word) is not None


def file_lines(path):
    """What stands in a file; of pictures nothing, their figures are looked at instead."""
    if path.suffix in (".wav", ".flac"):
        return [sound_line(path)]
    if path.suffix == ".json":
        document = json.loads(path.read_text(encoding="utf-8"))
        return _outline(document) if path.parent.name == "results" else document_lines(_in_order(document))
    if path.suffix == ".html":
        return page_lines(path.read_text(encoding="utf-8"))
    if path.suffix == ".toml" or path.suffix in TABLES:
        return table_lines(path.read_text(encoding="utf-8"))
    return []


# The keys of a file may come in any order.
def _in_order(value):
    if isinstance(value, dict):
        return {key: _in_order(value[key]) for key in sorted(value)}
    return [_in_order(one) for one in value] if isinstance(value, list) else value


# What is kept for later commands: they say it themselves, and so does --json.
def _outline(document):
    return [f"{key}: {', '.join(value)}" if isinstance(value, dict) else str(key) for key, value in document.items()]


@contextlib.contextmanager
def drawn_figures():
    """Lines about each figure that is saved meanwhile."""
    from matplotlib.figure import Figure

    seen, save = [], Figure.savefig

    def look_and_save(figure, *words, **options):
        seen.append(figure_lines(figure))
        return save(figure, *words, **options)

    Figure.savefig = look_and_save
    try:
        yield seen
    finally:
        Figure.savefig = save


def figure_lines(figure):
    lines = [f"figure of {len(figure.axes)} axes: " + " | ".join(text.get_text() for text in figure.texts)]
    for axes in figure.axes:
        legend = axes.get_legend()
        texts = [text.get_text() for text in legend.get_texts()] if legend else []
        titles = [axes.get_title(loc=side) for side in ("left", "center", "right") if axes.get_title(loc=side)]
        drawn = f"{len(axes.lines)} lines, {len(axes.collections)} collections, {len(axes.patches)} patches"
        (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
        lines += [
            f"  title: {titles}; x: {axes.get_xlabel()} ({axes.get_xscale()}); y: {axes.get_ylabel()} ({axes.get_yscale()})",
            f"    {drawn}; x from {left:.4e} to {right:.4e}; y from {low:.4e} to {high:.4e}",
            f"    legend: {texts}; texts: {[text.get_text() for text in axes.texts]}",
        ]
    return lines


@contextlib.contextmanager
def caught_streams():
    """Standard output and error as a terminal of UTF-8 would get them, not being one."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True, newline="\n") for _ in range(2)]
    with contextlib.redirect_stdout(streams[0]), contextlib.redirect_stderr(streams[1]):
        yield streams


def text_of(stream):
    return stream.buffer.getvalue().decode("utf-8")
