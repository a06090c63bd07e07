"""Files for other programs: responses as tables, impedances as Touchstone, netlists, impulse responses."""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from fit.answers.predict.carry_over import shared_parts
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.fits import FitWish, RejectedError, last_wish, require_once
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.book.kept_fit import LastFit, last_fit
from fit.desk.book.output import require_folder, require_free
from fit.desk.book.response import take_response
from fit.desk.book.rig import rig_of
from fit.desk.export.contents import (
    UNKNOWN_SCALE,
    Fitted,
    fit_for_export,
    fitted_impulse,
    fitted_netlist_text,
    fitted_port_text,
    in_ohms,
    instrument_text,
    measured_port_text,
    take_text,
)
from fit.desk.show.document.guitar import ExportDocument, ExportedFile
from fit.desk.show.document.pieces import named_takes
from fit.desk.show.words import SIMULATED_TEXT, plain_text
from measure.errors import FileError
from measure.logbook.disk import replaced_file, write_new
from measure.logbook.store import Logbook, instrument_path, open_logbook, read_take
from measure.logbook.take import Take
from measure.quantity import parse_quantity
from measure.response import FloatArray, Response

SUFFIXES = {"csv": (".csv",), "touchstone": (".s1p",), "spice": (".cir", ".net", ".sp"), "ir": (".wav",)}  # the first by default
LONGEST_STEM = 60  # [characters] of a file's name that is made of the takes' names
IR_BITS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportWish:
    """What is to be exported, as it was typed.

    Attributes
    ----------
    names : tuple of str
        Takes; none for the instrument.
    out : Path or None
        File, or for several an existing folder; None: named after the takes, here.
    dcr : str or None
        As for a fit; None: as in the last fit, where it was of the same takes.
    reference_resistance : str
        R of a Touchstone file, as written. [Ω]
    rate_hz : int or None
        Of an impulse response; None: that of the takes. [Hz]
    settings, changes : tuple of str
        Of the instrument: CONTROL=VALUE, PART=VALUE.
    excite : str
        Pickup of the instrument with 1 V of EMF; empty for the first.
    stated : bool
        The instrument from its instrument.toml alone, whatever was measured.
    """

    names: tuple[str, ...] = ()
    to: str
    out: Path | None = None
    dcr: str | None = None
    replace: bool = False
    reference_resistance: str = "10k"
    rate_hz: int | None = None
    settings: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    instrument: Path | None = None
    excite: str = ""
    stated: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Sheet:
    """One file to be written."""

    stem: str
    content: str | FloatArray  # text, or the samples of a WAV
    says: str  # what it is, after its name
    rate_hz: int = 0
    told: Callable[..., ExportedFile]  # by its name
    details: tuple[str, ...] = ()  # further lines


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Export:
    """Everything that one command writes and says."""

    sheets: tuple[_Sheet, ...]
    takes: tuple[str, ...] = ()
    simulated: bool = False
    warnings: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()


def export_files(desk: Desk, wish: ExportWish) -> Outcome:
    """Write files for other programs, each whole or not at all.

    Raises
    ------
    ValueError
        If options do not go together, or the takes do not tell what is asked for.
    FileError
        If a file is there already, or cannot be written.
    """
    _check_wish(wish)
    logbook = open_logbook(desk.logbook)
    if not wish.names:
        export = _instrument_export(logbook, wish)
    elif wish.to == "csv":
        export = _tables_export(desk, logbook, wish)
    elif wish.to == "touchstone":
        export = _ports_export(desk, logbook, wish)
    else:
        export = _fit_export(desk, logbook, wish)
    paths = _paths(wish, [sheet.stem for sheet in export.sheets])
    _write_all(paths, export.sheets)
    for warning in export.warnings:
        desk.say(f"warning: {plain_text(warning)}")
    lines = []
    for path, sheet in zip(paths, export.sheets, strict=True):
        lines += [f"Written: {path} ({sheet.says})", *sheet.details]
    lines += [SIMULATED_TEXT] if export.simulated else []
    document = ExportDocument(
        to=wish.to,
        written=tuple(str(path) for path in paths),
        takes=named_takes(export.takes, "exported"),
        simulated=export.simulated,
        files=tuple(sheet.told(file=str(path)) for path, sheet in zip(paths, export.sheets, strict=True)),
        warnings=export.warnings,
    )
    return Outcome(lines=(*lines, *export.advice), document=document)


def _check_wish(wish: ExportWish) -> None:
    of_instrument = {
        "--set": wish.settings,
        "--change": wish.changes,
        "--instrument": wish.instrument,
        "--excite": wish.excite,
        "--stated": wish.stated,
    }
    given = [option for option, value in of_instrument.items() if value]
    if wish.names and given:
        msg = f"{given[0]} is for the instrument, which is exported where no take is named"
        raise ValueError(msg)
    if not wish.names and wish.to != "spice":
        msg = f"name the takes to export to {wish.to}; without takes, the instrument is exported with --to spice"
        raise ValueError(msg)
    require_once(wish.names)


def _kept_take(logbook: Logbook, name: str) -> Take:
    take = read_take(logbook, name)
    if take.outcome == "rejected":
        reasons = "; ".join(one.text for one in take.findings if one.severity == "reject")
        msg = f'the take "{name}" was rejected, nothing may rest on it: {plain_text(reasons)}'
        raise RejectedError(msg)
    if take.conditions.method == "quiet":
        msg = f'the take "{name}" is of the method quiet and has no response to export'
        raise ValueError(msg)
    return take


# As fitted last, where these very takes were: the file and the screen then say the same.
def _fit_wish(desk: Desk, logbook: Logbook, wish: ExportWish) -> FitWish:
    last = last_wish(logbook, is_needed=False)
    if sorted(last.names) != sorted(wish.names):
        return FitWish(names=wish.names, dcr=wish.dcr)
    if wish.dcr is None and last.dcr is not None:
        desk.say(f"dcr {plain_text(last.dcr)}, as in the last fit of these takes")
    return FitWish(names=wish.names, dcr=last.dcr if wish.dcr is None else wish.dcr, at_hand=last.at_hand)


def _tables_export(desk: Desk, logbook: Logbook, wish: ExportWish) -> _Export:
    takes = [_kept_take(logbook, name) for name in wish.names]
    sheets = []
    for take in desk.steps(takes, "responses"):
        response = take_response(logbook, take, is_whole=True)
        sheets.append(_Sheet(stem=take.name, content=take_text(take, response), says=_size(response), told=_told(response)))
    names = [take.name for take in takes]
    back = f"To read one back: coilsweep import NAME {names[0]}.csv" + (
        " --method impedance" if takes[0].conditions.method == "impedance" else ""
    )
    return _Export(
        sheets=tuple(sheets),
        takes=tuple(names),
        simulated=any(take.simulated for take in takes),
        advice=(back,) if wish.out is None else (),
    )


def _ports_export(desk: Desk, logbook: Logbook, wish: ExportWish) -> _Export:
    reference_ohm = parse_quantity(wish.reference_resistance, "Ω").value
    takes = [_kept_take(logbook, name) for name in wish.names]
    methods = {take.conditions.method == "impedance" for take in takes}
    if len(methods) > 1:
        msg = "takes of method impedance are exported as measured, the others as the fitted pickup: export them apart"
        raise ValueError(msg)
    says = f"one port, R {reference_ohm:g} Ω"
    if methods == {True}:
        sheets = []
        for take in desk.steps(takes, "responses"):
            response = in_ohms(take, take_response(logbook, take, is_whole=True))
            content = measured_port_text(take, response, reference_ohm=reference_ohm)
            sheets.append(
                _Sheet(stem=take.name, content=content, says=f"impedance at the jack as measured, {says}", told=_told(response))
            )
        simulated = any(take.simulated for take in takes)
        return _Export(sheets=tuple(sheets), takes=wish.names, simulated=simulated)
    fitted = fit_for_export(desk, logbook, _fit_wish(desk, logbook, wish))
    _require_scale(fitted)
    sheets = [
        _Sheet(
            stem=_stem(wish.names, "" if len(fitted.pickups) == 1 else pickup.name),
            content=fitted_port_text(fitted, pickup, reference_ohm=reference_ohm),
            says=f"impedance of the fitted pickup without cable and input, {says}",
            told=partial(ExportedFile, reference_ohm=reference_ohm, pickup=pickup.name),
        )
        for pickup in fitted.pickups
    ]
    return _of_fit(fitted, sheets)


def _fit_export(desk: Desk, logbook: Logbook, wish: ExportWish) -> _Export:
    fitted = fit_for_export(desk, logbook, _fit_wish(desk, logbook, wish))
    if wish.to == "spice":
        _require_scale(fitted)
        text, error = fitted_netlist_text(fitted)
        says = f"the fitted pickup behind cable and input{_spread_text(error)}"
        sheet = _Sheet(stem=_stem(wish.names), content=text, says=says, told=partial(ExportedFile, spread_error=error))
        return _of_fit(fitted, [sheet], advice=("tip is the jack; the source Vemf is the voltage in the winding.",))
    rate_hz = _rate(fitted, wish)
    sheets = []
    for pickup in fitted.pickups:
        impulse = fitted_impulse(fitted, pickup, rate_hz=rate_hz)
        peak = float(np.max(np.abs(impulse.samples)))
        early = impulse.early_s * rate_hz
        says = f"{len(impulse.samples)} samples at {rate_hz} Hz, {IR_BITS} bit: winding to the jack, cable and input on"
        level, phase = f"{impulse.level_error_db:.1g} dB", f"{impulse.phase_error_degree:.2g}°"
        details = (
            f"  scaled by {1 / peak:.6g}, so that the largest sample is 1; times {peak:.6g} it is volts per volt in the winding",
            f"  causal, {early:.2f} samples early; level within {level} of the fit, phase else within {phase} up to 10 kHz",
        )
        told = partial(
            ExportedFile,
            rate_hz=rate_hz,
            factor=1 / peak,
            n_samples=len(impulse.samples),
            pickup=pickup.name,
            level_error_db=impulse.level_error_db,
            phase_error_degree=impulse.phase_error_degree,
            early_s=impulse.early_s,
        )
        stem = _stem(wish.names, "" if len(fitted.pickups) == 1 else pickup.name)
        sheets.append(_Sheet(stem=stem, content=impulse.samples / peak, says=says, rate_hz=rate_hz, told=told, details=details))
    return _of_fit(fitted, sheets)


def _instrument_export(logbook: Logbook, wish: ExportWish) -> _Export:
    path = wish.instrument or instrument_path(logbook)
    if not path.exists():
        msg = (
            f"{path} is not there: begin one with coilsweep instrument --layout NAME, name another by --instrument, or name takes"
        )
        raise FileError(msg)
    instrument, load = read_instrument_file(path), load_of_rig(rig_of(logbook))
    own = instrument_path(logbook)
    fit = LastFit() if wish.stated else last_fit(logbook, own, load=load)
    parts = fit.parts
    if wish.instrument is not None and parts is not None:
        parts = shared_parts(parts, read_instrument_file(own), instrument)
    text, error = instrument_text(
        instrument, load=load, measured=parts, settings=wish.settings, changes=wish.changes, excite=wish.excite
    )
    excited = wish.excite or next(iter(instrument.pickup), "")
    says = f"the instrument at these settings, 1 V in the winding of {plain_text(excited)}{_spread_text(error)}"
    sheet = _Sheet(stem="instrument", content=text, says=says, told=partial(ExportedFile, spread_error=error, excite=excited))
    advice = (
        f"{plain_text(instrument.output)} is the jack; Vemf_... are the windings' voltages. Its head tells the values' origin."
    )
    return _Export(
        sheets=(sheet,),
        takes=() if parts is None else parts.takes,
        simulated=parts is not None and parts.simulated,
        warnings=fit.notes,
        advice=(advice,),
    )


def _of_fit(fitted: Fitted, sheets: Sequence[_Sheet], *, advice: tuple[str, ...] = ()) -> _Export:
    answer = fitted.answer
    noticed = tuple(finding.text for finding in answer.findings if finding.severity != "pass")
    misfit = () if answer.outcome == "good" else ("indicative only: the model misfits, see coilsweep fit",)
    warnings = (*misfit, *dict.fromkeys((*fitted.warnings, *noticed)))
    return _Export(sheets=tuple(sheets), takes=answer.takes, simulated=answer.simulated, warnings=warnings, advice=advice)


# Element values that are one choice of many would look like knowledge in a file.
def _require_scale(fitted: Fitted) -> None:
    for one in fitted.answer.not_identified:
        if one.quantity == "inductance" or one.quantity.endswith(".inductance"):
            msg = f"{UNKNOWN_SCALE}; {plain_text(one.why)}"
            raise ValueError(msg)


def _rate(fitted: Fitted, wish: ExportWish) -> int:
    if wish.rate_hz is not None:
        return wish.rate_hz
    if len(fitted.rates_hz) != 1:
        found = "the takes have " + ", ".join(f"{rate:g} Hz" for rate in fitted.rates_hz)
        why = found if fitted.rates_hz else "responses measured elsewhere have no sample rate"
        msg = f"{why}: say which one the impulse response should have, --rate 48000"
        raise ValueError(msg)
    return round(fitted.rates_hz[0])


def _size(response: Response) -> str:
    frequency = response.frequency_hz
    return f"{len(frequency)} frequencies, {frequency[0]:.4g} Hz to {frequency[-1]:.5g} Hz, {response.unit}"


def _told(response: Response) -> Callable[..., ExportedFile]:
    return partial(ExportedFile, n_frequencies=len(response.frequency_hz), unit=response.unit)


def _spread_text(error: float) -> str:
    return f"; a spread of eddy loops is written as single loops, impedance within {100 * error:.1g} %" if error else ""


def _stem(names: Sequence[str], pickup: str = "") -> str:
    return "-".join(names)[:LONGEST_STEM] + (f"-{'_'.join(pickup.split())}" if pickup else "")


def _paths(wish: ExportWish, stems: Sequence[str]) -> list[Path]:
    suffixes, out = SUFFIXES[wish.to], wish.out
    if out is not None and not out.is_dir():
        if len(stems) > 1:
            msg = f"{len(stems)} files are to be written: --out must be a folder that is there, and {out} is not"
            raise ValueError(msg)
        if out.suffix.lower() not in suffixes:
            msg = f"{out}: a file for {wish.to} has a name that ends in {' or '.join(suffixes)}"
            raise ValueError(msg)
        paths = [out]
    else:
        paths = [(out or Path()) / f"{stem}{suffixes[0]}" for stem in stems]
    for path in paths:
        require_free(path, may_replace=wish.replace)
        require_folder(path)
    return paths


def _write_all(paths: Sequence[Path], sheets: Sequence[_Sheet]) -> None:
    """Write all files or none: no one gets its name before all are on the disk."""
    with ExitStack() as files:
        for path, sheet in zip(paths, sheets, strict=True):
            place = files.enter_context(replaced_file(path))
            if isinstance(sheet.content, str):
                write_new(place, sheet.content.encode())
            else:
                _write_sound(place, sheet.content, rate_hz=sheet.rate_hz, suffix=path.suffix)


def _write_sound(place: Path, samples: FloatArray, *, rate_hz: int, suffix: str) -> None:
    from measure.source.files import create_blocks

    with create_blocks(place, rate_hz=rate_hz, n_channels=1, n_frames=len(samples), suffix=suffix) as write:
        write(samples[:, None])
