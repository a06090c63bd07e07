"""The taper of a pot, read off from takes at several rotations, against the nominal law."""

from collections.abc import Mapping
from dataclasses import dataclass

from fit.answers.figures import Estimate
from fit.circuit.controls import taper_fraction
from fit.circuit.instrument import Taper


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TaperPoint:
    """A pot at one rotation.

    Attributes
    ----------
    rotation : float
        0 to 10.
    share : Estimate
        Resistance from ccw to wiper over that of the whole track. [1]
    nominal : float
        By the law of its taper. [1]
    """

    rotation: float
    share: Estimate
    nominal: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PotTaper:
    """A pot's taper as far as the takes tell it; points by rising rotation."""

    taper: Taper
    points: tuple[TaperPoint, ...]


def read_tapers(quantities: Mapping[str, Estimate], tapers: Mapping[str, Taper]) -> dict[str, PotTaper]:
    """Collect the electrical fractions of each pot.

    Parameters
    ----------
    quantities : mapping
        Of a fit; ``"pot.volume@6"`` and the like count.
    tapers : mapping
        Pot to what instrument.toml calls its taper.

    Returns
    -------
    dict
        Pot to taper; pots without a measured fraction are left out.
    """
    found: dict[str, list[TaperPoint]] = {}
    for key, share in quantities.items():
        pot, _, label = key.removeprefix("pot.").partition("@")
        if not key.startswith("pot.") or not label or label.endswith("%") or pot not in tapers:
            continue
        rotation = float(label)
        found.setdefault(pot, []).append(
            TaperPoint(rotation=rotation, share=share, nominal=taper_fraction(tapers[pot], rotation))
        )
    return {
        pot: PotTaper(taper=tapers[pot], points=tuple(sorted(points, key=lambda point: point.rotation)))
        for pot, points in found.items()
    }
