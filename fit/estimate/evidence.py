"""What the estimate rests on: the takes, and what is known in ohms and farads."""

from dataclasses import dataclass

from measure.quantity import Quantity
from measure.response import Response


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
    """

    name: str
    response: Response
    added: tuple[Quantity, ...] = ()
    coil_moved: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """Takes in the order they were made, with the references they share.

    Attributes
    ----------
    takes : tuple of TakeEvidence
        At least one.
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
    """

    takes: tuple[TakeEvidence, ...]
    input_resistance: Quantity
    input_capacitance: Quantity
    dcr: Quantity | None = None
    reference_kind: str = "current"
    exciter_corner: Quantity | None = None
    parts_at_hand: tuple[Quantity, ...] = ()
