"""What calibrate says, for people and in JSON."""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from fit.answers.calibrate.exciter_corner import CornerAnswer
from fit.answers.calibrate.input import InputAnswer
from fit.answers.digits import allowed_digits, spread_texts
from fit.answers.figures import Contribution, Estimate
from fit.desk.show.document.bench import LoopbackDocument
from fit.desk.show.sheet import Block, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.inspect import check_rows
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.words import MINUS
from measure.quantity import format_quantity
from measure.response import Finding, FloatArray
from measure.transfer.calibration import Calibration, Curve, curve_at

SHOWN_HZ = (50.0, 1e3, 15e3)  # [Hz]
COVERAGE = 1.96  # [1] half-width of a 95 % interval over its standard uncertainty
FINEST = -3  # [1] power of ten: thousandths of a decibel and of a degree
CALIBRATED = "Calibrated: written into rig.toml."
SHOWN_SOURCES = 4
LEAST_SHARE = 0.01  # [1] of the variance, that is worth a line
FALLEN = 10 ** (-1 / 20)  # [1] 1 dB down: where the card's own response ends


def bounded_text(estimate: Estimate) -> str:
    """Write a value as rig.toml states it: with a bound whose rectangular distribution has the right standard uncertainty.

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


def sheet_of_loopback(calibration: Calibration, *, has_stimulus: bool, warnings: Sequence[str] = ()) -> Sheet:
    """Lay out what a loopback told.

    Parameters
    ----------
    has_stimulus : bool
        What was played is known.
    warnings : sequence of str
        What was noticed on the way.

    Returns
    -------
    Sheet
        The inputs' ratio, the card, and how long it holds.
    """
    pair = f"input {calibration.pickup_channel} (pickup) over input {calibration.reference_channel} (reference)"
    gain, delay = COVERAGE * calibration.gain_std, COVERAGE * calibration.delay_std_s
    channels = calibration.channels
    ratio = tuple((_hertz(hz), *_level_and_phase(channels, hz, gain=gain, delay_s=delay)) for hz in _shown(channels))
    known = f"known to ± {_decibel(1 + gain):.2g} dB and ± {360 * 10e3 * delay:.2g}° at 10 kHz (95 %)"
    blocks: list[Block] = [Verdict(CALIBRATED, "good"), Text((f"Loopback: {pair}, {calibration.rate_hz} Hz",))]
    blocks += simulated_notice(is_simulated=calibration.simulated)
    heading = "The inputs' ratio, which takes are freed of from now on"
    blocks.append(Section((Table(ratio, has_head=False), Text((known,), is_note=True)), heading=heading))
    rows = _card_rows(calibration)
    blocks += [Section((Table(rows, has_head=False),), heading="The card")] if rows else []
    holds = [Text(("It holds while both inputs' gain controls stay as they are. Calibrate again when one was moved.",))]
    if not has_stimulus:
        more = "With --stimulus FILE, latency and the card's own response would be told too, for takes without a reference."
        holds.append(Text((more,)))
    blocks += [Section(tuple(holds)), *warnings_section(warnings)]
    return Sheet(title=titled("Loopback", is_simulated=calibration.simulated), blocks=tuple(blocks))


def _card_rows(calibration: Calibration) -> tuple[Row, ...]:
    rows: list[Row] = []
    if calibration.card is not None:
        low_hz, high_hz = _ends(calibration.card)
        level = _signed(_decibel(float(np.abs(curve_at(calibration.card, np.array([1000.0]))[0]))), "dB")
        flat = f"{level} at 1 kHz, within 1 dB of that from {low_hz:.0f} Hz to {_hertz(high_hz)}"
        rows.append(("output to pickup's input", flat))
    if calibration.latency_s is not None:
        samples = round(calibration.latency_s * calibration.rate_hz)
        rows.append(("latency", f"{1000 * calibration.latency_s:.1f} ms ({samples} samples)"))
    for channel, floor in zip((calibration.pickup_channel, calibration.reference_channel), calibration.floor_dbfs, strict=True):
        if floor is not None:
            rows.append((f"noise of input {channel}", f"{_signed(floor, 'dBFS', 1)} without hum"))
    return tuple(rows)


def sheet_of_input(
    answer: InputAnswer, changes: Mapping[str, object], *, takes: Sequence[str], warnings: Sequence[str] = ()
) -> Sheet:
    """Lay out what the pickup's input is.

    Parameters
    ----------
    changes : mapping
        Keys of rig.toml to what was written.
    takes, warnings : sequence of str
        Their names; what was noticed on the way.

    Returns
    -------
    Sheet
        Resistance and capacitance, and what makes them uncertain.
    """
    rows: list[Row] = [("", "value", "95 % interval", "in rig.toml")]
    for name, key in (("Input resistance", "resistance"), ("Input and cable capacitance", "capacitance")):
        rows.append((name, getattr(answer, key), str(changes[f"input.{key}"])))
    if answer.gain is not None:
        rows.append(("Ratio of the inputs", answer.gain, ""))
    blocks: list[Block] = [
        Verdict(CALIBRATED, "good"),
        Text((f"Input, from {', '.join(takes)}",)),
        *simulated_notice(is_simulated=answer.simulated),
    ]
    blocks.append(Section((Table(tuple(rows)),), label="Values"))
    for name in ("resistance", "capacitance"):
        heading = f"What makes the {name} uncertain (95 %, share of the variance)"
        blocks.append(Section((_budget(answer.budget[name], getattr(answer, name)),), heading=heading, is_folded=True))
    floor = f"model and takes differ by {100 * answer.floor:.2g} % (values are good below 0.5 %)"
    blocks += [Section((Text((floor,)),)), *warnings_section(warnings)]
    return Sheet(title=titled("The pickup's input", is_simulated=answer.simulated), blocks=tuple(blocks))


def sheet_of_corner(answer: CornerAnswer, changes: Mapping[str, object], *, warnings: Sequence[str] = ()) -> Sheet:
    """Lay out where the exciter's corner is.

    Parameters
    ----------
    changes : mapping
        Keys of rig.toml to what was written.
    warnings : sequence of str
        What was noticed on the way.

    Returns
    -------
    Sheet
        The corner, and what makes it uncertain.
    """
    rows: tuple[Row, ...] = (
        ("", "value", "95 % interval", "in rig.toml"),
        ("Corner of the exciter", answer.corner, str(changes["exciter.corner_hz"])),
    )
    floor = f"model and take differ by {100 * answer.floor:.2g} % (values are good below 0.5 %)"
    note = "It is needed only for takes whose reference is the output (loopback) or none; a recorded current needs no corner."
    blocks: tuple[Block, ...] = (
        Verdict(CALIBRATED, "good"),
        Text(("Exciter, with all that is in series with it",)),
        *simulated_notice(is_simulated=answer.simulated),
        Section((Table(rows),), label="Value"),
        Section(
            (_budget(answer.budget, answer.corner),),
            heading="What makes it uncertain (95 %, share of the variance)",
            is_folded=True,
        ),
        Section((Text((floor,)), Text((note,)))),
        *warnings_section(warnings),
    )
    return Sheet(title=titled("The exciter's corner", is_simulated=answer.simulated), blocks=blocks)


def sheet_of_refusal(kind: str, findings: tuple[Finding, ...] = ()) -> Sheet:
    """Say that nothing was calibrated; with findings, why."""
    text = "Not calibrated: rig.toml is as it was. Put right what is named here, and record again."
    blocks: list[Block] = [Verdict(text, "bad")]
    if findings:
        blocks.append(Section((Table(check_rows(findings)),), heading="Checks"))
    return Sheet(title=f"Calibration, {kind}: rejected", blocks=tuple(blocks))


def loopback_document(calibration: Calibration) -> Callable[..., LoopbackDocument]:
    """Put a loopback as JSON states it; what calibrations have in common is still to be given."""
    curve = calibration.channels
    return partial(
        LoopbackDocument,
        kind="loopback",
        simulated=calibration.simulated,
        rate_hz=calibration.rate_hz,
        device=calibration.device,
        channels=(calibration.pickup_channel, calibration.reference_channel),
        frequency_hz=tuple(curve.frequency_hz.tolist()),
        ratio_db=tuple((20 * np.log10(np.abs(curve.value))).tolist()),
        ratio_degree=tuple(np.degrees(np.unwrap(np.angle(curve.value))).tolist()),
        gain_standard_uncertainty=calibration.gain_std,
        delay_standard_uncertainty_s=calibration.delay_std_s,
        latency_s=calibration.latency_s,
        floor_dbfs=calibration.floor_dbfs,
    )


def _budget(budget: Sequence[Contribution], estimate: Estimate) -> Table:
    total = sum(one.contribution**2 for one in budget)
    rows: list[Row] = []
    for one in sorted(budget, key=lambda each: -abs(each.contribution))[:SHOWN_SOURCES]:
        share = one.contribution**2 / total if total > 0 else 0.0
        if share >= LEAST_SHARE:
            half = 100 * COVERAGE * abs(one.contribution) / estimate.value
            rows.append((one.source, f"± {half:.2g} %", f"{100 * share:.0f} %"))
    return Table(tuple(rows), has_head=False)


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
