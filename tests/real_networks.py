"""Drawn guitars with real parts, in the words of the packages under test."""

from dataclasses import replace

import msgspec
import numpy as np

from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from tests import guitar_cases as gc
from tests import guitar_parts as gp
from tests.guitar_circuit import solve_tip
from tests.random_instruments import INPUT_F, INPUT_OHM

ONE_PICKUP = read_instrument(layout_text("one-pickup"))


def circuit_of(case, *, fractions, load=None):
    """The one pickup of a drawn guitar at settings, 1 A in the exciter over it; as mesh equations and simulators know it.

    Strings are not weakened by eddy currents as the exciter's field is; the winding is as warm as in the takes.
    """
    (name, pickup), *_ = next(iter(case.takes.values())).pickups.items()
    coils = [replace(coil, turns=tuple(replace(turn, g=0.0) for turn in coil.turns)) for coil in pickup.coils]
    guitar = replace(case.guitar, pickups={name: replace(pickup, coils=tuple(coils))})
    usual = [("R", case.truths["input.resistance"])]
    usual.append(("C", case.truths["input.capacitance"], case.truths.get("input.loss_tangent", 0.0)))
    return gp.guitar_circuit(guitar, fractions, drives={name: 1.0}, load=load or usual)


def per_volt_of_emf(case, frequency_hz, *, fractions, load=None):
    """Voltage at the tip for 1 V of EMF in the one pickup of a drawn guitar, by mesh equations."""
    tip = solve_tip(circuit_of(case, fractions=fractions, load=load), frequency_hz)
    return tip / (2j * np.pi * frequency_hz * gp.MUTUAL_H)


def true_values(case):
    """Truths of a drawn guitar by the names of values."""
    values = {key: value for key, value in case.truths.items() if not key.endswith((".travel", ".kelvin"))}
    for key in list(values):
        if "stop@" in key:
            values[key.replace("stop@", "stop_")] = values.pop(key)
        elif key.endswith(".loss_tangent"):
            values[key] = float(np.arctan(values[key]))  # the package takes tan δ for δ
    return values


def as_measured(case):
    """Instrument of a drawn guitar with the eddy loops that it has."""
    instrument = read_instrument(case.instrument_toml)
    pickups = {}
    for name, pickup in instrument.pickup.items():
        (coil,) = case.guitar.pickups[name].coils
        pickups[name] = msgspec.structs.replace(pickup, eddy_loops=tuple((turn.k, turn.corner_hz) for turn in coil.turns))
    return msgspec.structs.replace(instrument, pickup=pickups)


def without_contacts(case):
    """The same guitar, its wipers' contacts without ohms at 10: all that is left there is what of the track is not reached."""
    left = {
        f"pot.{pot}.stop@10": (1 - case.truths[f"pot.{pot}.travel"]) * case.truths[f"pot.{pot}"] for pot in ("volume", "tone")
    }
    return replace(case, truths=case.truths | left, guitar=replace(case.guitar, parts=case.guitar.parts | left))


LEAKY = replace(gc.REAL, real=replace(gc.REAL.real, leak_ohm=(300e3, 3e6)))


def drawn_values(instrument):
    """Values that an instrument states, and the load of the drawn ones."""
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items() if stated.quantity is not None}
    return values | {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}


def with_real_parts(instrument, values, rng):
    """Stops at both ends of every pot, a loss tangent for every capacitor and the cable, a leak across every capacitor."""
    more = {f"pot.{pot}.stop_{end}": float(rng.uniform(2, 300)) for pot in instrument.pot for end in (0, 10)}
    more |= {f"capacitor.{name}.loss_tangent": float(rng.uniform(1e-3, 3e-2)) for name in instrument.capacitor}
    more |= {f"capacitor.{name}.leak": float(10 ** rng.uniform(4.5, 6.5)) for name in instrument.capacitor}
    return values | more | {"input.loss_tangent": float(rng.uniform(1e-3, 3e-2))}
