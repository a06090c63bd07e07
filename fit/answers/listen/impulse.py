"""What a change would sound like: the filter that turns a recording of the instrument as it is into one of it changed.

The recording holds the pickups' EMFs behind the transfer before the change; the filter is the transfer after it over that before.
Its magnitude is that of the circuit, limited where it would raise noise out of sight; its phase is the one that belongs to
that magnitude in a causal, stable filter. For a single pickup that is the circuit's own phase. Where pickups cancel each other
it is not, since the inverse of such a circuit is not causal; that is noticed and said.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from fit.answers.figures import COVERAGE
from fit.answers.listen.minimum_phase import design_size, filter_gain, minimum_phase_impulse, minimum_phase_spectrum
from fit.answers.parts.fitted import MeasuredParts
from fit.answers.parts.known import Basis, Known, gather_known, spread_of
from fit.answers.predict.carry_over import adopt_losses
from fit.circuit.controls import Settings, read_settings
from fit.circuit.harness import Case, build_harness, needed_values
from fit.circuit.instrument import Instrument
from fit.circuit.realparts import is_beside, stops_among
from fit.circuit.transfers import solve_harness, solve_instrument
from measure.quantity import Quantity
from measure.response import ComplexArray, Finding, FloatArray

LOWEST_HZ, HIGHEST_HZ = 10.0, 20e3  # [Hz] the model means something between; beyond, the ratio is held
LOW_HARDNESS, HIGH_HARDNESS = 4, 12  # [1] how sharply; frequencies move by less than 0.4 % from 30 Hz to 15 kHz
LEVEL_LOW_HZ, LEVEL_HIGH_HZ = 80.0, 1e3  # [Hz] where the level is taken that the limits refer to
MOST_BOOST = 10 ** (30 / 20)  # [1] over that level; a recording has little more room over its noise in the treble
MOST_CUT = 1e-6  # [1] of that level
LIMIT_HARDNESS = 8  # [1] 0.75 dB at the limit, 0.004 dB at half of it
LIMIT_NOTICED = 10 ** (-0.5 / 20)  # [1] less than this share of what was asked for is said
SILENT = 1e-9  # [V/V] what does not come up to it is not connected
CANCELLED, PARTLY_CANCELLED_DB = 1e-3, -20.0  # [1], [dB] sum of the pickups over what they would give in step
EXCESS_NOTICED = np.radians(30.0)  # [rad]
EXCESS_LOW_HZ, EXCESS_HIGH_HZ = 100.0, 5e3  # [Hz] where the phase is compared
GRID_LOW_HZ, GRID_HIGH_HZ = 5.0, 400e3  # [Hz] the circuit is solved between
POINTS_PER_OCTAVE = 96  # 0.7 % apart; the sharpest resonance of a pickup is ten times as wide
SHOWN_PER_OCTAVE = 24
Edge = Literal["middle", "low", "high"]
EDGES: dict[Edge, float] = {"low": -1.0, "middle": 0.0, "high": 1.0}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """The instrument on one side of the change.

    Attributes
    ----------
    controls : mapping
        Control to setting, as for `read_settings`.
    load : mapping
        ``"input.resistance"`` and ``"input.capacitance"``, cable included.
    changes : mapping
        Name of a value to what it is changed to.
    measured : MeasuredParts or None
        From a fit of it; they stand in for what is stated and marked, but not for changes.
    """

    instrument: Instrument
    controls: Mapping[str, str]
    load: Mapping[str, Quantity]
    changes: Mapping[str, Quantity] = field(default_factory=dict)
    measured: MeasuredParts | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Heard:
    """What is heard on one side, at m frequencies.

    Attributes
    ----------
    gain : ndarray of complex, shape (m,)
        Output for 1 V of EMF in each of them. [V/V]
    in_step : ndarray, shape (m,)
        What they would give if none cancelled another. [V/V]
    marked, measured : tuple of str
        Values that it rests on and that are only marked, or measured.
    """

    settings: Settings
    pickups: tuple[str, ...]
    gain: ComplexArray
    in_step: FloatArray
    marked: tuple[str, ...]
    measured: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ListenAnswer:
    """A filter and what it rests on, at m frequencies.

    Attributes
    ----------
    before, after : Heard
        Both sides, their curves at the frequencies below.
    frequency_hz : ndarray, shape (m,)
        Twenty-four an octave, up to 20 kHz or 0.45 of the sample rate. [Hz]
    asked : ndarray of complex, shape (m,)
        Transfer after over that before. [1]
    given : ndarray of complex, shape (m,)
        What the filter does. [1]
    impulse : ndarray, shape (n,)
        The filter, from t = 0 on. [1]
    rate_hz : int
        Its sample rate. [Hz]
    limited_hz : tuple of float or None
        Lowest and highest frequency at which it falls short by more than 0.5 dB of what was asked for. [Hz]
    findings : tuple of Finding
        What a listener should know.
    """

    before: Heard
    after: Heard
    frequency_hz: FloatArray
    asked: ComplexArray
    given: ComplexArray
    impulse: FloatArray
    rate_hz: int
    limited_hz: tuple[float, float] | None
    findings: tuple[Finding, ...]


def design_change(before: Side, after: Side, *, rate_hz: int, excite: str = "", edge: Edge = "middle") -> ListenAnswer:
    """Design the filter from a recording before a change to one after it.

    Parameters
    ----------
    before, after : Side
        The instrument as it was recorded, and as it is to be heard.
    rate_hz : int
        Sample rate of the recording. [Hz]
    excite : str
        Only this pickup has an EMF; empty: equal EMFs in all.
    edge : {"middle", "low", "high"}
        What is most likely, or the lower or upper end of the 95 % interval of the change at every frequency, tolerances included.

    Raises
    ------
    ValueError
        If a setting, part or pickup does not exist, a value is missing, nothing is heard on one side, or the pickups cancel;
        one line.
    """
    octaves = np.log2(GRID_HIGH_HZ / GRID_LOW_HZ)
    grid_hz = np.geomspace(GRID_LOW_HZ, GRID_HIGH_HZ, int(np.ceil(octaves * POINTS_PER_OCTAVE)) + 1)
    old, new = (_hear(side, grid_hz, excite) for side in (before, after))
    for heard, word in ((old, "before"), (new, "after")):
        _require_sound(heard, grid_hz, word=word, excite=excite)
    if edge != "middle":
        factor = np.exp(EDGES[edge] * COVERAGE * change_std(before, after, grid_hz, excite=excite))
        new = replace(new, gain=new.gain * factor, in_step=new.in_step * factor)
    is_level = (grid_hz >= LEVEL_LOW_HZ) & (grid_hz <= LEVEL_HIGH_HZ)
    level = float(np.sqrt(np.mean(np.abs(new.gain[is_level]) ** 2) / np.mean(np.abs(old.gain[is_level]) ** 2)))
    n = design_size(rate_hz)
    ratio = _Ratio(old=old, new=new, grid_hz=grid_hz)
    size = np.abs(_evaluate(ratio, _hold(np.arange(n // 2 + 1) * rate_hz / n)))
    polarity, excess_rad = _excess_phase(ratio, level)
    impulse = polarity * minimum_phase_impulse(_limit(size, level), rate_hz)
    top_hz = min(HIGHEST_HZ, 0.45 * rate_hz)
    shown_hz = 20.0 * 2 ** (np.arange(int(np.log2(top_hz / 20.0) * SHOWN_PER_OCTAVE) + 1) / SHOWN_PER_OCTAVE)
    asked = _evaluate(ratio, shown_hz)
    limited = shown_hz[_limit(np.abs(asked), level) < LIMIT_NOTICED * np.abs(asked)]
    limited_hz = (float(limited[0]), float(limited[-1])) if len(limited) else None
    return ListenAnswer(
        before=_at(old, grid_hz, shown_hz),
        after=_at(new, grid_hz, shown_hz),
        frequency_hz=shown_hz,
        asked=asked,
        given=filter_gain(impulse, rate_hz, shown_hz),
        impulse=impulse,
        rate_hz=rate_hz,
        limited_hz=limited_hz,
        findings=_findings(old, new, grid_hz, limited_hz=limited_hz, excess_rad=excess_rad),
    )


def change_std(before: Side, after: Side, frequency_hz: FloatArray, *, excite: str = "") -> FloatArray:
    """How uncertain a change is: what both sides share, as the same pickup, cancels as far as it acts alike.

    Returns
    -------
    ndarray, shape (n,)
        Standard uncertainty of the logarithm of the transfer's magnitude after over that before. [1]
    """
    (known, old), (after_known, new) = (_slopes(side, frequency_hz, excite) for side in (before, after))
    shared = {key: -slope for key, slope in old.items()}
    own: dict[str, FloatArray] = {}
    for key, slope in new.items():
        if _is_same(known.basis.get(key), after_known.basis.get(key)):
            shared[key] = shared.get(key, 0.0) + slope
        else:
            own[key] = slope
    nothing = np.zeros(len(frequency_hz))
    both = (spread_of(one, slopes) if slopes else nothing for one, slopes in ((known, shared), (after_known, own)))
    return np.hypot(*both)


# Of a pot's fraction by its taper, and of stops, nothing need be known.
def _is_same(one: Basis | None, other: Basis | None) -> bool:
    if one is None or other is None:
        return False
    return (one.value, one.origin, one.relative_std, one.std) == (other.value, other.origin, other.relative_std, other.std)


def _slopes(side: Side, frequency_hz: FloatArray, excite: str) -> tuple[Known, dict[str, FloatArray]]:
    settings = read_settings(side.instrument, side.controls)
    built = side.instrument if side.measured is None else adopt_losses(side.instrument, side.measured)
    known = gather_known(
        built, load=side.load, changes=side.changes, measured=side.measured, with_tolerance=True, settings=settings
    )
    transfer = solve_instrument(built, [Case(settings=settings, frequency_hz=frequency_hz)], values=known.values)[0]
    rows = [row for row, name in enumerate(side.instrument.pickup) if excite in ("", name)]
    gain = transfer.voltage[rows].sum(axis=0)
    return known, {key: (slope[rows].sum(axis=0) / gain).real for key, slope in transfer.by_log.items()}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Ratio:
    """Both sides on a grid of frequencies."""

    old: Heard
    new: Heard
    grid_hz: FloatArray


def _hear(side: Side, grid_hz: FloatArray, excite: str) -> Heard:
    instrument = side.instrument
    if excite and excite not in instrument.pickup:
        msg = f'there is no pickup "{excite[:60]}", the instrument has: {", ".join(instrument.pickup)}'
        raise ValueError(msg)
    settings = read_settings(instrument, side.controls)
    built = instrument if side.measured is None else adopt_losses(instrument, side.measured)
    known = gather_known(
        built, load=side.load, changes=side.changes, measured=side.measured, with_tolerance=False, settings=settings
    )
    case = Case(settings=settings, frequency_hz=grid_hz)
    harness = build_harness(built, [case], has_stops=stops_among(known.basis))
    needed = sorted({key for group in harness.groups for key in needed_values(built, group)})
    absent = [key for key in needed if key not in known.basis]
    if absent:
        msg = f"no value is known of {', '.join(absent)}: state it in instrument.toml, or with --change"
        raise ValueError(msg)
    transfer = solve_harness(harness, values=known.values)[0]
    voltage = transfer.voltage
    rests_on = sorted({*needed, *(key for key in transfer.by_log if is_beside(key))})
    rows = {
        name: voltage[row]
        for row, name in enumerate(instrument.pickup)
        if excite in ("", name) and float(np.max(np.abs(voltage[row]))) > SILENT
    }
    return Heard(
        settings=settings,
        pickups=tuple(rows),
        gain=sum(rows.values(), np.zeros(len(grid_hz), dtype=complex)),
        in_step=sum((np.abs(row) for row in rows.values()), np.zeros(len(grid_hz))),
        marked=tuple(key for key in rests_on if known.basis[key].origin == "marked"),
        measured=tuple(key for key in rests_on if known.basis[key].origin == "measured"),
    )


def _require_sound(heard: Heard, grid_hz: FloatArray, *, word: str, excite: str) -> None:
    cure = {"before": "state by --recorded how it was recorded", "after": "choose other settings by --set"}[word]
    nothing = {"before": "so there is nothing to divide by", "after": "so there would be silence"}[word]
    if not heard.pickups:
        who = f'the pickup "{excite}" is not' if excite else "none of the pickups is"
        msg = f"{who} heard {word} the change, {nothing}: {cure}{', or another pickup by --excite' if excite else ''}"
        raise ValueError(msg)
    share = _share_in_step(heard, grid_hz)
    if share < CANCELLED:
        msg = (
            f"{word} the change the pickups {' and '.join(heard.pickups)} cancel each other at equal voltages, {nothing}: "
            "name one of them by --excite"
        )
        raise ValueError(msg)


def _share_in_step(heard: Heard, grid_hz: FloatArray) -> float:
    is_band = (grid_hz >= LEVEL_LOW_HZ) & (grid_hz <= EXCESS_HIGH_HZ)
    return float(np.sqrt(np.mean(np.abs(heard.gain[is_band]) ** 2) / np.mean(heard.in_step[is_band] ** 2)))


def _interpolate(grid_hz: FloatArray, values: ComplexArray, frequency_hz: FloatArray) -> ComplexArray:
    from scipy.interpolate import CubicSpline

    out: ComplexArray = CubicSpline(np.log(grid_hz), values)(np.log(frequency_hz))
    return out


def _evaluate(ratio: _Ratio, frequency_hz: FloatArray) -> ComplexArray:
    new, old = (_interpolate(ratio.grid_hz, side.gain, frequency_hz) for side in (ratio.new, ratio.old))
    is_zero = np.abs(old) < np.finfo(float).tiny
    return np.where(is_zero, 1 / SILENT, new / np.where(is_zero, 1.0, old))


def _at(heard: Heard, grid_hz: FloatArray, frequency_hz: FloatArray) -> Heard:
    return Heard(
        settings=heard.settings,
        pickups=heard.pickups,
        gain=_interpolate(grid_hz, heard.gain, frequency_hz),
        in_step=_interpolate(grid_hz, heard.in_step.astype(complex), frequency_hz).real,
        marked=heard.marked,
        measured=heard.measured,
    )


# Frequencies bent so that they stop, smoothly, where the model ends; even in f, so that no corner is left at 0.
def _hold(frequency_hz: FloatArray, highest_hz: float = HIGHEST_HZ) -> FloatArray:
    above = (frequency_hz**LOW_HARDNESS + LOWEST_HZ**LOW_HARDNESS) ** (1 / LOW_HARDNESS)
    held: FloatArray = above / (1 + (above / highest_hz) ** HIGH_HARDNESS) ** (1 / HIGH_HARDNESS)
    return held


def _limit(size: FloatArray, level: float) -> FloatArray:
    most = level * MOST_BOOST
    limited: FloatArray = size / (1 + (size / most) ** LIMIT_HARDNESS) ** (1 / LIMIT_HARDNESS)
    return np.maximum(limited, level * MOST_CUT)


def _excess_phase(ratio: _Ratio, level: float) -> tuple[float, float]:
    """Compare the circuit's phase with that of the causal filter, at a rate so high that its end does not matter.

    Returns the polarity, and the largest difference beside it. [rad]
    """
    n, top_hz = 1 << 18, GRID_HIGH_HZ / 1.02
    frequency_hz = np.arange(n // 2 + 1) * 2 * top_hz / n
    value = _evaluate(ratio, _hold(frequency_hz, top_hz))
    phase = minimum_phase_spectrum(np.maximum(np.abs(value), level * MOST_CUT * 1e-3)).imag
    is_compared = (frequency_hz >= EXCESS_LOW_HZ) & (frequency_hz <= EXCESS_HIGH_HZ)
    beside = (value * np.exp(-1j * phase))[is_compared]
    polarity = 1.0 if beside[0].real >= 0 else -1.0
    return polarity, float(np.max(np.abs(np.unwrap(np.angle(polarity * beside)))))


def _findings(
    old: Heard, new: Heard, grid_hz: FloatArray, *, limited_hz: tuple[float, float] | None, excess_rad: float
) -> tuple[Finding, ...]:
    findings = []
    if limited_hz is not None:
        text = (
            f"the change would raise {limited_hz[0]:.0f} … {limited_hz[1]:.0f} Hz by more than "
            f"{20 * np.log10(MOST_BOOST):.0f} dB over {LEVEL_LOW_HZ:.0f} … {LEVEL_HIGH_HZ:.0f} Hz; the filter stops there, and "
            "what noise the recording has there is raised with it. Where you can, record with the tone up instead"
        )
        findings.append(Finding(code="boost-limited", severity="warn", text=text))
    if excess_rad > EXCESS_NOTICED:
        degree = float(np.degrees(excess_rad))
        text = (
            "pickups work against each other: the filter has the circuit's level at every frequency, but its phase is off by up "
            f"to {degree:.0f}° between {EXCESS_LOW_HZ:.0f} Hz and {EXCESS_HIGH_HZ / 1e3:.0f} kHz, as no causal filter has both"
        )
        findings.append(Finding(code="phase-replaced", severity="warn", text=text, figure=degree, unit="°"))
    for heard, word in ((old, "before"), (new, "after")):
        share_db = float(20 * np.log10(_share_in_step(heard, grid_hz)))
        if share_db < PARTLY_CANCELLED_DB:
            text = (
                f"{word} the change {' and '.join(heard.pickups)} nearly cancel at equal voltages ({share_db:.0f} dB); strings "
                "reach them unequally, so neither level nor colour is to be trusted: name one of them by --excite"
            ).replace("-", "\N{MINUS SIGN}", 1)
            findings.append(Finding(code="cancelling", severity="warn", text=text, figure=share_db, unit="dB"))
    if old.pickups != new.pickups:
        text = (
            f"recorded with {' and '.join(old.pickups)}, heard with {' and '.join(new.pickups)}: the filter has what the "
            "circuits do, not that each pickup hears the strings at another place"
        )
        findings.append(Finding(code="other-pickups", severity="warn", text=text))
    return tuple(findings)
