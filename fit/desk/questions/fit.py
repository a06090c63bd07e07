"""One function a command: inspect, fit, report. Plain data in, lines and one JSON document out."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from fit.answers.parts.fitted import measured_document
from fit.answers.pickup.characterisation import PickupAnswer, answer_of, characterise_pickup
from fit.answers.pickup.released import released_of
from fit.answers.pickup.tapers import read_tapers
from fit.desk.bench.rig import rig_rows
from fit.desk.book.card import calibration_warnings, without_card
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drift import drift_warnings
from fit.desk.book.kept_fit import text_sha256
from fit.desk.book.method import noise_document
from fit.desk.book.references import gather_evidence
from fit.desk.book.response import inspect_response, take_response
from fit.desk.book.take import (
    card_findings,
    join_findings,
    kept_recordings,
    look_at,
    rig_of,
    take_to_fit,
)
from fit.desk.questions.predict import LIMIT_BYTES, read_instrument_file
from fit.desk.show.document import Document, answer_document
from fit.desk.show.sheets.fit import answer_lines, checks_told, take_heading
from fit.desk.show.words import temperature_text
from fit.estimate.evidence import Evidence
from fit.estimate.ladder import choose_model
from measure.errors import FileError
from measure.logbook.disk import read_small
from measure.logbook.kept import findings_of_take
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook, read_take, write_result

if TYPE_CHECKING:
    from fit.answers.confirm.confirmation import ConfirmAnswer
    from fit.desk.show.page import Sheet

RESULT_FILE = "fit.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWish:
    """What is to be fitted, as it was typed.

    Attributes
    ----------
    names : tuple of str
        Takes.
    dcr : str or None
        From a multimeter.
    at_hand : str
        Parts for a further take.
    """

    names: tuple[str, ...]
    dcr: str | None = None
    at_hand: str = ""


def inspect_take(desk: Desk, name: str) -> Outcome:
    """Check the recordings of a kept take again, and tell its noise.

    Parameters
    ----------
    desk : Desk
        Where.
    name : str
        Of the take.

    Returns
    -------
    Outcome
        Checks and noise.
    """
    logbook = open_logbook(desk.logbook)
    take = read_take(logbook, name)
    if take.kind == "response":
        return inspect_response(logbook, take)
    recordings, stimulus = kept_recordings(logbook, take)
    looked = look_at(recordings, stimulus=stimulus, method=take.method, free=lambda found: without_card(logbook, take, found))
    looked = join_findings(looked, card_findings(take))
    noise = noise_document(recordings, stimulus=stimulus, method=take.method)
    lines, document = checks_told(take.simulated, looked, noise=noise)
    return Outcome(lines=(take_heading(take), *lines), document={"schema": "coilsweep.inspect/1"} | document)


def fit_takes(desk: Desk, wish: FitWish, *, plot_file: Path | None = None, taper_file: Path | None = None) -> Outcome:
    """Say what the pickup is.

    Parameters
    ----------
    desk : Desk
        Where.
    wish : FitWish
        Takes and references.
    plot_file, taper_file : Path or None
        Pictures to be written, of the fit and of the pots' tapers, ending in .png.

    Returns
    -------
    Outcome
        Values with intervals, and what they rest on.

    Raises
    ------
    ValueError
        If the picture's name does not end in .png.
    """
    import json

    for file in (plot_file, taper_file):
        if file is not None and file.suffix.lower() != ".png":
            msg = f"{file}: the picture is written as PNG, give a name that ends in .png"
            raise ValueError(msg)
    logbook = open_logbook(desk.logbook)
    evidence, warnings = collect_evidence(desk, logbook, wish)
    choice = choose_model(evidence)
    answer = answer_of(choice)
    document = answer_document(answer, warnings=warnings, released=released_of(choice))
    kept = {"wish": asdict(wish), "answer": document, "parts": _parts_document(logbook, answer)}
    write_result(logbook, RESULT_FILE, json.dumps(kept, ensure_ascii=False, indent=1).encode())
    if plot_file is not None:
        from fit.desk.show.figures.style import response_figure, write_png

        write_png(response_figure(answer), plot_file)
        desk.say(f"Written: {plot_file}")
    if taper_file is not None:
        from fit.desk.show.figures.style import write_png
        from fit.desk.show.figures.taper import taper_figure

        write_png(taper_figure(read_tapers(answer.quantities, answer.tapers), simulated=answer.simulated), taper_file)
        desk.say(f"Written: {taper_file}")
    return Outcome(lines=tuple(answer_lines(answer, warnings=warnings)), document=document)


def _parts_document(logbook: Logbook, answer: PickupAnswer) -> Document | None:
    """Values for predictions, with the fingerprint of the instrument.toml that they belong to."""
    if answer.parts is None:
        return None
    path = instrument_path(logbook)
    fingerprint = text_sha256(read_small(path, LIMIT_BYTES)) if path.exists() else ""
    return measured_document(replace(answer.parts, instrument_sha256=fingerprint))


def write_report(
    desk: Desk, file: Path, *, names: Sequence[str] = (), dcr: str | None = None, at_hand: str | None = None
) -> Outcome:
    """Write everything as one page.

    Parameters
    ----------
    desk : Desk
        Where.
    file : Path
        To be written; an older one is replaced in one step.
    names : sequence of str
        Takes; empty for those of the last fit.
    dcr, at_hand : str or None
        As for a fit; None for those of the last fit.

    Returns
    -------
    Outcome
        Where the page is.

    Raises
    ------
    FileError
        If its folder is not there.
    """
    from fit.desk.show.page import report_html

    if not file.parent.is_dir():
        msg = f"{file}: there is no folder {file.parent}; make it, or choose another place"
        raise FileError(msg)
    logbook = open_logbook(desk.logbook)
    last = last_wish(logbook, is_needed=not names)
    wish = FitWish(
        names=tuple(names) or last.names,
        dcr=last.dcr if dcr is None else dcr,
        at_hand=last.at_hand if at_hand is None else at_hand,
    )
    answer, warnings = answer_for(desk, logbook, wish)
    page = report_html(_sheet(logbook, answer, wish, warnings))
    _replace(file, page)
    document: Document = {"schema": "coilsweep.report/1", "file": str(file), "takes": list(answer.takes)}
    document |= {"simulated": answer.simulated, "outcome": answer.outcome, "warnings": list(warnings)}
    return Outcome(lines=(f"Report: {file}",), document=document)


def answer_for(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[PickupAnswer, tuple[str, ...]]:
    """Fit the takes.

    Parameters
    ----------
    desk : Desk
        Where.
    logbook : Logbook
        Open.
    wish : FitWish
        Takes and references.

    Returns
    -------
    answer : PickupAnswer
        What was found.
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    """
    evidence, warnings = collect_evidence(desk, logbook, wish)
    return characterise_pickup(evidence), warnings


def collect_evidence(desk: Desk, logbook: Logbook, wish: FitWish) -> tuple[Evidence, tuple[str, ...]]:
    """Responses and references of the takes that are to be fitted.

    Parameters
    ----------
    desk : Desk
        Where.
    logbook : Logbook
        Open.
    wish : FitWish
        Takes and references.

    Returns
    -------
    evidence : Evidence
        For the fit.
    warnings : tuple of str
        What was noticed on the way, one line each.

    Raises
    ------
    ValueError
        If a take is named twice.
    """
    twice = [name for name in wish.names if wish.names.count(name) > 1]
    if twice:
        msg = f'the take "{twice[0]}" is named twice: it would count double; name each take once'
        raise ValueError(msg)
    order = {take.name: place for place, take in enumerate(list_takes(logbook).takes)}
    takes = sorted((take_to_fit(logbook, name) for name in wish.names), key=lambda take: order[take.name])
    responses = [take_response(logbook, take) for take in desk.steps(takes, "responses")]
    evidence, warnings = gather_evidence(logbook, takes, responses, dcr=wish.dcr, at_hand=wish.at_hand)
    noticed = tuple(
        f"take {take.name}: {finding.text}" for take in takes for finding in findings_of_take(take) if finding.severity == "warn"
    )
    told = [f"take {take.name}: {text}" for take, one in zip(takes, responses, strict=True) for text in calibration_warnings(one)]
    return evidence, (*warnings, *noticed, *told, *drift_warnings(logbook, takes))


def last_wish(logbook: Logbook, *, is_needed: bool) -> FitWish:
    """Tell what was fitted last.

    Parameters
    ----------
    logbook : Logbook
        Open.
    is_needed : bool
        Without it, a wish without takes stands for no fit.

    Returns
    -------
    FitWish
        As it was typed.

    Raises
    ------
    FileError
        If it is needed and not there, or damaged.
    """
    import msgspec

    path = logbook.path / "results" / RESULT_FILE
    if not path.is_file():
        if is_needed:
            msg = f"no fit is kept in {logbook.path}: run `coilsweep fit NAME...` first, or name the takes"
            raise FileError(msg)
        return FitWish(names=())
    try:
        return msgspec.convert(msgspec.json.decode(path.read_bytes())["wish"], FitWish)
    except (msgspec.DecodeError, msgspec.ValidationError, KeyError, TypeError) as err:
        msg = f"{path} is damaged: run `coilsweep fit NAME...` again"
        raise FileError(msg) from err


def _sheet(logbook: Logbook, answer: PickupAnswer, wish: FitWish, warnings: tuple[str, ...]) -> "Sheet":
    from fit.desk.show.page import Sheet, TakeSheet
    from measure.logbook.take import time_now

    listed = list_takes(logbook)
    sheets = []
    for take in sorted(listed.takes, key=lambda take: take.name not in answer.takes):
        repeats = f", {len(take.recordings)} repeats" if len(take.recordings) > 1 else ""
        sound = "measured elsewhere" if take.kind == "response" else f"{take.rate_hz} Hz{repeats}"
        sound += ", simulated" if take.simulated else ""
        sheets.append(
            TakeSheet(
                name=take.name,
                added=take.added,
                controls=", ".join(f"{name}={value}" for name, value in take.controls.items()),
                note=take.note,
                made=take.time_utc,
                sound=sound,
                outcome=take.outcome,
                findings=findings_of_take(take),
                is_fitted=take.name in answer.takes,
                temperature=temperature_text(take.temperature_c),
            )
        )
    references = [("dcr", wish.dcr)] if wish.dcr else []
    references += _known_rows(logbook, has_dcr=wish.dcr is not None)
    references += [(f"added in {take.name}", take.added) for take in listed.takes if take.added and take.name in answer.takes]
    return Sheet(
        answer=answer,
        takes=tuple(sheets),
        rig=tuple((key, value) for key, value in rig_rows(rig_of(logbook))),
        references=tuple(references),
        warnings=warnings,
        made_by=f"coilsweep {metadata.version('coilsweep')}, {time_now()}",
        verdicts=_verdicts(logbook, answer),
    )


def _known_rows(logbook: Logbook, *, has_dcr: bool) -> list[tuple[str, str]]:
    """List what instrument.toml states with a bound, and a fit therefore relies on; a dcr that was typed goes before its own."""
    from fit.circuit.instrument import stated_values

    if not instrument_path(logbook).exists():
        return []
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    known = {
        key: one.quantity.text
        for key, one in stated.items()
        if one.quantity is not None and one.quantity.bound is not None and not one.is_marked
    }
    return [(f"{key}, instrument.toml", text) for key, text in known.items() if not (has_dcr and key.endswith(".dcr"))]


def _verdicts(logbook: Logbook, answer: PickupAnswer) -> "tuple[ConfirmAnswer, ...]":
    """Judge every part that instrument.toml calls marked and that the takes tell."""
    from fit.circuit.instrument import stated_values
    from fit.desk.questions.confirm import judge_part

    if not instrument_path(logbook).exists():
        return ()
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    marked = {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}
    return tuple(judge_part(key, quantity, answer) for key, quantity in marked.items() if key in answer.quantities)


# In one step, so that an interrupted run leaves the old page whole.
def _replace(file: Path, page: str) -> None:
    draft = file.with_name(f".{file.name}.writing")
    try:
        draft.write_text(page, encoding="utf-8")
        draft.replace(file)
    except OSError as err:
        draft.unlink(missing_ok=True)
        msg = f"{file}: cannot be written ({err.strerror}). Check the folder, its permissions and the space on the disk."
        raise FileError(msg) from err
