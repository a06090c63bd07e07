"""Is a part what is marked on it? The measured value against the marking's tolerance, its uncertainty counted."""

from dataclasses import dataclass
from typing import Literal

from fit.answers.confirm.conformity import Decision, decide_conformity
from fit.answers.confirm.marking import marking_code, nearest_marking, preferred_text
from fit.answers.digits import allowed_digits
from fit.answers.figures import Estimate, NextTake
from measure.kinds import KINDS, PRINTED, assume_tolerance, kind_of
from measure.quantity import Quantity, format_quantity

Verdict = Literal["within marking", "outside marking", "not resolved"]
FULL_DIGITS = 4  # of a limit in a sentence


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ConfirmAnswer:
    """One part: what is marked on it, what was measured, and the verdict.

    Attributes
    ----------
    part : str
        For example ``"capacitor.tone"``.
    tolerance : float or None
        Of the marking, relative; None where nothing is marked. [1]
    tolerance_assumed : bool
        The marking states none, so the usual one counts.
    marked_low, marked_high : float or None
        What the marking allows. [unit of the part]
    measured : Estimate or None
        None where the takes do not tell the part.
    deviation : float or None
        Measured over marked, less 1. [1]
    verdict : {"within marking", "outside marking", "not resolved"}
        By guarded acceptance and guarded rejection: what holds for the whole 95 % interval.
    why : str
        The reason of the verdict, one sentence.
    decision : Decision or None
        Where the value lies, and how probable it is that the part is within its marking; None where nothing is marked, or nothing
        measured that counts.
    next_take : NextTake or None
        That would tell the part, where it is not resolved.
    nearest_preferred : str or None
        Nearest to what was measured, by ratio, for example ``"33 nF (E6)"``.
    code : str or None
        As the marking reads on a part; where nothing is marked, that of the nearest preferred value.
    """

    part: str
    marked: Quantity | None
    tolerance: float | None
    tolerance_assumed: bool
    marked_low: float | None
    marked_high: float | None
    measured: Estimate | None
    deviation: float | None
    verdict: Verdict
    why: str
    decision: Decision | None
    next_take: NextTake | None
    nearest_preferred: str | None
    code: str | None


def confirm_part(
    part: str,
    *,
    marked: Quantity | None,
    measured: Estimate | None,
    why_not: str = "",
    next_take: NextTake | None = None,
) -> ConfirmAnswer:
    """Compare a part with its marking.

    Parameters
    ----------
    part : str
        ``"capacitor.NAME"``, ``"pot.NAME"`` or ``"resistor.NAME"``.
    marked : Quantity or None
        As read from the part; without a bound, the usual tolerance of such parts counts.
    measured : Estimate or None
        From a fit to which the marking gave no information.
    why_not : str
        Why nothing is measured, or why it does not count; with it the verdict is "not resolved".

    Returns
    -------
    ConfirmAnswer
        Within the marking only if the whole 95 % interval lies inside it, outside only if the whole of it lies beyond.

    Raises
    ------
    ValueError
        If the part is of another kind, or has another unit than its marking.
    """
    kind = kind_of(part)
    if kind not in PRINTED or not part.partition(".")[2]:
        msg = f'"{part[:60]}" is no part with a marking: expected capacitor.NAME, pot.NAME or resistor.NAME'
        raise ValueError(msg)
    if marked is not None and measured is not None and marked.unit != measured.unit:
        msg = f"{part} is marked in {marked.unit} and measured in {measured.unit}"
        raise ValueError(msg)
    is_assumed = marked is not None and marked.bound is None
    bound = None if marked is None else assume_tolerance(marked, kind).bound
    tolerance = None if marked is None or bound is None else float(f"{bound / marked.value:.12g}")  # 0.1, not 0.10000000000000002
    low = None if marked is None or bound is None else marked.value - bound
    high = None if marked is None or bound is None else marked.value + bound
    decision = None
    if measured is not None and not why_not and low is not None and high is not None:
        decision = decide_conformity(measured, low=low, high=high)
    verdict, why = _judge(decision, measured, why_not)
    unit = "F" if kind == "capacitor" else "Ω"
    near = None if measured is None else nearest_marking(measured.value, unit, tolerance or KINDS[kind].tolerance)
    code = None
    if marked is not None:
        code = _code(marked.value, unit, None if is_assumed else tolerance)
    elif near is not None:
        code = _code(near.value, unit, None)
    return ConfirmAnswer(
        part=part,
        marked=marked,
        tolerance=tolerance,
        tolerance_assumed=is_assumed,
        marked_low=low,
        marked_high=high,
        measured=measured,
        deviation=None if marked is None or measured is None else measured.value / marked.value - 1,
        verdict=verdict,
        why=why,
        decision=decision,
        next_take=next_take if verdict == "not resolved" else None,
        nearest_preferred=None if near is None else preferred_text(near),
        code=code,
    )


def limit_text(value: float, unit: str) -> str:
    """Write a limit of a marking.

    Parameters
    ----------
    value : float
        [`unit`]

    Returns
    -------
    str
        Up to four digits, without zeros at the end.

    Examples
    --------
    >>> limit_text(29.7e-9, "F"), limit_text(400e3, "Ω")
    ('29.7 nF', '400 kΩ')
    """
    number, _, rest = format_quantity(value, unit, FULL_DIGITS).partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {rest}"


def _judge(decision: Decision | None, measured: Estimate | None, why_not: str) -> tuple[Verdict, str]:
    if why_not or measured is None:
        return "not resolved", why_not or "the takes do not tell it"
    if decision is None:
        return "not resolved", "nothing is marked on it that could be tested"
    low, high = decision.limits
    low_text, high_text = limit_text(low, measured.unit), limit_text(high, measured.unit)
    if decision.side == "inside":
        return "within marking", f"the whole 95 % interval lies between {low_text} and {high_text}"
    if decision.side in ("below", "above"):
        limit = low_text if decision.side == "below" else high_text
        return "outside marking", f"the whole 95 % interval lies {decision.side} {limit}"
    value, unit = measured.value, measured.unit
    reaches = [
        (measured.low < low <= value, low - measured.low, f"below the lower limit {low_text}"),
        (value <= high < measured.high, measured.high - high, f"above the upper limit {high_text}"),
        (value < low, measured.high - low, f"above the lower limit {low_text}"),
        (value > high, high - measured.low, f"below the upper limit {high_text}"),
    ]
    half = (measured.high - measured.low) / 2
    told = " and ".join(
        f"{format_quantity(length, unit, allowed_digits(length, half, most=2))} {where}"
        for is_so, length, where in reaches
        if is_so
    )
    inside = "inside" if low <= value <= high else "outside"
    return "not resolved", f"the value lies {inside} the marking, but its 95 % interval reaches {told}"


def _code(value: float, unit: str, tolerance: float | None) -> str | None:
    try:
        return marking_code(value, unit, tolerance)
    except ValueError:  # more digits than a code holds
        return None
