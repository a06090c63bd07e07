"""What several documents are made of, and how all of them become JSON; SI units without prefix, 1 σ beside every value."""

import math
from collections.abc import Iterable
from typing import Any, Literal

import msgspec

from fit.answers.confirm.conformity import RULE, STANDARD, Decision, Side
from fit.answers.figures import Estimate, NextTake
from measure.response import Finding, Severity

Number = float | None  # JSON knows no infinity: what is not finite is null
Role = Literal["fitted", "before", "after", "noise", "read", "kept", "inspected", "exported", "load"]
FIRST = ("schema", "outcome", "written", "takes")  # keys that stand at the top of every document that has them


class Piece(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part of a document; a field that is not set has no key."""


class NamedTake(Piece, frozen=True):
    """A take that an answer rests on, or that was made.

    Attributes
    ----------
    name : str
        In the logbook.
    role : {"fitted", "before", "after", "noise", "read", "kept", "inspected", "exported", "load"}
        What it was used for.
    """

    name: str
    role: Role


class Document(Piece, frozen=True, kw_only=True, tag_field="schema"):
    """What a command prints with ``--json``; its tag stands under ``schema``.

    Attributes
    ----------
    outcome : str
        What it came to, in the words that are shown to people, too; "done" where there is nothing to judge.
    written : tuple of str
        Files that were written.
    """

    outcome: str = "done"
    written: tuple[str, ...] = ()


def plain(document: msgspec.Struct) -> dict[str, Any]:
    """Document as JSON has it: arrays as lists, infinities and NaN as null."""
    found: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(document, enc_hook=_plain_array))
    return {key: found[key] for key in FIRST if key in found} | found


# Arrays and numbers of numpy alike have tolist.
def _plain_array(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    msg = f"a {type(value).__name__} is no part of a document"
    raise NotImplementedError(msg)


def named_takes(names: Iterable[str], role: Role) -> tuple[NamedTake, ...]:
    """Name takes with what they were used for."""
    return tuple(NamedTake(name, role) for name in names)


def number(value: float) -> Number:
    """Value, or None where JSON has no number for it."""
    return float(value) if math.isfinite(value) else None


def numbers(values: Iterable[float]) -> tuple[Number, ...]:
    """Values, with None where JSON has no number for them."""
    return tuple(number(value) for value in values)


class Value(Piece, frozen=True, kw_only=True):
    """A quantity with its uncertainty; null stands for what is not finite.

    Attributes
    ----------
    value : float or None
        [`unit`]
    unit : str
        SI without prefix; "1" for pure numbers, "dB" for levels.
    standard_uncertainty : float or None
        [`unit`]
    interval_95 : tuple of (float or None)
        Both ends of the 95 % interval. [`unit`]
    coverage_factor : float or None
        Half of the interval over the standard uncertainty (of the logarithm, for what is above 0 by its nature). [1]
    distribution : str
        Why: "normal", "rectangular" where one stated bound is nearly all of it, "mixed", "t" (few takes), "profile" (walked, not
        linearised).
    """

    value: Number
    unit: str
    standard_uncertainty: Number
    interval_95: tuple[Number, Number]
    coverage_factor: Number
    distribution: str


class Check(Piece, frozen=True, kw_only=True):
    """One check of a recording, a response or a plan.

    Attributes
    ----------
    name : str
        Of the check.
    outcome : {"pass", "warn", "reject"}
        What it came to.
    figure : float or None
        What was measured for it; null where it could not be judged. [`unit`]
    unit : str
        Of the figure.
    advice : str
        What was found, the limit, the cure.
    """

    name: str
    outcome: Severity
    figure: Number
    unit: str
    advice: str


class FurtherTake(Piece, frozen=True, kw_only=True):
    """A further take that would tell a quantity.

    Attributes
    ----------
    add : str
        Parts across the jack, as written for ``--add``.
    set : tuple of str
        CONTROL=VALUE of what is turned, as written for ``--set``.
    text : str
        What to do, for people.
    predicted_relative_std : float or None
        Standard uncertainty of the quantity after it, over its value. [1]
    """

    add: str
    set: tuple[str, ...]
    text: str
    predicted_relative_std: Number


class GuardBand(Piece, frozen=True, kw_only=True):
    """By how much the limits are moved.

    Attributes
    ----------
    value : float
        Half of the 95 % interval. [`unit`]
    unit : str
        Of the value.
    scale : str
        "linear"; "logarithmic" where it is a factor.
    """

    value: float
    unit: str
    scale: str


class DecisionRule(Piece, frozen=True, kw_only=True):
    """By which rule a value was judged, and what that came to; null where there was nothing to judge.

    Attributes
    ----------
    rule : str
        In words.
    standard : str
        That states it.
    guard_band : GuardBand or None
        By how much the limits are moved inwards.
    limits : tuple of float or None
        Of the tolerance, lower and upper. [unit of the value]
    acceptance : tuple of float or None
        The limits moved inwards; null also where nothing is left between them. [unit of the value]
    side : str or None
        Where the value lies: "inside" is accepted, "below" and "above" are rejected, the others decide nothing.
    """

    rule: str
    standard: str
    guard_band: GuardBand | None
    limits: tuple[float, float] | None
    acceptance: tuple[float, float] | None
    side: Side | None


def value_of(estimate: Estimate) -> Value:
    """Put a quantity as JSON states it."""
    return Value(
        value=number(estimate.value),
        unit=estimate.unit,
        standard_uncertainty=number(estimate.standard_uncertainty),
        interval_95=(number(estimate.low), number(estimate.high)),
        coverage_factor=number(estimate.coverage_factor),
        distribution=estimate.distribution,
    )


def value_or_none(estimate: Estimate | None) -> Value | None:
    """Put a quantity as JSON states it, None where there is none."""
    return None if estimate is None else value_of(estimate)


def checks_of(findings: Iterable[Finding]) -> tuple[Check, ...]:
    """Put checks as JSON states them."""
    return tuple(
        Check(
            name=one.code,
            outcome=one.severity,
            figure=None if one.figure is None else number(one.figure),
            unit=one.unit,
            advice=one.text,
        )
        for one in findings
    )


def further_take(take: NextTake) -> FurtherTake:
    """Put a further take as JSON states it."""
    return FurtherTake(
        add=take.add, set=take.controls, text=take.text, predicted_relative_std=number(take.predicted_relative_std)
    )


def rule_of(decision: Decision | None, *, unit: str) -> DecisionRule:
    """Put a decision on conformity as JSON states it; where there was nothing to decide upon the rule stands all the same."""
    if decision is None:
        return DecisionRule(rule=RULE, standard=STANDARD, guard_band=None, limits=None, acceptance=None, side=None)
    scale = "logarithmic" if decision.is_logarithmic else "linear"
    return DecisionRule(
        rule=RULE,
        standard=STANDARD,
        guard_band=GuardBand(value=decision.guard_band, unit=unit, scale=scale),
        limits=decision.limits,
        acceptance=decision.acceptance,
        side=decision.side,
    )
