"""What a person states of a take: ordered, asked for, imported, read and kept in this one form."""

from typing import Literal, get_args

import msgspec

from measure.logbook.disk import one_line
from measure.marking import parse_parts, read_value
from measure.quantity import COLDEST_C, HOTTEST_C

MAX_CONTROLS = 100
MAX_NOTE = 10_000  # [characters]
MAX_TEXT = 1000  # [characters] of any other text

Method = Literal["exciter", "impedance", "plate", "quiet"]


class Conditions(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What is true of a take while it is made, as far as a person states it.

    Attributes
    ----------
    method : {"exciter", "impedance", "plate", "quiet"}
        What is driven; nothing for ``"quiet"``.
    added : str
        Parts across the jack, as written, for example ``"680p±1%, 150k±1%"``; empty for none.
    controls : dict of str to str
        Control to setting, as written.
    coil_over : str or None
        Pickup that the coil stands over; None where that is not said.
    coil_moved : bool
        The coil was moved since the take before: a new placement begins.
    is_after : bool
        Made after the job whose effect is asked for.
    dcr : str or None
        Winding resistance from a multimeter, as written. [Ω]
    series_resistor : str or None
        Through which the jack is driven, as written; for the method impedance. [Ω]
    temperature_c : float or None
        Of the winding. [°C]
    item : str or None
        What lay on the bench, in the words of who measures it: takes of several guitars are told apart by it.
    operator : str or None
        Who made the take, as a name.
    note : str
        Anything else that is worth remembering.
    """

    method: Method = "exciter"
    added: str = ""
    controls: dict[str, str] = {}
    coil_over: str | None = None
    coil_moved: bool = False
    is_after: bool = False
    dcr: str | None = None
    series_resistor: str | None = None
    temperature_c: float | None = None
    item: str | None = None
    operator: str | None = None
    note: str = ""

    def __post_init__(self) -> None:
        """Check everything once.

        Raises
        ------
        ValueError
            If something is wrong; the message names it.
        """
        if self.method not in get_args(Method):
            msg = f'method: "{one_line(self.method, 40)}" is none of {", ".join(get_args(Method))}'
            raise ValueError(msg)
        parse_parts(self.added)
        if self.dcr is not None:
            read_value(self.dcr, "dcr")
        if self.series_resistor is not None:
            read_value(self.series_resistor, "resistance")
        if self.temperature_c is not None and not COLDEST_C <= self.temperature_c <= HOTTEST_C:
            limits = f"{COLDEST_C:g} to {HOTTEST_C:g}"
            msg = f"temperature_c: {self.temperature_c:g} is not the temperature of a winding, expected {limits}"
            raise ValueError(msg)
        _check_texts(self)


def _check_texts(conditions: Conditions) -> None:
    sizes = {"controls": (len(conditions.controls), MAX_CONTROLS), "note": (len(conditions.note), MAX_NOTE)}
    for key, (size, limit) in sizes.items():
        if size > limit:
            msg = f"{key}: {size} is more than the {limit} that a take may have"
            raise ValueError(msg)
    if not conditions.note.replace("\n", "").replace("\t", "").isprintable():
        msg = "note: expected printable text"
        raise ValueError(msg)
    over = "-" if conditions.coil_over is None else conditions.coil_over
    for key, text in [*conditions.controls.items(), ("coil_over", over)]:
        if not (0 < len(key) <= MAX_TEXT and 0 < len(text) <= MAX_TEXT and (key + text).isprintable()):
            msg = f'controls and coil_over: "{one_line(key, 40)}" to "{one_line(text, 40)}": expected printable text'
            raise ValueError(msg)
    for key, said in (("item", conditions.item), ("operator", conditions.operator)):
        if said is not None and not (0 < len(said) <= MAX_TEXT and said.isprintable() and said == said.strip()):
            msg = f'{key}: "{one_line(said, 40)}": expected printable text'
            raise ValueError(msg)
