"""What lies on the virtual bench of a guide: the demo's pickup, or an invented guitar wired as instrument.toml says.

Parts that the person states are within their bounds, but not what is written on them; parts that are only marked are what this
file invents, whatever is printed on them.
"""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec
import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.harness import INPUT_LOAD, Case
from fit.circuit.instrument import Instrument, Pickup, stated_values
from fit.circuit.transfers import solve_instrument
from fit.desk.bench.drawer import DCR_TEXT, NOISE, Drawer, pickup_response
from measure.logbook.conditions import Conditions
from measure.logbook.curves import Kind as CalibrationKind
from measure.logbook.rig import Rig, input_capacitance, input_resistance
from measure.marking import parse_parts
from measure.quantity import Quantity, parse_quantity
from measure.response import ComplexArray, FloatArray
from measure.source.virtual import Noise, ResponseFunction, VirtualBench

GAIN = 0.1  # [1] pickup over what is played at 1 kHz
REFERENCE_GAIN = 0.6
GRID_POINTS = 2500  # of a guitar's response, between which it is interpolated
LEAK = 0.03  # [1] of the exciter's field that reaches the other pickups
EDDY_LOOP = (0.35, 9e3)  # coupling [1] and corner [Hz] of an invented guitar's pickups
EDDY_FIELD = 0.2  # [1]
TONE_CAPACITOR_F = 20.7e-9  # [F] of every invented tone capacitor
OTHER_CAPACITOR_F = 1.04e-9  # [F]
USUAL_OHM = {"pot": 471e3, "resistor": 152e3}  # [Ω] of parts of which nothing is stated
JOB_F = 60e-12  # [F] what the job of "compare" adds across each winding: a shield close to it
JOB_HUM = 0.2  # [1] what it leaves of the hum
WITHIN = 0.6  # [1] of a bound that stated parts are off at most
LOSS_OF_DC_HZ, EXCITER_CORNER_HZ = 4.0, 30e3
# inductance [H], dcr [Ω], winding capacitance [F], strength with its sign: the neck's leads are exchanged
PICKUPS = {
    "bridge": (2.31, 5604.0, 88e-12, 1.0),
    "middle": (2.12, 5350.0, 84e-12, 0.95),
    "neck": (2.04, 5210.0, 81e-12, -0.9),
}
VIRTUAL_DCR = DCR_TEXT


def bench_for(
    conditions: Conditions, *, load: Mapping[str, Quantity], instrument: Instrument | None = None, seed: int = 0
) -> VirtualBench:
    """Lay the exciter over the pickup, turn the controls, clip the parts on.

    Parameters
    ----------
    conditions : Conditions
        Of the take; the coil over nothing named stands over the first pickup.
    load : dict of str to Quantity
        Input and cable, as the rig states them.
    instrument : Instrument or None
        None for a pickup alone.
    """
    response = _drawer_response(conditions, load) if instrument is None else _guitar_response(conditions, load, instrument)
    hum = tuple(level * (JOB_HUM if conditions.is_after else 1.0) for level in NOISE.pickup_hum)
    return VirtualBench(
        pickup=lambda f: GAIN * _interface(f) * response(f),
        reference=lambda f: REFERENCE_GAIN * _interface(f),
        reference_delay_samples=0.01,
        noise=replace(NOISE, pickup_hum=hum),
        seed=seed,
    )


def rehearsal_load(rig: Rig) -> dict[str, Quantity]:
    """Tell what the jack sees on the virtual bench: as the rig states it, or else as in the demo."""
    drawer = Drawer()
    resistance = input_resistance(rig) or parse_quantity(f"{drawer.input_ohm:g} ± 1%", "Ω")
    capacitance = input_capacitance(rig) or parse_quantity(f"{1e12 * drawer.input_f:g}p ± 2%", "F")
    return {"input.resistance": resistance, "input.capacitance": capacitance}


def calibration_bench(
    kind: CalibrationKind, rig: Rig, *, series: Quantity | None = None, added: Sequence[Quantity] = ()
) -> VirtualBench:
    """Connect the virtual bench's output and inputs for a calibration.

    Parameters
    ----------
    kind : {"loopback", "input", "exciter"}
        Both inputs on the output; the pickup's input behind a resistor; the sense resistor on it, behind the exciter.
    series : Quantity or None
        Resistor that the input is driven through. [Ω]
    added : sequence of Quantity
        What is clipped across the input beside the cable.

    Raises
    ------
    ValueError
        If the input is to be driven through no resistor.
    """
    if kind == "input" and series is None:
        msg = "the input is driven through a resistor, and none is stated"
        raise ValueError(msg)
    load = {key: true_value(key, quantity) for key, quantity in rehearsal_load(rig).items()}
    conductance_s = 1 / load["input.resistance"] + sum(1 / _added_value(part) for part in added if part.unit == "Ω")
    capacitance_f = load["input.capacitance"] + sum(_added_value(part) for part in added if part.unit == "F")

    def divided(frequency_hz: FloatArray) -> ComplexArray:
        if kind == "input" and series is not None:
            ohm = true_value(f"series {series.value:.6g} Ω", series)
            return 1 / (1 + ohm * (conductance_s + 2j * np.pi * frequency_hz * capacitance_f))
        corner_hz = EXCITER_CORNER_HZ if kind == "exciter" else np.inf
        return 1 / (1 + 1j * frequency_hz / corner_hz)

    return VirtualBench(
        pickup=lambda f: REFERENCE_GAIN * _high_pass(f) * divided(f),
        reference=lambda f: REFERENCE_GAIN * _high_pass(f),
        reference_delay_samples=0.01,
        noise=Noise(pickup_white=NOISE.pickup_white, reference_white=NOISE.reference_white),
        seed=zlib.crc32(f"{kind} {series} {added}".encode()),
    )


def true_value(name: str, stated: Quantity | None) -> float:
    """Invent what a part really is.

    Parameters
    ----------
    name : str
        Of the value, for example ``"pot.volume"``; a name always gives the same.
    stated : Quantity or None
        As the person states it, a bound within which it lies.

    Raises
    ------
    ValueError
        If nothing is stated.
    """
    if stated is None:
        msg = f"{name}: nothing is stated of it, so nothing can be invented"
        raise ValueError(msg)
    share = WITHIN * (2 * (zlib.crc32(name.encode()) % 1000) / 999 - 1)
    bound = 0.05 * stated.value if stated.bound is None else stated.bound
    return float(stated.value + share * bound)


def true_values(instrument: Instrument, load: Mapping[str, Quantity], *, is_after: bool = False) -> dict[str, float]:
    """Invent every part of a guitar.

    Returns
    -------
    dict
        Name to value, as `fit.circuit.transfers.solve_harness` wants them.
    """
    out = {key: true_value(key, quantity) for key, quantity in load.items()}
    for key, stated in stated_values(_with_losses(instrument)).items():
        kind, _, name = key.partition(".")
        if kind == "capacitor":
            out[key] = TONE_CAPACITOR_F if "tone" in name else OTHER_CAPACITOR_F
        elif kind in instrument.pickup and name.removeprefix("second.") in ("inductance", "dcr", "winding_capacitance"):
            out[key] = _coil_value(kind, name.removeprefix("second."), is_after=is_after)
        elif stated.quantity is None and kind in USUAL_OHM:
            out[key] = USUAL_OHM[kind]
        elif stated.quantity is not None:
            out[key] = stated.quantity.value if "eddy" in name or name == "coupling" else true_value(key, stated.quantity)
    return out


def _coil_value(pickup: str, name: str, *, is_after: bool) -> float:
    henry, ohm, farad, _ = PICKUPS.get(pickup, PICKUPS["bridge"])
    return {"inductance": henry, "dcr": ohm, "winding_capacitance": farad + (JOB_F if is_after else 0.0)}[name]


def _drawer_response(conditions: Conditions, load: Mapping[str, Quantity]) -> ResponseFunction:
    drawer = Drawer()
    job_f = JOB_F if conditions.is_after else 0.0
    parts = parse_parts(conditions.added)
    added_f = sum(_added_value(part) for part in parts if part.unit == "F")
    added_s = sum(1 / _added_value(part) for part in parts if part.unit == "Ω")
    input_ohm = 1 / (1 / true_value("input.resistance", load["input.resistance"]) + added_s)
    drawer = replace(
        drawer,
        capacitance_f=drawer.capacitance_f + job_f,
        input_f=true_value("input.capacitance", load["input.capacitance"]),
        input_ohm=input_ohm,
    )
    return lambda f: pickup_response(drawer, f, added_f=added_f)


def _added_value(part: Quantity) -> float:
    return true_value(f"added {part.value:.6g} {part.unit}", part)


def _guitar_response(conditions: Conditions, load: Mapping[str, Quantity], stated: Instrument) -> ResponseFunction:
    instrument = _with_losses(stated)
    values = true_values(stated, load, is_after=conditions.is_after)
    across = list(INPUT_LOAD)
    for number, part in enumerate(parse_parts(conditions.added)):
        values[f"added.{number}"] = _added_value(part)
        across.append((f"added.{number}", part.unit == "F"))
    grid_hz = np.geomspace(0.5, 400e3, GRID_POINTS)
    case = Case(settings=read_settings(stated, conditions.controls), frequency_hz=grid_hz, load=tuple(across))
    (transfer,) = solve_instrument(instrument, [case], values=values)
    over = conditions.coil_over or next(iter(stated.pickup))
    weights = [
        (1.0 if name == over else LEAK) * PICKUPS.get(name, PICKUPS["bridge"])[3] for name in stated.pickup
    ]  # the exciter's field in each pickup
    field_of_exciter = np.array(weights) @ transfer.voltage

    def response(frequency_hz: FloatArray) -> ComplexArray:
        from scipy.interpolate import CubicSpline

        s = 2j * np.pi * frequency_hz
        loop = s / (s + 2 * np.pi * EDDY_LOOP[1])
        between = CubicSpline(np.log(grid_hz), field_of_exciter)(np.log(np.maximum(frequency_hz, grid_hz[0])))
        return s / (2 * np.pi * 1000) * (1 - EDDY_FIELD * loop) * between

    return response


def _with_losses(instrument: Instrument) -> Instrument:
    pickups: dict[str, Pickup] = {}
    for name, pickup in instrument.pickup.items():
        second = pickup.second
        if second is not None:
            second = msgspec.structs.replace(second, eddy_loops=(EDDY_LOOP,), eddy_spreads=())
        pickups[name] = msgspec.structs.replace(pickup, eddy_loops=(EDDY_LOOP,), eddy_spreads=(), second=second)
    return msgspec.structs.replace(instrument, pickup=pickups)


# Output and exciter: no DC, and the coil's own inductance against its resistance at the top.
def _interface(frequency_hz: FloatArray) -> ComplexArray:
    return _high_pass(frequency_hz) / (1 + 1j * frequency_hz / EXCITER_CORNER_HZ)


def _high_pass(frequency_hz: FloatArray) -> ComplexArray:
    s = 2j * np.pi * frequency_hz
    return np.asarray(s / (s + 2 * np.pi * LOSS_OF_DC_HZ))
