"""What is printed on a part, or typed for one, to a value with its uncertainty; what nothing of its kind has is refused.

A marking is first put as a quantity that `measure.quantity` reads: ``333K`` as ``33000p ± 10%``, ``.022`` on a capacitor as
``0.022u``, ``504`` on a pot as ``500000R``. What was understood is kept beside the value, so that whoever shows it can say it.

Sources: value and tolerance codes IEC 60062, preferred values IEC 60063. Common practice, no source: a bare decimal below 1 on a
capacitor is in uF, a bare whole number from 1000 on in pF; MF and MFD are uF, MMF and MMFD pF; two characters such as 2A are a
rated voltage; A on a pot is an audio taper, B a linear one, on older European parts the other way round.
"""

import math
import re
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Literal

from measure.quantity import (
    MAX_PARTS,
    MAX_TEXT,
    SMALL_CAPACITOR_PF,
    TOLERANCE_PERCENT,
    TOLERANCE_PF,
    Quantity,
    format_quantity,
    nearest_preferred,
    parse_quantity,
    refuse_decimal_comma,
)

Kind = Literal[
    "capacitor",
    "pot",
    "resistor",
    "dcr",
    "inductance",
    "winding capacitance",
    "input resistance",
    "input capacitance",
    "resistance",
    "corner",
]
Taper = Literal["audio", "linear"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KindOfValue:
    """What things of one kind have; common practice, no source.

    Attributes
    ----------
    tolerance : float
        Relative bound that is assumed where none is stated. [1]
    usual : tuple of float
        A bare number outside of it has lost its prefix; one that was written with a prefix or a unit is told as odd. [`unit`]
    possible : tuple of float
        Nothing of the kind lies outside. [`unit`]
    what : str
        As a sentence names it.
    """

    unit: str
    tolerance: float
    usual: tuple[float, float]
    possible: tuple[float, float]
    what: str


KINDS: dict[Kind, KindOfValue] = {
    "capacitor": KindOfValue(unit="F", tolerance=0.10, usual=(1e-12, 1e-6), possible=(1e-14, 1e-3), what="capacitor"),
    "pot": KindOfValue(unit="Ω", tolerance=0.20, usual=(1e4, 5e6), possible=(1e3, 2e7), what="pot"),
    "resistor": KindOfValue(unit="Ω", tolerance=0.05, usual=(100.0, 2.2e7), possible=(1e-2, 1e10), what="resistor"),
    "dcr": KindOfValue(unit="Ω", tolerance=0.05, usual=(100.0, 2e5), possible=(1e-1, 1e6), what="winding"),
    "inductance": KindOfValue(unit="H", tolerance=0.05, usual=(1e-3, 100.0), possible=(1e-7, 1e4), what="pickup"),
    "winding capacitance": KindOfValue(unit="F", tolerance=0.10, usual=(1e-13, 1e-8), possible=(1e-16, 1e-6), what="winding"),
    "input resistance": KindOfValue(unit="Ω", tolerance=0.05, usual=(1e3, 1e11), possible=(1.0, 1e12), what="input"),
    "input capacitance": KindOfValue(unit="F", tolerance=0.10, usual=(1e-13, 1e-7), possible=(1e-18, 1e-4), what="input"),
    "resistance": KindOfValue(unit="Ω", tolerance=0.05, usual=(1e-2, 1e9), possible=(1e-3, 1e12), what="resistor"),
    "corner": KindOfValue(unit="Hz", tolerance=0.05, usual=(50.0, 1e7), possible=(1e-3, 1e9), what="exciter"),
}
PRINTED: tuple[Kind, ...] = ("capacitor", "pot", "resistor")  # on these a marking stands

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
REGIONS = {
    "A": 'A is taken as audio, as on most parts today; on older European ones A is linear: then write "lin"',
    "B": 'B is taken as linear, as on most parts today; on older European ones B is logarithmic: then write "log"',
}
OTHER_TAPER = "this taper is neither audio nor linear: set the pot by the share of its track, such as volume=35%"
PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "M": 6}
CAPACITOR_UNITS = {
    **dict.fromkeys(("mmfd", "mmf", "uufd", "uuf", "pf", "p"), "p"),
    **dict.fromkeys(("kpf", "nf", "n"), "n"),
    **dict.fromkeys(("mfd", "mf", "ufd", "uf", "u"), "u"),
}

_SIGNS = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u2126": "Ω"})
_BEHIND = re.compile(r"(?P<plain>.*?)(?P<behind> ?(?:tan ?[0-9.]{1,12} ?%)?(?: ?at ?-?[0-9.]{1,8} ?°?C)?)")
_BARE = re.compile(r"(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")
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
class _Reading:
    """A marking put as a quantity, with the pieces it was put from."""

    value: str
    tolerance: str = ""
    pieces: tuple[str, ...]
    rated: str = ""
    taper: Taper | None = None
    taper_word: str = ""


@lru_cache(maxsize=4096)
def read_value(text: str, kind: Kind) -> Quantity:
    """Read a value as it is printed on a part, or typed.

    Parameters
    ----------
    text : str
        For example ``"33n ± 10%"``, ``".033MFD"``, ``"2A333K"`` on a capacitor, ``"A500K"``, ``"504"`` on a pot, ``"472J"`` on a
        resistor, ``"6.35k ± 1% at 24C"`` of a winding.
    kind : str
        One of `KINDS`.

    Returns
    -------
    Quantity
        Without a bound where none is printed. `understood` says what a code was taken for, `doubt` what is odd about it.

    Raises
    ------
    ValueError
        If it is no such value, or no such thing has it; one line that says what it could mean.

    Notes
    -----
    Letters behind a code are tolerances: 223K is 22 nF ± 10 %, and 500KM 500 kΩ ± 20 %. 4K7 and 500K have them inside or alone:
    kilo.

    Examples
    --------
    >>> read_value(".033K", "capacitor").understood
    '33 nF ± 10 %, from .033 and K'
    >>> read_value("A500K", "pot").taper
    'audio'
    """
    if not isinstance(text, str) or len(text) > MAX_TEXT:
        return parse_quantity(text, KINDS[kind].unit)  # which refuses it
    written = re.sub(r" {2,}", " ", re.sub(r"\+ ?/? ?[-\u2212]", "±", text.strip(" ").translate(_SIGNS)))
    match = _BEHIND.fullmatch(written)
    plain, behind = (written, "") if match is None else (match["plain"], match["behind"])
    stated, mark, bound = (piece.strip(" ") for piece in plain.partition("±"))
    reading = _printed(stated, kind, text=text, has_bound=bool(mark)) if kind in PRINTED else _percent_alone(stated)
    if reading is None:
        is_bare = _BARE.fullmatch(stated) is not None
        if is_bare:
            _refuse_unusual(stated, kind, bound=bound, text=text)
        quantity = parse_quantity(written, KINDS[kind].unit)
        _refuse_impossible(quantity, kind, stated=stated, bound=bound)
        return replace(quantity, text=text.strip(" "), doubt=_oddity(quantity, kind))
    if mark and reading.tolerance:
        msg = f"{_quoted(text)} states two tolerances, ± {bound} and {reading.pieces[-1]}: leave one out"
        raise ValueError(msg)
    if mark and _BARE.fullmatch(bound):
        bound += reading.value[-1]
    tolerance = bound if mark else reading.tolerance
    canonical = f"{reading.value}{f' ± {tolerance}' if mark or tolerance else ''}{behind}"
    quantity = replace(parse_quantity(canonical, KINDS[kind].unit), text=text.strip(" "))
    _refuse_impossible(quantity, kind, stated=stated, bound=bound)
    doubts = [REGIONS.get(reading.taper_word, ""), _oddity(quantity, kind)]
    if reading.taper_word and reading.taper is None:
        doubts[0] = OTHER_TAPER
    if not reading.pieces:
        return replace(quantity, doubt=_oddity(quantity, kind))
    return replace(
        quantity,
        understood=_understood(quantity, reading),
        taper=reading.taper,
        doubt="; ".join(doubt for doubt in doubts if doubt),
    )


def read_part(text: str) -> Quantity:
    """Read a part of which nobody says whether it is a capacitor or a resistor.

    Parameters
    ----------
    text : str
        For example ``"680p ± 1%"``, ``"150k"``, ``".022"``, ``"223K"``, ``"2A333K"``.

    Returns
    -------
    Quantity
        In farads or ohms. Three digits with a letter are a capacitor's, but for K and M behind a preferred value.

    Raises
    ------
    ValueError
        If it is neither, or may be both; one line that says what it could mean.
    """
    try:
        inferred = parse_quantity(text)
    except ValueError as err:
        failed = err
    else:
        if inferred.unit not in ("F", "Ω"):
            msg = f"{_quoted(text)} is in {inferred.unit}: expected a capacitor or a resistor, such as 680p±1% or 150k±1%"
            raise ValueError(msg)
        return read_value(text, "capacitor" if inferred.unit == "F" else "resistor")
    number = text.partition("±")[0].strip(" ") if isinstance(text, str) else ""
    if re.fullmatch(r"[1-9][0-9][0-6]", number):
        code = Decimal(number[:2]).scaleb(int(number[2]))
        ohms = f"{number} Ω (write {number}R)" if number[2] == "0" else _meaning(parse_quantity(f"{code:f}R"))
        msg = f"{_quoted(text)} may be {_meaning(parse_quantity(f'{code:f}p'))} or {ohms}"
        raise ValueError(msg)
    if not number or (_BARE.fullmatch(number) and not re.match(r"0?\.", number)):
        raise failed
    readings: list[Quantity] = []
    refusals: list[ValueError] = []
    for kind in ("capacitor", "resistor"):
        try:
            readings.append(read_value(text, kind))
        except ValueError as err:
            refusals.append(err)
    if len(readings) == 2 and _is_capacitors(number):
        readings = readings[:1]
    if len(readings) == 2:
        msg = f"{_quoted(text)} may be {' or '.join(_meaning(one) for one in readings)}"
        raise ValueError(msg)
    if not readings:
        raise refusals[0] if re.match(r"0?\.", number) else failed
    return readings[0]


def parse_parts(text: str) -> tuple[Quantity, ...]:
    """Read parts that were added in parallel, separated by commas.

    Parameters
    ----------
    text : str
        For example ``"680p±1%, 150k±1%"``; empty for none.

    Returns
    -------
    tuple of Quantity
        Capacitors in farads and resistors in ohms, in the order written.

    Raises
    ------
    ValueError
        If a part is neither a capacitor nor a resistor; one line that quotes it.
    """
    if not isinstance(text, str) or len(text) > MAX_PARTS * MAX_TEXT or text.count(",") >= MAX_PARTS:
        msg = f"{_quoted(text)} is not a list of parts: expected at most {MAX_PARTS}, such as 680p±1%, 150k±1%"
        raise ValueError(msg)
    if not text.strip(" "):
        return ()
    refuse_decimal_comma(text)
    return tuple(read_part(part) for part in text.split(","))


def kind_of(key: str) -> Kind | None:
    """Find the kind of a value by its name.

    Parameters
    ----------
    key : str
        ``"capacitor.tone"``, ``"pot.volume"``, ``"bridge.dcr"``, ``"input.resistance"`` …

    Returns
    -------
    str or None
        None of what has no kind: shares of losses, corners of eddy loops.
    """
    first, last = key.partition(".")[0], key.rpartition(".")[2]
    if first == "input" and last in ("resistance", "capacitance"):
        return "input resistance" if last == "resistance" else "input capacitance"
    for kind in PRINTED:
        if first == kind:
            return kind
    named: dict[str, Kind] = {"dcr": "dcr", "inductance": "inductance", "winding_capacitance": "winding capacitance"}
    return named.get(last)


def kind_of_unit(unit: str) -> Kind:
    """Find the kind of a part of which only the unit is known.

    Parameters
    ----------
    unit : str
        Ω, F, H or Hz.
    """
    kinds: dict[str, Kind] = {"Ω": "resistor", "F": "capacitor", "H": "inductance", "Hz": "corner"}
    return kinds[unit]


def assume_tolerance(quantity: Quantity, kind: Kind) -> Quantity:
    """Give a value the tolerance that things of its kind usually have, where it states none.

    Returns
    -------
    Quantity
        As it was, where it has a bound.
    """
    if quantity.bound is not None:
        return quantity
    bound = KINDS[kind].tolerance * quantity.value
    return replace(quantity, bound=bound, standard_uncertainty=bound / math.sqrt(3))  # rectangular: JCGM 100, 4.3.7


# What a capacitor, a pot or a resistor has printed on it; None where it is a quantity as it stands.
def _printed(stated: str, kind: Kind, *, text: str, has_bound: bool) -> _Reading | None:
    if has_bound and kind != "capacitor" and _BARE.fullmatch(stated):
        return None  # ohms with a bound are no code
    if kind == "pot":
        return _pot(stated, text=text)
    is_code = kind == "capacitor" or re.fullmatch(r"[0-9]{3}", stated) is not None
    if not (is_code and _BARE.fullmatch(stated)) and _is_quantity(stated, KINDS[kind].unit):
        _refuse_millifarad(stated, kind, text=text)
        return None
    read = _capacitor if kind == "capacitor" else _resistor
    rest, percent, rated = stated, "", []
    while True:
        reading = read(rest, text=text)
        if reading is not None:
            break
        match = _FIRST.fullmatch(rest) if kind == "capacitor" else None
        if match is not None:
            rated.append(match["volts"] or match["eia"])
            rest = match["rest"]
            continue
        match = _LAST.fullmatch(rest)
        if match is None or (kind == "resistor" and not (match["percent"] or match["watt"])):
            _refuse_bare(stated, kind, text=text)
            return None
        if match["percent"]:
            percent = f"{match['percent']}%"
        elif match["volts"] or match["eia"] or match["bare"]:
            rated.append(match["volts"] or match["eia"] or f"{match['bare']} V")
        rest = match["first"].rstrip("/ ")
    if percent and reading.tolerance:
        msg = f"{_quoted(text)} states two tolerances, {reading.pieces[-1]} and {percent}: leave one out"
        raise ValueError(msg)
    core = reading.pieces or ((rest,) if rated else ())
    pieces = (*core, *((percent,) if percent and core else ()), *rated)
    volts = f"{_volts(rated[0])} V" if rated else ""
    return replace(reading, tolerance=percent or reading.tolerance, pieces=pieces, rated=volts)


def _capacitor(stated: str, *, text: str) -> _Reading | None:
    if re.fullmatch(r"[1-9][0-9][1-6]k", stated) and not _is_preferred(stated[:3]):
        stated = stated.replace("k", "K")
    for pattern in _CAPACITOR:
        match = pattern.fullmatch(stated)
        if match is None:
            continue
        found = match.groupdict()
        letter = found.get("letter") or ""
        if "hundred" in found:
            if not _is_preferred(found["hundred"]):
                continue
            return _Reading(value=f"{found['hundred']}n", pieces=(stated,))
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
        is_plain = not _BARE.fullmatch(stated) and _is_quantity(stated, "F")
        return _Reading(
            value=value,
            tolerance=_tolerance(letter, value, text=text),
            pieces=() if is_plain else _pieces(stated, letter),
        )
    return None


def _resistor(stated: str, *, text: str) -> _Reading | None:
    if re.fullmatch(r"[1-9][0-9]0", stated):
        msg = f"{_quoted(text)} may be {stated} Ω (write {stated}R), or as a code {stated[:2]} Ω (write {stated[:2]}R)"
        raise ValueError(msg)
    if _is_quantity(stated, "Ω") and not re.fullmatch(r"[0-9]{3}", stated):
        return _Reading(value=stated, pieces=())
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
        return _Reading(value=value, tolerance=_tolerance(letter, "", text=text), pieces=_pieces(stated, letter))
    return None


def _pot(stated: str, *, text: str) -> _Reading | None:
    rest, percent = stated, ""
    match = re.fullmatch(r"(.*?[^. ]) ?([0-9]{1,2}) ?%", stated)
    if match is not None:
        rest, percent = match[1], f"{match[2]}%"
    match = _POT.fullmatch(rest)
    if match is None:
        _refuse_bare(stated, "pot", text=text)
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
        msg = f"{_quoted(text)} states two tolerances, {letter} and {percent}: leave one out"
        raise ValueError(msg)
    if match["code"]:
        core, value = match["code"], f"{Decimal(match['code'][:2]).scaleb(int(match['code'][2])):f}R"
    else:
        core = match["value"]
        value = re.sub("(?i:meg)", "M", core).replace("K", "k")
    tolerance = percent or _tolerance(letter, "", text=text)
    pieces = (*words, core, *((letter,) if letter else ()), *((percent,) if percent else ()))
    word = next(iter(known), "")
    return _Reading(value=value, tolerance=tolerance, pieces=pieces, taper=known.get(word), taper_word=word.upper())


# "6.35k 1%", the sign left out.
def _percent_alone(stated: str) -> _Reading | None:
    match = re.fullmatch(r"(.*?[0-9A-Za-zΩ]) ?(?<![0-9.])([0-9]{1,2}(?:\.[0-9]{1,3})?) ?%", stated)
    if match is None or not _is_quantity(match[1], None):
        return None
    return _Reading(value=match[1], tolerance=f"{match[2]}%", pieces=())


def _tolerance(letter: str, value: str, *, text: str) -> str:
    if letter in UNEVEN:
        msg = f"{_quoted(text)} ends in {letter}, {UNEVEN[letter]}: write the middle and half the range instead, such as 13n ± 5n"
        raise ValueError(msg)
    if not letter:
        return ""
    is_small = value.endswith("p") and Decimal(value[:-1]) < SMALL_CAPACITOR_PF
    if is_small and letter in TOLERANCE_PF:
        return f"{TOLERANCE_PF[letter]}p"
    return f"{TOLERANCE_PERCENT[letter]}%"


def _pieces(stated: str, letter: str) -> tuple[str, ...]:
    return (stated.removesuffix(letter).strip(" "), letter) if letter else (stated,)


# A bare number that no marking rule reads, with what it could mean.
def _refuse_bare(stated: str, kind: Kind, *, text: str) -> None:
    if kind == "capacitor" and re.fullmatch(r"[0-9]{1,3}[kK]", stated):
        digits = stated[:-1]
        code = f"; as a code {_value_text(read_value(f'{digits}K', kind))}" if re.fullmatch(r"[1-9][0-9][0-6]", digits) else ""
        msg = f"{_quoted(text)} is not a capacitance: where k is thousand picofarads, as on some old parts, write {digits}n{code}"
        raise ValueError(msg)
    match = re.fullmatch(r"([ABCW]?)([0-9]{1,3}|0?\.[0-9]+)([ABCW]?)", stated)
    if match is not None and kind == "pot" and (match[1] or match[3]):
        choice = [f"{match[1]}{one}{match[3]}" for one in _could_mean(match[2], "", kind)]
        _refuse(text, "its k or M is missing", choice)
    if kind == "capacitor" and _BARE.fullmatch(stated):
        _refuse(text, "the unit is missing", _could_mean(stated, "", kind))


def _refuse_millifarad(stated: str, kind: Kind, *, text: str) -> None:
    match = re.fullmatch(r"(0?\.[0-9]+) ?mF?", stated)
    if kind == "capacitor" and match is not None:
        value = _number_text(float(match[1]) * 1e-3, "F")
        old = _number_text(float(match[1]) * 1e-6, "F")
        msg = f"{_quoted(text)} may be {value} or, as old parts have it, {match[1]} \u00b5F, {old}: write {match[1]}u, or {value}"
        raise ValueError(msg)


# A bare number far from what things of the kind have: its prefix was forgotten.
def _refuse_unusual(stated: str, kind: Kind, *, bound: str, text: str) -> None:
    facts, value = KINDS[kind], float(stated)
    if value == 0 or facts.usual[0] <= value <= facts.usual[1]:
        return
    choice = _could_mean(stated, bound, kind) + _as_code(stated, kind)
    is_possible = facts.possible[0] <= value <= facts.possible[1]
    shown = _number_text(value, facts.unit)
    if is_possible:
        _refuse(text, f"{shown} is odd for {_article(facts.what)}", choice, " Otherwise write the unit.")
    _refuse(text, f"no {facts.what} has {shown}", choice)


def _refuse_impossible(quantity: Quantity, kind: Kind, *, stated: str, bound: str) -> None:
    facts = KINDS[kind]
    if facts.possible[0] <= quantity.value <= facts.possible[1]:
        return
    found = re.search(r"[0-9.]+", stated)
    number = found[0] if found else ""
    choice = _could_mean(number, bound, kind) + _as_code(number, kind)
    _refuse(quantity.text, f"no {facts.what} has {_number_text(quantity.value, quantity.unit)}", choice)


def _refuse(text: str, reason: str, choice: list[str], behind: str = "") -> None:
    meant = f"; is {' or '.join(choice)} meant?" if choice else ""
    msg = f"{_quoted(text)}: {reason}{meant}{behind}"
    raise ValueError(msg)


def _as_code(number: str, kind: Kind) -> list[str]:
    if KINDS[kind].unit != "Ω" or kind not in PRINTED or not re.fullmatch(r"[1-9][0-9][1-6]", number):
        return []
    value = _number_text(float(Decimal(number[:2]).scaleb(int(number[2]))), "Ω")
    return [f"{value.replace(' ', '').removesuffix('Ω')}, the code {number},"]


# The same digits with each prefix that makes a usual value of them, most usual ones first.
def _could_mean(number: str, bound: str, kind: Kind) -> list[str]:
    if not number or number == ".":
        return []
    facts = KINDS[kind]
    low, high = LIKELY.get(kind, facts.usual)
    out = []
    for prefix, exponent in PREFIXES.items():
        if low <= float(Decimal(number).scaleb(exponent)) <= high:
            behind = f"{bound}{prefix}" if _BARE.fullmatch(bound) else bound
            out.append(f"{number}{prefix}{f' ± {behind}' if behind else ''}")
    return out


LIKELY: dict[Kind, tuple[float, float]] = {  # what is offered where a prefix is missing; common practice, no source
    "capacitor": (10e-12, 1e-6),
    "pot": (1e4, 2e6),
    "resistor": (1e3, 1e7),
    "dcr": (1e3, 1e5),
    "inductance": (0.1, 30.0),
    "input resistance": (2e4, 2e7),
    "input capacitance": (5e-12, 5e-9),
    "winding capacitance": (1e-11, 1e-9),
    "corner": (5e2, 5e5),
}


def _oddity(quantity: Quantity, kind: Kind) -> str:
    facts = KINDS[kind]
    low, high = facts.usual
    if low <= quantity.value <= high or kind == "input resistance":  # which `fit.answers.calibrate.input.doubt_input` judges
        return ""
    side, limit = ("below", low) if quantity.value < low else ("above", high)
    value = _number_text(quantity.value, quantity.unit)
    return f"{value} is odd for {_article(facts.what)}: {side} {_number_text(limit, quantity.unit)}"


# Three digits with a letter, or with a voltage, are a capacitor's; 150K and 220K are preferred resistances as well.
def _is_capacitors(number: str) -> bool:
    match = re.fullmatch(r"([1-9][0-9]{2})([A-Z]?).*", number)
    if match is None:
        return True
    if match[2] in ("K", "M") and number == match[0] and len(number) == 4:
        return not _is_preferred(match[1])
    return len(number) > 3


def _is_quantity(text: str, unit: str | None) -> bool:
    try:
        parse_quantity(text, unit)
    except ValueError:
        return False
    return True


def _understood(quantity: Quantity, reading: _Reading) -> str:
    taper = f"{reading.taper} taper" if reading.taper else ""
    *most, last = reading.pieces
    pieces = f"{', '.join(most)} and {last}" if most else last
    return ", ".join(piece for piece in (_value_text(quantity), reading.rated, taper, f"from {pieces}") if piece)


def _value_text(quantity: Quantity) -> str:
    value = _number_text(quantity.value, quantity.unit)
    if quantity.bound is None:
        return value
    relative = 100 * quantity.bound / quantity.value
    if quantity.unit == "F" and quantity.value < float(SMALL_CAPACITOR_PF.scaleb(-12)):
        return f"{value} ± {1e12 * quantity.bound:.3g} pF"
    return f"{value} ± {relative:.3g} %"


def _meaning(quantity: Quantity) -> str:
    plain = _number_text(quantity.value, quantity.unit).replace(" ", "").removesuffix(quantity.unit)
    bound = f" ± {100 * quantity.bound / quantity.value:.3g}%" if quantity.bound else ""
    return f"{_value_text(quantity)} (write {plain}{bound})"


def _article(what: str) -> str:
    return f"{'an' if what[0] in 'aeiou' else 'a'} {what}"


def _is_preferred(digits: str) -> bool:
    value = float(digits)
    return any(math.isclose(nearest_preferred(value, series), value) for series in ("E24", "E96"))


def _number_text(value: float, unit: str) -> str:
    number, _, rest = format_quantity(value, unit, 4).partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {rest}"


def _volts(rated: str) -> str:
    if rated[0] in "0123" and rated[1:] in EIA_VOLTS:
        return f"{Decimal(EIA_VOLTS[rated[1]]).scaleb(int(rated[0])).normalize():f}"
    number = re.match(r"[0-9.]+", rated)
    value = Decimal(number[0] if number else "0")
    return f"{value * 1000 if 'kV' in rated or 'KV' in rated else value:f}"


def _quoted(text: object) -> str:
    shown = text if isinstance(text, str) else type(text).__name__
    cut = "".join(char if char.isprintable() else "?" for char in shown[:40])
    return f'"{cut}{"…" if len(shown) > 40 else ""}"'
