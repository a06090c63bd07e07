"""From the text of an instrument.toml to an instrument that is known to be sound, or one line that says what is wrong."""

import math
import re
import tomllib
from collections.abc import Mapping

import msgspec

from fit.circuit.instrument import Instrument, Pickup, SecondCoil, coils_of, parts_of
from fit.circuit.soundness import check_wiring
from measure.kinds import kind_of
from measure.marking import read_value
from measure.quantity import Quantity, check_origin

LIMIT_CHARACTERS = 50_000  # an instrument has about 1500
MOST_PARTS = 64  # of all kinds together
MOST_LOOPS = 8  # eddy loops and spreads of one coil
NARROWEST_SPREAD = 1e-3  # [ln s] narrower ones are loops, and lose digits
WIDEST_SPREAD = 10.0  # [ln s] from 1/20000 to 20000 times the middle
MAX_NAME = 120  # [characters] of the instrument
KINDS_OF_PART = ("pickup", "pot", "capacitor", "resistor", "switch")
RESERVED = (*KINDS_OF_PART, "input", "added")  # first words of names of values


def read_instrument(text: str) -> Instrument:
    """Read and check the text of an instrument.toml.

    Returns
    -------
    Instrument
        Sound: every part has its places, every node leads somewhere.

    Raises
    ------
    ValueError
        If it is not TOML, or something in it is unknown, missing or makes no sense; one line that names the place.
    """
    if len(text) > LIMIT_CHARACTERS:
        msg = f"{len(text)} characters are no instrument, expected at most {LIMIT_CHARACTERS}"
        raise ValueError(msg)
    try:
        document = tomllib.loads(text)
    except RecursionError:
        msg = "not TOML: nested too deep"
        raise ValueError(msg) from None
    except ValueError as err:  # numbers of thousands of digits too
        msg = f"not TOML: {_shown(str(err), 160)}{_cure(str(err))}"
        raise ValueError(msg) from None
    try:
        instrument = msgspec.convert(msgspec.to_builtins(document), Instrument)  # a date of TOML is kept as text
    except msgspec.ValidationError as err:
        raise ValueError(_plain(str(err))) from None
    _check_names(instrument)
    _check_values(instrument)
    for kind in ("pickup", "pot", "capacitor", "resistor"):
        for name, part in getattr(instrument, kind).items():
            check_origin(f"{kind}.{name}", part.source, part.date)
    check_wiring(instrument)
    return instrument


def _check_names(instrument: Instrument) -> None:
    sections: dict[str, Mapping[str, object]] = {kind: getattr(instrument, kind) for kind in KINDS_OF_PART}
    n_parts = sum(len(section) for section in sections.values())
    if n_parts > MOST_PARTS:
        msg = f"{n_parts} parts are too many, expected at most {MOST_PARTS}"
        raise ValueError(msg)
    for kind, section in sections.items():
        for name in section:
            if re.fullmatch(r"[\w][\w +/-]{0,39}", name) is None or name != name.strip():
                msg = f"{kind}.{_shown(name)}: a name has at most 40 letters, digits, spaces, - + / and _"
                raise ValueError(msg)
    for name in instrument.pickup:
        if name in RESERVED:
            msg = f"pickup.{name}: a pickup cannot be called {name}, choose another name"
            raise ValueError(msg)
    for name in instrument.switch:
        if name in instrument.pot:
            msg = f"switch.{name}: there is a pot.{name} too, so {name}=… would be unclear: rename one"
            raise ValueError(msg)
    if len(instrument.name) > MAX_NAME or not instrument.name.isprintable():
        msg = f"name: expected at most {MAX_NAME} printable characters"
        raise ValueError(msg)
    if not instrument.pickup:
        msg = "pickup: none is stated, expected at least one such as [pickup.bridge]"
        raise ValueError(msg)


def _check_values(instrument: Instrument) -> None:
    texts: dict[str, str | None] = {}
    for key, part, _ in parts_of(instrument):
        texts[f"{key}.value"], texts[f"{key}.marked"] = part.value, part.marked
    for name, coil in coils_of(instrument).items():
        texts[f"pickup.{name}.dcr"] = coil.dcr
        texts[f"pickup.{name}.inductance"] = coil.inductance
        texts[f"pickup.{name}.winding_capacitance"] = coil.winding_capacitance
        check_losses(f"pickup.{name}", coil)
    for name, part in instrument.resistor.items():
        if part.kind is not None:
            msg = f"resistor.{name}.kind: only a capacitor has one"
            raise ValueError(msg)
    for place, text in texts.items():
        kind = kind_of(place)
        if text is not None and kind is not None:
            try:
                quantity = read_value(text, kind)
            except ValueError as err:
                msg = f"{place}: {err}"
                raise ValueError(msg) from None
            _check_conditions(place, quantity)


# A temperature and a loss tangent stand only where they count: at a winding, at a capacitor.
def _check_conditions(place: str, quantity: Quantity) -> None:
    if quantity.temperature_c is not None and not place.endswith(".dcr"):
        msg = f"{place}: only a winding's dcr has a temperature, write it without"
        raise ValueError(msg)
    if quantity.loss_tangent is not None and not place.startswith("capacitor."):
        msg = f"{place}: only capacitors that are parts have a loss tangent, write it without"
        raise ValueError(msg)


def check_losses(place: str, coil: Pickup | SecondCoil) -> None:
    """See that a coil's losses and couplings leave it passive.

    Parameters
    ----------
    place : str
        Of the coil in the file, for the message.

    Raises
    ------
    ValueError
        If they do not; one line that names the place.
    """
    total = 0.0
    for coupling, corner_hz in coil.eddy_loops:
        total += coupling**2
        if not _is_loss(coupling, corner_hz):
            msg = f"{place}.eddy_loops: [{coupling:g}, {corner_hz:g}] is no loop, expected [k, corner] with k between 0 and 1"
            raise ValueError(msg)
    for coupling, corner_hz, width in coil.eddy_spreads:
        total += coupling**2
        if not (_is_loss(coupling, corner_hz) and NARROWEST_SPREAD <= width <= WIDEST_SPREAD):
            what = f"{place}.eddy_spreads: [{coupling:g}, {corner_hz:g}, {width:g}] is no spread"
            limits = f"k between 0 and 1 and half-width from {NARROWEST_SPREAD:g} to {WIDEST_SPREAD:g}"
            msg = f"{what}, expected [k, corner, half-width] with {limits}"
            raise ValueError(msg)
    count = len(coil.eddy_loops) + len(coil.eddy_spreads)
    if count > MOST_LOOPS or total >= 1:
        keys = "eddy_loops and eddy_spreads" if coil.eddy_spreads else "eddy_loops"
        msg = f"{place}.{keys}: {count} loops with Σk² {total:.3g}, expected at most {MOST_LOOPS} and below 1"
        raise ValueError(msg)
    if isinstance(coil, SecondCoil):
        if not -1 < coil.coupling < 1:
            msg = f"{place}.coupling: {coil.coupling:g} is no coupling, expected a number between -1 and 1"
            raise ValueError(msg)
        if not (math.isfinite(coil.excitation) and 0 < coil.excitation < 1e3):
            msg = f"{place}.excitation: {coil.excitation:g} is no ratio, expected a number above 0 such as 0.8"
            raise ValueError(msg)


def _is_loss(coupling: float, corner_hz: float) -> bool:
    return 0 < coupling < 1 and 1.0 <= corner_hz <= 1e9


# msgspec says "Object contains unknown field `mark` - at `$.pot[...]`", without the part's own name.
def _plain(error: str) -> str:
    what, _, place = _shown(error, 300).partition(" - at `$")
    key = place.rstrip("`").lstrip(".").replace("[...]", ".*", 1).replace("[...]", "")
    plain = what.replace("`", "").replace(" | null", "")
    unknown, missing = "Object contains unknown field ", "Object missing required field "
    if plain.startswith(unknown):
        return f"{f'{key}.' if key else ''}{plain.removeprefix(unknown)}: no such key"
    if plain.startswith(missing):
        return f"{f'{key}.' if key else ''}{plain.removeprefix(missing)}: is missing"
    if key.endswith(".taper"):
        plain = 'expected "audio" or "linear"'
    if key.endswith(".kind"):
        plain = 'expected "film", "ceramic" or "paper"'
    return f"{key}: {plain[:1].lower()}{plain[1:]}"


def _cure(error: str) -> str:
    if "Cannot declare" in error or "Cannot overwrite" in error:
        return ": a part is stated twice"
    is_bare = "Invalid value" in error or "Expected newline" in error
    return '; texts stand in quotes, such as marked = ".022"' if is_bare else ""


def _shown(text: str, limit: int = 40) -> str:
    cut = "".join(char if char.isprintable() else "?" for char in text[:limit])
    return cut if len(text) <= limit else f"{cut}…"
