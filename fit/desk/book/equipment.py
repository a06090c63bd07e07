"""What a result was measured with, and what it is referred to: for a report."""

from collections.abc import Iterable, Sequence

from fit.circuit.instrument import Instrument, Part, Pickup, Pot, stated_values
from fit.desk.show.words import plain_text
from measure.logbook.rig import Rig, ValueOrigin, card_channel
from measure.logbook.take import Take
from measure.marking import parse_parts
from measure.quantity import Quantity

Row = tuple[str, ...]
CLOCK = "100 ppm, assumed"


def equipment_rows(takes: Sequence[Take], now: Rig) -> list[Row]:
    """Name the equipment that takes were made with.

    Parameters
    ----------
    now : Rig
        Counts for takes that hold none.

    Returns
    -------
    list of (str, str)
        What, and which; each once.
    """
    rows: list[Row] = []
    for take in takes:
        if take.simulated:
            rows.append(("virtual bench", "computed, no equipment"))
        elif take.kind == "response":
            rows.append(("measured elsewhere", "with what, nobody stated"))
        else:
            rows += _card_rows(take, take.rig or now)
        rows += [] if take.simulated else _rig_rows(take.rig or now)
        rows.append(("program", f"coilsweep {take.tool_version or 'of a version that is not known'}"))
    return list(dict.fromkeys(rows))


def _card_rows(take: Take, rig: Rig) -> list[Row]:
    interface = rig.interface
    named = [name for name in dict.fromkeys((interface.device, interface.input_device)) if name]
    api = f", {interface.host_api}" if interface.host_api else ""
    inputs = f"pickup at input {card_channel(rig, 'pickup')}"
    inputs += "" if rig.reference.kind == "none" else f", reference at input {card_channel(rig, 'reference')}"
    what = plain_text(" to ".join(named) or "not stated") + plain_text(api)
    return [("sound card", f"{what}; {take.rate_hz} Hz; {inputs}")]


def _rig_rows(rig: Rig) -> list[Row]:
    rows: list[Row] = []
    clock = rig.interface.clock
    rows.append(("sample clock", CLOCK if clock is None else plain_text(clock if isinstance(clock, str) else f"{clock:g} ppm")))
    if rig.reference.sense_resistor is not None:
        rows.append(("sense resistor", plain_text(_with_origin(rig.reference.sense_resistor, rig.reference))))
    if rig.calibration is not None:
        for kind in ("loopback", "input", "exciter"):
            file = getattr(rig.calibration, kind)
            if file is not None:
                rows.append((f"calibration of {kind}", plain_text(f"{file}, {rig.calibration.date[:10]}")))
    return rows


def reference_rows(takes: Sequence[Take], now: Rig, instrument: Instrument | None, *, dcr: str | None) -> list[Row]:
    """List the values that a result is referred to, with where they are from.

    Returns
    -------
    list of (str, str, str, str)
        Reference, value, source, date; the last two empty where nobody stated them.
    """
    rows: list[Row] = [("dcr", dcr, "with the fit", "")] if dcr else []
    for take in takes:
        rows += _input_rows(take.rig or now, now)
        rows += _added_rows(take, now)
        if take.conditions.series_resistor is not None:
            rows.append((f"series resistor in {take.name}", take.conditions.series_resistor, "", ""))
    if instrument is not None:
        rows += _instrument_rows(instrument, has_dcr=dcr is not None)
    return [tuple(plain_text(cell) for cell in row) for row in dict.fromkeys(rows)]


def _input_rows(rig: Rig, now: Rig) -> list[Row]:
    stated = {key: getattr(rig.input, key) or getattr(now.input, key) for key in ("resistance", "capacitance")}
    source, date = rig.input.source or now.input.source or "", rig.input.date or now.input.date or ""
    calibration = rig.calibration
    if not source and calibration is not None and calibration.input is not None:
        source, date = "coilsweep calibrate input", calibration.date[:10]
    rows: list[Row] = [(f"input.{key}", text, source, date) for key, text in stated.items() if text is not None]
    corner = rig.exciter.corner_hz
    if corner is not None and rig.reference.kind in ("loopback", "none"):
        text = corner if isinstance(corner, str) else f"{corner:g} Hz"
        rows.append(("exciter.corner_hz", text, rig.exciter.source or "", rig.exciter.date or ""))
    return rows


def _added_rows(take: Take, now: Rig) -> list[Row]:
    origins = {**now.part, **(take.rig.part if take.rig is not None else {})}
    known = [(part, origin) for text, origin in origins.items() for part in _parts(text)]
    rows: list[Row] = []
    for part in parse_parts(take.conditions.added):
        origin = next((one for other, one in known if _is_same(part, other)), ValueOrigin())
        rows.append((f"added in {take.name}", part.text, origin.source or "", origin.date or ""))
    return rows


def _parts(text: str) -> Iterable[Quantity]:
    try:
        return parse_parts(text)
    except ValueError:
        return ()


def _is_same(one: Quantity, other: Quantity) -> bool:
    return (one.value, one.bound, one.unit) == (other.value, other.bound, other.unit)


# What instrument.toml states with a bound, and a fit therefore relies on; a dcr that was typed goes before its own.
def _instrument_rows(instrument: Instrument, *, has_dcr: bool) -> list[Row]:
    rows: list[Row] = []
    for key, one in stated_values(instrument).items():
        if one.quantity is None or one.quantity.bound is None or one.is_marked or (has_dcr and key.endswith(".dcr")):
            continue
        origin = _part_of(instrument, key)
        source, date = (origin.source, origin.date) if origin is not None else (None, None)
        rows.append((f"{key}, instrument.toml", one.quantity.text, source or "", date or ""))
    return rows


def _part_of(instrument: Instrument, key: str) -> Pickup | Pot | Part | None:
    kind, _, name = key.partition(".")
    if kind in ("pot", "capacitor", "resistor"):
        part: Pot | Part | None = getattr(instrument, kind).get(name)
        return part
    return instrument.pickup.get(kind)


def _with_origin(text: str, origin: object) -> str:
    source, date = getattr(origin, "source", None), getattr(origin, "date", None)
    return ", ".join(part for part in (text, source, date) if part)
