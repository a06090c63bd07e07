"""An answer and the checks of a take as lines for a terminal."""

from typing import TYPE_CHECKING

from fit.answers.pickup import PickupAnswer
from fit.desk.document import Document, finding_document
from fit.desk.wording import MINUS, SIMULATED_TEXT, estimate_texts, note_name, plain_text, quantity_name, table_lines
from measure.quantity import format_quantity
from measure.response import Finding

if TYPE_CHECKING:
    from fit.desk.takes import Looked

MISFIT_AT = 0.005  # [1] floor from which a model is said to misfit
SHOWN_CANDIDATES = 4
OUTCOME_WORDS = {"pass": "good", "warn": "look", "reject": "REJECT"}


def answer_lines(answer: PickupAnswer, *, warnings: tuple[str, ...]) -> list[str]:
    """Everything that ``fit`` says.

    Parameters
    ----------
    answer : PickupAnswer
        What was found.
    warnings : tuple of str
        What was noticed outside the fit; printed elsewhere, here only counted.

    Returns
    -------
    list of str
        Lines for a terminal.
    """
    takes = ", ".join(plain_text(take) for take in answer.takes)
    lines = [f"Pickup, from {takes}"]
    if answer.simulated:
        lines.append(SIMULATED_TEXT)
    if answer.outcome != "good":
        lines += ["", *misfit_lines(answer)]
    lines += ["", *table_lines(quantity_rows(answer))]
    lines += _not_identified_lines(answer)
    lines += _next_take_lines(answer)
    lines += ["", f"Model: {answer.model_name}", *table_lines(_candidate_rows(answer))]
    lines += ["", "Agreement of model and measurement", *table_lines(agreement_rows(answer))]
    if answer.outcome == "good":
        lines.append(f"  smooth difference: {100 * answer.floor.value:.2g} % (values are good below 0.5 %)")
    if warnings:
        lines += ["", f"Warnings: {len(warnings)}, see above" if len(warnings) > 1 else "One warning, see above"]
    return lines


def misfit_lines(answer: PickupAnswer) -> list[str]:
    """Heading of values that are not to be relied upon.

    Parameters
    ----------
    answer : PickupAnswer
        Whose outcome is not good.

    Returns
    -------
    list of str
        What the misfit is and where.
    """
    worst = f"{format_quantity(answer.floor.worst_hz, 'Hz')} (near {note_name(answer.floor.worst_hz)})"
    return [
        "INDICATIVE ONLY: no model tried describes this pickup well enough.",
        f"Model and measurement differ smoothly by {100 * answer.floor.value:.2g} %, most near {worst}; the limit is "
        f"{100 * MISFIT_AT:.1g} %. True values may lie outside the intervals.",
    ]


def quantity_rows(answer: PickupAnswer) -> list[tuple[str, ...]]:
    """Rows of the table of values.

    Parameters
    ----------
    answer : PickupAnswer
        What was found.

    Returns
    -------
    list of tuple of str
        Quantity, value, 95 % interval, what limits it most; the first row is the heading.
    """
    rows: list[tuple[str, ...]] = [("", "value", "95 % interval", "limited most by")]
    for key, estimate in answer.quantities.items():
        rows.append((quantity_name(key), *estimate_texts(estimate), plain_text(limiting_source(answer, key))))
    return rows


def limiting_source(answer: PickupAnswer, key: str) -> str:
    """Name the largest contribution to the uncertainty of a quantity.

    Parameters
    ----------
    answer : PickupAnswer
        With its budget.
    key : str
        The quantity.

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


def agreement_rows(answer: PickupAnswer) -> list[tuple[str, ...]]:
    """Rows of the table that says how far model and measurement lie apart.

    Parameters
    ----------
    answer : PickupAnswer
        With its curves.

    Returns
    -------
    list of tuple of str
        Take, rms and largest difference; the first row is the heading.
    """
    rows: list[tuple[str, ...]] = [("take", "rms", "largest", "phase rms")]
    rows.extend(
        (plain_text(curve.take), f"{curve.rms_db:.3f} dB", f"{curve.max_db:.3f} dB", f"{curve.rms_degree:.2f}°")
        for curve in answer.curves
    )
    return rows


def checks_told(is_simulated: bool, looked: "Looked", *, noise: Document | None) -> tuple[list[str], Document]:
    """Put the checks of a take as lines and as JSON states them.

    Parameters
    ----------
    is_simulated : bool
        The recordings came from the virtual bench.
    looked : Looked
        What a look at its recordings gave.
    noise : dict or None
        Hum and floor, where they were measured.

    Returns
    -------
    lines : list of str
        A table.
    document : dict
        Outcome, checks, noise.
    """
    lines = [SIMULATED_TEXT] if is_simulated else []
    lines += [f"Outcome: {looked.outcome}", *table_lines(check_rows(looked.findings))]
    document: Document = {
        "outcome": looked.outcome,
        "simulated": is_simulated,
        "checks": [finding_document(finding) for finding in looked.findings],
    }
    if noise is not None:
        lines += ["", "Noise", *table_lines(_noise_rows(noise))]
        document["noise"] = noise
    return lines, document


def _noise_rows(noise: Document) -> list[tuple[str, ...]]:
    hum_hz, hum, floor = noise.get("hum_hz"), noise.get("hum_dbfs"), noise.get("floor_dbfs")
    hum_text = "none found" if hum_hz is None or hum is None else f"{hum:.1f} dBFS, mains at {hum_hz:.2f} Hz"
    floor_text = "not measured" if floor is None else f"{floor:.1f} dBFS"
    return [("hum", hum_text.replace("-", MINUS)), ("noise floor", floor_text.replace("-", MINUS))]


def check_rows(findings: tuple[Finding, ...]) -> list[tuple[str, ...]]:
    """Rows of the table of checks.

    Parameters
    ----------
    findings : tuple of Finding
        Of one take.

    Returns
    -------
    list of tuple of str
        Check, outcome, figure, what to do; the first row is the heading.
    """
    rows: list[tuple[str, ...]] = [("check", "outcome", "figure", "what was found")]
    rows.extend(
        (finding.code, OUTCOME_WORDS[finding.severity], figure_text(finding), plain_text(finding.text)) for finding in findings
    )
    return rows


def figure_text(finding: Finding) -> str:
    """Figure of a check with its unit.

    Parameters
    ----------
    finding : Finding
        One check.

    Returns
    -------
    str
        Empty where nothing could be measured.
    """
    if finding.figure is None:
        return ""
    if finding.unit in ("Hz", "s", "V"):
        return format_quantity(finding.figure, finding.unit)
    return f"{finding.figure:.4g} {finding.unit}".strip().replace("-", MINUS)


def _not_identified_lines(answer: PickupAnswer) -> list[str]:
    if not answer.not_identified:
        return []
    lines = ["", "Not told by these takes"]
    for one in answer.not_identified:
        lines.append(f"  {quantity_name(one.quantity)}: {one.why}")
        if one.next_take is not None:
            lines.append(f"    cheapest next take: {_next_take_text(answer, one.quantity)}")
    return lines


def _next_take_text(answer: PickupAnswer, key: str) -> str:
    take = next(one.next_take for one in answer.not_identified if one.quantity == key)
    if take is None:
        return ""
    return f"{take.text} (would tell it to ± {100 * 1.96 * take.predicted_relative_std:.2g} %)"


def _next_take_lines(answer: PickupAnswer) -> list[str]:
    identified = {key: takes for key, takes in answer.next_takes.items() if takes and key in answer.quantities}
    if not identified:
        return []
    lines = ["", "What would narrow it further"]
    for key, takes in identified.items():
        reach = f"± {100 * 1.96 * takes[0].predicted_relative_std:.2g} %"
        lines.append(f"  {quantity_name(key)}: {takes[0].text} (to {reach})")
    return lines


def _candidate_rows(answer: PickupAnswer) -> list[tuple[str, ...]]:
    ranked = sorted(answer.candidates, key=lambda one: one.bic)[:SHOWN_CANDIDATES]
    if not ranked:
        return []
    rows: list[tuple[str, ...]] = [("tried", "BIC above the best", "reduced χ²")]
    rows.extend((one.name, f"{one.bic - ranked[0].bic:.1f}", f"{one.reduced_chi_square:.3g}") for one in ranked)
    return rows
