"""A sheet as one self-contained HTML page, light or dark, for a phone and for paper.

No script and nothing fetched from elsewhere; every text goes through one place that makes it safe.
"""

from collections.abc import Iterator, Mapping
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
    Notice,
    Picture,
    Section,
    Sheet,
    Sketch,
    Table,
    Text,
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
h2{font-size:1.35rem;margin:3rem 0 .8rem;padding-top:.9rem;border-top:1px solid var(--line)}
h3{font-size:1rem;margin:1.6rem 0 .3rem}
h1,h2,h3,li,dt{overflow-wrap:anywhere}
p{margin:.5rem 0;max-width:42rem;overflow-wrap:anywhere}
.lead,figcaption,.small{color:var(--soft)}
.small,figcaption{font-size:.875rem}
.notice{border-left:3px solid var(--look);background:var(--card);padding:.7rem 1rem;margin:1.2rem 0;border-radius:0 4px 4px 0}
.notice.bad{border-color:var(--bad)}.notice.good{border-color:var(--good)}
.values{display:flex;flex-wrap:wrap;gap:1px;background:var(--line);border:1px solid var(--line);border-radius:6px;
overflow:hidden;margin:1.6rem 0 0}
.values div{background:var(--paper);padding:.9rem 1rem;flex:1 1 13.5rem}
.values dt{font-size:.82rem;color:var(--soft)}
.values dd{margin:0}
.values .value{font-size:1.55rem;line-height:1.3;font-variant-numeric:tabular-nums;white-space:nowrap}
.values .interval{font-size:.82rem;color:var(--soft);font-variant-numeric:tabular-nums}
.wide{overflow-x:auto;margin:.8rem 0}
table{border-collapse:collapse;width:100%;font-size:.9rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;vertical-align:top;padding:.4rem .9rem .4rem 0;border-bottom:1px solid var(--line);overflow-wrap:break-word}
th{font-weight:600;color:var(--soft);font-size:.8rem}
tbody th{font-weight:400;color:inherit;font-size:inherit}
.figure{white-space:nowrap}
td:last-child,th:last-child{padding-right:0}
.mark{font-size:.78rem;font-weight:600;white-space:nowrap}
.mark.good{color:var(--good)}.mark.look{color:var(--look)}.mark.bad{color:var(--bad)}
figure{margin:1.2rem 0 2rem}
figure svg{display:block;width:100%;min-width:36rem;height:auto}
figure svg.schematic{width:auto;min-width:0;max-width:none}
ul{padding-left:1.2rem}li{margin:.25rem 0}
footer{margin-top:3.5rem;padding-top:.9rem;border-top:1px solid var(--line)}
@media (max-width:34rem){body{padding-top:1.5rem}}
@media print{:root{--ink:#000;--soft:#444;--paper:#fff;--card:#f4f4f4;--line:#bbb;--good:#064;--look:#640;--bad:#900}
html{font-size:10.5pt}body{max-width:none;padding:0}h2{break-after:avoid}.wide{overflow:visible}
figure svg{min-width:0}section,figure,tr,.notice,.values div{break-inside:avoid}}
"""


def html(sheet: Sheet, figures: "Mapping[str, Draw] | None" = None, *, footer: str = "") -> str:
    """Make a page of a sheet.

    Parameters
    ----------
    figures : mapping of str to callable, optional
        Draw the sheet's pictures, by their names; one that is not there is left out.
    """
    drawn = figures or {}
    style = STYLE + (_dark_series() if drawn else "")
    head = (
        f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}"><title>{_safe(sheet.title)}</title>'
        f"<style>{style}</style>"
    )
    body = [f"<h1>{_safe(sheet.title)}</h1>", *_blocks(sheet.blocks, drawn, level=LARGEST_HEADING)]
    if footer:
        body.append(f'<footer class="small">{_safe(footer)}</footer>')
    text = "\n".join(body)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{text}\n</body></html>\n'


def fragment(sheet: Sheet) -> str:
    """Make a part of a page of a sheet, without its pictures, for a notebook that has a style of its own."""
    inside = "\n".join(_blocks(sheet.blocks, {}, level=SMALLEST_HEADING))
    return f"<div>{inside}</div>"


def _safe(text: str) -> str:
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
                paragraphs = "".join(f"<p>{_safe(line)}</p>" for line in block.lines)
                yield f'<div class="notice {block.level}">{paragraphs}</div>'
            case Text():
                css = ' class="small"' if block.is_note else ""
                yield f"<p{css}>{_safe(' '.join(line.strip() for line in block.lines))}</p>"
            case Sketch():
                drawn = "\n".join(_safe(line) for line in block.lines)
                yield f'<div class="wide"><pre>{drawn}</pre></div>'
            case Headlines():
                yield _headlines(block)
            case Drawing():
                yield _drawing(block, figures, level=level)


def _section(section: Section, figures: "Mapping[str, Draw]", *, level: int) -> Iterator[str]:
    heading = section.heading or section.label
    if heading:
        yield f"<h{level}>{_safe(heading)}{_mark(section.mark)}</h{level}>"
    inside = min(level + 1, SMALLEST_HEADING) if heading else level
    yield from _blocks(section.blocks, figures, level=inside)


def _mark(mark: Mark | None) -> str:
    return "" if mark is None else f' <span class="mark {mark.level}">{_safe(mark.text)}</span>'


def _listing(listing: Listing) -> str:
    items = []
    for item in listing.items:
        first, *others = (item,) if isinstance(item, str) else item
        more = "".join(f'<p class="small">{_safe(other)}</p>' for other in others)
        items.append(f"<li>{_safe(first)}{more}</li>")
    return f"<ul>{''.join(items)}</ul>"


def _headlines(block: Headlines) -> str:
    doubt = f' <b class="mark bad">{_safe(block.doubt)}</b>' if block.doubt else ""
    cells = []
    for name, estimate in block.values:
        value, interval = estimate_texts(estimate)
        cells.append(
            f'<div><dt>{_safe(name)}{doubt}</dt><dd class="value">{_safe(value)}</dd>'
            f'<dd class="interval">{_safe(interval)}</dd></div>'
        )
    return f'<dl class="values" aria-label="{_safe(block.label)}">{"".join(cells)}</dl>'


# What is wider than a phone scrolls by itself.
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
            yield from ((_safe(text), ' class="figure"') for text in estimate_texts(cell))
        elif isinstance(cell, Mark):
            yield _safe(cell.text), f' class="mark {cell.level}"'
        else:
            yield _safe(cell), ""


def _picture(picture: Picture, draw: "Draw", *, level: int) -> str:
    from fit.desk.show.figures.style import svg_text

    heading, caption = _safe(picture.heading), _safe(picture.caption)
    image = svg_text(draw(), name=picture.name, title=plain_text(f"{picture.heading}. {picture.caption}"))
    return (
        f'<section><h{level}>{heading}</h{level}><figure><div class="wide">{image}</div>'
        f"<figcaption>{caption}</figcaption></figure></section>"
    )


def _drawing(drawing: Drawing, figures: "Mapping[str, Draw]", *, level: int) -> str:
    inside = "\n".join(_blocks(drawing.inside, figures, level=SMALLEST_HEADING))
    return (
        f'<section><h{level}>{_safe(drawing.heading)}</h{level}><figure><div class="wide">{drawing.svg}</div>'
        f"<figcaption>{_safe(drawing.caption)}</figcaption></figure>"
        f"<details><summary>{_safe(drawing.details)}</summary>{inside}</details></section>"
    )


# Pictures carry the colours for paper; on a dark page lighter ones of the same hue take their place.
def _dark_series() -> str:
    from fit.desk.show.figures.style import COLOURS, DARK_COLOURS

    rules = [
        f'svg [style*="{what}: {light}"]{{{what}:{dark}!important}}'
        for light, dark in zip(COLOURS, DARK_COLOURS, strict=True)
        for what in ("stroke", "fill")
    ]
    return f"@media screen and (prefers-color-scheme:dark){{{''.join(rules)}}}"
