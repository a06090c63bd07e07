"""A part against its marking, for people."""

from fit.answers.confirm.confirmation import ConfirmAnswer, limit_text
from fit.answers.confirm.conformity import Decision
from fit.answers.digits import MINUS, limits_text, spread_texts
from fit.answers.figures import Contribution, Estimate
from fit.desk.show.sheet import Block, Level, Listing, Meaning, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import CIRCUIT, simulated_notice, titled, warnings_section
from fit.desk.show.sheets.player import meaning_of_confirm
from fit.desk.show.words import estimate_texts, quantity_name
from measure.quantity import format_quantity

POT_NOTE = "pots are made in steps of 1, 2.5 and 5 rather than in an E series (common practice)"
SOURCES = "What makes it uncertain (95 %, share of the variance)"
WAYS = "What may tell it"
SHOWN_SOURCES = 4
LEAST_SHARE = 0.005  # [1] of the variance, that is worth a line
LEVELS: dict[str, Level] = {"within marking": "good", "outside marking": "bad", "not resolved": "look"}
PICTURE = Picture(
    name="verdict",
    heading="Measured and marked",
    caption="The band is what the marking allows, the dashed lines what is accepted of it; the bar is the measured value's 95 % "
    "interval.",
)
CERTAIN = 0.0005  # [1] a probability that rounds to 0.0 or 100.0 % is told as a bound


def sheet_of_confirm(
    answer: ConfirmAnswer,
    budget: tuple[Contribution, ...],
    *,
    takes: tuple[str, ...],
    simulated: bool,
    warnings: tuple[str, ...] = (),
    ways: tuple[str, ...] = (),
) -> Sheet:
    """Lay out whether a part is what is marked on it.

    Parameters
    ----------
    budget : tuple of Contribution
        What the measured value's uncertainty consists of.
    simulated : bool
        They came from the virtual bench.
    warnings : tuple of str
        What was noticed on the way.
    ways : tuple of str
        What leads on, where no take is known that would.

    Returns
    -------
    Sheet
        Verdict, marked and measured, what makes it uncertain.
    """
    blocks: list[Block] = [
        Verdict(f"{answer.verdict.upper()}: {answer.why}", LEVELS[answer.verdict]),
        *simulated_notice(is_simulated=simulated),
        Text((f"{answer.part}, from {', '.join(takes)}",)),
    ]
    if answer.measured is not None or answer.marked_low is not None:
        blocks.append(PICTURE)
    meaning = meaning_of_confirm(answer)
    blocks += [Meaning(meaning)] if meaning else []
    blocks += [CIRCUIT, Section((Table(tuple(part_rows(answer)), has_head=False),), label="What was found")]
    if answer.measured is not None and budget:
        rows = tuple(_source_rows(answer.measured, budget))
        blocks.append(Section((Table(rows, has_head=False),), heading=SOURCES, is_folded=True))
    if answer.next_take is not None:
        reach = 196 * answer.next_take.predicted_relative_std
        text = f"What would tell: {answer.next_take.text}: {answer.part} to ± {reach:.2g} %"
        blocks.append(Section((Text((text,)),), label="Next take"))
    if ways:
        blocks.append(Section((Listing(ways),), heading=WAYS))
    blocks += warnings_section(warnings)
    title = titled(f"{quantity_name(answer.part)}: {answer.verdict}", is_simulated=simulated)
    return Sheet(title=title, blocks=tuple(blocks))


def _source_rows(measured: Estimate, budget: tuple[Contribution, ...]) -> list[Row]:
    total = sum(one.contribution**2 for one in budget)
    largest = sorted(budget, key=lambda one: -abs(one.contribution))[:SHOWN_SOURCES]
    shares = [(one, one.contribution**2 / total) for one in largest]
    factor = measured.coverage_factor  # of the whole, so that no part looks larger than the whole
    return [
        (one.source, f"± {format_quantity(factor * abs(one.contribution), measured.unit, 2)}", f"{100 * share:.0f} %")
        for one, share in shares
        if share >= LEAST_SHARE
    ]


def part_rows(answer: ConfirmAnswer) -> list[Row]:
    """Put what is marked, what was measured and how that was judged."""
    rows: list[Row] = []
    if answer.marked is not None and answer.tolerance is not None and answer.marked_low is not None:
        allowed = f"{limit_text(answer.marked_low, answer.marked.unit)} … "
        allowed += limit_text(answer.marked_high or answer.marked.value, answer.marked.unit)
        how = f", ± {100 * answer.tolerance:g} % assumed" if answer.tolerance_assumed else ""
        rows.append(("marked", f"{answer.marked.understood or answer.marked.text}{how}", f"{allowed} allowed"))
    if answer.measured is not None:
        value, interval = estimate_texts(answer.measured)
        rows.append(("measured", value, f"{interval} (95 %)"))
    if answer.deviation is not None and answer.measured is not None and answer.marked is not None:
        half = (answer.measured.high - answer.measured.low) / 2 / answer.marked.value
        off, _ = spread_texts(100 * answer.deviation, 100 * half, finest=-1)
        rows.append(("off the marking", f"{off if off.startswith(MINUS) else f'+{off}'} %", ""))
    if answer.decision is not None and answer.measured is not None:
        rows += _decision_rows(answer.decision, answer.measured.unit)
    if answer.code is not None:
        rows.append(
            ("printed code", answer.code, "as on a part, IEC 60062" if answer.marked else "of the nearest preferred value")
        )
    if answer.nearest_preferred is not None:
        note = POT_NOTE if answer.part.startswith("pot.") else "nearest by ratio, IEC 60063"
        rows.append(("nearest preferred", answer.nearest_preferred, note))
    return rows


def chance_text(chance: float) -> str:
    """Write a probability to a tenth of a per cent, never as none or all.

    Parameters
    ----------
    chance : float
        0 to 1. [1]

    Examples
    --------
    >>> chance_text(0.9754), chance_text(0.99999), chance_text(1e-9)
    ('97.5 %', '> 99.9 %', '< 0.1 %')
    """
    if chance < CERTAIN:
        return "< 0.1 %"
    return "> 99.9 %" if chance > 1 - CERTAIN else f"{100 * chance:.1f} %"


def _decision_rows(decision: Decision, unit: str) -> list[Row]:
    risk = "no verdict" if decision.specific_risk is None else f"risk of the verdict {chance_text(decision.specific_risk)}"
    accepted = "no value: the interval is too wide"
    if decision.acceptance is not None:
        accepted = limits_text(*decision.acceptance, unit, half=decision.guard_band)
    width = format_quantity(decision.guard_band, unit, 2)
    if decision.is_logarithmic and decision.acceptance is not None:  # a factor moves a limit, not a difference
        width = f"{100 * (decision.acceptance[0] / decision.limits[0] - 1):.2g} %"
    band = f"guard band w = U = {width} (JCGM 106, 8.3; ILAC-G8:09/2019)"
    return [("accepted", accepted, band), ("within its marking", chance_text(decision.conforming), f"probability; {risk}")]
