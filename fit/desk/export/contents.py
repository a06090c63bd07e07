"""What a file that is exported says: responses, the fitted pickup, the instrument, with a head that tells where it comes from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.answers.netlist.oneport import Impulse, NetPickup, impulse_response, pickup_gain, pickup_impedance
from fit.answers.netlist.spice import ascii_text, instrument_netlist, pickup_netlist
from fit.answers.parts.fitted import MeasuredParts
from fit.answers.parts.known import gather_known
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.predict.carry_over import adopt_losses
from fit.answers.predict.prediction import read_changes
from fit.circuit.controls import read_settings, split_settings
from fit.circuit.harness import Case, build_harness, needed_values
from fit.circuit.instrument import Instrument
from fit.circuit.realparts import stops_among
from fit.desk.book.desk import Desk
from fit.desk.book.fits import FitWish, fit_of
from fit.desk.show.sheets.basis import value_text
from fit.desk.show.words import in_order, plain_text, quantity_name, quantity_texts, temperature_text
from fit.estimate.coils import coil_values, coupling_of
from measure.logbook.store import Logbook
from measure.logbook.take import Take, time_now
from measure.marking import read_value
from measure.quantity import Quantity
from measure.response import FloatArray, Response
from measure.tables.files import format_csv, format_touchstone
from measure.version import VERSION

CURVE_HZ, POINTS_PER_OCTAVE = (20.0, 20e3), 48  # [Hz] of a fitted impedance
ALONE = "pickup"  # name of a pickup that is fitted by itself
UNKNOWN_SCALE = "nothing is written: its ohms and henries would be one choice of many"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fitted:
    """A fit as far as files need it.

    Attributes
    ----------
    answer : PickupAnswer
        What `fit` says.
    pickups : tuple of NetPickup
        Element values of each pickup.
    input_ohm, input_f : float
        Cable and input. [Ω], [F]
    rates_hz : tuple of float
        Sample rates of the takes, each once; none for responses measured elsewhere. [Hz]
    input_tangent : float
        Loss tangent of the cable. [1]
    """

    answer: PickupAnswer
    pickups: tuple[NetPickup, ...]
    input_ohm: float
    input_f: float
    rates_hz: tuple[float, ...]
    warnings: tuple[str, ...]
    input_tangent: float = 0.0


def fit_for_export(desk: Desk, logbook: Logbook, wish: FitWish) -> Fitted:
    """Fit takes as `fit` does, and keep the element values."""
    found = fit_of(desk, logbook, wish)
    pickups = []
    for name, suffix in found.suffixes.items():
        values = found.values
        own = values | {key.removesuffix(suffix): value for key, value in values.items() if suffix and key.endswith(suffix)}
        coils = coil_values(found.models[name], own)
        pickups.append(NetPickup(name=name or ALONE, coils=coils, coupling=coupling_of(own)))
    return Fitted(
        answer=found.answer,
        pickups=tuple(pickups),
        input_ohm=float(np.exp(found.values["log_input_resistance"])),
        input_f=float(np.exp(found.values["log_input_capacitance"])),
        rates_hz=found.rates_hz,
        warnings=found.warnings,
        input_tangent=max(found.values["loss_input_capacitance"], 0.0),
    )


def take_text(take: Take, response: Response) -> str:
    """Response of a take as a table."""
    what = "impedance at the jack, in ohms" if response.unit == "Ω" else "pickup over reference"
    head = [*_take_lines(take), f"{what}; standard_deviation is the root of var(real) + var(imaginary)"]
    return format_csv(response, comments=head)


def measured_port_text(take: Take, response: Response, *, reference_ohm: float) -> str:
    """Impedance of a take as a Touchstone file.

    Parameters
    ----------
    reference_ohm : float
        R of the file. [Ω]
    """
    head = [*_take_lines(take), "impedance at the jack", f"simulated: {'yes' if take.simulated else 'no'}"]
    comments = [ascii_text(line) for line in head]
    return format_touchstone(response.frequency_hz, response.value, reference_ohm=reference_ohm, comments=comments)


def in_ohms(take: Take, response: Response) -> Response:
    """Impedance at the jack; what is recorded through a series resistor R is Z/(R + Z).

    Parameters
    ----------
    response : Response
        Jack over the resistor's driven end, or in ohms already.

    Returns
    -------
    Response
        In ohms, with its covariance; the resistor's own error is not in it.

    Raises
    ------
    ValueError
        If the take does not say its series resistor.
    """
    if response.unit == "Ω":
        return response
    if take.conditions.series_resistor is None:
        msg = f'the take "{take.name}" does not say its series resistor: it is needed for ohms'
        raise ValueError(msg)
    resistor_ohm = read_value(take.conditions.series_resistor, "resistance").value
    ratio = response.value
    by_ratio = resistor_ohm / (1 - ratio) ** 2
    turn = np.moveaxis(np.array([[by_ratio.real, -by_ratio.imag], [by_ratio.imag, by_ratio.real]]), 2, 0)
    return Response(
        frequency_hz=response.frequency_hz,
        value=resistor_ohm * ratio / (1 - ratio),
        covariance=turn @ response.covariance @ turn.transpose(0, 2, 1),
        shifts=response.shifts * by_ratio,
        shift_names=response.shift_names,
        unit="Ω",
        origin=response.origin,
    )


def fitted_port_text(fitted: Fitted, pickup: NetPickup, *, reference_ohm: float) -> str:
    """Impedance of a fitted pickup, without cable and input, as a Touchstone file.

    Parameters
    ----------
    reference_ohm : float
        R of the file. [Ω]
    """
    head = ["impedance of the fitted pickup with its winding capacitance and losses, without cable and input"]
    head += [*fit_lines(fitted), f"simulated: {'yes' if fitted.answer.simulated else 'no'}"]
    frequency_hz = curve_frequencies()
    impedance = pickup_impedance(pickup, frequency_hz)
    comments = [ascii_text(line) for line in head]
    return format_touchstone(frequency_hz, impedance, reference_ohm=reference_ohm, comments=comments)


def fitted_netlist_text(fitted: Fitted) -> tuple[str, float]:
    """Fitted pickups as a netlist.

    Returns
    -------
    spread_error : float
        Relative error of the impedance from loops that stand for a spread. [1]
    """
    names = ", ".join(pickup.name for pickup in fitted.pickups)
    head = [f"coilsweep: {names}, from {', '.join(fitted.answer.takes)}", *fit_lines(fitted)]
    head += [f"simulated: {'yes' if fitted.answer.simulated else 'no'}"]
    head += ["emf is the pickup's EMF in volts; what the eddy currents take from the exciting field is in it already"]
    netlist = pickup_netlist(
        fitted.pickups,
        input_ohm=fitted.input_ohm,
        input_f=fitted.input_f,
        input_tangent=fitted.input_tangent,
        comments=head,
    )
    return "\n".join(netlist.lines) + "\n", netlist.spread_error


def fitted_impulse(fitted: Fitted, pickup: NetPickup, *, rate_hz: float) -> Impulse:
    """Impulse response from a fitted pickup's EMF to the jack behind cable and input.

    Parameters
    ----------
    rate_hz : float
        Sample rate. [Hz]
    """
    return impulse_response(
        lambda frequency_hz: pickup_gain(
            pickup,
            frequency_hz,
            input_ohm=fitted.input_ohm,
            input_f=fitted.input_f,
            input_tangent=fitted.input_tangent,
        ),
        rate_hz=rate_hz,
    )


def instrument_text(
    instrument: Instrument,
    *,
    load: Mapping[str, Quantity],
    measured: MeasuredParts | None,
    settings: Sequence[str],
    changes: Sequence[str],
    excite: str,
) -> tuple[str, float]:
    """Instrument at some settings as a netlist.

    Parameters
    ----------
    measured : MeasuredParts or None
        From the last fit; they stand in for what is stated and marked, but not for changes.
    settings, changes : sequence of str
        As typed, CONTROL=VALUE and PART=VALUE.
    excite : str
        Pickup with 1 V of EMF; empty for the first.

    Returns
    -------
    spread_error : float
        Relative error of an impedance from loops that stand for a spread. [1]

    Raises
    ------
    ValueError
        If a setting, a pickup or a value is wrong or missing.
    """
    if excite and excite not in instrument.pickup:
        msg = f'there is no pickup "{plain_text(excite[:60])}", the instrument has: {", ".join(instrument.pickup)}'
        raise ValueError(msg)
    built = instrument if measured is None else adopt_losses(instrument, measured)
    stand = read_settings(built, split_settings(settings))
    changed = read_changes(built, changes)
    known = gather_known(built, load=load, changes=changed, measured=measured, with_tolerance=False, settings=stand)
    case = Case(settings=stand, frequency_hz=np.array([1e3]))
    harness = build_harness(built, [case], has_stops=stops_among(known.basis))
    absent = sorted({key for group in harness.groups for key in needed_values(built, group)} - set(known.basis))
    if absent:
        msg = f"no value is known of {', '.join(absent)}: state it in instrument.toml, fit takes of it, or use --change"
        raise ValueError(msg)
    head = [
        f"coilsweep: {instrument.name or 'instrument'}",
        f"{_made_by()}; controls not named stand at 10 or in the first position",
    ]
    head += [f"set {text}" for text in settings]
    if measured is not None:
        takes = ", ".join(measured.takes)
        head.append(f"measured: by the last fit, takes {takes}; simulated: {'yes' if measured.simulated else 'no'}")
    head += [f"{key} = {value_text(key, one)} ({one.origin})" for key, one in known.basis.items()]
    netlist = instrument_netlist(built, stand, known.values, excite=excite, comments=head)
    return "\n".join(netlist.lines) + "\n", netlist.spread_error


def fit_lines(fitted: Fitted) -> list[str]:
    """Say where fitted values come from and what they are."""
    answer = fitted.answer
    lines = [f"fitted from {', '.join(answer.takes)}: {answer.model_name}; {_made_by()}"]
    if answer.outcome != "good":
        lines.append(f"INDICATIVE ONLY: model and measurement differ beyond noise by {100 * answer.floor.value:.2g} %")
    for key in in_order(answer.quantities):
        value, interval = quantity_texts(key, answer.quantities[key])
        lines.append(f"{quantity_name(key)}: {value} (95 %: {interval})")
    lines += [f"{quantity_name(one.quantity)}: not told by these takes, {one.why}" for one in answer.not_identified]
    return lines


def curve_frequencies() -> FloatArray:
    """Frequencies of a fitted curve.

    Returns
    -------
    ndarray, shape (n,)
        20 Hz to 20 kHz, 48 an octave. [Hz]
    """
    octaves = np.log2(CURVE_HZ[1] / CURVE_HZ[0])
    return np.geomspace(*CURVE_HZ, int(np.ceil(octaves * POINTS_PER_OCTAVE)) + 1)


def _made_by() -> str:
    return f"coilsweep {VERSION}, exported {time_now()}"


def _take_lines(take: Take) -> list[str]:
    stated = take.conditions
    facts = [f"made {take.time_utc}", f"method {stated.method}"]
    facts += [f"added {stated.added}"] if stated.added else []
    facts += [f"{name}={value}" for name, value in stated.controls.items()]
    facts += [f"coil over {stated.coil_over}"] if stated.coil_over else []
    facts += [] if stated.temperature_c is None else [temperature_text(stated.temperature_c)]
    facts += [f"of {stated.item}"] if stated.item else []
    facts += [f"by {stated.operator}"] if stated.operator else []
    lines = [f"coilsweep: response of take {take.name}, {'; '.join(facts)}", _made_by()]
    return [plain_text(line) for line in [*lines, *([f"note: {' '.join(stated.note.split())}"] if stated.note else [])]]
