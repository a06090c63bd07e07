"""The answer of a guide as one page: what was asked and answered, the answer with its pictures, the takes that it rests on."""

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fit.desk.book.desk import Outcome, lines_of
from fit.desk.book.output import save_figure, save_page
from fit.desk.guide.ask_rig import QUESTIONS as RIG_QUESTIONS
from fit.desk.guide.needs import needs_section
from fit.desk.guide.scene import Scene
from fit.desk.guide.session import Deed, Done, Entry, Step
from fit.desk.show.document.pieces import Document
from fit.desk.show.sheet import Block, Row, Section, Sheet, Table
from fit.desk.show.sheets.notices import titled
from measure.logbook.store import list_takes

ANSWER_FILE = "answer.html"
QUESTIONS = {
    "layout": "Wiring of the guitar",
    "over": "Coil over",
    "check": "Check of the switch",
    "pickups": "Pickups",
    "positions": "Positions of the switch",
    "part": "Part in doubt",
    "dcr": "Winding resistance by a multimeter",
    "added": "Known part clipped across the jack",
    "at_hand": "Other known parts at hand",
}
ABOUT = {"marked": "Marked on {}", "more": "Further take {}"}  # of a key with a dot, by its beginning


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Asked:
    """What a guide asks at its end.

    Attributes
    ----------
    picture : str
        Name of the picture's file in the logbook.
    is_whole : bool
        The page is all there is: no report of a fit follows.
    """

    title: str
    picture: str
    is_whole: bool = False


def answer_stage(scene: Scene, asked: Asked, ask: Callable[[], Outcome], *, beside: Sequence[Document] = ()) -> Step | None:
    """Answer the question of the guide, and keep the answer as a page and its picture as a file.

    Parameters
    ----------
    beside : sequence of Document
        Further answers that `ask` has put there, for programs.
    """
    if scene.settled("answered"):
        return None

    def run() -> Done:
        folder = scene.logbook().path
        outcome = ask()
        for draw in list(outcome.figures.values())[:1]:  # that of the verdict
            save_figure(draw, folder / asked.picture)
        file = folder / ANSWER_FILE
        save_page(replace(outcome, page=lambda: answer_sheet(scene, asked, outcome)), file)
        told = ("", f"The answer as a page, for your browser: {file}")
        entries = {"report": str(file)} if asked.is_whole else {}
        return Done(
            lines=("", *lines_of(outcome), *told),
            entries=entries,
            document=outcome.document,
            beside=tuple(beside),
            answer=outcome.sheet,
        )

    return Deed(key="answered", run=run)


def answer_sheet(scene: Scene, asked: Asked, outcome: Outcome) -> Sheet:
    """Lay out what was asked and answered, and what came of it."""
    made = {entry.answer for entry in scene.memory.entries if entry.key.startswith("take.")}
    takes = [take for take in list_takes(scene.logbook()).takes if take.name in made]
    rows: list[Row] = [("take", "added", "controls", "coil over", "made", "outcome")]
    for take in takes:
        controls = ", ".join(f"{name}={value}" for name, value in take.conditions.controls.items())
        rows.append((take.name, take.conditions.added, controls, take.conditions.coil_over or "", take.time_utc, take.outcome))
    answered = asked_rows(scene.memory.entries)
    shown = outcome.sheet if outcome.page is None else outcome.page()  # with its pictures, and the guitar drawn
    blocks: tuple[Block, ...] = (
        Section(() if shown is None else shown.blocks, label="The answer"),
        *([Section((Table(answered, has_head=False),), heading="What was asked", is_folded=True)] if answered else []),
        Section((Table(tuple(rows)),), heading="Takes", is_folded=True),
        replace(needs_section(scene), heading="What was needed", is_folded=True),
    )
    return Sheet(title=titled(asked.title, is_simulated=any(take.simulated for take in takes)), blocks=blocks)


def asked_rows(entries: tuple[Entry, ...]) -> tuple[Row, ...]:
    """List what was asked and answered, the latest answer of each; what only led on is left out."""
    answers = {entry.key: entry.answer for entry in entries if entry.is_asked}
    named = {key: _question(key) for key in answers}
    return tuple((named[key], answer) for key, answer in answers.items() if named[key])


def _question(key: str) -> str:
    kind, _, rest = key.partition(".")
    if kind == "rig" and rest in RIG_QUESTIONS:
        return RIG_QUESTIONS[rest][0]
    text = QUESTIONS.get(key) or ABOUT.get(kind, "").format(rest.replace("_", " "))
    return text[:1].upper() + text[1:]


def wrapped(line: str, width: int) -> list[str]:
    """Break prose between words; tables, with their runs of spaces, are left as they are.

    Parameters
    ----------
    line : str
        Perhaps indented, perhaps an item of a list.
    """
    text = line.lstrip()
    if len(line) <= width or "  " in text:
        return [line]
    indent = " " * (len(line) - len(text))
    hanging = indent + ("  " if text.startswith("- ") else "")
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=hanging, break_on_hyphens=False)
