"""One self-contained HTML page: what was measured, the values, the pictures, and what all of it rests on.

No scripts and nothing fetched from elsewhere; every text from outside is escaped.
"""

from dataclasses import dataclass
from html import escape

from fit.answers.confirm.confirmation import ConfirmAnswer
from fit.answers.confirm.conformity import RULE, STANDARD
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.show.sheets.confirm import part_rows
from fit.desk.show.sheets.fit import (
    HELPED_QUANTITIES,
    MISFIT_AT,
    agreement_rows,
    check_rows,
    misfit_lines,
    not_told,
    quantity_rows,
)
from fit.desk.show.sheets.taper import taper_rows
from fit.desk.show.words import CAUTIONS, SIMULATED_TEXT, WORDS, estimate_texts, headline_keys, quantity_name
from measure.response import Finding

FIRST_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded", "resonance_loaded")
OUTCOME_CLASSES = {"pass": "good", "warn": "look", "reject": "bad"}
PICTURES = {
    "response": (
        "Response",
        "Dots are measured, lines are the model. Below, what is left between them: bars are 95 % of the noise, the grey band is "
        "the smooth difference that the intervals allow for.",
    ),
    "loaded": (
        "At the jack",
        "Voltage at the jack for a constant voltage in the (first) winding, with cable and input connected, without controls and "
        "added parts. "
        "The stripe and the bar at the peak are 95 % intervals.",
    ),
    "budget": (
        "What limits each value",
        "Contribution of each source to the standard uncertainty, relative to the value. A better reference part shortens "
        "its own bar.",
    ),
}
STYLE = """
:root{color-scheme:light dark;--ink:#1d242b;--soft:#5a6570;--paper:#fbfaf7;--card:#f1efe8;--line:#d9d5ca;
--good:#2c6e49;--look:#8a5a00;--bad:#a3262a}
@media (prefers-color-scheme:dark){:root{--ink:#e6e3db;--soft:#a3a9ae;--paper:#15191d;--card:#1e2429;--line:#353d44;
--good:#7cc49b;--look:#e0b25a;--bad:#ef8d8a}}
*{box-sizing:border-box}
html{background:var(--paper);color:var(--ink);font:16px/1.6 system-ui,sans-serif;-webkit-text-size-adjust:100%}
body{max-width:50rem;margin:0 auto;padding:2.5rem 1.25rem 4rem}
h1,h2{font-family:ui-serif,serif;font-weight:500;line-height:1.2;letter-spacing:-.01em;text-wrap:balance}
h1{font-size:2.1rem;margin:0 0 .4rem}
h2{font-size:1.35rem;margin:3rem 0 .8rem;padding-top:.9rem;border-top:1px solid var(--line)}
h3{font-size:1rem;margin:1.6rem 0 .3rem}
p{margin:.5rem 0;max-width:42rem;overflow-wrap:anywhere}
.lead,figcaption,.small{color:var(--soft)}
.small,figcaption{font-size:.875rem}
.notice{border-left:3px solid var(--look);background:var(--card);padding:.7rem 1rem;margin:1.2rem 0;border-radius:0 4px 4px 0}
.notice.bad{border-color:var(--bad)}
.values{display:flex;flex-wrap:wrap;gap:1px;background:var(--line);border:1px solid var(--line);border-radius:6px;
overflow:hidden;margin:1.6rem 0 0}
.values div{background:var(--paper);padding:.9rem 1rem;flex:1 1 13.5rem}
.values dt{font-size:.82rem;color:var(--soft)}
.values dd{margin:0}
.values .value{font-size:1.55rem;line-height:1.3;font-variant-numeric:tabular-nums;white-space:nowrap}
.values .interval{font-size:.82rem;color:var(--soft);font-variant-numeric:tabular-nums}
.wide{overflow-x:auto;margin:.8rem 0}
table{border-collapse:collapse;width:100%;font-size:.9rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;vertical-align:top;padding:.4rem .9rem .4rem 0;border-bottom:1px solid var(--line);overflow-wrap:break-word}
th{font-weight:600;color:var(--soft);font-size:.8rem}
td:last-child,th:last-child{padding-right:0}
.mark{font-size:.78rem;font-weight:600;white-space:nowrap}
.mark.good{color:var(--good)}.mark.look{color:var(--look)}.mark.bad{color:var(--bad)}
figure{margin:1.2rem 0 2rem}
figure svg{display:block;width:100%;min-width:36rem;height:auto}
dl.words{display:grid;grid-template-columns:minmax(7rem,11rem) 1fr;gap:.5rem 1.2rem;font-size:.92rem}
dl.words dt{font-weight:600}dl.words dd{margin:0}
ul{padding-left:1.2rem}li{margin:.25rem 0}
footer{margin-top:3.5rem;padding-top:.9rem;border-top:1px solid var(--line)}
@media (max-width:34rem){body{padding-top:1.5rem}dl.words{grid-template-columns:1fr;gap:0}dl.words dd{margin-bottom:.7rem}}
@media print{:root{--ink:#000;--soft:#444;--paper:#fff;--card:#f4f4f4;--line:#bbb;--good:#064;--look:#640;--bad:#900}
html{font-size:10.5pt}body{max-width:none;padding:0}h2{break-after:avoid}.wide{overflow:visible}
figure svg{min-width:0}section,figure,tr,.notice,.values div{break-inside:avoid}}
"""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeSheet:
    """One take as the report shows it.

    Attributes
    ----------
    name, added, controls, note, made, sound : str
        Name; parts added; where the controls stood; the person's note; when it was made; device, rate and repeats, in words.
    outcome : str
        "good", "usable" or "rejected".
    findings : tuple of Finding
        All checks.
    is_fitted : bool
        The values rest on it.
    temperature : str
        How warm the winding was, in words; empty where that was not said.
    """

    name: str
    added: str
    controls: str
    note: str
    made: str
    sound: str
    outcome: str
    findings: tuple[Finding, ...]
    is_fitted: bool
    temperature: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sheet:
    """Everything that a report shows.

    Attributes
    ----------
    answer : PickupAnswer
        What was found.
    takes : tuple of TakeSheet
        Of the whole logbook, the fitted ones first.
    rig : tuple of (str, str)
        What the rig states, row by row.
    references : tuple of (str, str)
        Known values that the fit used beside the rig's: dcr, added parts.
    warnings : tuple of str
        What was noticed outside the fit.
    made_by : str
        Tool, version and time.
    verdicts : tuple of ConfirmAnswer
        Of the parts that carry a marking.
    """

    answer: PickupAnswer
    takes: tuple[TakeSheet, ...]
    rig: tuple[tuple[str, str], ...]
    references: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    made_by: str
    verdicts: tuple[ConfirmAnswer, ...] = ()


def report_html(sheet: Sheet) -> str:
    """Make the page.

    Parameters
    ----------
    sheet : Sheet
        What to show.

    Returns
    -------
    str
        A whole HTML document.
    """
    title = ("A guitar, measured" if sheet.answer.tapers else "A pickup, measured") + (
        " (simulated)" if sheet.answer.simulated else ""
    )
    sections = [
        _opening(sheet, title),
        _values(sheet.answer),
        _verdicts(sheet.verdicts),
        _pictures(sheet.answer),
        _model(sheet.answer),
        _takes(sheet),
        _bench(sheet),
        _words(),
        f'<footer class="small">{escape(sheet.made_by)}</footer>',
    ]
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    head = (
        f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}"><title>{escape(title)}</title>'
        f"<style>{STYLE}{_dark_series()}</style>"
    )
    body = "\n".join(sections)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{body}\n</body></html>\n'


def _opening(sheet: Sheet, title: str) -> str:
    answer = sheet.answer
    parts = [f"<h1>{escape(title)}</h1>"]
    names = ", ".join(answer.takes)
    parts.append(f'<p class="lead">From {len(answer.takes)} take{"s" if len(answer.takes) > 1 else ""}: {escape(names)}.</p>')
    if answer.simulated:
        parts.append(_notice(SIMULATED_TEXT.capitalize() + "."))
    if answer.outcome != "good":
        parts.append(_notice(*misfit_lines(answer), kind="bad"))
    cells = []
    doubt = "" if answer.outcome == "good" else ' <b class="mark bad">indicative only</b>'
    for key in headline_keys(answer.quantities, FIRST_QUANTITIES):
        value, interval = estimate_texts(answer.quantities[key])
        cells.append(
            f'<div><dt>{escape(quantity_name(key))}{doubt}</dt><dd class="value">{escape(value)}</dd>'
            f'<dd class="interval">{escape(interval)}</dd></div>'
        )
    heading = "Indicative only" if answer.outcome != "good" else "Values with 95 % intervals"
    parts.append(f'<dl class="values" aria-label="{escape(heading)}">{"".join(cells)}</dl>')
    warnings = (*sheet.warnings, *(finding.text for finding in answer.findings if finding.severity == "warn"))
    parts += [_notice(warning) for warning in dict.fromkeys(warnings)]
    return "\n".join(parts)


def _values(answer: PickupAnswer) -> str:
    heading = "All values, indicative only" if answer.outcome != "good" else "All values"
    parts = [f"<h2>{heading}</h2>", _table(quantity_rows(answer))]
    tapers = taper_rows(read_tapers(answer.quantities, answer.tapers))
    if tapers:
        parts += ["<h3>Tapers, share of the track from ccw to wiper</h3>", _table(tapers)]
    parts += [f"<p><b>Taken on trust:</b> {escape(one.text)}.</p>" for one in answer.findings if one.code == "rests-on"]
    for names, why, following in not_told(answer):
        text = f"<b>Not told by these takes:</b> {escape(names)}. Why: {escape(why)}."
        parts.append(f"<p>{text}{f' Cheapest next take: {escape(following)}.' if following else ''}</p>")
    rows: list[tuple[str, ...]] = [("to know better", "take", "95 % interval then")]
    for key in headline_keys(answer.next_takes, HELPED_QUANTITIES):
        rows += [
            (quantity_name(key), take.text, f"± {196 * take.predicted_relative_std:.2g} %")
            for take in answer.next_takes.get(key, ())[:1]
        ]
    if len(rows) > 1:
        parts += ["<h3>What a further take would tell</h3>", _table(rows)]
    return "\n".join(parts)


def _verdicts(verdicts: tuple[ConfirmAnswer, ...]) -> str:
    if not verdicts:
        return ""
    parts = ["<h2>Marked parts</h2>", f'<p class="small">Decision rule: {escape(RULE)} ({escape(STANDARD)}).</p>']
    for one in verdicts:
        css = {"within marking": "good", "outside marking": "bad"}.get(one.verdict, "look")
        parts.append(f'<h3>{escape(quantity_name(one.part))} <span class="mark {css}">{escape(one.verdict)}</span></h3>')
        parts += [f"<p>{escape(one.why)}</p>", _table([("", "", ""), *part_rows(one)])]
    return "\n".join(parts)


# Pictures carry the colours for paper; on a dark page lighter ones of the same hue take their place.
def _dark_series() -> str:
    from fit.desk.show.figures.style import COLOURS, DARK_COLOURS

    rules = [
        f'svg [style*="{what}: {light}"]{{{what}:{dark}!important}}'
        for light, dark in zip(COLOURS, DARK_COLOURS, strict=True)
        for what in ("stroke", "fill")
    ]
    return f"@media screen and (prefers-color-scheme:dark){{{''.join(rules)}}}"


def _pictures(answer: PickupAnswer) -> str:
    from fit.desk.show.figures import style as plots

    figures = {"response": plots.response_figure, "loaded": plots.loaded_figure, "budget": plots.budget_figure}
    parts = []
    for name, (heading, caption) in PICTURES.items():
        if name == "budget" and not any(answer.budget.values()):
            continue
        picture = plots.svg_text(figures[name](answer), name=name, title=f"{heading}. {caption}")
        caption_row = f"<figcaption>{caption}</figcaption>"
        parts.append(f'<section><h2>{heading}</h2><figure><div class="wide">{picture}</div>{caption_row}</figure></section>')
    return "\n".join(parts)


def _model(answer: PickupAnswer) -> str:
    floor = answer.floor
    ranked = sorted(answer.candidates, key=lambda one: one.bic)
    rows: list[tuple[str, ...]] = [("model", "BIC above the best", "reduced χ²")]
    rows += [(one.name, f"{one.bic - ranked[0].bic:.1f}", f"{one.reduced_chi_square:.3g}") for one in ranked]
    shared = "the same in all takes of a placement" if floor.common else "different from take to take"
    text = (
        f"Chosen: {answer.model_name}. Left between model and measurement is a smooth difference of "
        f"{100 * floor.value:.2g} %, {shared}, alike over about {floor.correlation_octaves:.2g} octaves; "
        f"the intervals allow for it. From {100 * MISFIT_AT:.2g} % on it is a misfit."
    )
    parts = ["<h2>Model</h2>", f"<p>{escape(text)}</p>", _table(rows) if ranked else "", "<h3>Agreement</h3>"]
    return "\n".join([*parts, _table(agreement_rows(answer))])


def _takes(sheet: Sheet) -> str:
    parts = ["<h2>Takes and their checks</h2>"]
    for take in sheet.takes:
        css = {"good": "good", "usable": "look"}.get(take.outcome, "bad")
        role = "" if take.is_fitted else ", not used for the values"
        parts.append(f'<h3>{escape(take.name)} <span class="mark {css}">{escape(take.outcome)}{role}</span></h3>')
        controls = f"controls: {take.controls}" if take.controls else ""
        added = f"added: {take.added}" if take.added else "nothing added"
        facts = [added, controls, take.temperature, take.made, take.sound, take.note]
        parts.append(f'<p class="small">{escape(" · ".join(fact for fact in facts if fact))}</p>')
        classes = ["", *(OUTCOME_CLASSES[finding.severity] for finding in take.findings)]
        parts.append(_table(check_rows(take.findings), classes=classes))
    return "\n".join(parts)


def _bench(sheet: Sheet) -> str:
    parts = ["<h2>Rig and references</h2>", _table([("", "stated"), *sheet.rig])]
    if sheet.references:
        parts.append(_table([("reference", "stated"), *sheet.references]))
    cautions = "".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    parts.append(f"<h2>Cautions</h2><ul>{cautions}</ul>")
    return "\n".join(parts)


def _words() -> str:
    rows = "".join(f"<dt>{escape(word)}</dt><dd>{escape(text)}</dd>" for word, text in WORDS.items())
    return f'<h2>What the words mean</h2><dl class="words">{rows}</dl>'


def _notice(*lines: str, kind: str = "look") -> str:
    return f'<div class="notice {kind}">{"".join(f"<p>{escape(line)}</p>" for line in lines)}</div>'


# The second column of a row with a class carries that class.
def _table(rows: list[tuple[str, ...]], *, classes: list[str] | None = None) -> str:
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in rows[0])
    body = []
    for index, row in enumerate(rows[1:], start=1):
        css = classes[index] if classes else ""
        cells = [
            f'<td class="mark {css}">{escape(cell)}</td>' if css and column == 1 else f"<td>{escape(cell)}</td>"
            for column, cell in enumerate(row)
        ]
        body.append(f"<tr>{''.join(cells)}</tr>")
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{"".join(body)}</tbody></table></div>'
