"""The sweep of a tone control in ten steps, beside the textbook corner 1/(2πRC) of its pot and capacitor alone.

The textbook corner is right for a resistor that feeds a capacitor from a source without impedance of its own. In an instrument
the pickup is the source and the pot stands in series with the capacitor, so the treble falls at quite another place.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fit.answers.parts.known import Known, std_of
from fit.answers.predict.landmarks import find_corner, find_peak
from fit.circuit.controls import Settings, read_settings
from fit.circuit.harness import Case, build_harness, needed_values
from fit.circuit.instrument import Instrument, lugs_of
from fit.circuit.realparts import LEAST_STOP_OHM, segment_ohm, stops_among
from fit.circuit.soundness import part_ends
from fit.circuit.transfers import Transfer, solve_instrument
from fit.circuit.wiring import passives_of
from measure.response import FloatArray

LEAST_GAIN = 1e-12  # [V/V] stands for nothing
ROTATIONS = tuple(range(10, -1, -1))  # ten steps


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ToneStep:
    """A tone control at one rotation.

    Attributes
    ----------
    resistance_ohm : float
        Of the pot in series with the capacitor, what is left at its stop included where that is known. [Ω]
    corner_hz, peak_hz, peak_db : float or None
        In this circuit: where the level is 3 dB below that at 20 Hz, and the highest maximum; None where there is none.
        [Hz], [Hz], [dB]
    corner_relative_std, peak_relative_std : float
        Standard uncertainty of the two frequencies over them; 0 where nothing is known of it. [1]
    textbook_hz : float or None
        1/(2πRC) of pot and capacitor alone; None at 0 Ω. [Hz]
    level_db : ndarray, shape (n,)
        Of the jack over the winding, at the frequencies of the prediction. [dB]
    """

    rotation: int
    resistance_ohm: float
    corner_hz: float | None
    peak_hz: float | None
    peak_db: float | None
    textbook_hz: float | None
    level_db: FloatArray
    corner_relative_std: float = 0.0
    peak_relative_std: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ToneSweep:
    """A tone control turned down in ten steps.

    Attributes
    ----------
    pot, capacitor, pickup : str
        Names of the parts, and of the pickup that is heard.
    steps : tuple of ToneStep
        From 10 to 0.
    """

    pot: str
    capacitor: str
    pickup: str
    steps: tuple[ToneStep, ...]


def find_tone_controls(instrument: Instrument) -> dict[str, str]:
    """Find the pots that work as tone controls: wiper and one more lug, in series with a capacitor.

    Returns
    -------
    dict
        Pot to capacitor; where several capacitors touch it, the one at the node with the fewest other parts.
    """
    touching = [node for nodes in part_ends(instrument).values() for node in nodes]
    out = {}
    for name, pot in instrument.pot.items():
        lugs = lugs_of(pot)
        if len(lugs) != 2 or "wiper" not in lugs:
            continue
        near = [
            (touching.count(node), capacitor)
            for node in lugs.values()
            for capacitor, part in instrument.capacitor.items()
            if node in part.between
        ]
        if near:
            out[name] = min(near)[1]
    return out


def tone_sweep(
    instrument: Instrument,
    controls: Mapping[str, str],
    known: Known,
    *,
    pickup: str,
    frequency_hz: FloatArray,
) -> tuple[ToneSweep, ...]:
    """Turn down each tone control that the output can feel, the other controls as they are.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Fine enough to show every maximum. [Hz]

    Returns
    -------
    tuple of ToneSweep
        Empty where there is none, or a value that it needs is not known.
    """
    out = []
    for pot, capacitor in find_tone_controls(instrument).items():
        settings = [read_settings(instrument, {**controls, pot: str(rotation)}) for rotation in ROTATIONS]
        cases = [Case(settings=one, frequency_hz=frequency_hz) for one in settings]
        harness = build_harness(instrument, cases, has_stops=stops_among(known.basis))
        needed = {key for group in harness.groups for key in needed_values(instrument, group)}
        if not {f"pot.{pot}", f"capacitor.{capacitor}"} <= needed or not needed <= set(known.basis):
            continue
        steps = tuple(
            _step(instrument, pot, capacitor, one, known, row=list(instrument.pickup).index(pickup), frequency_hz=frequency_hz)
            for one in settings
        )
        out.append(ToneSweep(pot=pot, capacitor=capacitor, pickup=pickup, steps=steps))
    return tuple(out)


def _step(
    instrument: Instrument,
    pot: str,
    capacitor: str,
    settings: Settings,
    known: Known,
    *,
    row: int,
    frequency_hz: FloatArray,
) -> ToneStep:
    values = known.values

    def solve(f: FloatArray) -> Transfer:
        return solve_instrument(instrument, [Case(settings=settings, frequency_hz=f)], values=values)[0]

    peak, corner = find_peak(solve, frequency_hz, row), find_corner(solve, frequency_hz, row)
    resistance_ohm = series_ohm(instrument, pot, settings, values)
    return ToneStep(
        rotation=int(float(settings.pots[pot].label)),
        resistance_ohm=resistance_ohm,
        corner_hz=None if corner is None else corner.frequency_hz,
        peak_hz=None if peak is None else peak.frequency_hz,
        peak_db=None if peak is None else float(20 * np.log10(np.e) * peak.log_gain),
        level_db=20 * np.log10(np.maximum(np.abs(solve(frequency_hz).voltage[row]), LEAST_GAIN)),
        textbook_hz=textbook_corner_hz(resistance_ohm, values[f"capacitor.{capacitor}"]),
        corner_relative_std=0.0 if corner is None else std_of(known, corner.frequency_slopes),
        peak_relative_std=0.0 if peak is None else std_of(known, peak.frequency_slopes),
    )


def series_ohm(instrument: Instrument, pot: str, settings: Settings, values: Mapping[str, float]) -> float:
    """Resistance that a tone control's pot puts in series with its capacitor, what is left at its stop included, in ohms."""
    fraction = values.get(f"pot.{pot}@{settings.pots[pot].label}", settings.pots[pot].fraction)
    segments = [part for part in passives_of(instrument, settings, has_stops=stops_among(values)) if part.key == f"pot.{pot}"]
    left_ohm = sum((segment_ohm(part, values, fraction=fraction) for part in segments), 0.0)
    return left_ohm if abs(left_ohm) > LEAST_STOP_OHM else 0.0


def textbook_corner_hz(resistance_ohm: float, capacitance_f: float) -> float | None:
    """1/(2πRC) of a pot and its capacitor alone; None at 0 Ω."""
    product_s = resistance_ohm * capacitance_f
    return 1 / (2 * np.pi * product_s) if product_s > 0 else None


def textbook_corners(instrument: Instrument, settings: Settings, values: Mapping[str, float]) -> dict[str, float]:
    """List 1/(2πRC) of each tone control as it stands, where its pot and capacitor are known and not at 0 Ω."""
    out: dict[str, float] = {}
    for pot, capacitor in find_tone_controls(instrument).items():
        if f"pot.{pot}" in values and f"capacitor.{capacitor}" in values:
            ohm = series_ohm(instrument, pot, settings, values)
            corner_hz = textbook_corner_hz(ohm, values[f"capacitor.{capacitor}"])
            out |= {pot: corner_hz} if corner_hz is not None else {}
    return out
