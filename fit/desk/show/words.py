"""How figures and findings are put for people: names of quantities, numbers with prefixes, note names, aligned tables."""

import itertools
import math
import os
import re
import shlex
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path

from fit.answers.digits import interval_texts
from fit.answers.figures import Estimate
from measure.text import plain_text as plain_text  # here, where all words for people are

QUANTITY_NAMES = {
    "inductance": "Inductance",
    "winding_capacitance": "Winding capacitance",
    "dc_resistance": "Winding resistance (dcr)",
    "resonance_unloaded": "Resonance, pickup alone",
    "q_unloaded": "Q, pickup alone",
    "resonance_loaded": "Resonance, cable and input on",
    "q_loaded": "Q, cable and input on",
    "peak_loaded": "Peak height, cable and input on",
    "lc_product": "Inductance × total capacitance",
}
PART_KINDS = {"pot": "pot", "capacitor": "capacitor", "resistor": "resistor"}
PART_DETAILS = ("", "stop_0", "stop_10", "loss_tangent", "leak")  # of a part, in the order in which they are told
MINUS = "\N{MINUS SIGN}"
WIDTH = 80  # columns of a terminal
GAP = 2  # columns between those of a table
NARROWEST = 18  # columns of one whose words are broken
CONTINUED = "  "  # in front of the second line of a name
INTERVAL_HEADS = ("95 %", "its limits")
STUCK = "\N{NO-BREAK SPACE}"
# Where a line is not broken: between a number and its unit, within an interval.
UNIT = re.compile(
    r"(?<=[\d±]) (?=%|°C|[npm]F\b|[mk]?H\b|[kM]?Ω|[kM]?Hz|ppm|dB|m?V\b|[cm]m\b|\d|…)|(?<=…) (?=\S)| (?=…)|(?<=[×÷=]) | (?==)"
)
TYPED = re.compile(r"(?:[A-Z][\w ]*: )?coilsweep ")
NOTES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")
A4_HZ = 440.0  # [Hz] ISO 16
A4_NUMBER = 57  # [1] semitones from C0 to A4
SIMULATED_TEXT = "simulated: these recordings came from the virtual bench, not from a real pickup"
WORDS = {  # the glossary: of a report, and of the manual
    "95 % interval": (
        "Where the true value lies in 95 of 100 such measurements, provided that the reference parts keep their stated bounds."
    ),
    "added part": "A known resistor or capacitor clipped across the jack for one take; it sets the scale.",
    "BIC": (
        "Bayesian information criterion: weighs a better fit against more parameters. The lowest wins; 10 above the best is "
        "strong evidence against a model, 2 is not."
    ),
    "bound": (
        "What stands after ±, as printed on a part or given by a meter's data sheet: every value within it counts as equally "
        "likely (standard uncertainty bound/√3)."
    ),
    "budget": "How much each source contributes to the uncertainty of a value.",
    "corner": "The frequency from which something begins to work: the exciter's R/(2πL), an eddy loop's 1/(2πτ).",
    "coverage factor": (
        "Half of the 95 % interval over the standard uncertainty: 1.65 where one bound is nearly all of it, 1.96 where many "
        "sources share."
    ),
    "dBFS": "Decibels relative to full scale: 0 is a sine that just reaches it.",
    "dcr": "Winding resistance at DC: what a multimeter shows between the winding's ends.",
    "eddy loop": (
        "A closed path in pole pieces, cover or base plate in which a current is induced. It takes energy from the treble and "
        "lowers the inductance there."
    ),
    "eddy spread": "Many eddy loops about one corner, as solid steel poles have.",
    "EMF": "The voltage that is induced in the winding, before its own losses and capacitance.",
    "exciter": "The small driven coil on the pickup.",
    "floor (noise)": "What an input hears from 20 Hz to 20 kHz without the mains lines.",
    "host API": "The sound system through which a device is reached: the same card may stand there several times.",
    "inductance": "How strongly the winding stores magnetic energy. Together with the capacitance it places the resonance.",
    "instrument": "Pickups, pots, capacitors, switch and how they are joined: instrument.toml.",
    "logbook": "The folder that keeps rig, instrument and takes.",
    "loss angle": (
        "How far a capacitor is from an ideal one, as tan δ: 0.1 to 0.5 % for film, 1 to 3 % for ceramic and paper (common "
        "practice, no source)."
    ),
    "marked value": "Printed on a part: a claim to be tested.",
    "measured value": "Known, with its uncertainty: a reference that a fit may rely on.",
    "misfit": (
        "A smooth difference between model and measurement that noise does not explain. From 0.5 % on, values are indicative "
        "only."
    ),
    "model floor": (
        "What the model cannot describe of the response, as smooth differences along frequency; it widens the intervals."
    ),
    "node": "A place where leads meet, under a name of your choice; ground is the jack's sleeve.",
    "not identified": "What the takes do not tell: no number is given, but the reason and the cheapest take that would tell it.",
    "not resolved": "The interval lies across a limit, or across “no change”: the takes do not decide.",
    "ohms left": (
        "Resistance that stays between a pot's wiper and its lug at the end of the travel, mostly 0 to 100 Ω (common practice, "
        "no source)."
    ),
    "peak height": "How far the output at the resonance stands above that at low notes.",
    "placement": "Takes between which the exciter was not moved.",
    "plate": "A piece of foil that is driven in place of the exciter, to see what shielding keeps out.",
    "Q": "How sharp the resonance is. A higher Q is a narrower, taller peak.",
    "reduced χ²": "What is left of the fit over what noise and floor lead one to expect; near 1 where it looks like them.",
    "reference channel": "The input that records the sense resistor, or the output itself.",
    "reference part": (
        "A part with a known value (an added capacitor, the dcr, the input). It gives the scale in ohms and farads."
    ),
    "resonance": "The frequency at which the output peaks. Cable and input capacitance pull it down.",
    "response": "Pickup over reference against frequency, with its uncertainty.",
    "rig": "Interface, channels, sense resistor, resistance and capacitance of the input: rig.toml.",
    "sense resistor": "In series with the exciter; its voltage is the exciter's current.",
    "simulated": "Made by the virtual bench; whatever rests on it says so.",
    "smooth difference": "The size of the model floor, as a fraction of the response. Below 0.5 % values are good.",
    "σ, standard uncertainty": "One standard deviation of what a value may be off.",
    "stimulus": "What is played: a sweep.",
    "take": "One recording with everything that was true when it was made.",
    "taper": "The share of a pot's track below the wiper, by rotation: audio or linear.",
    "winding capacitance": "Capacitance between the turns of the coil itself, without cable and input.",
}
CAUTIONS = (
    "Unplug the guitar from the amplifier before you measure. Valve amplifiers hold lethal voltage after they are switched off: "
    "leave their inside to a qualified technician.",
    "Never connect an audio interface to the mains or to a speaker output. Never lift a protective earth to cure hum.",
    "Phantom power off.",
    "Sweeps are loud: headphones off the ears, monitors down, direct monitoring off.",
    "Keep the exciter and the sense resistor within their ratings.",
    "When soldering, wear eye protection and air the room.",
)
SWEEP_CAUTION = "The sweep is loud: headphones off the ears, monitors down, direct monitoring off, phantom power off."


def quantity_name(key: str) -> str:
    """Name of a quantity for people.

    Parameters
    ----------
    key : str
        As in the JSON document, for example ``"winding_capacitance"``.

    Returns
    -------
    str
        Its name; an unknown key with spaces for underscores.
    """
    if key in QUANTITY_NAMES:
        return QUANTITY_NAMES[key]
    kind, _, rest = key.partition(".")
    if kind in PART_KINDS and rest:
        name = _part_name(kind, rest)
    elif rest in QUANTITY_NAMES or rest.startswith("eddy_"):
        name = f"{kind}: {in_sentence(rest)}"
    else:
        name = key.replace("_", " ").replace(".", ", ").replace("eddy spread", "spread of eddy loops")
    return name[:1].upper() + name[1:]


def _part_name(kind: str, rest: str) -> str:
    part, mark, detail = _split_part(rest)
    name = f"{part} {PART_KINDS[kind]}"
    if mark == "@":
        return f"{name} at {detail}, share of its track"
    if detail.startswith("stop_"):
        return f"{name}, ohms left at {detail.removeprefix('stop_')}"
    if detail == "loss_tangent":
        return f"{name}, loss angle (tan δ)"
    return f"leak across the {name}" if detail == "leak" else name


def _split_part(rest: str) -> tuple[str, str, str]:
    """Part the name of a part from what is told of it beside its value."""
    for mark in ("@", "."):
        part, found, detail = rest.partition(mark)
        if found:
            return part, mark, detail
    return rest, "", ""


def in_sentence(key: str) -> str:
    """Name of a quantity in the middle of a sentence.

    Returns
    -------
    str
        With a small first letter, but for symbols.
    """
    return in_middle(quantity_name(key))


def in_middle(name: str) -> str:
    """Give a name a small first letter, but for symbols."""
    return name if name[1:2] in (",", " ") else name[:1].lower() + name[1:]


def in_order(keys: Iterable[str]) -> list[str]:
    """Put quantities in the order in which people ask for them.

    Returns
    -------
    list of str
        Pickup by pickup, the usual ones first; then pots, capacitors, resistors, each with what is told of it beside its value.
    """
    known = list(QUANTITY_NAMES)
    listed = list(keys)
    parts = list(dict.fromkeys(_part_of(key) for key in listed))
    kinds = list(dict.fromkeys("" if "." not in key or key.startswith("eddy_") else key.partition(".")[0] for key in listed))
    kinds.sort(key=lambda kind: kind in PART_KINDS)

    def place(key: str) -> tuple[int, int, int, int]:
        kind = "" if "." not in key or key.startswith("eddy_") else key.partition(".")[0]
        plain = key.removeprefix(f"{kind}.") if kind else key
        detail = _split_part(plain)[2] if kind in PART_KINDS else ""
        behind = PART_DETAILS.index(detail) if detail in PART_DETAILS else len(PART_DETAILS)
        return kinds.index(kind), known.index(plain) if plain in known else len(known), parts.index(_part_of(key)), behind

    return sorted(listed, key=place)


def _part_of(key: str) -> str:
    kind, _, rest = key.partition(".")
    return f"{kind}.{_split_part(rest)[0]}" if kind in PART_KINDS else ""


def headline_keys(keys: Iterable[str], wanted: Sequence[str]) -> list[str]:
    """Choose what comes first: of every pickup the wanted quantities, and every part.

    Parameters
    ----------
    keys : iterable of str
        Quantities that there are.

    Returns
    -------
    list of str
        Of several pickups the inductance and the loaded resonance alone; of parts their values alone.
    """
    listed = in_order(keys)
    is_single = any(key in wanted for key in listed)
    of_each = set(wanted) if is_single else {"inductance", "resonance_loaded"}
    chosen = []
    for key in listed:
        kind, _, rest = key.partition(".")
        is_part = kind in PART_KINDS and not _split_part(rest)[1]
        plain = key if is_single else rest
        if is_part or plain in of_each:
            chosen.append(key)
    return chosen


def estimate_texts(estimate: Estimate) -> tuple[str, str]:
    """Value and 95 % interval with the same prefix and as many digits as the interval deserves.

    Returns
    -------
    value, interval : str
        For example ``"2.874 H"`` and ``"2.833 … 2.916 H"``.

    Examples
    --------
    >>> estimate_texts(Estimate(value=92.4e-12, unit="F", standard_uncertainty=1.8e-12, low=88.87e-12, high=95.93e-12))
    ('92.4 pF', '88.8 … 96.0 pF')
    """
    return interval_texts(estimate.value, estimate.low, estimate.high, estimate.unit)


def quantity_texts(key: str, estimate: Estimate) -> tuple[str, str]:
    """Value and 95 % interval of a quantity; loss tangents in percent, as they are stated.

    Returns
    -------
    value, interval : str
        As of `estimate_texts`.

    Examples
    --------
    >>> part = Estimate(value=0.00401, unit="1", standard_uncertainty=4.4e-5, low=0.003924, high=0.004096)
    >>> quantity_texts("capacitor.tone.loss_tangent", part)
    ('0.4010 %', '0.3924 … 0.4096 %')
    """
    if not key.endswith(".loss_tangent"):
        return estimate_texts(estimate)
    return interval_texts(100 * estimate.value, 100 * estimate.low, 100 * estimate.high, "%")


def temperature_text(temperature_c: float | None) -> str:
    """Say how warm the winding was.

    Parameters
    ----------
    temperature_c : float or None
        None where that was not said. [°C]

    Returns
    -------
    str
        For example ``"winding at 24 °C"``; empty for None.
    """
    return "" if temperature_c is None else f"winding at {temperature_c:g} °C".replace("-", MINUS)


def note_name(frequency_hz: float) -> str:
    """Nearest note in equal temperament, A4 = 440 Hz.

    Parameters
    ----------
    frequency_hz : float
        Above 0. [Hz]

    Returns
    -------
    str
        For example ``"E2"``.

    References
    ----------
    ISO 16, Acoustics: Standard tuning frequency.

    Examples
    --------
    >>> note_name(82.4), note_name(440.0), note_name(1318.5)
    ('E2', 'A4', 'E6')
    """
    number = round(A4_NUMBER + 12 * math.log2(frequency_hz / A4_HZ))
    return f"{NOTES[number % 12]}{number // 12}"


def note_frequency_hz(name: str) -> float:
    """Frequency of a note in equal temperament, A4 = 440 Hz.

    Parameters
    ----------
    name : str
        Letter, ♯ or ♭ where needed, and octave, for example ``"E2"``.

    Returns
    -------
    float
        Its frequency. [Hz]

    Examples
    --------
    >>> round(note_frequency_hz("E2"), 2)
    82.41
    """
    number = NOTES.index(name[:-1]) + 12 * int(name[-1])
    return A4_HZ * 2.0 ** ((number - A4_NUMBER) / 12)


def command_text(words: Sequence[str], logbook: Path = Path()) -> str:
    """Command line as it can be typed, in the shells of all systems.

    Parameters
    ----------
    words : sequence of str
        Behind ``coilsweep``.
    logbook : Path
        Named where it is not the current folder.

    Examples
    --------
    >>> command_text(["take", "plus-1n", "--add", "1n ± 1%"], Path("my bench"))
    'coilsweep take plus-1n --add "1n ± 1%" --logbook "my bench"'
    """
    place = [] if logbook == Path() else ["--logbook", str(logbook)]
    return plain_text(" ".join(_quoted(word) for word in ("coilsweep", *words, *place)))


# Double quotes where nothing inside has a meaning of its own: other systems' shells know no single ones.
def _quoted(word: str) -> str:
    if word and all(c.isalnum() or c in "-_./=:,+±%@" for c in word):
        return word
    unsafe = '"' if os.name == "nt" else '"$`\\!'
    return shlex.quote(word) if set(word) & set(unsafe) else f'"{word}"'


def table_lines(rows: Sequence[tuple[str, ...]], *, indent: str = "  ", width: int = WIDTH) -> list[str]:
    """Lines of a table with columns aligned left, as wide as they need to be.

    Where a table is wider than it may be, words are broken in its widest columns; where that would leave a column too narrow to
    be read, it becomes several tables below each other, each with the first column.

    Returns
    -------
    list of str
        Without spaces at the end.

    Examples
    --------
    >>> table_lines([("", "what"), ("rms", "a text that is too long")], width=20)
    ['       what', '  rms  a text', '       that is', '       too long']
    """
    if not rows:
        return []
    room = width - text_width(indent)
    shown = [tuple(UNIT.sub(STUCK, cell) for cell in row) for row in rows]
    parts: list[list[int]] = [[]]
    for column in _columns_together(shown):
        if parts[-1] and len(parts[-1]) > 1 and _column_widths(shown, [*parts[-1], *column], room) is None:
            parts.append([0])
        parts[-1] += column
    lines: list[str] = []
    for part in parts:
        widths = _column_widths(shown, part, room) or [min(_widest(shown, column), room // len(part)) for column in part]
        lines += [""] if lines else []
        for row in shown:
            cells = [_broken(row[column], most, is_name=column == 0) for column, most in zip(part, widths, strict=True)]
            for line in itertools.zip_longest(*cells, fillvalue=""):
                text = "  ".join(cell + " " * (most - text_width(cell)) for cell, most in zip(line, widths, strict=True))
                lines.append((indent + text).rstrip().replace(STUCK, " "))
    return lines


# An interval stands beside its value.
def _columns_together(rows: Sequence[tuple[str, ...]]) -> list[list[int]]:
    together: list[list[int]] = []
    for column in range(len(rows[0])):
        is_interval = rows[0][column].startswith(INTERVAL_HEADS) or any("…" in row[column] for row in rows)
        if is_interval and column > 1:
            together[-1].append(column)
        else:
            together.append([column])
    return together


def _widest(rows: Sequence[tuple[str, ...]], column: int) -> int:
    return max(text_width(row[column]) for row in rows)


def _column_widths(rows: Sequence[tuple[str, ...]], columns: Sequence[int], room: int) -> list[int] | None:
    """Widths at which columns fit, the widest narrowed first; None where one would be too narrow."""
    widths = [_widest(rows, column) for column in columns]
    least = [_narrowest(rows, column) for column in columns]
    while sum(widths) + GAP * (len(widths) - 1) > room:
        spare = [most - fewest for most, fewest in zip(widths, least, strict=True)]
        can_give = [index for index, left in enumerate(spare) if left > 0]
        if not can_give:
            return None
        widths[max(can_give, key=lambda index: widths[index])] -= 1
    return widths


def _narrowest(rows: Sequence[tuple[str, ...]], column: int) -> int:
    """Columns that a column needs at least; a heading over figures may be broken at each word."""
    words = [[text_width(word) for word in row[column].split(" ")] for row in rows]
    body = rows[1:] or rows
    longest = max(max(each) for each in words[-len(body) :])
    needed = min(_widest(body, column), max(NARROWEST, longest + len(CONTINUED)))
    return max(needed, *words[0])


def _broken(cell: str, most: int, *, is_name: bool) -> list[str]:
    if text_width(cell) <= most:
        return [cell]
    if not is_name:
        return wrapped(cell, most)
    first = wrapped(cell, most)[0]
    rest = cell[len(first) :].lstrip(" ")
    return [first, *(CONTINUED + line for line in wrapped(rest, most - len(CONTINUED)))] if rest else [first]


def wrapped(text: str, width: int) -> list[str]:
    """Break a text into lines of so many columns at most, between words where that can be.

    Examples
    --------
    >>> wrapped("tone=0; added 1n ± 1%", 12)
    ['tone=0;', 'added 1n ±', '1%']
    """
    lines, line = [], ""
    for word in text.split(" "):
        joined = f"{line} {word}" if line else word
        if text_width(joined) <= width:
            line = joined
            continue
        lines += [line] if line else []
        line = word
        while text_width(line) > width:
            cut = next(n for n in range(len(line), 0, -1) if text_width(line[:n]) <= width or n == 1)
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line]


def is_paragraph(lines: Sequence[str], *, width: int = WIDTH) -> bool:
    """Say whether lines are prose that has to be broken anew: one is too wide, and none is to be typed or laid out by hand."""
    is_wide = any(text_width(line) > width for line in lines)
    return is_wide and not any(TYPED.match(line.strip()) or "  " in line.strip() for line in lines)


def prose_lines(text: str, *, first: str = "", later: str = "", width: int = WIDTH) -> list[str]:
    """Break prose between words; what is to be typed, and what was laid out by hand, is left as it is.

    Parameters
    ----------
    first, later : str
        In front of the first line and of all others.

    Examples
    --------
    >>> prose_lines("about 2 H", width=8), prose_lines("Next: coilsweep fit", width=8)
    (['about', '2 H'], ['Next: coilsweep fit'])
    """
    inner = text.strip()
    if TYPED.match(inner) or "  " in inner or text_width(first + text) <= width:
        return [first + text]
    own = text[: len(text) - len(text.lstrip())]
    told = textwrap.wrap(
        UNIT.sub(STUCK, inner),
        width,
        initial_indent=first + own,
        subsequent_indent=later + own,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(STUCK, " ") for line in told]


def error_line(error: BaseException) -> str:
    """Put what went wrong in one line, safe to print; where the system says it, with the file that it is about."""
    text = str(error)
    if isinstance(error, OSError) and error.strerror:
        from measure.logbook.disk import CURES

        text = f"{error.strerror}: {error.filename}" if error.filename else error.strerror
        text += CURES.get(error.errno or 0, "")
    return plain_text(" ".join(text.split())) or type(error).__name__


def text_width(text: str) -> int:
    """Columns that a text takes in a terminal."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
