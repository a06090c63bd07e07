"""What the takes can tell and what they cannot, and which further take would tell it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fit.answers.digits import rough_percent
from fit.answers.parts.quantities import Derived
from fit.circuit.controls import Settings, read_settings
from fit.circuit.instrument import parts_of
from fit.circuit.network import GROUND
from fit.circuit.realparts import is_beside
from fit.circuit.wiring import Passive, wire_instrument
from fit.estimate.budget import foresee_take
from fit.estimate.evidence import Evidence
from fit.estimate.ladder import Choice
from fit.estimate.model import suffixes_of
from measure.marking import parse_parts
from measure.quantity import Quantity
from measure.response import FloatArray

TELLING = 0.2  # [1] relative standard uncertainty above which a quantity counts as not identified
TELLING_PART = 0.1  # [1] the same for pots and resistors: twice that is as wide as their markings' tolerance
LEAST_VALUE = 1e-12  # [Ω], [1] of what cannot be negative, and may come out so within its uncertainty
FELT = 0.1  # [1] change of a response by the logarithm of a capacitor; one that nothing feels more is hidden behind a pot
SCALED = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")
# What a further take could use when the person has not said what is at hand: common practice, no source.
USUAL_PARTS = ("1n ± 5%", "1n ± 1%", "470p ± 1%", "2n2 ± 1%", "100k ± 1%", "2n2 ± 1%, 100k ± 1%")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Further:
    """A further take and what it would do.

    Attributes
    ----------
    controls : tuple of str
        CONTROL=VALUE of what is turned, against the first take.
    covariance : ndarray, shape (p, p)
        Predicted, after it.
    felt : dict
        Part to the largest relative change of the further take's response by it. [1]
    new_parts : dict
        Part that no take has felt so far to its predicted standard uncertainty, relative. [1]
    """

    add: str
    controls: tuple[str, ...]
    covariance: FloatArray
    felt: dict[str, float]
    new_parts: dict[str, float]


def has_two_loads(evidence: Evidence) -> bool:
    """Say whether the takes differ in what lies across the jack.

    Returns
    -------
    bool
        With one load alone, resonance and damping are all that a response tells.
    """
    loads = {(tuple(sorted((part.unit, part.value) for part in take.added)), repr(take.settings)) for take in evidence.takes}
    return len(loads) > 1 or any(take.method == "impedance" for take in evidence.takes)


def relative_uncertainty(derived: Derived, covariance: FloatArray) -> float:
    """Relative standard uncertainty of a quantity; in dB divided by 8.7.

    Parameters
    ----------
    covariance : ndarray, shape (p, p)
        Of the parameters.

    Returns
    -------
    float
        Standard uncertainty of ln(value). [1]
    """
    std = float(np.sqrt(max(float(derived.gradient @ covariance @ derived.gradient), 0.0)))
    if derived.is_log:
        return std
    return float(std / (20 / np.log(10))) if derived.unit == "dB" else std / max(derived.value, LEAST_VALUE)


def identify_quantities(choice: Choice, derived: dict[str, Derived]) -> dict[str, str]:
    """Name the quantities that the takes cannot tell, with the reason.

    Returns
    -------
    dict
        Name to reason, in plain words.
    """
    evidence = choice.problem.evidence
    reasons: dict[str, str] = {}
    for name, quantity in derived.items():
        relative = relative_uncertainty(quantity, choice.covariance)
        if not has_two_loads(evidence) and _needs_scale(name, evidence):
            reasons[name] = (
                "takes with one load alone tell resonance and damping, not inductance and capacitance apart: "
                "a known part across the jack sets the scale"
            )
        elif name.startswith("capacitor.") and not is_beside(name) and _felt(choice, f"log_{name}") < FELT:
            reasons[name] = "a pot stands between it and everything that was recorded: no take has that pot turned down"
        elif not relative < _limit(name):
            reasons[name] = f"the takes leave it uncertain by {rough_percent(relative)}"
    for pickup, suffix in suffixes_of(choice.problem).items():
        if len(choice.problem.models[pickup].eddies) == 2 and not _is_led_out(evidence, pickup):
            prefix = f"{pickup}." if suffix else ""
            told = "only the sum of two coils in series shows at the jack"
            hidden = ("winding_capacitance", "resonance_unloaded", "q_unloaded", "q_loaded")
            reasons |= {f"{prefix}{name}": told for name in hidden}
            reasons[f"{prefix}sharing of the inductance between the coils"] = told
    return reasons | _unfelt_parts(choice, derived)


def _is_led_out(evidence: Evidence, pickup: str) -> bool:
    return evidence.instrument is not None and evidence.instrument.pickup[pickup].second is not None


def _limit(name: str) -> float:
    is_whole = name.startswith(("pot.", "resistor.")) and "@" not in name and not is_beside(name)
    return TELLING_PART if is_whole else TELLING


def _felt(choice: Choice, parameter: str) -> float:
    """Largest relative change of any response by a parameter."""
    names = [each.name for each in choice.problem.parameters]
    return float(np.max(np.abs(choice.fit.prediction.jacobian[names.index(parameter)])))


def _unfelt_parts(choice: Choice, derived: dict[str, Derived]) -> dict[str, str]:
    """Name what the instrument has and no take feels."""
    instrument = choice.problem.evidence.instrument
    if instrument is None:
        return {}
    reasons = {key: "no take has it connected" for key, _, _ in parts_of(instrument) if key not in derived}
    missing = [name for name in instrument.pickup if name not in choice.problem.models]
    return reasons | {f"{name}.inductance": "no take has this pickup connected" for name in missing}


def _needs_scale(name: str, evidence: Evidence) -> bool:
    first, _, rest = name.partition(".")
    plain = rest if evidence.instrument is not None and first in evidence.instrument.pickup else name
    if plain == "dc_resistance":
        return evidence.dcr is None
    return plain in SCALED or plain.startswith(("eddy_", "pot.", "capacitor.", "resistor."))


def would_tell(name: str, further: Further) -> bool:
    """Say whether a further take lets a quantity be seen at all.

    Returns
    -------
    bool
        False for a capacitor that stays behind a pot.
    """
    return not name.startswith("capacitor.") or further.felt.get(name, 0.0) >= FELT


def suggest_takes(choice: Choice, at_hand: Sequence[Quantity]) -> list[Further]:
    """Predict the covariance after each further take that the person could make.

    Parameters
    ----------
    at_hand : sequence of Quantity
        Parts the person has; the usual ones where none are named.

    Returns
    -------
    list of Further
        The cheapest first: a knob turned, then one part before two, a loose tolerance before a tight one.
    """
    evidence = choice.problem.evidence
    further = [_further(choice, controls=controls) for controls in _turned(evidence)]
    candidates: list[tuple[Quantity, ...]] = [(part,) for part in at_hand] or [parse_parts(text) for text in USUAL_PARTS]
    if len(at_hand) > 1:
        candidates.append(tuple(at_hand[:2]))
    used = {_plain(take.added) for take in evidence.takes}
    further += [_further(choice, parts=parts) for parts in sorted(candidates, key=_cost) if _plain(parts) not in used]
    return further


def _further(choice: Choice, *, parts: Sequence[Quantity] = (), controls: Mapping[str, str] | None = None) -> Further:
    instrument, first = choice.problem.evidence.instrument, choice.problem.evidence.takes[0]
    settings = first.settings if instrument is None or controls is None else read_settings(instrument, controls)
    foreseen = foresee_take(choice, parts, settings)
    names, covariance = foreseen.names, foreseen.covariance
    order = [names.index(parameter.name) for parameter in choice.problem.parameters]
    known = {parameter.name for parameter in choice.problem.parameters}
    stated = {} if controls is None else controls
    return Further(
        add=", ".join(part.text for part in parts),
        controls=tuple(f"{name}={value}" for name, value in stated.items() if value != _label(first.settings, name)),
        covariance=covariance[np.ix_(order, order)],
        felt={name.removeprefix("log_"): float(value) for name, value in zip(names, foreseen.felt, strict=True)},
        new_parts={
            name.removeprefix("log_"): float(np.sqrt(covariance[index, index]))
            for index, name in enumerate(names)
            if name not in known and name.startswith("log_") and not name.startswith("log_added")
        },
    )


def _label(settings: Settings, control: str) -> str:
    return settings.pots[control].label if control in settings.pots else settings.switches[control]


def _turned(evidence: Evidence) -> list[dict[str, str]]:
    """List settings that differ from the first take's in one control, and let the pickup under the exciter through."""
    instrument, first = evidence.instrument, evidence.takes[0]
    if instrument is None:
        return []
    base = {name: _label(first.settings, name) for name in (*first.settings.pots, *first.settings.switches)}
    changes = [(name, value) for name in instrument.pot for value in ("0", "5")]
    changes += [(name, position) for name, switch in instrument.switch.items() for position in switch.positions]
    made = {repr(take.settings) for take in evidence.takes}
    load = [Passive(key="input.resistance", is_capacitor=False, ends=(instrument.output, GROUND))]
    out = []
    for name, value in changes:
        settings = read_settings(instrument, base | {name: value})
        coils = wire_instrument(instrument, settings, load=load).coils
        if coils and (not first.coil_over or first.coil_over in coils) and repr(settings) not in made:
            out.append(base | {name: value})
    return out


def _plain(parts: Sequence[Quantity]) -> tuple[tuple[str, float], ...]:
    return tuple(sorted((part.unit, part.value) for part in parts))


def _cost(parts: Sequence[Quantity]) -> tuple[int, float]:
    loosest = max((part.standard_uncertainty or 0.0) / part.value for part in parts)
    return len(parts), -loosest
