"""Takes made through an instrument's controls, and by other methods than the exciter, for the estimate."""

from collections.abc import Sequence
from dataclasses import replace

import msgspec
import numpy as np

from fit.circuit.controls import Settings, read_settings
from fit.circuit.instrument import Instrument, Part, Pickup, Pot
from fit.circuit.layouts import STARTING
from fit.circuit.network import GROUND
from fit.circuit.wiring import Passive, wire_instrument
from fit.desk.book.bounds import as_text, bounded
from fit.desk.book.instrument import read_instrument_file
from fit.estimate.evidence import TakeEvidence
from measure.errors import FileError
from measure.kinds import PRINTED, Kind
from measure.logbook.store import Logbook, instrument_path
from measure.logbook.take import Take
from measure.marking import read_value
from measure.quantity import Quantity, parse_quantity, refuse_decimal_comma
from measure.response import Response

# [Ω] An impedance Z measured elsewhere is fitted as if driven through so much. Far above Z, so that the ratio is Z over it: an
# exactly known resistor of its own size would lend Z a scale that its meter does not have.
UNLOADED_OHM = 1e9


def instrument_of_takes(logbook: Logbook, takes: Sequence[Take], warnings: list[str]) -> Instrument | None:
    """Read what stands between the pickups and the jack in these takes.

    Parameters
    ----------
    warnings : list of str
        What was taken for granted is added to it.

    Returns
    -------
    Instrument or None
        None where the logbook has no instrument.toml: one pickup straight at the jack.

    Raises
    ------
    FileError
        If a take was made through controls and no instrument.toml says how they are wired, or it is not sound.
    """
    path = instrument_path(logbook)
    if not path.exists():
        for take in takes:
            if take.conditions.controls:
                settings = ", ".join(f"{name}={value}" for name, value in take.conditions.controls.items())
                how = "state the wiring first, coilsweep instrument --layout NAME"
                msg = f'the take "{take.name}" was made through controls ({settings}) and there is no instrument.toml: {how}'
                raise FileError(msg)
        return None
    instrument = with_bounds(read_instrument_file(path), warnings)
    silent = [take.name for take in takes if not take.conditions.controls]
    if silent and (instrument.pot or instrument.switch):
        warnings.append(
            f"no controls are stated for {', '.join(silent)}: every pot is taken to stand at 10 and every switch in its first "
            "position; state them with --set when you import"
        )
    return instrument


def take_evidence(take: Take, response: Response, instrument: Instrument | None, warnings: list[str]) -> TakeEvidence | None:
    """Put a take together for the estimate, its added parts and placement aside.

    Parameters
    ----------
    instrument : Instrument or None
        As `instrument_of_takes` gives it.
    warnings : list of str
        Why a take is left out is added to it.

    Returns
    -------
    TakeEvidence or None
        None where the pickup under the exciter is not connected, so that the take tells nothing of the parts.

    Raises
    ------
    FileError
        If its controls are not those of the instrument, or it does not say what the exciter stood over.
    """
    settings = Settings()
    if instrument is not None:
        try:
            settings = read_settings(instrument, take.conditions.controls)
        except ValueError as err:
            msg = f"take {take.name}: {err}"
            raise FileError(msg) from err
    evidence = TakeEvidence(name=take.name, response=response, settings=settings, temperature_c=take.conditions.temperature_c)
    if take.conditions.method == "impedance":
        response, series, is_loaded = _through_resistor(take, response, warnings)
        return replace(evidence, response=response, method="impedance", series_resistor=series, is_loaded=is_loaded)
    if take.conditions.method == "plate":
        return replace(evidence, method="plate")
    over = "" if instrument is None else _coil_over(take, instrument)
    if instrument is not None and not is_connected(instrument, settings, over):
        warnings.append(f"take {take.name} is left out: with its controls set so, {over or 'the pickup'} does not reach the jack")
        return None
    return replace(evidence, coil_over=over)


def with_dcr(instrument: Instrument, dcr: str, warnings: list[str]) -> Instrument:
    """State winding resistances that were given on the command line.

    Parameters
    ----------
    dcr : str
        ``"bridge=7.9k ± 1%, neck=7.1k ± 1% at 24C"``; without a name for the only pickup.
    warnings : list of str
        What was taken for granted is added to it.

    Raises
    ------
    ValueError
        If a pickup is not there, or not named where there are several.
    """
    refuse_decimal_comma(dcr)
    pickups = dict(instrument.pickup)
    for text in dcr.split(","):
        name, mark, value = (piece.strip() for piece in text.partition("="))
        if not mark:
            name, value = next(iter(pickups)) if len(pickups) == 1 else "", name
        if name not in pickups:
            known = ", ".join(pickups)
            example = f'"{next(iter(pickups))}=7.9k ± 1%"'
            msg = f'--dcr "{text.strip()[:60]}": expected PICKUP=VALUE with one of {known}, for example {example}'
            raise ValueError(msg)
        quantity = bounded(read_value(value, "dcr"), f"dcr of {name}", warnings, "dcr")
        pickups[name] = msgspec.structs.replace(pickups[name], dcr=as_text(quantity))
    return msgspec.structs.replace(instrument, pickup=pickups)


def with_bounds(instrument: Instrument, warnings: list[str]) -> Instrument:
    """Give every stated part a bound: one that is missing is assumed, and said. A pickup's value without one is no reference.

    Parameters
    ----------
    warnings : list of str
        What is assumed or left out is added to it.
    """

    def text(written: str | None, kind: Kind, what: str) -> str | None:
        if written is None:
            return None
        quantity = bounded(read_value(written, kind), what, warnings, kind)
        return as_text(quantity)

    pickups = {name: _with_known_values(name, pickup, warnings) for name, pickup in instrument.pickup.items()}
    parts: dict[Kind, dict[str, Pot | Part]] = {kind: dict(getattr(instrument, kind)) for kind in PRINTED}
    for kind, named in parts.items():
        for name, part in named.items():
            named[name] = msgspec.structs.replace(part, value=text(part.value, kind, f"{kind}.{name}"))
    return msgspec.structs.replace(instrument, pickup=pickups, **parts)


def _with_known_values(name: str, pickup: Pickup, warnings: list[str]) -> Pickup:
    """Keep what is known of a pickup: a starting file's values have no ±, and say what pickups of its kind usually have."""
    texts: dict[str, tuple[str | None, Kind]] = {
        "dcr": (pickup.dcr, "dcr"),
        "inductance": (pickup.inductance, "inductance"),
        "winding_capacitance": (pickup.winding_capacitance, "winding capacitance"),
    }
    open_ended = [key for key, (text, kind) in texts.items() if text is not None and read_value(text, kind).bound is None]
    told = [key for key in open_ended if texts[key][0] not in STARTING[key]]
    if told:
        listed = ", ".join(f"{key.replace('_', ' ')} {texts[key][0]}" for key in told)
        warnings.append(f"pickup {name}: {listed} stated without ±, so the fit does not rely on it; a measured dcr with ± helps")
    return msgspec.structs.replace(pickup, **dict.fromkeys(open_ended))


def _coil_over(take: Take, instrument: Instrument) -> str:
    names, over = list(instrument.pickup), take.conditions.coil_over
    if over is None:
        if len(names) == 1:
            return names[0]
        msg = f'the take "{take.name}" does not say which pickup the exciter stood over ({", ".join(names)}): --coil-over PICKUP'
        raise FileError(msg)
    if over not in instrument.pickup:
        msg = f'the take "{take.name}": the exciter stood over "{over}", but instrument.toml has {", ".join(names)}'
        raise FileError(msg)
    return over


def is_connected(instrument: Instrument, settings: Settings, pickup: str) -> bool:
    """See whether a pickup, or any where none is named, reaches the jack."""
    load = [Passive(key="input.resistance", is_capacitor=False, ends=(instrument.output, GROUND))]
    coils = wire_instrument(instrument, settings, load=load).coils
    return pickup in coils if pickup else bool(coils)


def _through_resistor(take: Take, response: Response, warnings: list[str]) -> tuple[Response, Quantity, bool]:
    """Voltage at the jack over that at the series resistor's driven end; an impedance measured elsewhere is turned into that.

    Raises
    ------
    FileError
        If the resistor is not stated.
    """
    if not take.hears_input:
        series = parse_quantity(f"{UNLOADED_OHM:g} ± 0.0001%", "Ω")  # a bound has to be above 0
        total = response.value + UNLOADED_OHM
        scale = np.abs(UNLOADED_OHM / total**2) ** 2
        covariance = response.covariance * scale[:, None, None]
        ratio = replace(response, value=response.value / total, covariance=covariance, unit="V/V")
        return ratio, series, False
    stated = take.conditions.series_resistor
    if stated is None:
        how = 'import it with --series-resistor, for example "100k ± 1%"'
        msg = f'the take "{take.name}" does not say through which resistor the jack was driven: {how}'
        raise FileError(msg)
    return (
        response,
        bounded(read_value(stated, "resistance"), f"series resistor of {take.name}", warnings, "resistance"),
        True,
    )
