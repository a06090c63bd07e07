"""What is printed on a part, or typed for one, to a value with its uncertainty; what nothing of its kind has is refused.

A marking is first put as a quantity that `measure.quantity` reads: ``333K`` as ``33000p ± 10%``, ``.022`` on a capacitor as
``0.022u``, ``504`` on a pot as ``500000R``. What was understood is kept beside the value, so that whoever shows it can say it.
"""

import re
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache

from measure.codes import BARE, Reading, is_preferred, quoted, read_percent, read_printed
from measure.kinds import KINDS, LIKELY, PRINTED, Kind
from measure.quantity import (
    MAX_PARTS,
    MAX_TEXT,
    SMALL_CAPACITOR_PF,
    Quantity,
    format_quantity,
    parse_quantity,
    refuse_decimal_comma,
)

REGIONS = {
    "A": 'A is taken as audio, as on most parts today; on older European ones A is linear: then write "lin"',
    "B": 'B is taken as linear, as on most parts today; on older European ones B is logarithmic: then write "log"',
}
OTHER_TAPER = "this taper is neither audio nor linear: set the pot by the share of its track, such as volume=35%"
LEAST_SHARE = 0.0025  # [1] of a capacitance, that is a bound in picofarads; less is a percentage
MOST_PERCENT = 50.0  # that a tolerance has
PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "M": 6}
_SIGNS = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u2126": "Ω"})
_BEHIND = re.compile(r"(?P<plain>.*?)(?P<behind> ?(?:tan ?[0-9.]{1,12} ?%)?(?: ?at ?-?[0-9.]{1,8} ?°?C)?)")


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
    written = _one_spelling(text)
    match = _BEHIND.fullmatch(written)
    plain, behind = (written, "") if match is None else (match["plain"], match["behind"])
    stated, mark, bound = (piece.strip(" ") for piece in plain.partition("±"))
    reading = read_printed(stated, kind, text=text, has_bound=bool(mark)) if kind in PRINTED else read_percent(stated)
    if reading is None:
        if kind in PRINTED:
            _refuse_bare(stated, kind, text=text)
        is_bare = BARE.fullmatch(stated) is not None
        if is_bare:
            _refuse_unusual(stated, kind, bound=bound, text=text)
        quantity = parse_quantity(written, KINDS[kind].unit)
        _refuse_impossible(quantity, kind, stated=stated, bound=bound)
        return replace(quantity, text=text.strip(" "), doubt=_oddity(quantity, kind))
    if mark and reading.tolerance:
        msg = f"{quoted(text)} states two tolerances, ± {bound} and {reading.pieces[-1]}: leave one out"
        raise ValueError(msg)
    if mark and BARE.fullmatch(bound):
        is_code = _is_code(reading)
        bound = _percent_of_code(reading, bound, text=text) if is_code else bound + reading.value[-1]
        reading = replace(reading, pieces=(*reading.pieces, f"± {bound}")) if is_code else reading
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
            msg = f"{quoted(text)} is in {inferred.unit}: expected a capacitor or a resistor, such as 680p±1% or 150k±1%"
            raise ValueError(msg)
        return read_value(text, "capacitor" if inferred.unit == "F" else "resistor")
    is_short = isinstance(text, str) and len(text) <= MAX_TEXT
    number = _one_spelling(text).partition("±")[0].strip(" ") if is_short else ""
    if re.fullmatch(r"[1-9][0-9][0-6]", number):
        code = Decimal(number[:2]).scaleb(int(number[2]))
        ohms = f"{number} Ω (write {number}R)" if number[2] == "0" else _meaning(parse_quantity(f"{code:f}R"))
        msg = f"{quoted(text)} may be {_meaning(parse_quantity(f'{code:f}p'))} or {ohms}"
        raise ValueError(msg)
    if not number or (BARE.fullmatch(number) and not re.match(r"0?\.", number)):
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
        msg = f"{quoted(text)} may be {' or '.join(_meaning(one) for one in readings)}"
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
        msg = f"{quoted(text)} is not a list of parts: expected at most {MAX_PARTS}, such as 680p±1%, 150k±1%"
        raise ValueError(msg)
    if not text.strip(" "):
        return ()
    refuse_decimal_comma(text)
    return tuple(read_part(part) for part in text.split(","))


def _is_code(reading: Reading) -> bool:
    """See whether a capacitor's value is printed as a code of digits, so that a number behind ± has no unit from it."""
    return any(re.fullmatch(r"[1-9][0-9]{2}", piece) for piece in reading.pieces) and reading.value.endswith("p")


# 333 ± 5 is 33 nF ± 5 %: nobody prints picofarads of it. Of 471 both are made.
def _percent_of_code(reading: Reading, bound: str, *, text: str) -> str:
    pico = float(reading.value[:-1])
    if float(bound) < LEAST_SHARE * pico and float(bound) <= MOST_PERCENT:
        return f"{bound}%"
    plain = _number_text(pico * 1e-12, "F")
    typed = plain.replace(" ", "").removesuffix("F")
    both = f"± {bound} % (write {typed} ± {bound}%) or ± {bound} pF (write {typed} ± {bound}p)"
    msg = f"{quoted(text)} may be {plain} {both}"
    raise ValueError(msg)


def _one_spelling(text: str) -> str:
    return re.sub(r" {2,}", " ", re.sub(r"\+ ?/? ?[-\u2212]", "±", text.strip(" ").translate(_SIGNS)))


# A bare number that no marking rule reads, with what it could mean.
def _refuse_bare(stated: str, kind: Kind, *, text: str) -> None:
    _refuse_millifarad(stated, kind, text=text)
    if kind == "capacitor" and re.fullmatch(r"[0-9]{1,3}[kK]", stated):
        digits = stated[:-1]
        code = f"; as a code {_value_text(read_value(f'{digits}K', kind))}" if re.fullmatch(r"[1-9][0-9][0-6]", digits) else ""
        msg = f"{quoted(text)} is not a capacitance: where k is thousand picofarads, as on some old parts, write {digits}n{code}"
        raise ValueError(msg)
    match = re.fullmatch(r"([ABCW]?)([0-9]{1,3}|0?\.[0-9]+)([ABCW]?)", stated)
    if match is not None and kind == "pot" and (match[1] or match[3]):
        choice = [f"{match[1]}{one}{match[3]}" for one in _could_mean(match[2], "", kind)]
        _refuse(text, "its k or M is missing", choice)
    if kind == "capacitor" and BARE.fullmatch(stated):
        _refuse(text, "the unit is missing", _could_mean(stated, "", kind))


def _refuse_millifarad(stated: str, kind: Kind, *, text: str) -> None:
    match = re.fullmatch(r"(0?\.[0-9]+) ?mF?", stated)
    if kind == "capacitor" and match is not None:
        value = _number_text(float(match[1]) * 1e-3, "F")
        old = _number_text(float(match[1]) * 1e-6, "F")
        msg = f"{quoted(text)} may be {value} or, as old parts have it, {match[1]} \u00b5F, {old}: write {match[1]}u, or {value}"
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
    sound = [one for one in choice if one.isprintable()]  # they hold what was typed as a bound
    meant = f"; is {' or '.join(sound)} meant?" if sound else ""
    msg = f"{quoted(text)}: {reason}{meant}{behind}"
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
            behind = f"{bound}{prefix}" if BARE.fullmatch(bound) else bound
            out.append(f"{number}{prefix}{f' ± {behind}' if behind else ''}")
    return out


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
        return not is_preferred(match[1])
    return len(number) > 3


def _understood(quantity: Quantity, reading: Reading) -> str:
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


def _number_text(value: float, unit: str) -> str:
    number, _, rest = format_quantity(value, unit, 4).partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {rest}"
