"""What a fit measured of an instrument's parts, with the covariance of all of it, for predictions that rest on it.

Two values that no take tells apart, such as a pickup's winding capacitance and the cable's, are each known badly and together
well; only the full covariance says so.
"""

from collections.abc import Collection
from dataclasses import dataclass, field, replace

import msgspec
import numpy as np

from fit.circuit.realparts import STOPS, is_linear
from measure.response import FloatArray

SCHEMA = "coilsweep.parts/1"
MOST_VALUES = 200  # values; a guitar with four pickups has about 60
SYMMETRY = 1e-9  # [1] of the largest entry


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredParts:
    """Values from a fit.

    Attributes
    ----------
    values : dict
        Name of a value (`fit.circuit.instrument.stated_values`), of a pot's electrical fraction (``"pot.volume@7"``), of what
        a part has beside its value (`fit.circuit.realparts`) or of the input to what was found; ohms left at a stop and loss
        tangents may come out a little below 0. SI units.
    names : tuple of str
        Of the covariance, in its order: those of `values`.
    log_covariance : ndarray, shape (p, p)
        Of the logarithms; of the value itself where `is_signed` says so.
    simulated : bool
        Some take was made by the virtual bench.
    outcome : str
        ``"good"`` or ``"misfit"``.
    instrument_sha256 : str
        Of the text of the instrument.toml that was fitted; empty where there was none.
    input_stated : dict
        ``"input.resistance"`` and ``"input.capacitance"`` as the rig stated them for the fit. [Ω], [F]
    """

    values: dict[str, float]
    names: tuple[str, ...]
    log_covariance: FloatArray
    takes: tuple[str, ...]
    simulated: bool
    outcome: str = "good"
    instrument_sha256: str = ""
    input_stated: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Copy and check the covariance.

        Raises
        ------
        ValueError
            If names, values and covariance do not belong together, or it is no covariance.
        """
        matrix = np.array(self.log_covariance, dtype=float)
        n = len(self.names)
        if set(self.names) != set(self.values) or len(set(self.names)) != n or matrix.shape != (n, n):
            msg = f"{n} names, {len(self.values)} values and a covariance of shape {matrix.shape} do not belong together"
            raise ValueError(msg)
        wrong = [name for name, value in self.values.items() if not _is_possible(name, value)]
        if wrong:
            msg = f"{wrong[0]} = {self.values[wrong[0]]:g} cannot be"
            raise ValueError(msg)
        scale = np.sqrt(np.abs(np.diag(matrix)))
        unit = matrix / np.where(scale > 0, np.outer(scale, scale), 1.0)
        is_sound = bool(np.isfinite(matrix).all() and (np.diag(matrix) >= 0).all())
        if not is_sound or np.abs(unit - unit.T).max(initial=0.0) > SYMMETRY or np.linalg.eigvalsh(unit).min(initial=0.0) < -1e-6:
            msg = "the covariance of the measured values is none: it must be finite, symmetric and not negative"
            raise ValueError(msg)
        matrix.flags.writeable = False
        object.__setattr__(self, "log_covariance", matrix)


class _Document(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    schema: str
    takes: list[str]
    simulated: bool
    outcome: str
    instrument_sha256: str
    input_stated: dict[str, float]
    names: list[str]
    values: list[float]
    log_covariance: list[list[float]]


def is_signed(name: str) -> bool:
    """Whether a value may be negative, so that the covariance is of itself and not of its logarithm.

    Returns
    -------
    bool
        True for the coupling between two coils, ``"bridge.coupling"``, for the ohms left at a stop and for loss tangents.
    """
    return is_linear(name) or is_coupling(name)


def is_coupling(name: str) -> bool:
    """Whether a value is the coupling between two coils.

    Returns
    -------
    bool
        False for that of an eddy loop.
    """
    return name.endswith(".coupling") and ".eddy_" not in name


def measured_document(parts: MeasuredParts) -> dict[str, object]:
    """Put measured parts as ``results/fit.json`` keeps them.

    Returns
    -------
    dict
        Plain numbers, lists and texts.
    """
    return {
        "schema": SCHEMA,
        "takes": list(parts.takes),
        "simulated": parts.simulated,
        "outcome": parts.outcome,
        "instrument_sha256": parts.instrument_sha256,
        "input_stated": dict(parts.input_stated),
        "names": list(parts.names),
        "values": [float(parts.values[name]) for name in parts.names],
        "log_covariance": parts.log_covariance.tolist(),
    }


def read_measured(document: object) -> MeasuredParts:
    """Read what `measured_document` wrote.

    Raises
    ------
    ValueError
        If something in it is missing, unknown or makes no sense; one line.
    """
    try:
        kept = msgspec.convert(document, _Document)
    except msgspec.ValidationError as err:
        msg = f"measured values are damaged: {str(err)[:160].replace('`', '')}"
        raise ValueError(msg) from None
    sizes = {len(kept.names), len(kept.values), len(kept.log_covariance), *(len(row) for row in kept.log_covariance)}
    if kept.schema != SCHEMA or len(sizes - {len(kept.names)}) or not 1 <= len(kept.names) <= MOST_VALUES:
        msg = f"measured values are damaged: expected {SCHEMA} with 1 to {MOST_VALUES} values and a square covariance"
        raise ValueError(msg)
    try:
        return MeasuredParts(
            values=dict(zip(kept.names, kept.values, strict=True)),
            names=tuple(kept.names),
            log_covariance=np.array(kept.log_covariance),
            takes=tuple(kept.takes),
            simulated=kept.simulated,
            outcome=kept.outcome,
            instrument_sha256=kept.instrument_sha256,
            input_stated=kept.input_stated,
        )
    except ValueError as err:
        msg = f"measured values are damaged: {err}"
        raise ValueError(msg) from None


def _is_possible(name: str, value: float) -> bool:
    if not np.isfinite(value):
        return False
    if name.endswith(STOPS):
        return True
    if is_signed(name):
        return -1 < value < 1
    return 0 < value < 1 if "@" in name or name.endswith(".coupling") else value > 0


def keep_parts(parts: MeasuredParts, names: Collection[str]) -> MeasuredParts:
    """Keep some of the values; the others are averaged over.

    Returns
    -------
    MeasuredParts
        With their part of the covariance.
    """
    kept = [place for place, name in enumerate(parts.names) if name in names]
    return replace(
        parts,
        values={parts.names[place]: parts.values[parts.names[place]] for place in kept},
        names=tuple(parts.names[place] for place in kept),
        log_covariance=parts.log_covariance[np.ix_(kept, kept)],
    )


def not_below_nothing(parts: MeasuredParts) -> MeasuredParts:
    """Hold stops and loss tangents that came out below 0 at 0, and let the other values follow by their covariance.

    Returns
    -------
    MeasuredParts
        The most probable values under that condition, so that what the takes told well stays as it was; the covariance as it
        was. The same parts where nothing is below 0.
    """
    names = parts.names
    plain = np.array([is_signed(name) for name in names])
    values = np.array([parts.values[name] for name in names])
    start = np.where(plain, values, np.log(np.where(plain, 1.0, values)))
    scale = np.sqrt(np.diag(parts.log_covariance))
    scale = np.where(scale > 0, scale, 1.0)
    correlation = parts.log_covariance / np.outer(scale, scale)
    held: list[int] = []
    now = start
    while below := [place for place, name in enumerate(names) if is_linear(name) and now[place] < 0 and place not in held]:
        held += below
        pulls = np.linalg.lstsq(correlation[np.ix_(held, held)], start[held] / scale[held], rcond=None)[0]
        now = start - scale * (correlation[:, held] @ pulls)
        now[held] = 0.0
    if not held:
        return parts
    found = np.where(now == start, values, np.where(plain, now, np.exp(np.where(plain, 0.0, now))))
    if not all(_is_possible(name, value) for name, value in zip(names, found.tolist(), strict=True)):
        found = np.where([is_linear(name) for name in names], np.maximum(values, 0.0), values)  # too far for a linear step
    return replace(parts, values=dict(zip(names, found.tolist(), strict=True)))
