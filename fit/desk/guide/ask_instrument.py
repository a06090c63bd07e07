"""The stages of a guide that state the guitar: its wiring, what is printed on its parts, which pickup is measured."""

import hashlib
from collections.abc import Mapping
from pathlib import Path

from fit.circuit.alone import alone_controls
from fit.circuit.instrument import Instrument, parts_of
from fit.circuit.layouts import DESCRIPTIONS, layout_of, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.book.desk import Outcome
from fit.desk.book.instrument import LIMIT_BYTES, read_instrument_file
from fit.desk.book.output import save_page
from fit.desk.guide.scene import UNKNOWN, Scene, read_quantity, said
from fit.desk.guide.session import Deed, Done, Question, Step, one_of
from fit.desk.show.document.pieces import Document
from fit.desk.show.sheets.layouts import sheet_of_layouts, sheet_of_sketches
from fit.desk.show.terminal import lines
from fit.desk.show.words import in_sentence, plain_text
from measure.kinds import Kind, kind_of
from measure.logbook.disk import create_file, read_small, replace_file
from measure.logbook.store import instrument_path
from measure.logbook.writers import one_writer
from measure.marking import read_value

ALONE = "none"
LAYOUTS_FILE = "layouts.html"


def instrument_stage(scene: Scene, *, without: str = "", is_marking_known: bool = True) -> Step | None:
    """Ask how the guitar is wired, where no instrument.toml says so.

    Parameters
    ----------
    without : str
        What it means to go without one; empty where there has to be one.
    is_marking_known : bool
        Enter takes for what is printed on a part what is usual; otherwise that nobody has looked.
    """
    path = instrument_path(scene.logbook())
    if not scene.settled("instrument.known"):
        return Deed(key="instrument.begun", run=lambda: _begin(scene))
    if scene.answer("instrument.known") == "yes" and path.exists():
        return None
    layout = scene.answer("layout")
    if not layout and not scene.settled("layouts"):
        return Deed(key="layouts.drawing", run=lambda: _draw_layouts(scene))
    if not layout:
        return _layout_question(without, scene.answer("layouts"))
    if layout == ALONE:
        return None
    for name, part, _ in parts_of(read_instrument(layout_text(layout))):
        kind = kind_of(name)
        if part.marked is not None and kind is not None and not scene.settled(f"marked.{name}"):
            return _marking_question(name, part.marked, kind, is_known=is_marking_known)
    if not scene.settled("instrument.written") or not path.exists():
        return Deed(key="instrument.writing", run=lambda: _write(scene, layout))
    return None


def instrument_of(scene: Scene) -> Instrument | None:
    """Read the guitar.

    Returns
    -------
    Instrument or None
        None for a pickup alone.
    """
    path = instrument_path(scene.logbook())
    return read_instrument_file(path) if path.exists() and scene.answer("layout") != ALONE else None


def over_stage(scene: Scene) -> Step | None:
    """Ask which pickup the exciter lies on.

    Returns
    -------
    Question or None
        None where there is one only.
    """
    instrument = instrument_of(scene)
    names = () if instrument is None else tuple(instrument.pickup)
    if len(names) < 2 or scene.answer("over") in names:
        return None
    return Question(
        key="over",
        text=f"Over which pickup will the coil lie: {', '.join(names)}?",
        default=names[0],
        explanation=("One of them is enough: all that hangs on it is measured through it.",),
        read=one_of(names),
    )


def usual_controls(scene: Scene) -> dict[str, str]:
    """Where the controls stand while one pickup is measured: it reaches the jack, alone if that can be."""
    instrument = instrument_of(scene)
    if instrument is None:
        return {}
    over = scene.answer("over", next(iter(instrument.pickup)))
    return alone_controls(instrument, over)


def _begin(scene: Scene) -> Done:
    """See what states the guitar; of a starting file that nobody has changed the wiring alone is known, no marking."""
    path = instrument_path(scene.logbook())
    if not path.exists():
        return Done(entries={"instrument.known": "no"})
    begun = layout_of(_text(path))
    if begun is not None:
        lines = ("", f"instrument.toml is as it was begun: {_title(scene)}.", "What is printed on its parts is asked for.")
        return Done(lines=lines, entries={"instrument.known": "no", "layout": begun})
    told = f"instrument.toml states the guitar already: {_title(scene)}."
    return Done(lines=("", told), entries={"instrument.known": "yes"})


def _text(path: Path) -> str:
    return read_small(path, LIMIT_BYTES).decode("utf-8", errors="replace")


def _title(scene: Scene) -> str:
    return plain_text(read_instrument_file(instrument_path(scene.logbook())).name or "without a name")


def _draw_layouts(scene: Scene) -> Done:
    """Draw the wirings to choose from, as a page in the logbook."""
    file = scene.logbook().path / LAYOUTS_FILE
    sheet = sheet_of_layouts()
    save_page(Outcome(document=Document(), sheet=sheet), file)
    return Done(entries={"layouts": str(file)})


def _layout_question(without: str, file: str) -> Question:
    names = (*DESCRIPTIONS, *((ALONE,) if without else ()))
    return Question(
        key="layout",
        text="Which wiring is nearest to yours, by its number?",
        default="1",
        before=(
            "",
            "The guitar",
            *lines(sheet_of_sketches(without)),
            f"The same drawn, with every lug, for your browser: {plain_text(file)}",
        ),
        explanation=(
            "It is written to instrument.toml, as text with a word on every line that needs one. If yours differs, take the",
            "nearest; when the file is written, leave with q, change it in an editor, and start the guide again.",
        ),
        read=one_of(names),
    )


def _marking_question(name: str, usual: str, kind: Kind, *, is_known: bool) -> Question:
    return Question(
        key=f"marked.{name}",
        text=f"What is printed on the {in_sentence(name)}?",
        default=usual if is_known else UNKNOWN,
        explanation=(
            f"A claim to be tested: the fit only begins from it. Usual is {usual}.",
            f"Without a look inside: {UNKNOWN}. Its value is found all the same, and then there is no marking to be off from.",
            "223K on a capacitor is 22n ± 10%: 22, then 3 zeros, in picofarads; J is ± 5 %, K ± 10 %, M ± 20 % (IEC 60062).",
        ),
        read=read_quantity(kind, may_be_unknown=True),
        act=lambda answer: Done(lines=said(answer, in_sentence(name), kind)),
    )


def _write(scene: Scene, layout: str) -> Done:
    """Write instrument.toml whole; one that was changed since the guide wrote it stays."""
    path = instrument_path(scene.logbook())
    text = marked_text(layout, {e.key.removeprefix("marked."): e.answer for e in scene.memory.entries if e.key[:7] == "marked."})
    line = f"Written: {path}"
    with one_writer(path.parent):
        try:
            create_file(path, text.encode())
        except FileExistsError:
            if is_as_written(_text(path)) or layout_of(_text(path)) is not None:
                replace_file(path, text.encode())
            else:
                line = f"{path} was changed in an editor since and stays as it is; write what is printed on the parts there"
    return Done(lines=(line,), entries={"instrument.written": layout})


def is_as_written(text: str) -> bool:
    """Say whether nobody has changed an instrument.toml since a guide wrote it.

    Returns
    -------
    bool
        True if its first line fits the rest.
    """
    first, _, rest = text.partition("\n")
    return first == _mark(rest)


def _mark(rest: str) -> str:
    return f"# Written by coilsweep guide ({hashlib.sha256(rest.encode()).hexdigest()[:12]})"


def marked_text(layout: str, marked: Mapping[str, str]) -> str:
    """Text of an instrument.toml with what is printed on its parts.

    Parameters
    ----------
    marked : dict of str to str
        Part, such as ``"capacitor.tone"``, to its marking, or that it is not known.
    """
    import tomlkit

    document = tomlkit.parse(layout_text(layout))
    for key, text in marked.items():
        kind, name = key.split(".")
        if text == UNKNOWN:
            document[kind][name].remove("marked")
            continue
        document[kind][name]["marked"] = text
        taper = read_value(text, "pot").taper if kind == "pot" else None
        if taper is not None:
            document[kind][name]["taper"] = taper
    rest = tomlkit.dumps(document)
    return f"{_mark(rest)}\n{rest}"
