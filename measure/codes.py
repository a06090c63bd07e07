"""The forms in which values are printed on parts: codes, letters, taper, rated voltage, each put as a plain quantity.

Sources: value and tolerance codes IEC 60062, preferred values IEC 60063. Common practice, no source: a bare decimal below 1 on a
capacitor is in uF, a bare whole number from 1000 on in pF; MF and MFD are uF, MMF and MMFD pF; two characters such as 2A are a
rated voltage; A on a pot is an audio taper, B a linear one, on older European parts the other way round.
"""

import math
import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from measure.kinds import KINDS, Kind
from measure.quantity import (
    SMALL_CAPACITOR_PF,
    TOLERANCE_PERCENT,
    TOLERANCE_PF,
    nearest_preferred,
    parse_quantity,
)

Taper = Literal["audio", "linear"]
EIA_VOLTS = {  # [1] mantissa of a rated voltage; the digit before counts zeros: 2A is 100 V (common practice, known as EIA codes)
    **{"A": "1.0", "B": "1.25", "C": "1.6", "D": "2.0", "E": "2.5", "F": "3.15", "V": "3.5", "G": "4.0", "W": "4.5"},
    **{"H": "5.0", "J": "6.3", "K": "8.0"},
}
UNEVEN = {"Q": "−10/+30 %", "T": "−10/+50 %", "S": "−20/+50 %", "Z": "−20/+80 %"}  # IEC 60062: which no one bound can say
TAPERS: dict[str, Taper | None] = {
    **dict.fromkeys(("A", "LOG", "AUDIO", "AUD", "LOGARITHMIC"), "audio"),
    **dict.fromkeys(("B", "LIN", "LINEAR"), "linear"),
    **dict.fromkeys(("C", "W", "REV", "REVERSE", "ANTILOG", "REVLOG"), None),
}
MADE: dict[Kind, tuple[str, ...]] = {"pot": ("E24",), "resistor": ("E24", "E192")}  # values that there are
CAPACITOR_UNITS = {
    **dict.fromkeys(("mmfd", "mmf", "uufd", "uuf", "pf", "p"), "p"),
    **dict.fromkeys(("kpf", "nf", "n"), "n"),
    **dict.fromkeys(("mfd", "mf", "ufd", "uf", "u"), "u"),
}

BARE = re.compile(r"(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")
_VOLTS = r"[0-9]{1,4}(?:\.[0-9])? ?k?(?:WVDC|VDC|VAC|WV|V)(?: ?(?:DC|AC)|[-~=])?"
_LAST = re.compile(  # what may stand behind a value and its tolerance letter, the last of it first
    rf"(?P<first>.*?[^. ]) ?(?:(?P<percent>[0-9]{{1,2}}(?:\.[0-9]{{1,2}})?) ?%|/? ?(?P<volts>{_VOLTS})"
    r"|(?P<eia>(?<![0-9.])[0-3][ABCDEFVGWHJK])|(?<=[A-Z /])/? ?(?P<bare>[1-9][0-9]{1,3})"
    r"|(?P<watt>(?:1/[248]|[0-9.]{1,4}) ?W))"
)
_FIRST = re.compile(rf"(?:(?P<volts>{_VOLTS})[ /]|(?P<eia>[0-3][ABCDEFVGWHJK]) ?(?=[1-9][0-9]{{2}}(?![0-9])|\.)) ?(?P<rest>.+)")
_LETTER = r"(?: ?(?P<letter>[BCDFGJKMNQTSZ]))?"
_CAPACITOR = (
    re.compile(rf"(?P<whole>[0-9]{{0,4}})(?P<point>[pnuPNU])(?P<part>[0-9]{{1,4}}){_LETTER}"),
    re.compile(r"(?P<hundred>[1-9][0-9]{2})(?P<unit>N)"),  # 100N is 100 nF, but 223N 22 nF ± 30 %
    re.compile(rf"(?P<code>[1-9][0-9][0-689]){_LETTER}"),
    re.compile(
        r"(?P<number>[0-9]{1,6}(?:\.[0-9]{0,6})?|\.[0-9]{1,6}) ?"
        rf"(?P<unit>(?i:mmfd|mmf|uufd|uuf|kpf|pf|nf|mfd|ufd|uf)|MF|[pnuPNU]){_LETTER}"
    ),
    re.compile(rf"(?P<decimal>0?\.[0-9]{{1,6}}){_LETTER}"),
    re.compile(rf"(?P<pico>[1-9][0-9]{{3,6}}){_LETTER}"),
)
_RESISTOR = (
    re.compile(r"(?P<whole>[0-9]{0,6})(?P<point>[RKMGkΩ])(?P<part>[0-9]{0,3})(?: ?(?P<letter>[BCDFGJKMN]))?"),
    re.compile(r"(?P<code>[1-9][0-9]{1,2}[0-9])(?: ?(?P<letter>[BCDFGJKMN]))"),
    re.compile(r"(?P<code>[1-9][0-9][0-9])"),
)
_WORDS = "|".join(sorted((word for word in TAPERS if len(word) > 1), key=len, reverse=True))
_POT = re.compile(
    rf"(?:(?P<before>(?i:{_WORDS})|[ABCW])[ -]?)?"
    r"(?:(?P<value>(?:[0-9]{1,4}(?:\.[0-9]{1,3})?|\.[0-9]{1,3}) ?(?:[kK]|(?i:meg)|M)[0-9]{0,2}"
    r"|[1-9][0-9]{3,7}) ?(?:(?i:ohms?)|Ω)?|(?P<code>[1-9][0-9][0-6]))"
    rf"(?:[ -]?(?P<after>(?i:{_WORDS})|[ABCW]))?(?: ?(?P<letter>[JKMN]))?(?: (?P<word>(?i:{_WORDS})))?(?i: taper| pot)?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A marking put as a quantity.

    Attributes
    ----------
    value, tolerance : str
        As `measure.quantity.parse_quantity` reads them; the tolerance is empty where none is printed.
    pieces : tuple of str
        What it was put from; empty where it stands as it was written.
    rated : str
        Voltage; empty where none is printed.
    taper_word : str
        That of which the taper follows.
    """

    value: str
    tolerance: str = ""
    pieces: tuple[str, ...]
    rated: str = ""
    taper: Taper | None = None
    taper_word: str = ""


def read_printed(stated: str, kind: Kind, *, text: str, has_bound: bool) -> Reading | None:
    """Read what a capacitor, a pot or a resistor has printed on it.

    Parameters
    ----------
    stated : str
        What stands before ±, one spelling of each sign.
    text : str
        As it was typed, for messages.
    has_bound : bool
        Something stands behind ±, so that bare ohms are no code.

    Returns
    -------
    Reading or None
        None where it is a quantity as it stands, or nothing that is printed.

    Raises
    ------
    ValueError
        If it has two meanings or states two tolerances, or one that is not symmetric; one line.
    """
    if has_bound and kind != "capacitor" and BARE.fullmatch(stated):
        return None  # ohms with a bound are no code
    if kind != "capacitor" and re.fullmatch(r"[1-9][0-9][1-6]K", stated) and not is_preferred(stated[:3], MADE[kind]):
        kilohm = (Decimal(stated[:2]).scaleb(int(stated[2])) / 1000).normalize()
        code = f"{kilohm:f}k ± 10%"
        msg = f"{quoted(text)} may be {stated[:3]} kΩ (write {stated[:3]}k), or a code with K for ± 10 % (write {code})"
        raise ValueError(msg)
    if kind == "pot":
        return _pot(stated, text=text)
    is_code = kind == "capacitor" or re.fullmatch(r"[0-9]{3}", stated) is not None
    if not (is_code and BARE.fullmatch(stated)) and is_quantity(stated, KINDS[kind].unit):
        return None
    read = _capacitor if kind == "capacitor" else _resistor
    rest, percent = stated, ""
    rated: list[tuple[str, str]] = []  # as printed, and in volts
    while True:
        reading = read(rest, text=text)
        if reading is not None:
            break
        match = _FIRST.fullmatch(rest) if kind == "capacitor" else None
        if match is not None:
            rated.append(_rated(match))
            rest = match["rest"]
            continue
        match = _LAST.fullmatch(rest)
        if match is None or (kind == "resistor" and not (match["percent"] or match["watt"])):
            return None
        if match["percent"]:
            percent = f"{match['percent']}%"
        elif match["bare"]:
            rated.append((f"{match['bare']} V", match["bare"]))
        elif match["volts"] or match["eia"]:
            rated.append(_rated(match))
        rest = match["first"].rstrip("/ ")
    if percent and reading.tolerance:
        msg = f"{quoted(text)} states two tolerances, {reading.pieces[-1]} and {percent}: leave one out"
        raise ValueError(msg)
    core = reading.pieces or ((rest,) if rated else ())
    pieces = (*core, *((percent,) if percent and core else ()), *(printed for printed, _ in rated))
    volts = f"{rated[0][1]} V" if rated else ""
    return replace(reading, tolerance=percent or reading.tolerance, pieces=pieces, rated=volts)


def _capacitor(stated: str, *, text: str) -> Reading | None:
    if re.fullmatch(r"[1-9][0-9][1-6]k", stated) and not is_preferred(stated[:3]):
        stated = stated.replace("k", "K")
    for pattern in _CAPACITOR:
        match = pattern.fullmatch(stated)
        if match is None:
            continue
        found = match.groupdict()
        letter = found.get("letter") or ""
        if "hundred" in found:
            if not is_preferred(found["hundred"]):
                continue
            return Reading(value=f"{found['hundred']}n", pieces=(stated,))
        if "code" in found:
            digits, zeros = found["code"][:2], found["code"][2]
            pico = Decimal(digits).scaleb({"8": -2, "9": -1}.get(zeros, int(zeros)))
            value = f"{pico:f}p"
        elif "point" in found:
            value = f"{found['whole'] or '0'}.{found['part']}{found['point'].lower()}"
        elif "number" in found:
            value = f"{found['number']}{CAPACITOR_UNITS[found['unit'].lower()]}"
        else:
            value = f"{found['decimal']}u" if "decimal" in found else f"{found['pico']}p"
        is_plain = not BARE.fullmatch(stated) and is_quantity(stated, "F")
        return Reading(
            value=value,
            tolerance=_tolerance(letter, value, text=text),
            pieces=() if is_plain else _pieces(stated, letter),
        )
    return None


def _resistor(stated: str, *, text: str) -> Reading | None:
    if re.fullmatch(r"[1-9][0-9]0", stated):
        msg = f"{quoted(text)} may be {stated} Ω (write {stated}R), or as a code {stated[:2]} Ω (write {stated[:2]}R)"
        raise ValueError(msg)
    if is_quantity(stated, "Ω") and not re.fullmatch(r"[0-9]{3}", stated):
        return Reading(value=stated, pieces=())
    for pattern in _RESISTOR:
        match = pattern.fullmatch(stated)
        if match is None:
            continue
        found = match.groupdict()
        letter = found.get("letter") or ""
        if "code" in found:
            value = f"{Decimal(found['code'][:-1]).scaleb(int(found['code'][-1])):f}R"
        elif not found["whole"] and not found["part"]:
            continue
        else:
            value = f"{found['whole'] or '0'}.{found['part'] or '0'}{found['point'].replace('K', 'k')}"
        return Reading(value=value, tolerance=_tolerance(letter, "", text=text), pieces=_pieces(stated, letter))
    return None


def _pot(stated: str, *, text: str) -> Reading | None:
    rest, percent = stated, ""
    match = re.fullmatch(r"(.*?[^. ]) ?([0-9]{1,2}) ?%", stated)
    if match is not None:
        rest, percent = match[1], f"{match[2]}%"
    match = _POT.fullmatch(rest)
    if match is None:
        return None
    words = [word for word in (match["before"], match["after"], match["word"]) if word]
    known = {word: TAPERS[word.upper()] for word in words}
    if len(set(known.values())) > 1:
        named = [word for word in words if len(word) > 1]  # a word says what the letter means
        known = {word: known[word] for word in named[:1]}
    if not words and not match["code"] and not match["letter"] and not percent:
        return None
    letter = match["letter"] or ""
    if percent and letter:
        msg = f"{quoted(text)} states two tolerances, {letter} and {percent}: leave one out"
        raise ValueError(msg)
    if match["code"]:
        core, value = match["code"], f"{Decimal(match['code'][:2]).scaleb(int(match['code'][2])):f}R"
    else:
        core = match["value"]
        value = re.sub("(?i:meg)", "M", core).replace("K", "k")
    tolerance = percent or _tolerance(letter, "", text=text)
    pieces = (*words, core, *((letter,) if letter else ()), *((percent,) if percent else ()))
    word = next(iter(known), "")
    return Reading(value=value, tolerance=tolerance, pieces=pieces, taper=known.get(word), taper_word=word.upper())


def _tolerance(letter: str, value: str, *, text: str) -> str:
    if letter in UNEVEN:
        msg = f"{quoted(text)} ends in {letter}, {UNEVEN[letter]}: write the middle and half the range instead, such as 13n ± 5n"
        raise ValueError(msg)
    if not letter:
        return ""
    is_small = value.endswith("p") and Decimal(value[:-1]) < SMALL_CAPACITOR_PF
    if is_small and letter in TOLERANCE_PF:
        return f"{TOLERANCE_PF[letter]}p"
    return f"{TOLERANCE_PERCENT[letter]}%"


def _pieces(stated: str, letter: str) -> tuple[str, ...]:
    return (stated.removesuffix(letter).strip(" "), letter) if letter else (stated,)


def read_percent(stated: str) -> Reading | None:
    """Read a quantity whose tolerance stands without its sign, ``"6.35k 1%"``.

    Returns
    -------
    Reading or None
        None where it is anything else.
    """
    match = re.fullmatch(r"(.*?[0-9A-Za-zΩ]) ?(?<![0-9.])([0-9]{1,2}(?:\.[0-9]{1,3})?) ?%", stated)
    if match is None or not is_quantity(match[1], None):
        return None
    return Reading(value=match[1], tolerance=f"{match[2]}%", pieces=())


def is_quantity(text: str, unit: str | None) -> bool:
    """Say whether a text is a quantity as it stands."""
    try:
        parse_quantity(text, unit)
    except ValueError:
        return False
    return True


def is_preferred(digits: str, series: tuple[str, ...] = ("E24", "E96")) -> bool:
    """Say whether three digits are those of a preferred value, IEC 60063."""
    value = float(digits)
    return any(math.isclose(nearest_preferred(value, one), value) for one in series)


def _rated(match: re.Match[str]) -> tuple[str, str]:
    """Rated voltage as it is printed, and in volts; 2V close to a code is one itself, 350 V, and apart from it two volts."""
    printed = match["volts"] or match["eia"]
    is_apart = match.string[: match.start("volts")].endswith((" ", "/")) or match.re is _FIRST
    if match["eia"] or (not is_apart and re.fullmatch("[0-3]V", printed)):
        value = Decimal(EIA_VOLTS[printed[1]]).scaleb(int(printed[0]))
    else:
        value = Decimal(re.sub(r"[^0-9.]", "", printed)) * (1000 if "k" in printed else 1)
    return printed, f"{value.normalize():f}"


def quoted(text: object) -> str:
    """Quote what was typed in a message, short and safe to print."""
    shown = text if isinstance(text, str) else type(text).__name__
    cut = "".join(char if char.isprintable() else "?" for char in shown[:40])
    return f'"{cut}{"…" if len(shown) > 40 else ""}"'
