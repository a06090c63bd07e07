"""Each pickup at the jack as the guitar stands: every pot at 10, the switches where the pickup is heard by itself."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.prediction import PickupCurve, PredictAnswer, predict_instrument
from fit.circuit.alone import pickups_heard
from fit.circuit.instrument import Instrument
from measure.quantity import Quantity

MOST_POSITIONS = 64  # of all switches together, that are looked through


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AtJack:
    """One pickup at the jack.

    Attributes
    ----------
    positions : dict
        Where each switch stands so that the pickup is heard, if it can be by itself.
    beside : tuple of str
        Other pickups that are connected there.
    """

    pickup: str
    positions: dict[str, str]
    beside: tuple[str, ...]
    answer: PredictAnswer

    @property
    def curve(self) -> PickupCurve:
        """The pickup's own."""
        return self.answer.pickups[self.pickup]


def predict_at_jack(
    instrument: Instrument, *, load: Mapping[str, Quantity], measured: MeasuredParts | None
) -> tuple[AtJack, ...]:
    """Predict every pickup with all controls in place.

    Parameters
    ----------
    load : mapping
        ``"input.resistance"`` and ``"input.capacitance"``, cable included.

    Returns
    -------
    tuple of AtJack
        Without pickups that no position connects, and without those of which a value is missing.
    """
    found = []
    for pickup, (positions, beside) in _places(instrument).items():
        try:
            answer = predict_instrument(instrument, positions, load=load, measured=measured, with_tolerance=True, excite=pickup)
        except ValueError:  # a value is not known; what can be told is
            continue
        found.append(AtJack(pickup=pickup, positions=positions, beside=beside, answer=answer))
    return tuple(found)


def _places(instrument: Instrument) -> dict[str, tuple[dict[str, str], tuple[str, ...]]]:
    ways = [[(name, position) for position in switch.positions] for name, switch in instrument.switch.items()]
    positions = [dict(way) for way in itertools.islice(itertools.product(*ways), MOST_POSITIONS)]
    places: dict[str, tuple[dict[str, str], tuple[str, ...]]] = {}
    for one in positions:
        heard = pickups_heard(instrument, one)
        for name in heard:
            beside = tuple(other for other in heard if other != name)
            if name not in places or len(beside) < len(places[name][1]):
                places[name] = (one, beside)
    return {name: places[name] for name in instrument.pickup if name in places}
