"""What stands in a drawing of an instrument: every part with its lugs, and the words beside it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from fit.answers.figures import Estimate
from fit.circuit.instrument import Instrument, Stated, coils_of, lugs_of, parts_of, stated_values
from fit.circuit.lugs import contacts_of
from fit.circuit.network import GROUND
from fit.desk.show.words import PART_KINDS, estimate_texts, plain_text
from measure.quantity import format_quantity

Kind = Literal["coil", "pot", "capacitor", "resistor", "contact", "jack"]
LONGEST = 26  # [characters] of a line beside a part; longer ones are cut


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One part of the drawing.

    Attributes
    ----------
    part : str
        ``"pickup.bridge"``, ``"pot.volume"``, ``"switch.selector"``, ``"jack"`` …
    lugs : tuple of (str, str)
        Name and node of each lug in use, as in `fit.circuit.lugs.Lug`; a contact has ``"1"`` and ``"2"``.
    words : tuple of str
        Its name, of a pot, capacitor or resistor with its kind, then what is told of it, a line each.
    closed_in : tuple of str
        Of a contact: positions of its switch.
    """

    part: str
    kind: Kind
    lugs: tuple[tuple[str, str], ...]
    words: tuple[str, ...]
    closed_in: tuple[str, ...] = ()

    @property
    def is_grounded(self) -> bool:
        """Whether one of its lugs is on ground."""
        return self.touches(GROUND)

    def at(self, lug: str) -> str | None:
        """Node of a lug; None where it is not in use."""
        return dict(self.lugs).get(lug)

    def touches(self, node: str) -> bool:
        """Whether one of its lugs is on a node."""
        return any(one == node for _, one in self.lugs)


def drawn_parts(instrument: Instrument, measured: Mapping[str, Estimate]) -> tuple[Drawn, ...]:
    """List what is to be drawn.

    Parameters
    ----------
    measured : mapping of str to Estimate
        What a fit gave, by the names of `fit.circuit.instrument.stated_values`.
    """
    values = stated_values(instrument)
    out = []
    for name, coil in coils_of(instrument).items():
        words = (_coil_name(name, instrument), *_coil_words(name, values, measured))
        out.append(Drawn(part=f"pickup.{name}", kind="coil", lugs=tuple(zip("+-", coil.ends, strict=True)), words=words))
    for contact in contacts_of(instrument):
        positions = list(instrument.switch[contact.switch].positions)
        numbers = runs_text(positions.index(one) + 1 for one in contact.closed_in)
        out.append(
            Drawn(
                part=f"switch.{contact.switch}",
                kind="contact",
                lugs=tuple(zip("12", contact.ends, strict=True)),
                words=(_cut(contact.switch), numbers),
                closed_in=contact.closed_in,
            )
        )
    for key, _, _ in parts_of(instrument):
        kind, _, name = key.partition(".")
        if kind == "pot":
            pot = instrument.pot[name]
            lugs = tuple(lugs_of(pot).items())
            words = (_named(name, kind), *_value_words(key, values[key], measured, detail=pot.taper))
            out.append(Drawn(part=key, kind="pot", lugs=lugs, words=words))
        else:
            parts = instrument.capacitor if kind == "capacitor" else instrument.resistor
            lugs = tuple(zip("12", parts[name].between, strict=True))
            dielectric = parts[name].kind
            words = (_named(name, kind), *_value_words(key, values[key], measured, detail=dielectric or ""))
            out.append(Drawn(part=key, kind="capacitor" if kind == "capacitor" else "resistor", lugs=lugs, words=words))
    jack = (("tip", instrument.output), ("sleeve", GROUND))
    return (*out, Drawn(part="jack", kind="jack", lugs=jack, words=("jack",)))


def is_reference(stated: Stated) -> bool:
    """Whether a value is known by itself, so that a fit relies on it and does not find it."""
    return stated.quantity is not None and stated.quantity.bound is not None and not stated.is_marked


def runs_text(numbers: Iterable[int]) -> str:
    """Write rising numbers shortly.

    Examples
    --------
    >>> runs_text([1, 2, 4, 5, 6])
    '1 2 4–6'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return " ".join(f"{run[0]}–{run[-1]}" if len(run) > 2 else " ".join(map(str, run)) for run in runs)


def _coil_name(name: str, instrument: Instrument) -> str:
    pickup, _, second = name.partition(".")
    if instrument.pickup[pickup].second is None:
        return _cut(pickup)
    return _cut(f"{pickup} coil {2 if second else 1}")


def _coil_words(name: str, values: Mapping[str, Stated], measured: Mapping[str, Estimate]) -> tuple[str, ...]:
    keys = [f"{name}.{what}" for what in ("inductance", "dcr", "winding_capacitance")]
    texts = []
    for key in keys:
        quantity = values[key].quantity
        if key in measured and not is_reference(values[key]):
            texts.append(estimate_texts(measured[key])[0])
        elif quantity is not None:
            texts.append(_short(quantity.value, values[key].unit))
    words = [" · ".join(texts[:2]), *texts[2:]] if texts else ["not measured yet"]
    known = [key in measured and not is_reference(values[key]) for key in keys]
    if any(known):
        words[-1] = f"{words[-1]} measured" if len(words) > 1 else words[-1]
        if len(words) == 1:
            words.append("measured")
    return tuple(words)


def _value_words(key: str, stated: Stated, measured: Mapping[str, Estimate], *, detail: str) -> tuple[str, ...]:
    said = "" if stated.quantity is None else _short(stated.quantity.value, stated.unit)
    if key in measured and not is_reference(stated):
        found = f"{estimate_texts(measured[key])[0]} measured"
        return (found, f"marked {said} {detail}".rstrip()) if stated.is_marked else (found, *([detail] if detail else []))
    told = f"{said or '?'} {detail}".rstrip()
    return (told, "marked") if stated.is_marked else (told,)


def _short(value: float, unit: str) -> str:
    """Three digits at most, without zeros that say nothing: 22 nF, 4.4 H."""
    number, space, rest = format_quantity(value, unit).partition(" ")
    return (number.rstrip("0").rstrip(".") if "." in number else number) + space + rest


# A pot and its capacitor often have one name.
def _named(name: str, kind: str) -> str:
    word = PART_KINDS[kind]
    return f"{_cut(name, LONGEST - len(word) - 1)} {word}"


def _cut(text: str, longest: int = LONGEST) -> str:
    plain = plain_text(text)
    return plain if len(plain) <= longest else f"{plain[: longest - 1]}…"
