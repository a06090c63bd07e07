"""What a fit found, and the checks of a take, for people."""

from typing import TYPE_CHECKING

from fit.answers.digits import spread_texts
from fit.answers.figures import COVERAGE
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.show.document.bench import Noise
from fit.desk.show.sheet import Block, Level, Listing, Mark, Notice, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.sheets.takes import change_rows
from fit.desk.show.sheets.taper import taper_section
from fit.desk.show.words import (
    MINUS,
    SIMULATED_TEXT,
    headline_keys,
    in_order,
    in_sentence,
    note_name,
    plain_text,
    quantity_name,
    quantity_texts,
    temperature_text,
)
from measure.quantity import format_quantity
from measure.response import Finding

if TYPE_CHECKING:
    from measure.checks.judgement import Judgement
    from measure.logbook.take import Take

MOST_FLOOR = 0.029  # [1] from which on a floor is at the end of what is estimated
MISFIT_AT = 0.005  # [1] floor from which a model is said to misfit
SHOWN_CANDIDATES = 4
MOST_REACHES = 3
LEAST_SHOWN_DB = 0.05  # [dB] smaller errors of hum and noise are not shown
HELPED_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")
UNJUDGED = "not judged"  # how the text of a check begins that could not be made
OUTCOME_LEVELS: dict[str, Level] = {"good": "good", "usable": "look"}
NOISE = Picture(
    name="noise",
    heading="Noise and hum",
    caption="Steps are the noise without mains lines in third octaves, stems the mains lines; bars are 95 % intervals.",
)
LEVELS: dict[str, Level] = {"pass": "good", "warn": "look", "reject": "bad"}
OUTCOME_WORDS = {"pass": "good", "warn": "look", "reject": "REJECT"}


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


def take_heading(take: "Take") -> str:
    """Head what is told of a take.

    Returns
    -------
    str
        Its name, what it is of, when it was made and by whom, how warm the winding was.
    """
    stated = take.conditions
    item = f" of {stated.item}" if stated.item else ""
    maker = f" by {stated.operator}" if stated.operator else ""
    warmth = temperature_text(stated.temperature_c)
    return f"Take {take.name}{item}, made {take.time_utc}{maker}{f', {warmth}' if warmth else ''}"


def sheet_of_inspect(take: "Take", looked: "Judgement", *, noise: Noise | None = None, content: str = "") -> Sheet:
    """Lay out the checks of a kept take.

    Parameters
    ----------
    looked : Judgement
        What a look at its recordings gave.
    content : str
        What a response measured elsewhere is, in one line.

    Returns
    -------
    Sheet
        Checks, and noise where there is any.
    """
    blocks: list[Block] = [Verdict(_outcome_text(looked), OUTCOME_LEVELS.get(looked.outcome, "bad"))]
    blocks += [*simulated_notice(is_simulated=take.simulated), Text((take_heading(take),))]
    blocks += [
        *([Text((content,))] if content else []),
        *([NOISE] if noise is not None and (noise.third_octaves or noise.lines) else []),
    ]
    blocks.append(Section((Table(check_rows(looked.findings)),), label="Checks", is_apart=False))
    if noise is not None:
        blocks.append(Section((Table(_noise_rows(noise), has_head=False),), heading="Noise"))
    if take.amended:
        blocks.append(Section((Table(change_rows(take.amended, with_time=True)),), heading="Amended"))
    return Sheet(title=titled(f"Take {take.name}: {looked.outcome}", is_simulated=take.simulated), blocks=tuple(blocks))


def checks_told(is_simulated: bool, looked: "Judgement") -> list[str]:
    """Put the checks of a take in a line or two, beside that its recordings came from the virtual bench where they did."""
    return [*([SIMULATED_TEXT] if is_simulated else []), _outcome_text(looked)]


def _outcome_text(looked: "Judgement") -> str:
    return f"Outcome: {looked.outcome} ({_count_text(looked.findings)})"


# A check that could not be made passes in the JSON, with the figure null; people are told that it was not made.
def _count_text(findings: tuple[Finding, ...]) -> str:
    unjudged = [finding.text.removeprefix(UNJUDGED).lstrip(": ") for finding in findings if finding.text.startswith(UNJUDGED)]
    passed = sum(finding.severity == "pass" for finding in findings) - len(unjudged)
    text = f"{passed} of {len(findings)} checks passed"
    if not unjudged:
        return text
    is_rejected = any(finding.severity == "reject" for finding in findings)  # what is wrong already says why
    why = "" if is_rejected else plain_text(max(unjudged, key=unjudged.count))
    return f"{text}, {len(unjudged)} not judged{f': {why}' if why else ''}"


def _noise_rows(noise: Noise) -> tuple[Row, ...]:
    hum, floor, limit = noise.hum_dbfs, noise.floor_dbfs, noise.hum_limit_dbfs
    hum_text = "none found" if limit is None else f"none found; a line above {limit:.0f} dBFS would have been"
    if hum is not None:
        hum_text = f"{_level_text(hum, noise.hum_std_db)}, mains at {noise.hum_hz:.2f} Hz"
    floor_text = "not measured"
    if floor is not None:
        low_hz, high_hz = noise.band_hz
        band_text = f"{low_hz:.0f} Hz to {high_hz / 1000:.3g} kHz without mains lines"
        floor_text = f"{_level_text(floor, noise.floor_std_db)}, {band_text}"
    return ("hum", hum_text.replace("-", MINUS)), ("noise floor", floor_text.replace("-", MINUS))


def _level_text(level_dbfs: float, std_db: float | None) -> str:
    half_db = COVERAGE * (std_db or 0.0)
    level, half = spread_texts(level_dbfs, half_db, finest=-1)
    return f"{level} dBFS ± {half} dB" if half_db >= LEAST_SHOWN_DB else f"{level} dBFS"


def check_rows(findings: tuple[Finding, ...]) -> tuple[Row, ...]:
    """Rows of the table of checks.

    Returns
    -------
    tuple
        Check, outcome, what was found; the first row is the heading.
    """
    rows: list[Row] = [("check", "outcome", "what was found")]
    for finding in findings:
        word = "-" if finding.text.startswith(UNJUDGED) else OUTCOME_WORDS[finding.severity]
        rows.append((finding.code, Mark(word, LEVELS[finding.severity]), finding.text))
    return tuple(rows)


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
