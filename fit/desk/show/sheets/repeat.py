"""What is said of a bench's repeatability."""

from collections.abc import Sequence
from dataclasses import dataclass

from fit.answers.digits import interval_texts
from fit.answers.figures import COVERAGE
from fit.answers.repeat.repeatability import DAY, PLACEMENT, REPEAT, Repeatability, Spread
from fit.desk.show.document import pickup
from fit.desk.show.document.pieces import number
from fit.desk.show.sheet import Block, Listing, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.sheets.take_sets import FittedSet, TakeSets, sets_text, shown_quantities
from fit.desk.show.words import MINUS, in_sentence, quantity_name

SYMBOLS = {
    (REPEAT,): "exciter left where it is",
    (PLACEMENT,): "exciter laid down anew",
    (DAY,): "another day",
    (PLACEMENT, REPEAT): "exciter laid down anew, and repeats",
    (DAY, PLACEMENT): "exciter laid down anew, another day",
    (DAY, PLACEMENT, REPEAT): "exciter laid anew, another day, and repeats",
}
PICTURE = Picture(
    name="results",
    heading="Results",
    caption="Each result, time by time, in percent of the mean (dB for levels); days apart by colour and form. The band is 95 % "
    "of what the fits state beside the references that all results share.",
)

FEW = 4.0  # degrees of freedom, with fewer the upper end of an interval is over three times the value


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Repeated:
    """What a command found, for lines, document and picture.

    Attributes
    ----------
    split : TakeSets
        How the takes were put together.
    fitted : tuple of FittedSet
        Sets with their results.
    quantities : dict of str to Repeatability
        In the order in which people ask for them.
    untold : tuple of str
        Quantities that not every set tells.
    advice : tuple of str
        What would tell more, one line each.
    """

    split: TakeSets
    fitted: tuple[FittedSet, ...]
    quantities: dict[str, Repeatability]
    untold: tuple[str, ...]
    advice: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def simulated(self) -> bool:
        """A take came from the virtual bench."""
        return any(one.answer.simulated for one in self.fitted)


def sheet_of_repeat(found: Repeated) -> Sheet:
    """Lay out how well a bench repeats.

    Returns
    -------
    Sheet
        Standard deviations, what they do to a result, whether stated intervals hold.
    """
    n_placements, n_days = _counts(found.fitted)
    laid = f"exciter laid down {f'{n_placements} times' if n_placements > 1 else 'once'}"
    where = f"{laid} on {n_days} day{'s' if n_days > 1 else ''}"
    head = f"Repeatability of this bench, from {sets_text(found.split, len(found.fitted))}: {where}"
    is_judged = any(one.together is not None for one in found.quantities.values())
    holds = not any(one.verdict == "too narrow" for one in found.quantities.values())
    first, *others = verdict_lines(found) if is_judged else ["What this bench adds to one result is not told yet."]
    blocks: list[Block] = [Verdict(first, ("good" if holds else "bad") if is_judged else "look", tuple(others))]
    blocks += [*simulated_notice(is_simulated=found.simulated), Text((head,)), PICTURE]
    rows: list[Row] = [("", "", "standard deviation", "95 % interval", "degrees of freedom")]
    rows += [row for key in shown_quantities(list(found.quantities)) for row in _spread_rows(key, found)]
    blocks += [Section((Table(tuple(rows)),), label="Standard deviations")]
    if is_judged:
        results: list[Row] = [("", "stated", "of it not shared", "on this bench", "stated intervals")]
        results += [_result_row(key, found) for key in found.quantities]
        blocks.append(Section((Table(tuple(results)),), heading="One result, half of its 95 % interval"))
    if found.untold:
        text = f"Not told by every set: {', '.join(in_sentence(key) for key in found.untold)}"
        blocks.append(Section((Text((text,)),)))
    if found.advice:
        blocks.append(Section((Listing(found.advice),), heading="What would tell more"))
    blocks += warnings_section(found.warnings)
    return Sheet(title=titled("How well this bench repeats", is_simulated=found.simulated), blocks=tuple(blocks))


def verdict_lines(found: Repeated) -> list[str]:
    """Say whether stated intervals hold on this bench.

    Parameters
    ----------
    found : Repeated
        With quantities of which that is told.

    Returns
    -------
    list of str
        One line for good and one for bad.
    """
    narrow = [key for key, one in found.quantities.items() if one.verdict == "too narrow"]
    if not narrow:
        least = min(one.p_value for one in found.quantities.values())
        return [
            "The stated intervals hold on this bench: results lie no further apart than their intervals allow for beside the "
            f"references that all of them share (p = {least:.2g} at the least)."
        ]
    names = ", ".join(in_sentence(key) for key in narrow)
    return [
        f"The stated intervals are TOO NARROW on this bench for {names}: results lie further apart than chance would have it "
        "(p below 5 % for all quantities together).",
        "Take the half-widths of the column “on this bench”, or the mean of several, the exciter laid down anew for each.",
    ]


def repeat_document(found: Repeated) -> pickup.RepeatDocument:
    """Put the answer as ``repeat --json`` states it."""
    n_placements, n_days = _counts(found.fitted)
    return pickup.RepeatDocument(
        simulated=found.simulated,
        loads=found.split.loads,
        n_sets=len(found.fitted),
        n_placements=n_placements,
        n_days=n_days,
        sets=tuple(
            pickup.RepeatedSet(
                takes=one.takes.names,
                day=one.takes.day + 1,
                date=one.takes.date,
                placement=one.takes.placement + 1,
                values={key: one.answer.quantities[key].value for key in found.quantities},
            )
            for one in found.fitted
        ),
        quantities={
            key: _repeated_quantity(one, found.fitted[0].answer.quantities[key].unit) for key, one in found.quantities.items()
        },
        not_told=found.untold,
        advice=found.advice,
        warnings=found.warnings,
    )


def relative_text(size: float, mean: float, unit: str) -> str:
    """Write a standard deviation.

    Parameters
    ----------
    size, mean : float
        Of a quantity with that mean. [`unit`]
    unit : str
        Levels in dB stay so; all else is put in percent of the mean.

    Examples
    --------
    >>> relative_text(0.0023, 2.3, "H"), relative_text(0.012, 13.5, "dB")
    ('0.1 %', '0.012 dB')
    """
    return f"{size:.2g} dB" if unit == "dB" or mean == 0 else f"{100 * size / abs(mean):.2g} %"


def _counts(fitted: Sequence[FittedSet]) -> tuple[int, int]:
    return len({one.takes.placement for one in fitted}), len({one.takes.day for one in fitted})


def _spread_rows(key: str, found: Repeated) -> list[Row]:
    one, unit = found.quantities[key], found.fitted[0].answer.quantities[key].unit
    named = [(SYMBOLS[sources], spread) for sources, spread in reversed(one.spreads.items())]
    if one.together is not None and len(one.spreads) > 1:
        named.append(("all of it", one.together))
    rows: list[Row] = []
    for index, (symbol, spread) in enumerate(named):
        low, high = (relative_text(end, one.mean, unit) for end in (spread.low, spread.high))
        ends = f"{low.partition(' ')[0]} … {high}"
        freedom = f"{spread.freedom:.3g}" if spread.freedom else MINUS
        name = f"{quantity_name(key)}, {_mean_text(one, unit)}" if index == 0 else ""
        rows.append((name, symbol, relative_text(spread.std, one.mean, unit), ends, freedom))
    return rows


def _mean_text(one: Repeatability, unit: str) -> str:
    return interval_texts(one.mean, one.mean - one.stated_half, one.mean + one.stated_half, unit)[0]


def _result_row(key: str, found: Repeated) -> Row:
    one, unit = found.quantities[key], found.fitted[0].answer.quantities[key].unit
    halves = (one.stated_half, COVERAGE * one.own_std, one.bench_half)
    texts = [f"± {relative_text(half, one.mean, unit)}" for half in halves]
    verdict = f"{one.verdict} (p = {one.p_value:.2g})"
    return (quantity_name(key), *texts, verdict)


def advice_of(one: Repeatability, fitted: Sequence[FittedSet]) -> tuple[str, ...]:
    """Say what the design of the takes leaves open; it is the same for all quantities."""
    n_placements, n_days = _counts(fitted)
    told = set(one.spreads)
    out = []
    if n_placements == 1:
        out.append("the exciter lay in one place all the time: lay it down anew for a set (--coil-moved), five times or more")
    elif n_days == 1:
        out.append("all in one day: sets of other days would tell what another day adds")
    elif (DAY, PLACEMENT) in told or (DAY, PLACEMENT, REPEAT) in told:
        out.append("the exciter was laid down once a day: do it twice in a day or more, to tell its place and the day apart")
    if any(len(sources) > 1 and REPEAT in sources for sources in told):
        out.append("one set each time: take the set twice without moving the exciter, to tell repeats by themselves")
    if one.together is not None and one.together.freedom < FEW:
        what = "days" if n_days > 1 else "times that the exciter is laid down"
        out.append(f"few degrees of freedom make the interval of all of it wide: more {what}")
    return tuple(out)


def _repeated_quantity(one: Repeatability, unit: str) -> pickup.RepeatedQuantity:
    return pickup.RepeatedQuantity(
        unit=unit,
        mean=one.mean,
        standard_deviations={"+".join(sources): _spread(spread) for sources, spread in one.spreads.items()},
        together=None if one.together is None else _spread(one.together),
        stated=pickup.StatedUncertainty(
            standard_uncertainty=one.stated_std, not_shared=one.own_std, shared=one.shared_std, half_width_95=one.stated_half
        ),
        one_result=pickup.BenchUncertainty(standard_uncertainty=one.bench_std, half_width_95=one.bench_half),
        p_value=one.p_value if one.together is not None else None,
        verdict=one.verdict,
    )


def _spread(spread: Spread) -> pickup.Spread:
    return pickup.Spread(
        standard_deviation=spread.std,
        interval_95=(number(spread.low), number(spread.high)),
        degrees_of_freedom=spread.freedom or None,
    )
