"""An answer laid out for people: the blocks of which a terminal, a page or a notebook makes what is read.

Words are chosen where a sheet is made (`fit.desk.show.sheets`), nowhere else. Text from outside goes in as it is: whoever renders
a sheet makes it safe.
"""

from dataclasses import dataclass
from typing import Literal

from fit.answers.figures import Estimate

Level = Literal["good", "look", "bad"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A judgement in a word or two.

    Attributes
    ----------
    level : {"good", "look", "bad"}
        How it is coloured where there are colours.
    """

    text: str
    level: Level


Cell = str | Mark | Estimate  # an Estimate fills two columns: value and 95 % interval
Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Text:
    """One paragraph.

    Attributes
    ----------
    lines : tuple of str
        As a terminal breaks it; a page joins them.
    is_note : bool
        Of less weight, or said of the table above.
    """

    lines: tuple[str, ...]
    is_note: bool = False


@dataclass(frozen=True, slots=True)
class Notice:
    """What must not be overlooked."""

    lines: tuple[str, ...]
    level: Level = "look"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What an answer comes to, in one sentence, before all else.

    Attributes
    ----------
    lines : tuple of str
        Why, or what goes with it.
    """

    text: str
    level: Level
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Meaning:
    """What an answer means for who plays or solders, in one paragraph; a terminal goes without."""

    text: str


@dataclass(frozen=True, slots=True)
class Listing:
    """Items one below the other.

    Attributes
    ----------
    items : tuple of (str or tuple of str)
        Of a tuple the first is the item, the others belong to it.
    """

    items: tuple[str | tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells; the first cell of a row names it."""

    rows: tuple[Row, ...]
    has_head: bool = True


@dataclass(frozen=True, slots=True)
class Sketch:
    """A drawing made of letters, every column where it is."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Headlines:
    """The values that are asked for first, large; a terminal has them in its tables alone.

    Attributes
    ----------
    doubt : str
        Stands beside each name; empty for none.
    """

    label: str
    values: tuple[tuple[str, Estimate], ...]
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """Where a figure stands; a terminal has none.

    Attributes
    ----------
    heading : str
        Empty where what stands before it says as much.
    """

    name: str
    heading: str
    caption: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing that is text itself, with what belongs to it folded away; a terminal has none.

    Attributes
    ----------
    svg : str
        Made here (`fit.desk.show.drawing`), so safe as it is.
    details : str
        What is folded away, in a line.
    """

    heading: str
    caption: str
    svg: str
    details: str
    inside: tuple["Block", ...]


Plain = Text | Notice | Verdict | Meaning | Listing | Table | Sketch | Headlines | Picture | Drawing


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks that belong together.

    Attributes
    ----------
    label : str
        Heading of a page, where a terminal goes without.
    is_apart : bool
        An empty line before it in a terminal, a large heading in a page.
    is_folded : bool
        Details: a page shows its heading alone, until it is opened; a terminal shows it where it is asked for.
    is_pictured : bool
        A page folds it, since a picture shows the same; a terminal prints it.
    """

    blocks: tuple["Block", ...]
    heading: str = ""
    label: str = ""
    mark: Mark | None = None
    is_apart: bool = True
    is_folded: bool = False
    is_pictured: bool = False


Block = Plain | Section


@dataclass(frozen=True, slots=True)
class Sheet:
    """An answer laid out for people.

    Attributes
    ----------
    title : str
        Of a page; in a terminal the command that was typed says as much.
    """

    title: str
    blocks: tuple[Block, ...]
