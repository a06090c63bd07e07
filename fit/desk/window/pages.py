"""What is served beside the socket: the pages, and their files by a fixed table of names."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from pathlib import Path

from fit.desk.guide.session import OFFERS
from fit.desk.show.page import STYLE, safe, series_colours
from fit.desk.show.words import SWEEP_CAUTION
from measure.errors import FileError
from measure.logbook.disk import one_line, read_small


@dataclass(frozen=True, slots=True, kw_only=True)
class Shell:
    """One page: what the links call it, what it is for, and its script.

    Attributes
    ----------
    script : str
        Module that fills it.
    draws : bool
        It needs the plotting file.
    """

    title: str
    purpose: str
    script: str
    draws: bool = True


SHELLS: Mapping[str, Shell] = {
    "/": Shell(title="The bench", purpose="Where do you want to begin?", script="start.js", draws=False),
    "/level": Shell(title="Level", purpose="What the inputs hear, and what to change before the first take.", script="level.js"),
    "/take": Shell(title="Take", purpose="Be led through a job, take by take, with both hands free.", script="take.js"),
    "/result": Shell(title="Result", purpose="What the takes say, and what would narrow it.", script="result.js"),
    "/what-if": Shell(title="What if", purpose="Turn controls and change parts; the curve follows.", script="what-if.js"),
    "/before-after": Shell(title="Before and after", purpose="What a job on the guitar changed.", script="before-after.js"),
    "/listen": Shell(title="Listen", purpose="A recording of yours, through the change.", script="listen.js"),
    "/logbook": Shell(title="Logbook", purpose="All takes by day, with their checks and notes.", script="logbook.js"),
}
REPORT = "report.css"  # the style of all pages of this program
STYLES = (REPORT, "bench.css")
MAX_PAGE_BYTES = 50_000_000  # a report of nine takes has about 1 MB
SCRIPT, SHEET, LETTERS = "text/javascript", "text/css", "text/plain"
ASSETS: Mapping[str, str] = {
    REPORT: SHEET,
    "bench.css": SHEET,
    "uplot.js": SCRIPT,
    "uplot.license.txt": LETTERS,
    "dom.js": SCRIPT,
    "socket.js": SCRIPT,
    "chart.js": SCRIPT,
    "change.js": SCRIPT,
    "sound.js": SCRIPT,
    "speech.js": SCRIPT,
    **{page.script: SCRIPT for page in SHELLS.values()},
    "mark.svg": "image/svg+xml",
}


def asset(name: str) -> bytes:
    """Read a file of the pages.

    Raises
    ------
    KeyError
        If the table has no such name.
    """
    if name not in ASSETS:
        raise KeyError(name)
    if name == REPORT:
        return (STYLE + series_colours()).encode()
    return (files("fit.desk.window") / "assets" / name).read_bytes()


def kept_page(logbook: Path, name: str) -> bytes:
    """Read a page that a job has written into the logbook.

    Raises
    ------
    FileError
        If there is none of that name, it is a link, or it is larger than any page is.
    """
    from fit.desk.guide.page import ANSWER_FILE
    from fit.desk.questions.report import REPORT_FILE

    if name not in (REPORT_FILE, ANSWER_FILE):
        msg = f"{one_line(name)} is no page that a job writes"
        raise FileError(msg)
    return read_small(logbook / name, MAX_PAGE_BYTES, below=logbook)


def shell(path: str) -> str:
    """Page without what its script fills in: no script or style stands in it, all of them are files.

    Raises
    ------
    KeyError
        If there is no such page.
    """
    page = SHELLS[path]
    title = page.title if path == "/" else f"{page.title} · the bench"
    plot = '<script src="/assets/uplot.js" defer></script>' if page.draws else ""
    head = "".join(
        (
            '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{safe(title)}</title>",
            '<link rel="icon" href="/assets/mark.svg" type="image/svg+xml">',
            *(f'<link rel="stylesheet" href="/assets/{name}">' for name in STYLES),
            f'{plot}<script src="/assets/{page.script}" type="module"></script>',
        )
    )
    inside = "".join(_start()) if path == "/" else '<div id="page"></div>'
    kind = path.strip("/") or "start"
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body class="{kind}">\n'
        '<a class="skip" href="#main">To the page</a>\n'
        f'<header><nav aria-label="Pages"><ul>{"".join(_links(path))}</ul></nav><p id="card"></p></header>\n'
        f'<main id="main" tabindex="-1"><h1>{safe(page.title)}</h1><p class="lead">{safe(page.purpose)}</p>\n'
        '<p id="trouble" role="alert"></p><p id="said" role="status"></p>\n'
        f"{inside}\n"
        '<noscript><p class="notice bad">These pages need JavaScript; it comes from this program alone.</p></noscript>\n'
        "</main>\n</body></html>\n"
    )


PAGES: Mapping[str, Callable[[], str]] = {path: partial(shell, path) for path in SHELLS}


def _links(here: str) -> Iterable[str]:
    for path, page in SHELLS.items():
        current = ' aria-current="page"' if path == here else ""
        yield f'<li><a href="{path}"{current}>{safe(page.title)}</a></li>'


def _start() -> Iterable[str]:
    yield f'<p class="notice">{safe(SWEEP_CAUTION)}</p><p id="where" class="small"></p>'
    yield '<h2>Be led through a job</h2><ul class="cards">'
    for job, text in OFFERS.items():
        yield f'<li><a href="/take?job={job}"><b>{safe(job.capitalize())}</b><span>{safe(text)}</span></a></li>'
    yield '</ul><h2>All pages</h2><ul class="cards">'
    for path, page in SHELLS.items():
        if path != "/":
            yield f'<li><a href="{path}"><b>{safe(page.title)}</b><span>{safe(page.purpose)}</span></a></li>'
    yield "</ul>"
