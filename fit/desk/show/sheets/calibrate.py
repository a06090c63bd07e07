"""What calibrate says, in lines and in JSON."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from fit.answers.calibrate.exciter_corner import CornerAnswer
from fit.answers.calibrate.input import InputAnswer
from fit.answers.digits import allowed_digits, spread_texts
from fit.answers.figures import Contribution, Estimate
from fit.desk.show.document import Document
from fit.desk.show.words import MINUS, estimate_texts, plain_text, table_lines
from measure.quantity import format_quantity
from measure.response import FloatArray
from measure.transfer.calibration import Calibration, Curve, curve_at

SHOWN_HZ = (50.0, 1e3, 15e3)  # [Hz]
COVERAGE = 1.96  # [1] half-width of a 95 % interval over its standard uncertainty
FINEST = -3  # [1] power of ten: thousandths of a decibel and of a degree
SHOWN_SOURCES = 4
LEAST_SHARE = 0.01  # [1] of the variance, that is worth a line
FALLEN = 10 ** (-1 / 20)  # [1] 1 dB down: where the card's own response ends


def bounded_text(estimate: Estimate) -> str:
    """Write a value as rig.toml states it: with a bound whose rectangular distribution has the right standard uncertainty.

    Parameters
    ----------
    estimate : Estimate
        In Ω, F or Hz.

    Returns
    -------
    str
        For example ``"1.003M ± 0.8%"``; u = bound / √3 (JCGM 100:2008, 4.3.7).

    Examples
    --------
    >>> bounded_text(Estimate(value=1.0034e6, unit="Ω", standard_uncertainty=4630.0, low=0.994e6, high=1.013e6))
    '1.003M ± 0.8%'
    """
    relative = estimate.standard_uncertainty / estimate.value
    wanted = min(max(1 - math.floor(math.log10(relative)), 3), 9)
    digits = allowed_digits(estimate.value, COVERAGE * estimate.standard_uncertainty, most=wanted)
    value = format_quantity(estimate.value, estimate.unit, digits).removesuffix(estimate.unit).replace(" ", "")
    return f"{value} ± {100 * math.sqrt(3) * relative:.2g}%"


def loopback_lines(calibration: Calibration, *, has_stimulus: bool) -> list[str]:
    """Say what a loopback told.

    Parameters
    ----------
    calibration : Calibration
        Of the card.
    has_stimulus : bool
        What was played is known.

    Returns
    -------
    list of str
        For a terminal.
    """
    pair = f"input {calibration.pickup_channel} (pickup) over input {calibration.reference_channel} (reference)"
    lines = [f"Loopback: {pair}, {calibration.rate_hz} Hz", ""]
    lines.append("The inputs' ratio, which takes are freed of from now on")
    gain, delay = COVERAGE * calibration.gain_std, COVERAGE * calibration.delay_std_s
    channels = calibration.channels
    lines += table_lines([(_hertz(hz), *_level_and_phase(channels, hz, gain=gain, delay_s=delay)) for hz in _shown(channels)])
    degree = 360 * 10e3 * delay
    lines.append(f"  known to ± {_decibel(1 + gain):.2g} dB and ± {degree:.2g}° at 10 kHz (95 %)")
    rows: list[tuple[str, ...]] = []
    if calibration.card is not None:
        low_hz, high_hz = _ends(calibration.card)
        level = _signed(_decibel(float(np.abs(curve_at(calibration.card, np.array([1000.0]))[0]))), "dB")
        rows.append(
            ("output to pickup's input", f"{level} at 1 kHz, within 1 dB of that from {low_hz:.0f} Hz to {_hertz(high_hz)}")
        )
    if calibration.latency_s is not None:
        samples = round(calibration.latency_s * calibration.rate_hz)
        rows.append(("latency", f"{1000 * calibration.latency_s:.1f} ms ({samples} samples)"))
    for channel, floor in zip((calibration.pickup_channel, calibration.reference_channel), calibration.floor_dbfs, strict=True):
        if floor is not None:
            rows.append((f"noise of input {channel}", f"{_signed(floor, 'dBFS', 1)} without hum"))
    lines += ["", "The card", *table_lines(rows)] if rows else []
    lines += ["", "It holds while both inputs' gain controls stay as they are. Calibrate again when one was moved."]
    if not has_stimulus:
        lines.append(
            "With --stimulus FILE, latency and the card's own response would be told too, for takes without a reference."
        )
    return lines


def input_lines(answer: InputAnswer, changes: Mapping[str, object], takes: Sequence[str]) -> list[str]:
    """Say what the pickup's input is.

    Parameters
    ----------
    answer : InputAnswer
        What was found.
    changes : mapping
        Keys of rig.toml to what was written.
    takes : sequence of str
        Their names.

    Returns
    -------
    list of str
        For a terminal.
    """
    rows = [("", "value", "95 % interval", "in rig.toml")]
    for name, key in (("Input resistance", "resistance"), ("Input and cable capacitance", "capacitance")):
        rows.append((name, *estimate_texts(getattr(answer, key)), str(changes[f"input.{key}"])))
    if answer.gain is not None:
        rows.append(("Ratio of the inputs", *estimate_texts(answer.gain), ""))
    lines = [f"Input, from {', '.join(plain_text(take) for take in takes)}", "", *table_lines(rows)]
    for name, key in (("resistance", "resistance"), ("capacitance", "capacitance")):
        lines += [
            "",
            f"What makes the {name} uncertain (95 %, share of the variance)",
            *_budget(answer.budget[key], getattr(answer, key)),
        ]
    return [*lines, "", f"smooth difference of model and takes: {100 * answer.floor:.2g} % (values are good below 0.5 %)"]


def corner_lines(answer: CornerAnswer, changes: Mapping[str, object]) -> list[str]:
    """Say where the exciter's corner is.

    Parameters
    ----------
    answer : CornerAnswer
        What was found.
    changes : mapping
        Keys of rig.toml to what was written.

    Returns
    -------
    list of str
        For a terminal.
    """
    rows = [("", "value", "95 % interval", "in rig.toml")]
    rows.append(("Corner of the exciter", *estimate_texts(answer.corner), str(changes["exciter.corner_hz"])))
    lines = ["Exciter, with all that is in series with it", "", *table_lines(rows), ""]
    lines += ["What makes it uncertain (95 %, share of the variance)", *_budget(answer.budget, answer.corner)]
    note = "It is needed only for takes whose reference is the output (loopback) or none; a recorded current needs no corner."
    return [*lines, "", f"smooth difference of model and take: {100 * answer.floor:.2g} % (values are good below 0.5 %)", note]


def loopback_document(calibration: Calibration) -> Document:
    """Put a loopback as JSON states it.

    Parameters
    ----------
    calibration : Calibration
        Of the card.

    Returns
    -------
    dict
        A coilsweep.calibrate/1 document without file, checks and warnings.
    """
    curve = calibration.channels
    return {
        "schema": "coilsweep.calibrate/1",
        "kind": "loopback",
        "simulated": calibration.simulated,
        "rate_hz": calibration.rate_hz,
        "device": calibration.device,
        "channels": [calibration.pickup_channel, calibration.reference_channel],
        "frequency_hz": curve.frequency_hz.tolist(),
        "ratio_db": (20 * np.log10(np.abs(curve.value))).tolist(),
        "ratio_degree": np.degrees(np.unwrap(np.angle(curve.value))).tolist(),
        "gain_standard_uncertainty": calibration.gain_std,
        "delay_standard_uncertainty_s": calibration.delay_std_s,
        "latency_s": calibration.latency_s,
        "floor_dbfs": list(calibration.floor_dbfs),
    }


def _budget(budget: Sequence[Contribution], estimate: Estimate) -> list[str]:
    total = sum(one.contribution**2 for one in budget)
    rows = []
    for one in sorted(budget, key=lambda each: -abs(each.contribution))[:SHOWN_SOURCES]:
        share = one.contribution**2 / total if total > 0 else 0.0
        if share >= LEAST_SHARE:
            half = 100 * COVERAGE * abs(one.contribution) / estimate.value
            rows.append((plain_text(one.source), f"± {half:.2g} %", f"{100 * share:.0f} %"))
    return table_lines(rows)


def _shown(curve: Curve) -> list[float]:
    return [hz for hz in SHOWN_HZ if curve.frequency_hz[0] <= hz <= curve.frequency_hz[-1]]


def _level_and_phase(curve: Curve, at_hz: float, *, gain: float, delay_s: float) -> tuple[str, str]:
    """Level and phase with no more digits than what is left open of gain and delay (95 %) allows."""
    value = complex(curve_at(curve, np.array([at_hz]))[0])
    level, _ = spread_texts(_decibel(abs(value)), _decibel(1 + gain), finest=FINEST)
    phase, _ = spread_texts(math.degrees(math.atan2(value.imag, value.real)), 360 * at_hz * delay_s, finest=FINEST)
    return f"{_with_sign(level)} dB", f"{_with_sign(phase)}°"


def _ends(curve: Curve) -> tuple[float, float]:
    """Where a card's response is 1 dB below that at 1 kHz, or the curve ends."""
    level: FloatArray = np.abs(curve.value) / np.abs(curve_at(curve, np.array([1000.0])))
    good = np.flatnonzero(level > FALLEN)
    return float(curve.frequency_hz[good[0]]), float(curve.frequency_hz[good[-1]])


def _decibel(ratio: float) -> float:
    return 20 * math.log10(ratio)


def _signed(value: float, unit: str, places: int = 3) -> str:
    return f"{value:+.{places}f} {unit}".replace("-", MINUS)


def _with_sign(number: str) -> str:
    return number if number.startswith(MINUS) else f"+{number}"


def _hertz(value_hz: float) -> str:
    return format_quantity(value_hz, "Hz", 3)
