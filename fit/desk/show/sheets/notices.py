"""What every sheet may have to say beside its answer: that data are simulated, and what was noticed on the way."""

from collections.abc import Iterable

from fit.desk.show.sheet import Listing, Notice, Picture, Section, Text
from fit.desk.show.words import SIMULATED_TEXT

# Stands in every page of a guitar; left out where nobody hands over a drawing of that name.
CIRCUIT = Picture(name="circuit", heading="How it is wired", caption="As instrument.toml states it.")


def titled(text: str, *, is_simulated: bool) -> str:
    """Title of a sheet; one that rests on simulated data says so."""
    return f"{text} (simulated)" if is_simulated else text


def simulated_notice(*, is_simulated: bool) -> tuple[Notice, ...]:
    """Say that recordings came from the virtual bench, where they did."""
    return (Notice((SIMULATED_TEXT,)),) if is_simulated else ()


def warnings_section(texts: Iterable[str]) -> tuple[Section, ...]:
    """List what was noticed on the way; nothing where nothing was."""
    items = tuple(texts)
    return (Section((Listing(items),), heading="Warnings"),) if items else ()


def next_line(command: str) -> str:
    """Say what to type next; the line holds nothing else, so that it can be typed as it stands."""
    return f"Next: {command}"


def next_section(command: str) -> tuple[Section, ...]:
    """Say what to type next, below an answer; nothing where nothing is known."""
    return (Section((Text((next_line(command),)),)),) if command else ()
