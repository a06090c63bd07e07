"""What the estimate rests on: the takes, and what is known in ohms and farads."""

from dataclasses import dataclass
from typing import Literal

from fit.circuit.controls import Settings
from fit.circuit.instrument import Instrument
from measure.quantity import Quantity
from measure.response import Response

Method = Literal["exciter", "impedance", "plate"]
AS_IT_STANDS = Settings()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeEvidence:
    """One take as the estimate sees it.

    Attributes
    ----------
    name : str
        The take's name.
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
    """

    takes: tuple[TakeEvidence, ...]
    input_resistance: Quantity
    input_capacitance: Quantity
    dcr: Quantity | None = None
    reference_kind: str = "current"
    exciter_corner: Quantity | None = None
    parts_at_hand: tuple[Quantity, ...] = ()
    instrument: Instrument | None = None
