"""Pages of the manual as one page for a browser, with the style of the answers' pages; its pictures go along."""

import re
from base64 import b64encode
from collections.abc import Iterator, Sequence
from importlib.resources import files

from fit.desk.show.manual.markdown import Block, Code, Grid, Heading, Image, Items, Paragraph, Span, spans
from fit.desk.show.manual.topics import GROUPS, page, purpose, title
from fit.desk.show.page import page_of, safe

SMALLEST = 4  # heading
DRAWING = "drawing"  # for a terminal, in place of the picture above it
UNBROKEN = 24  # characters of code that a line does not part
TYPES = {".png": "image/png", ".svg": "image/svg+xml"}
STYLE = """
pre{overflow-x:auto;background:var(--card);border:1px solid var(--line);border-radius:6px;padding:.8rem 1rem;line-height:1.45}
code{font:.82em/1.45 ui-monospace,monospace}
.whole{white-space:nowrap}
td code,li code,p code{background:var(--card);border-radius:3px;padding:.1em .3em}
a{color:inherit;text-underline-offset:.15em}
h4{font-size:1rem;margin:1.6rem 0 .3rem}
figure img{display:block;width:100%;height:auto;background:#fff;border-radius:4px}
nav ul{list-style:none;padding:0}
@media (max-width:34rem){.whole{white-space:normal}pre code{font-size:.7em}}
"""


def manual_html(topics: Sequence[str], *, footer: str = "") -> str:
    """Make one page of several topics, with a list of them in front, or of one alone."""
    shown = frozenset(topics)
    if len(topics) == 1:
        name, body = title(topics[0]), [*_page(topics[0], shown, is_alone=True)]
    else:
        name = "The manual of coilsweep"
        body = [f"<h1>{safe(name)}</h1>", *_contents(topics)]
        for topic in topics:
            body += [f'<section id="{topic}">', *_page(topic, shown), "</section>"]
    return page_of(name, body, style=STYLE, footer=footer)


def _contents(topics: Sequence[str]) -> Iterator[str]:
    yield '<nav aria-label="Topics">'
    for group, members in GROUPS.items():
        listed = [f'<li><a href="#{one}">{safe(title(one))}</a>: {safe(purpose(one))}</li>' for one in members if one in topics]
        if listed:
            yield f"<h2>{safe(group)}</h2><ul>{''.join(listed)}</ul>"
    yield "</nav>"


def _page(topic: str, shown: frozenset[str], *, is_alone: bool = False) -> Iterator[str]:
    for block in page(topic):
        yield _block(block, topic, shown, below=0 if is_alone else 1)


def _block(block: Block, topic: str, shown: frozenset[str], *, below: int) -> str:
    def inside(text: str) -> str:
        return "".join(_span(span, topic, shown) for span in spans(text))

    match block:
        case Heading(level, text):
            name = f"h{min(level + below, SMALLEST)}"
            mark = "" if level == 1 else f' id="{topic}-{anchor(text)}"'
            return f"<{name}{mark}>{inside(text)}</{name}>"
        case Paragraph(text):
            return f"<p>{inside(text)}</p>"
        case Code():
            if block.language == DRAWING:
                return ""
            text = "\n".join(map(safe, block.lines))
            return f"<pre><code>{text}</code></pre>"
        case Items():
            name = "ul" if block.items[0][0] == "-" else "ol"
            return f"<{name}>{''.join(f'<li>{inside(text)}</li>' for _, text in block.items)}</{name}>"
        case Grid():
            head = "".join(f'<th scope="col">{inside(cell)}</th>' if cell else "<td></td>" for cell in block.head)
            rows = "".join(
                f'<tr><th scope="row">{inside(row[0])}</th>{"".join(f"<td>{inside(cell)}</td>" for cell in row[1:])}</tr>'
                for row in block.rows
            )
            top = f"<thead><tr>{head}</tr></thead>" if any(block.head) else ""
            return f'<div class="wide"><table>{top}<tbody>{rows}</tbody></table></div>'
        case Image(text, file):
            return f'<figure><img alt="{safe(text)}" src="{_picture(file)}"><figcaption>{safe(text)}</figcaption></figure>'


def _span(span: Span, topic: str, shown: frozenset[str]) -> str:
    text = safe(span.text)
    match span.kind:
        case "code":
            css = ' class="whole"' if len(span.text) <= UNBROKEN else ""
            return f"<code{css}>{text}</code>"
        case "strong" | "em":
            return f"<{span.kind}>{text}</{span.kind}>"
        case "link":
            where, _, place = span.target.partition("#")
            target = where.removesuffix(".md") or topic
            if target not in shown:
                return text
            return f'<a href="#{target}{f"-{place}" if place else ""}">{text}</a>'
        case _:
            return text


def anchor(heading: str) -> str:
    """Name of a heading behind # in a link."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def _picture(file: str) -> str:
    data = (files("fit.desk.show.manual") / file).read_bytes()
    kind = TYPES[file[file.rindex(".") :]]
    return f"data:{kind};base64,{b64encode(data).decode()}"
