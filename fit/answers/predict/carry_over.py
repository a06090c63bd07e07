"""An instrument as a fit found it: its pickups with the losses that were measured, its parts wherever they are still the same."""

from collections.abc import Mapping

import msgspec

from fit.answers.parts.fitted import MeasuredParts, keep_parts
from fit.circuit.instrument import Instrument, Pickup, SecondCoil, coils_of, stated_values
from fit.circuit.reading import check_losses
from fit.circuit.realparts import owner_of

PART_KINDS = ("pot", "capacitor", "resistor")


def adopt_losses(instrument: Instrument, parts: MeasuredParts) -> Instrument:
    """Give every measured pickup the coils and eddy losses that the fit found, whatever was stated of them.

    Returns
    -------
    Instrument
        The same wiring; a pickup that was found to be two coils in series is parted in the middle.
    """
    pickups = {}
    for name, pickup in instrument.pickup.items():
        pickups[name] = _adopt(name, pickup, parts.values) if f"{name}.inductance" in parts.values else pickup
    return msgspec.structs.replace(instrument, pickup=pickups)


def _adopt(name: str, pickup: Pickup, values: Mapping[str, float]) -> Pickup:
    ends, second, second_name = pickup.ends, pickup.second, f"{name}.second"
    if f"{second_name}.inductance" in values:
        if second is None:
            middle = f"(middle){name}"
            ends, second = (ends[0], middle), SecondCoil(ends=(middle, ends[1]))
        second = msgspec.structs.replace(
            second,
            coupling=values[f"{name}.coupling"],
            eddy_loops=_loops(second_name, values),
            eddy_spreads=_spreads(second_name, values),
        )
    return msgspec.structs.replace(
        pickup, ends=ends, second=second, eddy_loops=_loops(name, values), eddy_spreads=_spreads(name, values)
    )


def _loops(name: str, values: Mapping[str, float]) -> tuple[tuple[float, float], ...]:
    keys = _numbered(f"{name}.eddy_loop", values)
    return tuple((values[f"{key}.coupling"], values[f"{key}.corner"]) for key in keys)


def _spreads(name: str, values: Mapping[str, float]) -> tuple[tuple[float, float, float], ...]:
    keys = _numbered(f"{name}.eddy_spread", values)
    return tuple((values[f"{key}.coupling"], values[f"{key}.corner"], values[f"{key}.half_width"]) for key in keys)


def _numbered(key: str, values: Mapping[str, float]) -> list[str]:
    number = 1
    while f"{key}_{number}.coupling" in values:
        number += 1
    return [f"{key}_{one}" for one in range(1, number)]


def check_changes(instrument: Instrument, changes: Mapping[str, float]) -> None:
    """See that changed eddy losses and couplings leave every coil passive.

    Parameters
    ----------
    instrument : Instrument
        With the losses that were measured, where any were.
    changes : mapping
        Name of a value to what it is changed to.

    Raises
    ------
    ValueError
        If they do not; one line that names the place.
    """
    stated = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values = stated | dict(changes)
    for name, coil in coils_of(instrument).items():
        if any(key.startswith(f"{name}.eddy_") for key in changes):
            losses = {"eddy_loops": _loops(name, values), "eddy_spreads": _spreads(name, values)}
            check_losses(f"pickup.{name}", msgspec.structs.replace(coil, **losses))
        key = f"{name.removesuffix('.second')}.coupling"
        if isinstance(coil, SecondCoil) and key in changes:
            check_losses(f"pickup.{name}", msgspec.structs.replace(coil, coupling=values[key]))


def shared_parts(parts: MeasuredParts, of: Instrument, other: Instrument) -> MeasuredParts | None:
    """Keep what was measured of parts that another wiring states exactly as the instrument that was fitted does.

    Parameters
    ----------
    parts : MeasuredParts
        From a fit of `of`.
    of, other : Instrument
        The one that was fitted, and the one that is asked about.

    Returns
    -------
    MeasuredParts or None
        None where no part is the same.
    """
    here, there = _claims(of), _claims(other)
    same = {owner for owner, claim in here.items() if there.get(owner) == claim}
    kept = [name for name in parts.names if name.startswith("input.") or _owner(name) in same]
    if all(name.startswith("input.") for name in kept):
        return None
    return keep_parts(parts, kept)


def _owner(name: str) -> str:
    kind, _, rest = owner_of(name).partition(".")
    return f"{kind}.{rest}" if kind in PART_KINDS else kind


def _claims(instrument: Instrument) -> dict[str, tuple[object, ...]]:
    """List what is stated of each pickup and part, its place in the circuit left aside."""
    out: dict[str, tuple[object, ...]] = {}
    for name, stated in stated_values(instrument).items():
        text = None if stated.quantity is None else stated.quantity.text
        out[_owner(name)] = (*out.get(_owner(name), ()), (name, text, stated.is_marked))
    for name, pot in instrument.pot.items():
        out[f"pot.{name}"] = (*out[f"pot.{name}"], pot.taper)
    return out
