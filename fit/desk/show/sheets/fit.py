"""What a fit found, and the checks of a take, for people."""

from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.show.sheet import Block, Listing, Notice, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.sheets.taper import taper_section
from fit.desk.show.words import (
    headline_keys,
    in_order,
    in_sentence,
    note_name,
    quantity_name,
    quantity_texts,
)
from measure.quantity import format_quantity

MOST_FLOOR = 0.029  # [1] from which on a floor is at the end of what is estimated
MISFIT_AT = 0.005  # [1] floor from which a model is said to misfit
SHOWN_CANDIDATES = 4
MOST_REACHES = 3
HELPED_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")


def sheet_of_fit(answer: PickupAnswer, *, warnings: tuple[str, ...], with_limits: bool = False) -> Sheet:
    """Lay out what a pickup or a guitar is, as ``fit`` prints it.

    Parameters
    ----------
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    with_limits : bool
        What limits each value stands beside it, not in a table of its own.

    Returns
    -------
    Sheet
        Values with intervals, what is not told, the model and how far it goes.
    """
    what = "Guitar" if answer.tapers else "Pickup"
    blocks: list[Block] = [Text((f"{what}, from {', '.join(answer.takes)}",)), *simulated_notice(is_simulated=answer.simulated)]
    if answer.outcome != "good":
        blocks.append(Section((Notice(tuple(misfit_lines(answer)), "bad"),)))
    rows = quantity_rows(answer)
    losses = tuple(row for row, key in zip(rows[1:], told_keys(answer), strict=True) if is_loss(key))
    values = tuple(row if with_limits else row[:-1] for row in rows if row not in losses)
    blocks.append(Section((Table(values),), label="All values"))
    blocks += [
        *taper_section(read_tapers(answer.quantities, answer.tapers)),
        *_not_told_section(answer),
        *_next_takes_section(answer),
    ]
    noticed = (*warnings, *(finding.text for finding in answer.findings if finding.severity == "warn"))
    blocks += warnings_section(dict.fromkeys(noticed))
    rests_on = tuple(finding.text for finding in answer.findings if finding.code == "rests-on")
    if rests_on:
        blocks.append(Section((Listing(rests_on),), heading="Taken on trust"))
    untold = _not_told_items(answer, of_losses=True)
    if losses or untold:
        inside: list[Block] = [Table((rows[0][:-1], *(row[:-1] for row in losses)))] if losses else []
        inside += [Section((Listing(untold),), heading="Not told by these takes")] if untold else []
        blocks.append(Section(tuple(inside), heading="Losses in pole pieces, cover and base plate", is_folded=True))
    limits = tuple((str(row[0]), str(row[-1])) for row in rows[1:] if row[-1])
    if limits and not with_limits:
        blocks.append(Section((Table(limits, has_head=False),), heading="What limits each value most", is_folded=True))
    blocks += _model_sections(answer)
    return Sheet(title=titled(f"A {what.lower()}, measured", is_simulated=answer.simulated), blocks=tuple(blocks))


def _model_sections(answer: PickupAnswer) -> tuple[Section, ...]:
    tried = Table(candidate_rows(answer, head="tried")[: SHOWN_CANDIDATES + 1])
    agreement: list[Block] = [Table(agreement_rows(answer))]
    if answer.outcome == "good":
        text = f"smooth difference: {100 * answer.floor.value:.2g} % (values are good below 0.5 %)"
        agreement.append(Text((text,), is_note=True))
    return (
        Section((tried,), heading=f"Model: {answer.model_name}", is_folded=True),
        Section(tuple(agreement), heading="Agreement of model and measurement", is_folded=True),
    )


def misfit_lines(answer: "PickupAnswer") -> list[str]:
    """Heading of values that are not to be relied upon.

    Parameters
    ----------
    answer : PickupAnswer
        Whose outcome is not good.
    """
    doubts = [finding.text for finding in answer.findings if finding.severity == "reject" and finding.code != "misfit"]
    if answer.floor.value < MISFIT_AT:
        return ["INDICATIVE ONLY: what was measured and what was stated do not go together.", *doubts]
    worst = f"{format_quantity(answer.floor.worst_hz, 'Hz')} (near {note_name(answer.floor.worst_hz)})"
    return [
        "INDICATIVE ONLY: no model tried describes this pickup well enough.",
        f"Model and measurement differ by {_at_least(answer.floor.value)} beside the noise, most near {worst}; the limit is "
        f"{100 * MISFIT_AT:.1g} %. True values may lie outside the intervals.",
        *doubts,
    ]


def _at_least(floor: float) -> str:
    """Say a floor's size; it is not estimated beyond 3 %."""
    return f"{'at least ' if floor > MOST_FLOOR else ''}{100 * floor:.2g} %"


def quantity_rows(answer: PickupAnswer) -> tuple[Row, ...]:
    """Rows of the table of values.

    Returns
    -------
    tuple
        Quantity, value, 95 % interval, what limits it most; the first row is the heading.
    """
    told = {key: answer.quantities[key] for key in told_keys(answer)}
    rows = ((quantity_name(key), *quantity_texts(key, one), limiting_source(answer, key)) for key, one in told.items())
    return (("", "value", "95 % interval", "limited most by"), *rows)


def told_keys(answer: PickupAnswer) -> list[str]:
    """List the quantities that the table of values has: all but a taper's, which has a table of its own."""
    return [key for key in in_order(answer.quantities) if "@" not in key]


def is_loss(key: str) -> bool:
    """Say whether a quantity describes a loss of the model rather than the pickup."""
    return "eddy_" in key


def limiting_source(answer: "PickupAnswer", key: str) -> str:
    """Name the largest contribution to the uncertainty of a quantity.

    Returns
    -------
    str
        The source with its share of the variance; empty where there is no budget.
    """
    parts = answer.budget.get(key, ())
    total = sum(part.contribution**2 for part in parts)
    if total <= 0:
        return ""
    largest = max(parts, key=lambda part: abs(part.contribution))
    return f"{largest.source} ({100 * largest.contribution**2 / total:.0f} %)"


def agreement_rows(answer: PickupAnswer) -> tuple[Row, ...]:
    """Rows of the table that says how far model and measurement lie apart.

    Returns
    -------
    tuple
        Take, rms and largest difference; the first row is the heading.
    """
    rows = (
        (curve.take, f"{curve.rms_db:.3f} dB", f"{curve.max_db:.3f} dB", f"{curve.rms_degree:.2f}°") for curve in answer.curves
    )
    return (("take", "rms", "largest", "phase rms"), *rows)


def not_told(answer: "PickupAnswer", *, of_losses: bool = False) -> list[tuple[str, str, str]]:
    """Group what the takes cannot tell by its reason and its cheapest next take.

    Parameters
    ----------
    of_losses : bool
        Of the model's losses, which few ask for, or of all else.

    Returns
    -------
    list of (str, str, str)
        Quantities, why, next take with what it would tell; the last is empty where no take helps.
    """
    groups: dict[tuple[str, str], list[tuple[str, str]]] = {}
    by_key = {one.quantity: one for one in answer.not_identified if is_loss(one.quantity) is of_losses}
    for key in in_order(by_key):
        one = by_key[key]
        text = "" if one.next_take is None else one.next_take.text
        reach = "" if one.next_take is None else f"{in_sentence(key)} to ± {196 * one.next_take.predicted_relative_std:.2g} %"
        groups.setdefault((one.why, text), []).append((quantity_name(key), reach))
    rows = []
    for (why, text), members in groups.items():
        reaches = "; ".join(reach for _, reach in members[:MOST_REACHES])
        rows.append(("; ".join(name for name, _ in members), why, f"{text}; it would tell {reaches}" if text else ""))
    return rows


def _not_told_items(answer: PickupAnswer, *, of_losses: bool) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (names, why, f"cheapest next take: {following}") if following else (names, why)
        for names, why, following in not_told(answer, of_losses=of_losses)
    )


def _not_told_section(answer: PickupAnswer) -> tuple[Section, ...]:
    items = _not_told_items(answer, of_losses=False)
    return (Section((Listing(items),), heading="Not told by these takes"),) if items else ()


# One take helps several quantities: it is named once, with all that it would narrow by a tenth or more.
def _next_takes_section(answer: PickupAnswer) -> tuple[Section, ...]:
    helped: dict[str, list[str]] = {}
    for key in headline_keys(answer.next_takes, HELPED_QUANTITIES):
        takes, estimate = answer.next_takes.get(key), answer.quantities.get(key)
        if takes and estimate is not None:
            now = estimate.standard_uncertainty / abs(estimate.value)
            then = takes[0].predicted_relative_std
            if then < 0.9 * now:
                percent = 100 * estimate.coverage_factor  # as the interval that is shown beside it
                reach = f"{quantity_name(key)} to ± {percent * then:.2g} % (now ± {percent * now:.2g} %)"
                helped.setdefault(takes[0].text, []).append(reach)
    items = tuple((f"{text}:", *reaches) for text, reaches in helped.items())
    return (Section((Listing(items),), heading="What would narrow it further"),) if items else ()


def candidate_rows(answer: PickupAnswer, *, head: str) -> tuple[Row, ...]:
    """Rows of the table of models, the best first; nothing where none was tried."""
    ranked = sorted(answer.candidates, key=lambda one: one.bic)
    if not ranked:
        return ()
    rows = ((one.name, f"{one.bic - ranked[0].bic:.1f}", f"{one.reduced_chi_square:.3g}") for one in ranked)
    return ((head, "BIC above the best", "reduced χ²"), *rows)
