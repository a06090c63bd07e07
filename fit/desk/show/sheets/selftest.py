"""What is said of the reference recordings: expected beside found, and on which versions."""

from dataclasses import dataclass
from typing import Literal

from fit.answers.figures import Estimate
from fit.desk.show.document.pieces import value_or_none
from fit.desk.show.document.selftest import RerunLine
from fit.desk.show.sheet import Block, Mark, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.words import estimate_texts, quantity_name
from measure.quantity import format_quantity

JUDGEMENTS = {
    "verdict": "tone capacitor, marked 22 nF ± 10 %: within its marking",
    "rejected": "rejected, since samples are missing",
    "response": "response, largest difference",
}
NAMES = {"hum": "Hum"}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """One thing that was expected of what `title` names, and what was found.

    Attributes
    ----------
    name : str
        Quantity, part, or key of `JUDGEMENTS`.
    actual : float or None
        What the recordings were made from, in the unit of the estimate.
    estimate : Estimate or None
        None where nothing was told, or where a judgement is expected.
    e_number : float or None
        Difference over the half of the 95 % interval. [1]
    figure_db : float or None
        Largest difference of a response from its formula. [dB]
    """

    title: str
    name: str
    is_met: bool
    actual: float | None = None
    estimate: Estimate | None = None
    e_number: float | None = None
    figure_db: float | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rerun:
    """All of it, and the versions that it was found with."""

    found: tuple[Found, ...]
    versions: dict[str, str]

    @property
    def outcome(self) -> Literal["agrees", "does not agree"]:
        """What all lines come to."""
        return "agrees" if all(one.is_met for one in self.found) else "does not agree"


def line_of(found: Found) -> RerunLine:
    """Put one line as JSON states it."""
    return RerunLine(
        case=found.title,
        name=found.name,
        actual=found.actual,
        found=value_or_none(found.estimate),
        e_number=found.e_number,
        difference_db=found.figure_db,
        agrees=found.is_met,
    )


def sheet_of_selftest(tested: Rerun) -> Sheet:
    """Lay out what was expected and found."""
    wrong = [one for one in tested.found if not one.is_met]
    verdict = (
        Verdict("AGREES: this machine finds what the reference recordings were made from.", "good")
        if not wrong
        else Verdict(
            f"DOES NOT AGREE: {len(wrong)} of {len(tested.found)} lines.",
            "bad",
            ("Do not trust a measurement here. Install the program anew; if this stays, report it with the versions below.",),
        )
    )
    blocks: list[Block] = [verdict]
    for title in dict.fromkeys(one.title for one in tested.found):
        lines = [one for one in tested.found if one.title == title]
        head: list[Row] = [("", "actual", "found", "95 % interval", "E", "")] if lines[0].actual is not None else []
        rows = [_row(one) for one in lines if one.actual is not None]
        judged = [_judged(one) for one in lines if one.actual is None]
        inside: list[Block] = [Table((*head, *rows))] if rows else []
        inside += [Table(tuple(judged), has_head=False)] if judged else []
        blocks.append(Section(tuple(inside), heading=title))
    blocks.append(
        Text(
            (
                "The recordings were made by node equations that share no code with this program. E is the",
                "difference over the half of the 95 % interval: at most 1 where both agree.",
            ),
            is_note=True,
        )
    )
    blocks.append(Section((Table(tuple(tested.versions.items()), has_head=False),), heading="Versions"))
    return Sheet(title="Self-test", blocks=tuple(blocks))


def _row(one: Found) -> Row:
    name = NAMES.get(one.name) or quantity_name(one.name)
    if one.estimate is None or one.actual is None:
        return (name, "", "not told", "", "", _mark(one))
    value, interval = estimate_texts(one.estimate)
    return (name, format_quantity(one.actual, one.estimate.unit, 3), value, interval, f"{one.e_number:.2f}", _mark(one))


def _judged(one: Found) -> Row:
    figure = "" if one.figure_db is None else f" {one.figure_db:.2g} dB"
    return (JUDGEMENTS[one.name] + figure, _mark(one))


def _mark(one: Found) -> Mark:
    return Mark("agrees", "good") if one.is_met else Mark("OFF", "bad")
