"""What is served beside the socket: the pages, and their files by a fixed table of names."""

from collections.abc import Callable, Mapping
from pathlib import Path

FOLDER = Path(__file__).with_name("assets")
TITLES = {
    "/": "The bench",
    "/level": "Level",
    "/take": "Take",
    "/result": "Result",
    "/what-if": "What if",
    "/before-after": "Before and after",
    "/listen": "Listen",
    "/logbook": "Logbook",
}
TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def _shell(title: str) -> str:
    return f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title><body></body></html>'


PAGES: Mapping[str, Callable[[], str]] = {path: (lambda title=title: _shell(title)) for path, title in TITLES.items()}
ASSETS: Mapping[str, str] = {path.name: TYPES[path.suffix] for path in sorted(FOLDER.glob("*")) if path.suffix in TYPES}


def asset(name: str) -> bytes:
    """Read a file of the table."""
    return (FOLDER / name).read_bytes()
