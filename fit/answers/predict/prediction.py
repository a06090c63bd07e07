"""What an instrument does to the signal at some settings: gain, phase and delay of each pickup, and the figures people ask for.

Volts at the jack's tip per volt of a pickup's EMF, cable and input connected. Known part values are enough; where they carry
bounds, or come from a fit with their covariance, what follows carries the uncertainty that comes from them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fit.answers.figures import COVERAGE, Estimate
from fit.answers.parts.fitted import MeasuredParts
from fit.answers.parts.known import Basis, Known, gather_known, spread_of, std_of
from fit.answers.predict.carry_over import adopt_losses, check_changes
from fit.answers.predict.landmarks import Spot, find_corner, find_peak, relative_slopes
from fit.answers.predict.tone import ToneSweep, tone_sweep
from fit.circuit.controls import Settings, read_settings, split_settings
from fit.circuit.harness import Case, Harness, at_frequencies, build_harness, needed_values
from fit.circuit.instrument import Instrument, Unit, stated_values
from fit.circuit.realparts import is_beside, stops_among
from fit.circuit.transfers import Transfer, solve_harness
from measure.kinds import kind_of
from measure.marking import read_value
from measure.quantity import Quantity, parse_quantity
from measure.response import ComplexArray, FloatArray

LOWEST_HZ, HIGHEST_HZ = 20.0, 20e3  # [Hz]
POINTS_PER_OCTAVE = 24
DELAY_STEP = 1e-3  # [ln Hz] the error is of its square
DB_PER_NEPER = 20 / np.log(10)
LOAD_UNITS: dict[str, Unit] = {"input.resistance": "Ω", "input.capacitance": "F"}  # of the rig: another cable may be tried


class MissingValuesError(ValueError):
    """Values are missing that a prediction rests on; `names` tells which."""

    def __init__(self, names: list[str]) -> None:
        """Say which, and what helps."""
        self.names = tuple(names)
        cure = "state it in instrument.toml, fit takes that tell it, or use --change"
        super().__init__(f"no value is known of {', '.join(names)}: {cure}")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bench:
    """Everything that an answer rests on.

    Attributes
    ----------
    instrument : Instrument
        With the losses that were measured, where any were.
    harness : Harness
        At these settings; for any frequencies.
    values : dict
        Those of `known`.
    """

    instrument: Instrument
    settings: Settings
    known: Known
    harness: Harness
    values: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PickupCurve:
    """One pickup's way to the output, at n frequencies.

    Attributes
    ----------
    gain : ndarray of complex, shape (n,)
        0 where the pickup is not connected. [V/V]
    gain_db_std, phase_std : ndarray, shape (n,)
        Standard uncertainty from that of the parts. [dB], [rad]
    group_delay_s, group_delay_std_s : ndarray, shape (n,)
        −dφ/dω, and its standard uncertainty. [s], [s]
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
    group_delay_std_s: FloatArray
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
        Of every control; a pot's fraction as it was measured, where it was.
    frequency_hz : ndarray, shape (n,)
        Of the curves. [Hz]
    tone_sweeps : tuple of ToneSweep
        One for each tone control that can be felt.
    marked : tuple of str
        Values that are only marked, so that nothing is known of their error.
    unbounded : tuple of str
        Values without a bound that are taken as exact.
    basis : dict
        Name of each value that the curves rest on to the value and where it comes from; a pot's electrical fraction
        (``"pot.volume@7"``) that is not measured comes from its taper.
    measured : MeasuredParts or None
        The fit that measured values come from; None where the curves rest on none.
    with_tolerance : bool
        The tolerances of marked values, and what is usual of tapers, count in the uncertainties.
    """

    settings: Settings
    frequency_hz: FloatArray
    pickups: dict[str, PickupCurve]
    tone_sweeps: tuple[ToneSweep, ...]
    marked: tuple[str, ...]
    unbounded: tuple[str, ...]
    basis: dict[str, Basis]
    measured: MeasuredParts | None
    with_tolerance: bool


def read_changes(instrument: Instrument, texts: Iterable[str]) -> dict[str, Quantity]:
    """Read PART=VALUE.

    Parameters
    ----------
    texts : iterable of str
        For example ``"capacitor.tone=10n ± 5%"``, ``"bridge.inductance=2.9"`` or, of the rig, ``"input.capacitance=600p"``.

    Returns
    -------
    dict
        Name of the value to the new one.

    Raises
    ------
    ValueError
        If there is no such part, or the value is none; one line.
    """
    units = {key: one.unit for key, one in stated_values(instrument).items()} | LOAD_UNITS
    out = {}
    for part, text in split_settings(texts, "PART=VALUE, expected for example capacitor.tone=10n").items():
        key = part.removeprefix("pickup.")
        if key not in units:
            msg = f'there is no part "{part[:60]}", the instrument has: {", ".join(units)}'
            raise ValueError(msg)
        try:
            kind = kind_of(key)
            out[key] = parse_quantity(text, units[key]) if kind is None else read_value(text, kind)
        except ValueError as err:
            msg = f"{key}: {err}"
            raise ValueError(msg) from None
    check_changes(instrument, {key: quantity.value for key, quantity in out.items()})
    return out


def predict_instrument(
    instrument: Instrument,
    controls: Mapping[str, str],
    *,
    load: Mapping[str, Quantity],
    changes: Mapping[str, Quantity] | None = None,
    measured: MeasuredParts | None = None,
    with_tolerance: bool = False,
    excite: str = "",
    at_hz: Iterable[float] = (),
    is_gain_alone: bool = False,
) -> PredictAnswer:
    """Predict curves and figures.

    Parameters
    ----------
    controls : mapping
        Control to setting, as for `read_settings`.
    load : mapping
        ``"input.resistance"`` and ``"input.capacitance"``, cable included.
    changes : mapping or None
        Name of a value to what it is changed to.
    measured : MeasuredParts or None
        From a fit of this instrument; they stand in for what is stated and marked, but not for changes.
    with_tolerance : bool
        Count the tolerance printed on a part that is only marked as its bound, and for pots that are set by rotation how far
        audio tapers differ.
    excite : str
        Pickup; empty for all.
    at_hz : iterable of float
        Frequencies at which the level is asked for. [Hz]
    is_gain_alone : bool
        Quicker: without the uncertainty of the group delay, which is NaN then, and without the tone controls over their travel.

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
    built = instrument if measured is None else adopt_losses(instrument, measured)
    known = gather_known(
        built, load=load, changes=changes or {}, measured=measured, with_tolerance=with_tolerance, settings=settings
    )
    case = Case(settings=settings, frequency_hz=np.array([1e3]))
    harness = build_harness(built, [case], has_stops=stops_among(known.basis))
    needed = _require_values(harness, set(known.basis))
    bench = Bench(instrument=built, settings=settings, known=known, harness=harness, values=known.values)
    octaves = np.log2(HIGHEST_HZ / LOWEST_HZ)
    frequency_hz = LOWEST_HZ * 2 ** np.linspace(0, octaves, int(np.ceil(octaves * POINTS_PER_OCTAVE)) + 1)
    transfer = _solve(bench, frequency_hz)
    pickups = {
        name: _curve(
            bench, row, transfer=transfer, frequency_hz=frequency_hz, at_hz=tuple(at_hz), has_delay_std=not is_gain_alone
        )
        for row, name in enumerate(instrument.pickup)
        if excite in ("", name)
    }
    heard = [name for name, curve in pickups.items() if curve.is_connected and not is_gain_alone]
    basis = _basis(bench, needed, set(transfer.by_log))
    rests_on_fit = any(one.origin == "measured" for one in basis.values())
    return PredictAnswer(
        settings=_as_measured(settings, basis),
        frequency_hz=frequency_hz,
        pickups=pickups,
        tone_sweeps=tone_sweep(built, controls, known, pickup=heard[0], frequency_hz=frequency_hz) if heard else (),
        marked=tuple(key for key, one in basis.items() if one.origin == "marked"),
        unbounded=tuple(key for key, one in basis.items() if one.is_exact and one.origin in ("stated", "changed")),
        basis=basis,
        measured=measured if rests_on_fit else None,
        with_tolerance=with_tolerance,
    )


# Of the pots that stand between their ends the electrical fractions too; what follows by a taper is said to.
def _basis(bench: Bench, needed: set[str], felt: set[str]) -> dict[str, Basis]:
    known = bench.known.basis
    out = {key: known[key] for key in sorted(needed | {key for key in felt if is_beside(key)})}
    for name, setting in bench.settings.pots.items():
        key = f"pot.{name}@{setting.label}"
        if key in felt and (key in known or not setting.label.endswith("%")):
            out[key] = known.get(key) or Basis(value=setting.fraction, unit="", origin="taper", relative_std=None)
    return out


def _as_measured(settings: Settings, basis: Mapping[str, Basis]) -> Settings:
    pots = {}
    for name, setting in settings.pots.items():
        one = basis.get(f"pot.{name}@{setting.label}")
        pots[name] = setting if one is None else replace(setting, fraction=one.value)
    return replace(settings, pots=pots)


# The tone controls are swept, so what they bring in must be known too.
def _require_values(harness: Harness, known: set[str]) -> set[str]:
    needed = {key for group in harness.groups for key in needed_values(harness.instrument, group)}
    absent = sorted(needed - known)
    if absent:
        raise MissingValuesError(absent)
    return needed


def _solve(bench: Bench, frequency_hz: FloatArray) -> Transfer:
    return solve_harness(at_frequencies(bench.harness, frequency_hz), values=bench.values)[0]


def _curve(
    bench: Bench,
    row: int,
    *,
    transfer: Transfer,
    frequency_hz: FloatArray,
    at_hz: tuple[float, ...],
    has_delay_std: bool,
) -> PickupCurve:
    gain = transfer.voltage[row]
    if not gain.any():
        zero = np.zeros(len(gain))
        return PickupCurve(
            gain=gain,
            gain_db_std=zero,
            phase_std=zero,
            group_delay_s=zero,
            group_delay_std_s=zero,
            is_connected=False,
            peak_frequency=None,
            peak_level=None,
            corner=None,
            levels={},
        )

    def solve(f: FloatArray) -> Transfer:
        return transfer if f is frequency_hz else _solve(bench, f)

    slopes = relative_slopes(transfer, row)
    peak, corner = find_peak(solve, frequency_hz, row), find_corner(solve, frequency_hz, row)
    levels = {}
    if at_hz:
        spots = _solve(bench, np.array(at_hz))
        spread = spread_of(bench.known, {key: slope.real for key, slope in relative_slopes(spots, row).items()})
        for index, one_hz in enumerate(at_hz):
            levels[one_hz] = _level(float(np.log(np.abs(spots.voltage[row, index]))), float(spread[index]))
    return PickupCurve(
        gain=gain,
        gain_db_std=DB_PER_NEPER * spread_of(bench.known, {key: slope.real for key, slope in slopes.items()}),
        phase_std=spread_of(bench.known, {key: slope.imag for key, slope in slopes.items()}),
        group_delay_s=-(transfer.by_log_frequency[row] / gain).imag / (2 * np.pi * frequency_hz),
        group_delay_std_s=_delay_spread(bench, row, frequency_hz) if has_delay_std else np.full(len(gain), np.nan),
        is_connected=True,
        peak_frequency=None if peak is None else _frequency(bench, peak),
        peak_level=None if peak is None else _level(peak.log_gain, std_of(bench.known, peak.gain_slopes)),
        corner=None if corner is None else _frequency(bench, corner),
        levels=levels,
    )


# −dφ/dω = −(dφ/d ln ω)/ω, and so with its slopes: exact ones of the phase, their difference over a small step along frequency.
def _delay_spread(bench: Bench, row: int, frequency_hz: FloatArray) -> FloatArray:
    below, above = (relative_slopes(_solve(bench, frequency_hz * np.exp(step)), row) for step in (-DELAY_STEP, DELAY_STEP))
    slopes = {key: (above[key] - below[key]).imag / (2 * DELAY_STEP) for key in below}
    return spread_of(bench.known, slopes) / (2 * np.pi * frequency_hz)


def _frequency(bench: Bench, spot: Spot) -> Estimate:
    relative = std_of(bench.known, spot.frequency_slopes)
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
