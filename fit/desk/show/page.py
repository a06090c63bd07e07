"""A sheet as one self-contained HTML page, light or dark, for a phone and for paper.

No script and nothing fetched from elsewhere; every text goes through one place that makes it safe.
"""

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from typing import TYPE_CHECKING

from fit.answers.figures import Estimate
from fit.desk.show.sheet import (
    Block,
    Cell,
    Drawing,
    Headlines,
    Listing,
    Mark,
    Meaning,
    Notice,
    Picture,
    Section,
    Sheet,
    Sketch,
    Table,
    Text,
    Verdict,
)
from fit.desk.show.words import estimate_texts, plain_text

if TYPE_CHECKING:
    from fit.desk.show.figures.style import Draw

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
LARGEST_HEADING, SMALLEST_HEADING = 2, 3  # below the title
STYLE = """
:root{color-scheme:light dark;--ink:#1d242b;--soft:#5a6570;--paper:#fbfaf7;--card:#f1efe8;--line:#d9d5ca;
--good:#2c6e49;--look:#8a5a00;--bad:#a3262a}
@media (prefers-color-scheme:dark){:root{--ink:#e6e3db;--soft:#a3a9ae;--paper:#15191d;--card:#1e2429;--line:#353d44;
--good:#7cc49b;--look:#e0b25a;--bad:#ef8d8a}}
*{box-sizing:border-box}
html{background:var(--paper);color:var(--ink);font:16px/1.6 system-ui,sans-serif;-webkit-text-size-adjust:100%}
body{max-width:50rem;margin:0 auto;padding:2.5rem 1.25rem 4rem}
h1,h2{font-family:ui-serif,serif;font-weight:500;line-height:1.2;letter-spacing:-.01em;text-wrap:balance}
h1{font-size:2.1rem;margin:0 0 .4rem}
h2{font-size:1.35rem;margin:2rem 0 .6rem}
h3{font-size:1rem;margin:1.6rem 0 .3rem}
h1,h2,h3,li,dt{overflow-wrap:anywhere}
p{margin:.5rem 0;max-width:42rem;overflow-wrap:anywhere}
.lead,figcaption,.small{color:var(--soft)}
.small,figcaption{font-size:.875rem}
.verdict{border-left:5px solid var(--look);padding:.2rem 0 .2rem 1rem;margin:1rem 0}
.verdict.bad{border-color:var(--bad)}.verdict.good{border-color:var(--good)}
.verdict .said{font-size:1.3rem;line-height:1.4;margin-top:0}
.meaning{margin:1.2rem 0;font-size:1.05rem}
details{border-top:1px solid var(--line)}details:last-of-type{border-bottom:1px solid var(--line)}
summary{cursor:pointer;padding:.55rem 0}
summary h2,summary h3{display:inline;margin:0;padding:0;border:0;font-size:1.1rem}summary h3{font-size:1rem}
details[open]{padding-bottom:1rem}
.notice{border-left:3px solid var(--look);background:var(--card);padding:.7rem 1rem;margin:1.2rem 0;border-radius:0 4px 4px 0}
.notice.bad{border-color:var(--bad)}.notice.good{border-color:var(--good)}
.values{display:flex;flex-wrap:wrap;gap:1px;background:var(--line);border:1px solid var(--line);border-radius:6px;
overflow:hidden;margin:1.6rem 0 0}
.values div{background:var(--paper);padding:.9rem 1rem;flex:1 1 13.5rem}
.values dt{font-size:.82rem;color:var(--soft)}
.values dd{margin:0}
.values .value{font-size:1.55rem;line-height:1.3;font-variant-numeric:tabular-nums;white-space:nowrap}
.values .interval{font-size:.82rem;color:var(--soft);font-variant-numeric:tabular-nums}
.wide{overflow-x:auto;margin:.8rem 0;background:
linear-gradient(to right,var(--paper) 50%,transparent) 0 0/2rem 100% no-repeat local,
linear-gradient(to left,var(--paper) 50%,transparent) 100% 0/2rem 100% no-repeat local,
linear-gradient(to right,var(--soft),transparent) 0 0/.7rem 100% no-repeat,
linear-gradient(to left,var(--soft),transparent) 100% 0/.7rem 100% no-repeat}
table{border-collapse:collapse;width:100%;font-size:.9rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;vertical-align:top;padding:.4rem .9rem .4rem 0;border-bottom:1px solid var(--line);overflow-wrap:break-word}
th{font-weight:600;color:var(--soft);font-size:.8rem}
tbody th{font-weight:400;color:inherit;font-size:inherit}
.figure{white-space:nowrap}
td:last-child,th:last-child{padding-right:0}
.mark{font-size:.78rem;font-weight:600;white-space:nowrap}
.mark.good{color:var(--good)}.mark.look{color:var(--look)}.mark.bad{color:var(--bad)}
figure{margin:1rem 0 1.4rem;max-width:40rem}
figure svg{display:block;width:100%;height:auto}
figure:has(svg.schematic){max-width:none}
figure svg.schematic{width:auto;max-width:100%}
ul{padding-left:1.2rem}li{margin:.25rem 0}
footer{margin-top:3.5rem;padding-top:.9rem;border-top:1px solid var(--line)}
@media (max-width:34rem){body{padding-top:1.5rem}
.values div{flex-basis:8.6rem;padding:.5rem .7rem}.values .value{font-size:1.15rem}}
@media print{:root{--ink:#000;--soft:#444;--paper:#fff;--card:#f4f4f4;--line:#bbb;--good:#064;--look:#640;--bad:#900}
html{font-size:10.5pt}body{max-width:none;padding:0}h2{break-after:avoid}.wide{overflow:visible;background:none}
details::details-content{content-visibility:visible;block-size:auto}section,figure,tr,.notice,.values div{break-inside:avoid}}
"""


def html(sheet: Sheet, figures: "Mapping[str, Draw] | None" = None, *, footer: str = "") -> str:
    """Make a page of a sheet.

    Parameters
    ----------
    figures : mapping of str to callable, optional
        Draw the sheet's pictures, by their names; one that is not there is left out.
    """
    drawn = figures or {}
    body = [f"<h1>{safe(sheet.title)}</h1>", *_blocks(sheet.blocks, drawn, level=LARGEST_HEADING)]
    return page_of(sheet.title, body, style=series_colours() if drawn else "", footer=footer)


def page_of(title: str, body: Iterable[str], *, style: str = "", footer: str = "") -> str:
    """Put the parts of a page, safe already, into a document.

    Parameters
    ----------
    style : str
        Rules beside those that every page has.
    """
    head = (
        f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}"><title>{safe(title)}</title>'
        f"<style>{STYLE}{style}</style>"
    )
    parts = [*body, f'<footer class="small">{safe(footer)}</footer>'] if footer else [*body]
    text = "\n".join(parts)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{text}\n</body></html>\n'


def fragment(sheet: Sheet) -> str:
    """Make a part of a page of a sheet, without its pictures, for a notebook that has a style of its own."""
    inside = "\n".join(_blocks(sheet.blocks, {}, level=SMALLEST_HEADING))
    return f"<div>{inside}</div>"


def safe(text: str) -> str:
    """Text that a browser takes for text: no markup, no character that is not seen."""
    return escape(plain_text(text))


def _blocks(blocks: tuple[Block, ...], figures: "Mapping[str, Draw]", *, level: int) -> Iterator[str]:
    for block in blocks:
        match block:
            case Section():
                yield from _section(block, figures, level=level)
            case Picture():
                if block.name in figures:
                    yield _picture(block, figures[block.name], level=level)
            case Table():
                yield _table(block)
            case Listing():
                yield _listing(block)
            case Notice():
                paragraphs = "".join(f"<p>{safe(line)}</p>" for line in block.lines)
                yield f'<div class="notice {block.level}">{paragraphs}</div>'
            case Text():
                css = ' class="small"' if block.is_note else ""
                yield f"<p{css}>{safe(' '.join(line.strip() for line in block.lines))}</p>"
            case Verdict():
                paragraphs = "".join(f"<p>{safe(line)}</p>" for line in block.lines)
                yield f'<div class="verdict {block.level}"><p class="said">{safe(block.text)}</p>{paragraphs}</div>'
            case Meaning():
                yield f'<p class="meaning">{safe(block.text)}</p>'
            case Sketch():
                drawn = "\n".join(safe(line) for line in block.lines)
                yield f'<div class="wide"><pre>{drawn}</pre></div>'
            case Headlines():
                yield _headlines(block)
            case Drawing():
                yield _drawing(block, figures, level=level)


def _section(section: Section, figures: "Mapping[str, Draw]", *, level: int) -> Iterator[str]:
    heading = section.heading or section.label
    title = f"<h{level}>{safe(heading)}{_mark(section.mark)}</h{level}>" if heading else ""
    inside = list(_blocks(section.blocks, figures, level=min(level + 1, SMALLEST_HEADING) if heading else level))
    if (section.is_folded or section.is_pictured) and title:
        if inside:  # a heading over nothing would be opened for nothing
            yield f"<details><summary>{title}</summary>"
            yield from inside
            yield "</details>"
        return
    if title:
        yield title
    yield from inside


def _mark(mark: Mark | None) -> str:
    return "" if mark is None else f' <span class="mark {mark.level}">{safe(mark.text)}</span>'


def _listing(listing: Listing) -> str:
    items = []
    for item in listing.items:
        first, *others = (item,) if isinstance(item, str) else item
        more = "".join(f'<p class="small">{safe(other)}</p>' for other in others)
        items.append(f"<li>{safe(first)}{more}</li>")
    return f"<ul>{''.join(items)}</ul>"


def _headlines(block: Headlines) -> str:
    doubt = f' <b class="mark bad">{safe(block.doubt)}</b>' if block.doubt else ""
    cells = []
    for name, estimate in block.values:
        value, interval = estimate_texts(estimate)
        cells.append(
            f'<div><dt>{safe(name)}{doubt}</dt><dd class="value">{safe(value)}</dd>'
            f'<dd class="interval">{safe(interval)}</dd></div>'
        )
    return f'<dl class="values" aria-label="{safe(block.label)}">{"".join(cells)}</dl>'


# What is wider than a phone scrolls by itself; a shadow lies at each edge behind which there is more.
def _table(table: Table) -> str:
    rows = table.rows
    head = ""
    if table.has_head:
        cells = "".join(f'<th scope="col">{text}</th>' if text else "<td></td>" for text, _ in _cells(rows[0]))
        head, rows = f"<thead><tr>{cells}</tr></thead>", rows[1:]
    body = "".join(f"<tr>{_row(row)}</tr>" for row in rows)
    return f'<div class="wide"><table>{head}<tbody>{body}</tbody></table></div>'


def _row(row: tuple[Cell, ...]) -> str:
    (name, css), *others = _cells(row)
    first = f'<th scope="row"{css}>{name}</th>' if name else f"<td{css}></td>"
    return first + "".join(f"<td{css}>{text}</td>" for text, css in others)


def _cells(row: tuple[Cell, ...]) -> Iterator[tuple[str, str]]:
    """Safe text and attributes of each column; an estimate has two."""
    for cell in row:
        if isinstance(cell, Estimate):
            yield from ((safe(text), ' class="figure"') for text in estimate_texts(cell))
        elif isinstance(cell, Mark):
            yield safe(cell.text), f' class="mark {cell.level}"'
        else:
            yield safe(cell), ""


def _picture(picture: Picture, draw: "Draw", *, level: int) -> str:
    from fit.desk.show.figures.style import svg_text

    heading = f"<h{level}>{safe(picture.heading)}</h{level}>" if picture.heading else ""
    caption = f"<figcaption>{safe(picture.caption)}</figcaption>" if picture.caption else ""
    title = plain_text(". ".join(text for text in (picture.heading, picture.caption) if text))
    image = svg_text(draw(), name=picture.name, title=title)
    return f"<section>{heading}<figure>{image}{caption}</figure></section>"


def _drawing(drawing: Drawing, figures: "Mapping[str, Draw]", *, level: int) -> str:
    inside = "\n".join(_blocks(drawing.inside, figures, level=SMALLEST_HEADING))
    return (
        f'<section><h{level}>{safe(drawing.heading)}</h{level}><figure><div class="wide">{drawing.svg}</div>'
        f"<figcaption>{safe(drawing.caption)}</figcaption></figure>"
        f"<details><summary>{safe(drawing.details)}</summary>{inside}</details></section>"
    )


def series_colours() -> str:
    """Rules that give the same pictures their colours on a light and on a dark page."""
    from fit.desk.show.figures.style import COLOURS, DARK_COLOURS

    light, dark = ("".join(f"--series-{number}:{one};" for number, one in enumerate(set_)) for set_ in (COLOURS, DARK_COLOURS))
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
