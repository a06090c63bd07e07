"""Logbooks in which each page has something to show."""

from tests.guided import Script, guided
from tests.three_pickups import lay_out

PATHS = ("/", "/level", "/take", "/take?job=wiring", "/result", "/what-if", "/before-after", "/listen", "/logbook")
BOOKS = {"/result": "pickup", "/what-if": "guitar", "/listen": "guitar"}  # the others: of a job


def fill(folder):
    """A job's takes of before and after, a pickup that was fitted, a guitar whose parts are known."""
    for job in ("compare", "pickup"):
        guided(folder / job, job, Script())
    (folder / "guitar").mkdir()
    lay_out(folder / "guitar")
    return folder


def book_for(folder, path):
    return folder / BOOKS.get(path, "compare")
