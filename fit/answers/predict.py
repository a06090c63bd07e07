"""What an instrument does to the signal at some settings: gain, phase and delay of each pickup, and the figures people ask for.

Volts at the jack's tip per volt of a pickup's EMF, cable and input connected. Known part values are enough; where they carry
bounds, what follows carries the uncertainty that comes from them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fit.answers.pickup import Estimate
from fit.answers.quantities import COVERAGE
from fit.answers.spot import Spot, find_corner, find_peak, relative_slopes
from fit.answers.tone import ToneSweep, tone_sweep
from fit.circuit.controls import Settings, read_settings, split_settings
from fit.circuit.harness import Case, build_harness, needed_values
from fit.circuit.instrument import Instrument, stated_values
from fit.circuit.transfers import Transfer, solve_harness
from measure.quantity import Quantity, parse_quantity
from measure.response import ComplexArray, FloatArray

LOWEST_HZ, HIGHEST_HZ = 20.0, 20e3  # [Hz]
POINTS_PER_OCTAVE = 24
DB_PER_NEPER = 20 / np.log(10)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """Everything that an answer rests on.

    Attributes
    ----------
    instrument : Instrument
        As read.
    values : dict
        Name to value in SI units.
    relative_std : dict
        Name to relative standard uncertainty, of the values that were measured and carry a bound. [1]
    """

    instrument: Instrument
    values: dict[str, float]
    relative_std: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PickupCurve:
    """One pickup's way to the output, at n frequencies.

    Attributes
    ----------
    gain : ndarray of complex, shape (n,)
        0 where the pickup is not connected. [V/V]
    gain_db_std, phase_std : ndarray, shape (n,)
        Standard uncertainty from the bounds of the parts. [dB], [rad]
    group_delay_s : ndarray, shape (n,)
        −dφ/dω. [s]
    is_connected : bool
        Anything of it reaches the output.
    peak_frequency, peak_level : Estimate or None
        Highest maximum; None where there is none. [Hz], [dB]
    corner : Estimate or None
        Where the level first falls 3 dB below that at 20 Hz; None where it does not below 20 kHz. [Hz]
    levels : dict
        Chosen frequency to level. [dB]
    """

    gain: ComplexArray
    gain_db_std: FloatArray
    phase_std: FloatArray
    group_delay_s: FloatArray
    is_connected: bool
    peak_frequency: Estimate | None
    peak_level: Estimate | None
    corner: Estimate | None
    levels: dict[float, Estimate]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PredictAnswer:
    """Curves and figures of an instrument at some settings.

    Attributes
    ----------
    settings : Settings
        Of every control.
    frequency_hz : ndarray, shape (n,)
        Of the curves. [Hz]
    pickups : dict
        Pickup to its curve.
    tone_sweeps : tuple of ToneSweep
        One for each tone control that can be felt.
    marked : tuple of str
        Values that are only marked, so that nothing is known of their error.
    unbounded : tuple of str
        Values without a bound that are taken as exact.
    """

    settings: Settings
    frequency_hz: FloatArray
    pickups: dict[str, PickupCurve]
    tone_sweeps: tuple[ToneSweep, ...]
    marked: tuple[str, ...]
    unbounded: tuple[str, ...]


def read_changes(instrument: Instrument, texts: Iterable[str]) -> dict[str, Quantity]:
    """Read PART=VALUE.

    Parameters
    ----------
    instrument : Instrument
        As read.
    texts : iterable of str
        For example ``"capacitor.tone=10n ± 5%"`` or ``"bridge.inductance=2.9"``.

    Returns
    -------
    dict
        Name of the value to the new one.

    Raises
    ------
    ValueError
        If there is no such part, or the value is none; one line.
    """
    stated = stated_values(instrument)
    out = {}
    for part, text in split_settings(texts).items():
        key = part.removeprefix("pickup.")
        if key not in stated:
            msg = f'there is no part "{part[:60]}", the instrument has: {", ".join(stated)}'
            raise ValueError(msg)
        try:
            out[key] = parse_quantity(text, stated[key].unit)
        except ValueError as err:
            msg = f"{key}: {err}"
            raise ValueError(msg) from None
    return out


def predict_instrument(
    instrument: Instrument,
    controls: Mapping[str, str],
    *,
    load: Mapping[str, Quantity],
    changes: Mapping[str, Quantity] | None = None,
    excite: str = "",
    at_hz: Iterable[float] = (),
) -> PredictAnswer:
    """Predict curves and figures.

    Parameters
    ----------
    instrument : Instrument
        As read.
    controls : mapping
        Control to setting, as for `read_settings`.
    load : mapping
        ``"input.resistance"`` and ``"input.capacitance"``, cable included.
    changes : mapping or None
        Name of a value to what it is changed to.
    excite : str
        Pickup; empty for all.
    at_hz : iterable of float
        Frequencies at which the level is asked for. [Hz]

    Returns
    -------
    PredictAnswer
        For the pickups asked for.

    Raises
    ------
    ValueError
        If there is no such pickup or setting, or a value is missing; one line that names it.
    """
    if excite and excite not in instrument.pickup:
        msg = f'there is no pickup "{excite[:60]}", the instrument has: {", ".join(instrument.pickup)}'
        raise ValueError(msg)
    settings = read_settings(instrument, controls)
    known = _known(instrument, load, changes or {})
    needed = _require_values(instrument, settings, set(known))
    stated = stated_values(instrument)
    bench = Bench(
        instrument=instrument,
        values={key: quantity.value for key, quantity in known.items()},
        relative_std={
            key: quantity.standard_uncertainty / quantity.value
            for key, quantity in known.items()
            if quantity.standard_uncertainty is not None and not _is_marked(key, stated, changes or {})
        },
    )
    octaves = np.log2(HIGHEST_HZ / LOWEST_HZ)
    frequency_hz = LOWEST_HZ * 2 ** np.linspace(0, octaves, int(np.ceil(octaves * POINTS_PER_OCTAVE)) + 1)
    transfer = _solve(bench, settings, frequency_hz)
    pickups = {
        name: _curve(bench, settings, row, transfer=transfer, frequency_hz=frequency_hz, at_hz=tuple(at_hz))
        for row, name in enumerate(instrument.pickup)
        if excite in ("", name)
    }
    marked = tuple(key for key in sorted(needed) if _is_marked(key, stated, changes or {}))
    heard = [name for name, curve in pickups.items() if curve.is_connected]
    return PredictAnswer(
        settings=settings,
        frequency_hz=frequency_hz,
        pickups=pickups,
        tone_sweeps=tone_sweep(instrument, controls, bench.values, pickup=heard[0], frequency_hz=frequency_hz) if heard else (),
        marked=marked,
        unbounded=tuple(key for key in sorted(needed) if key not in bench.relative_std and key not in marked),
    )


def _known(instrument: Instrument, load: Mapping[str, Quantity], changes: Mapping[str, Quantity]) -> dict[str, Quantity]:
    stated = {key: one.quantity for key, one in stated_values(instrument).items() if one.quantity is not None}
    return stated | dict(load) | dict(changes)


def _is_marked(key: str, stated: Mapping[str, object], changes: Mapping[str, Quantity]) -> bool:
    return key not in changes and key in stated and bool(getattr(stated[key], "is_marked", False))


# The tone controls are swept, so what they bring in must be known too.
def _require_values(instrument: Instrument, settings: Settings, known: set[str]) -> set[str]:
    harness = build_harness(instrument, [Case(settings=settings, frequency_hz=np.array([1e3]))])
    needed = {key for group in harness.groups for key in needed_values(instrument, group)}
    absent = sorted(needed - known)
    if absent:
        msg = f"no value is known of {', '.join(absent)}: state it in instrument.toml, or with --change"
        raise ValueError(msg)
    return needed


def _solve(bench: Bench, settings: Settings, frequency_hz: FloatArray) -> Transfer:
    harness = build_harness(bench.instrument, [Case(settings=settings, frequency_hz=frequency_hz)])
    return solve_harness(harness, values=bench.values)[0]


def _curve(
    bench: Bench,
    settings: Settings,
    row: int,
    *,
    transfer: Transfer,
    frequency_hz: FloatArray,
    at_hz: tuple[float, ...],
) -> PickupCurve:
    gain = transfer.voltage[row]
    if not gain.any():
        zero = np.zeros(len(gain))
        return PickupCurve(
            gain=gain,
            gain_db_std=zero,
            phase_std=zero,
            group_delay_s=zero,
            is_connected=False,
            peak_frequency=None,
            peak_level=None,
            corner=None,
            levels={},
        )
    slopes = relative_slopes(transfer, row)
    peak = find_peak(lambda f: _solve(bench, settings, f), frequency_hz, row)
    corner = find_corner(lambda f: _solve(bench, settings, f), frequency_hz, row)
    levels = {}
    if at_hz:
        spots = _solve(bench, settings, np.array(at_hz))
        spot_slopes = relative_slopes(spots, row)
        for index, one_hz in enumerate(at_hz):
            spread = {key: float(slope.real[index]) for key, slope in spot_slopes.items()}
            levels[one_hz] = _level(float(np.log(np.abs(spots.voltage[row, index]))), _std(bench, spread))
    return PickupCurve(
        gain=gain,
        gain_db_std=DB_PER_NEPER * _spread(bench, {key: slope.real for key, slope in slopes.items()}, len(gain)),
        phase_std=_spread(bench, {key: slope.imag for key, slope in slopes.items()}, len(gain)),
        group_delay_s=-(transfer.by_log_frequency[row] / gain).imag / (2 * np.pi * frequency_hz),
        is_connected=True,
        peak_frequency=None if peak is None else _frequency(bench, peak),
        peak_level=None if peak is None else _level(peak.log_gain, _std(bench, peak.gain_slopes)),
        corner=None if corner is None else _frequency(bench, corner),
        levels=levels,
    )


def _spread(bench: Bench, slopes: Mapping[str, FloatArray], n: int) -> FloatArray:
    total: FloatArray = np.zeros(n)
    for key, slope in slopes.items():
        total = total + (slope * bench.relative_std.get(key, 0.0)) ** 2
    return np.sqrt(total)


def _std(bench: Bench, slopes: Mapping[str, float]) -> float:
    return float(np.sqrt(sum((slope * bench.relative_std.get(key, 0.0)) ** 2 for key, slope in slopes.items())))


def _frequency(bench: Bench, spot: Spot) -> Estimate:
    relative = _std(bench, spot.frequency_slopes)
    return Estimate(
        value=spot.frequency_hz,
        unit="Hz",
        standard_uncertainty=spot.frequency_hz * relative,
        low=spot.frequency_hz * float(np.exp(-COVERAGE * relative)),
        high=spot.frequency_hz * float(np.exp(COVERAGE * relative)),
    )


def _level(log_gain: float, std: float) -> Estimate:
    level_db, std_db = float(DB_PER_NEPER * log_gain), float(DB_PER_NEPER * std)
    low, high = level_db - COVERAGE * std_db, level_db + COVERAGE * std_db
    return Estimate(value=level_db, unit="dB", standard_uncertainty=std_db, low=low, high=high)
