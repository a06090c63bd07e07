"""What the checks of a take found, and its hum and noise, as a sheet."""

from typing import TYPE_CHECKING

from fit.answers.digits import spread_texts
from fit.answers.figures import COVERAGE
from fit.desk.show.document.bench import Noise
from fit.desk.show.sheet import Block, Level, Mark, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import simulated_notice, titled
from fit.desk.show.sheets.takes import change_rows
from fit.desk.show.words import MINUS, SIMULATED_TEXT, plain_text, temperature_text
from measure.response import Finding

if TYPE_CHECKING:
    from measure.checks.judgement import Judgement
    from measure.logbook.take import Take

LEAST_SHOWN_DB = 0.05  # [dB] smaller errors of hum and noise are not shown
UNJUDGED = "not judged"  # how the text of a check begins that could not be made
NOISE = Picture(
    name="noise",
    heading="Noise and hum",
    caption="Steps are the noise without mains lines in third octaves, stems the mains lines; bars are 95 % intervals.",
)
OUTCOME_LEVELS: dict[str, Level] = {"good": "good", "usable": "look"}
LEVELS: dict[str, Level] = {"pass": "good", "warn": "look", "reject": "bad"}
OUTCOME_WORDS = {"pass": "good", "warn": "look", "reject": "REJECT"}


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
