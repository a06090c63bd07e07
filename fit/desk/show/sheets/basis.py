"""What a prediction rests on, value by value: measured, changed, stated, or only marked."""

import math

from msgspec import UNSET

from fit.answers.digits import allowed_digits, interval_texts
from fit.answers.figures import COVERAGE
from fit.answers.parts.known import Basis
from fit.answers.predict.prediction import PredictAnswer
from fit.circuit.realparts import LOSS
from fit.desk.show.document import guitar
from fit.desk.show.sheet import Block, Section, Table, Text
from fit.desk.show.words import MINUS
from measure.quantity import format_quantity

HOW_KNOWN = {
    "measured": "measured",
    "changed": "changed",
    "stated": "stated",
    "marked": "only marked",
    "taper": "by its taper",
}
CLAIMS = ("marked", "taper")
EXACT = 1e-9  # [1] narrower than this is no interval
FACTOR_FROM = 0.5  # [1] a relative half-width from which on ± says nothing


def basis_section(answer: PredictAnswer, *, beside: PredictAnswer | None = None, word: str = "") -> Section:
    """Say what a prediction rests on; beside another one, only what differs."""
    basis = {key: one for key, one in answer.basis.items() if beside is None or not _is_same(one, beside.basis.get(key))}
    rows = tuple((key, value_text(key, one), _sureness(key, one), _how_known(one)) for key, one in basis.items())
    if beside is not None:
        told: Block = Table(rows, has_head=False) if rows else Text(("the same",), is_note=True)
        return Section((told,), heading=f"What differs, {word}", is_folded=True)
    blocks: list[Block] = [Table(rows, has_head=False)]
    if answer.measured is not None:
        simulated = "; simulated data" if answer.measured.simulated else ""
        takes = ", ".join(answer.measured.takes)
        blocks.append(Text((f"measured: by the last fit, takes {takes}, ± of 95 %{simulated}",), is_note=True))
    claims = {one.origin for one in answer.basis.values()} & set(CLAIMS)
    if claims and answer.with_tolerance:
        counted = "counted as printed (audio: 10 to 15 % of the track at 5); --no-tolerance leaves them out"
        blocks.append(Text((f"only marked, by its taper: claims, {counted}",), is_note=True))
    elif claims:
        text = "only marked, by its taper: claims, left out of the intervals above, which are too narrow by that"
        blocks.append(Text((text,), is_note=True))
    return Section(tuple(blocks), heading="What this rests on", is_folded=True)


def _is_same(one: Basis, other: Basis | None) -> bool:
    return other is not None and (one.value, one.origin) == (other.value, other.origin)


def _how_known(basis: Basis) -> str:
    return HOW_KNOWN[basis.origin] + (", tolerance assumed" if basis.is_assumed and not basis.is_exact else "")


def known_value(basis: Basis) -> guitar.Basis:
    """Put one value that a prediction rests on as JSON states it."""
    return guitar.Basis(
        value=basis.value,
        unit=basis.unit,
        standard_uncertainty=_std_of(basis),
        origin=basis.origin,
        tolerance_assumed=basis.is_assumed or UNSET,
    )


def _std_of(basis: Basis) -> float | None:
    return abs(basis.value) * basis.relative_std if basis.relative_std is not None else basis.std


def sureness_text(half: float) -> str:
    """Put how sure a value is for people.

    Parameters
    ----------
    half : float
        Half-width of its interval over the value. [1]

    Returns
    -------
    str
        ``"± 2.1 %"``; a factor where it is wide.
    """
    if half < EXACT:
        return "exact"
    return f"± {100 * half:.2g} %" if half < FACTOR_FROM else f"× or ÷ {math.exp(min(half, 20.0)):.2g}"


def value_text(key: str, basis: Basis) -> str:
    """Write one value that a prediction rests on.

    Returns
    -------
    str
        Of what was measured no more digits than its interval allows; a share of a track and a loss tangent in per cent.
    """
    is_share = "@" in key or key.endswith(LOSS)
    half = COVERAGE * (_std_of(basis) or 0.0) if basis.origin == "measured" else 0.0
    digits = allowed_digits(basis.value, half, most=3 if is_share else 4)
    text = f"{100 * basis.value:.{digits}g} %" if is_share else format_quantity(basis.value, basis.unit, digits)
    return text.replace("-", MINUS)


def _sureness(key: str, basis: Basis) -> str:
    if basis.is_exact:
        return "not counted" if basis.origin in CLAIMS else "taken as exact"
    # of what is stated the bound, as it was written; of what was measured 95 %
    factor = COVERAGE if basis.origin == "measured" else math.sqrt(3)
    if basis.std is None:
        return sureness_text((basis.relative_std or 0.0) * factor)
    half = basis.std * factor
    if half < FACTOR_FROM * basis.value:
        return sureness_text(half / basis.value)
    unit, scale = ("%", 100.0) if key.endswith(LOSS) else (basis.unit, 1.0)
    low, high = max(basis.value - half, 0.0), basis.value + half
    return interval_texts(scale * basis.value, scale * low, scale * high, unit)[1]
