"""What the estimate rests on: the takes, and what is known in ohms and farads."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fit.circuit.controls import Settings
from fit.circuit.copper import REFERENCE_CELSIUS, TEMPERATURE_COEFFICIENT_PER_K, resistance_at
from fit.circuit.instrument import Instrument
from measure.quantity import Quantity
from measure.response import FloatArray, Response

Method = Literal["exciter", "impedance", "plate"]
AS_IT_STANDS = Settings()
CLOCK_BOUND = 1e-4  # [1] of a sound card's sample clock: ± 20 to ± 100 ppm, common practice, no source
THERMOMETER_STD_K = 1.0 / 3**0.5  # [K] of a stated temperature, ± 1 K
SAME_ROOM_STD_K = 1.5 / 3**0.5  # [K] between the takes and the reading of a dcr, where no temperature is stated
BETWEEN_SIDES_STD_K = 3.0 * 2**0.5 / 3**0.5  # [K] of a winding between two sides of a job, ± 3 K each


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeEvidence:
    """One take as the estimate sees it.

    Attributes
    ----------
    response : Response
        Pickup over reference against frequency.
    added : tuple of Quantity
        Parts clipped across the jack, in ohms or farads, all in parallel.
    coil_moved : bool
        The exciter was moved since the take before; a new placement begins.
    settings : Settings
        Where the instrument's controls stood.
    coil_over : str
        Pickup under the exciter; empty where there is one pickup.
    method : {"exciter", "impedance", "plate"}
        What was driven. Impedance: the jack, through `series_resistor`; the response is the voltage at the jack over that at the
        resistor's other end. Plate: a foil near the wiring; the response is the voltage at the jack over that of the foil.
    series_resistor : Quantity or None
        Of method impedance. [Ω]
    is_loaded : bool
        Cable and input were connected; not so for an impedance measured elsewhere.
    is_after : bool
        Made after the job whose effect is asked for.
    temperature_c : float or None
        Of the winding, as far as it is known. [°C]
    """

    name: str
    response: Response
    added: tuple[Quantity, ...] = ()
    coil_moved: bool = False
    settings: Settings = AS_IT_STANDS
    coil_over: str = ""
    method: Method = "exciter"
    series_resistor: Quantity | None = None
    is_loaded: bool = True
    is_after: bool = False
    temperature_c: float | None = None

    @property
    def begins_placement(self) -> bool:
        """Nothing is known of its gain from the take before."""
        return self.coil_moved or self.method != "exciter"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """Takes in the order they were made, with the references they share.

    Attributes
    ----------
    takes : tuple of TakeEvidence
        At least one; those of another method than the exciter come last.
    input_resistance : Quantity
        Of the interface's input. [Ω]
    input_capacitance : Quantity
        Of the interface's input and the cable together. [F]
    dcr : Quantity or None
        Winding resistance at DC, from a multimeter. [Ω]
    reference_kind : {"current", "loopback", "none"}
        What the reference channel recorded.
    exciter_corner : Quantity or None
        Rx / (2π Lx) of the exciter with its series resistance, where the reference is not its current. [Hz]
    parts_at_hand : tuple of Quantity
        Parts the person could clip on for a further take.
    instrument : Instrument or None
        What stands between the pickups and the jack; None for one pickup straight at it.
    clock_bound : float
        Of the card's sample clock, relative. [1]
    """

    takes: tuple[TakeEvidence, ...]
    input_resistance: Quantity
    input_capacitance: Quantity
    dcr: Quantity | None = None
    reference_kind: str = "current"
    exciter_corner: Quantity | None = None
    parts_at_hand: tuple[Quantity, ...] = ()
    instrument: Instrument | None = None
    clock_bound: float = CLOCK_BOUND


def warmth_of(evidence: Evidence) -> FloatArray:
    """Winding resistance in each take over that in the first, by the temperatures that are stated.

    Returns
    -------
    ndarray, shape (t,)
        1 where a take states none. [1]
    """
    base = _base_temperature(evidence)
    if base is None:
        return np.ones(len(evidence.takes))
    at = [base if take.temperature_c is None else take.temperature_c for take in evidence.takes]
    return np.array([resistance_at(1.0, from_celsius=base, to_celsius=each) for each in at])


def _base_temperature(evidence: Evidence) -> float | None:
    return next((take.temperature_c for take in evidence.takes if take.temperature_c is not None), None)


def dcr_in_takes(evidence: Evidence, dcr: Quantity) -> Quantity:
    """Find what a winding resistance that was read beforehand is in the takes, by copper's coefficient.

    Parameters
    ----------
    evidence : Evidence
        Takes with the temperatures that are stated.
    dcr : Quantity
        As read, with its temperature where that is known. [Ω]

    Returns
    -------
    Quantity
        At the temperature of the first take that states one; the temperature's part in its uncertainty. [Ω]
    """
    base = _base_temperature(evidence)
    is_known = base is not None and dcr.temperature_c is not None
    ratio = resistance_at(1.0, from_celsius=dcr.temperature_c or 0.0, to_celsius=base or 0.0) if is_known else 1.0
    kelvin = THERMOMETER_STD_K * 2**0.5 if is_known else SAME_ROOM_STD_K
    slope = TEMPERATURE_COEFFICIENT_PER_K / resistance_at(
        1.0, from_celsius=REFERENCE_CELSIUS, to_celsius=base or REFERENCE_CELSIUS
    )
    std = dcr.standard_uncertainty
    value = dcr.value * ratio
    total = None if std is None else float(np.hypot(std * ratio, value * slope * kelvin))
    return replace(dcr, value=value, standard_uncertainty=total)
