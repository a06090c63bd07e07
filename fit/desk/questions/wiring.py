"""The command wiring: what each switch position connects, from takes with the coil over each pickup in turn."""

from dataclasses import dataclass
from functools import partial

from fit.answers.wiring.expected import expect_wiring, find_differences
from fit.answers.wiring.levels import WiringTake
from fit.answers.wiring.survey import MUCH_LEAKAGE, WiringAnswer, read_wiring
from fit.circuit.instrument import Instrument
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import page_with_drawing
from fit.desk.book.fits import require_one_item, take_to_fit
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.response import take_response
from fit.desk.book.rig import rig_of
from fit.desk.show.figures.verdict import wiring_figure
from fit.desk.show.sheets.wiring import CAUTIONS, PICTURE, position_text, sheet_of_wiring, wiring_document
from measure.errors import FileError
from measure.logbook.placement import placements
from measure.logbook.rig import input_capacitance, input_resistance
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook, read_take
from measure.logbook.take import Take
from measure.marking import parse_parts

SILENT_CHECKS = ("dead-channel", "no-signal", "low-level", "buried-in-hum", "response")  # of a take where nothing arrives


def wiring_of(desk: Desk, names: tuple[str, ...]) -> Outcome:
    """Say which pickups each switch position connects, in which polarity, in series or parallel.

    Parameters
    ----------
    names : tuple of str
        Takes with the coil over each pickup, at each position.
    """
    found = survey_wiring(desk, open_logbook(desk.logbook), names)
    answer, expected = found.answer, found.expected
    sheet = sheet_of_wiring(
        answer, expected, differences=found.differences, takes=found.takes, simulated=found.simulated, warnings=found.warnings
    )
    texts = [position_text(one) for one in answer.positions]
    draw = partial(wiring_figure, answer, texts, is_simulated=found.simulated)
    document = wiring_document(
        answer,
        None if expected is None else found.differences,
        takes=found.takes,
        simulated=found.simulated,
        warnings=(*found.warnings, " ".join(CAUTIONS)),
    )
    page = partial(page_with_drawing, sheet, instrument_path(open_logbook(desk.logbook)))
    return Outcome(document=document, sheet=sheet, figures={PICTURE.name: draw}, page=page)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Surveyed:
    """What each position connects, by the takes and by instrument.toml where there is one."""

    answer: WiringAnswer
    expected: WiringAnswer | None
    differences: dict[str, tuple[str, ...]]
    takes: tuple[str, ...]
    warnings: tuple[str, ...]
    simulated: bool


def survey_wiring(desk: Desk, logbook: Logbook, names: tuple[str, ...]) -> Surveyed:
    """Read the wiring from takes of a logbook, and compare it with what instrument.toml states."""
    instrument = _instrument(logbook)
    kept = [_take(logbook, name, instrument) for name in dict.fromkeys(names)]
    require_one_item(kept)
    answer = _read(desk, logbook, kept, instrument)
    warnings = _warnings(kept, answer)
    expected = None
    if instrument is not None:
        expected, complaint = _expect(logbook, instrument, answer)
        warnings += complaint
    return Surveyed(
        answer=answer,
        expected=expected,
        differences={} if expected is None else find_differences(answer, expected),
        takes=tuple(take.name for take in kept),
        warnings=tuple(warnings),
        simulated=any(take.simulated for take in kept),
    )


def _read(desk: Desk, logbook: Logbook, kept: list[Take], instrument: Instrument | None) -> WiringAnswer:
    placed = placements(list_takes(logbook).takes)
    takes = []
    for take in desk.steps(sorted(kept, key=lambda take: bool(take.conditions.added)), "responses"):
        response = None if take.outcome == "rejected" else take_response(logbook, take)
        pickup = take.conditions.coil_over or _only_pickup(instrument)
        takes.append(
            WiringTake(
                name=take.name, pickup=pickup, controls=take.conditions.controls, placement=placed[take.name], response=response
            )
        )
    if instrument is None:
        return read_wiring(takes)
    return read_wiring(takes, pickups=tuple(instrument.pickup), switches=instrument.switch)


def _instrument(logbook: Logbook) -> Instrument | None:
    path = instrument_path(logbook)
    return read_instrument_file(path) if path.exists() else None


# A take where the reference plays and nothing of it reaches the pickup's input says that this pickup is not connected; any other
# rejected one says nothing.
def _is_silent(take: Take) -> bool:
    rejected = [one for one in take.findings if one.severity == "reject"]
    is_dead = any(one.code == "dead-channel" and one.text.startswith("pickup") for one in rejected)
    return is_dead and all(one.code in SILENT_CHECKS for one in rejected)


def _take(logbook: Logbook, name: str, instrument: Instrument | None) -> Take:
    take = read_take(logbook, name)
    method, over = take.conditions.method, take.conditions.coil_over
    if method != "exciter":
        msg = f'the take "{name}" was made by the method "{method}": wiring needs takes with the exciter over a pickup'
        raise FileError(msg)
    if take.outcome == "rejected" and not _is_silent(take):
        return take_to_fit(logbook, name)
    pickups = [] if instrument is None else list(instrument.pickup)
    if over is None and len(pickups) != 1:
        msg = f'the take "{name}" does not say which pickup the coil lay over: make it with --coil-over PICKUP'
        raise FileError(msg)
    if over is not None and pickups and over not in pickups:
        msg = f'the take "{name}" has the coil over "{over}", instrument.toml knows only {", ".join(pickups)}'
        raise FileError(msg)
    return take


def _only_pickup(instrument: Instrument | None) -> str:
    return "" if instrument is None else next(iter(instrument.pickup))


def _expect(logbook: Logbook, instrument: Instrument, answer: WiringAnswer) -> tuple[WiringAnswer | None, list[str]]:
    rig = rig_of(logbook)
    jack = {"input.resistance": input_resistance(rig), "input.capacitance": input_capacitance(rig)}
    load = {key: quantity.value for key, quantity in jack.items() if quantity is not None}
    try:
        return expect_wiring(instrument, {one.label: one.controls for one in answer.positions}, load=load), []
    except ValueError as err:
        return None, [f"not compared with instrument.toml: {err}"]


def _warnings(takes: list[Take], answer: WiringAnswer) -> list[str]:
    silent = [take.name for take in takes if take.outcome == "rejected"]
    loaded = [take.name for take in takes if any(part.unit == "Ω" for part in parse_parts(take.conditions.added))]
    warnings = [f"take {name}: nothing but noise arrived; taken as not connected" for name in silent]
    warnings += [f"take {name}: a resistor across the jack lowers the levels; a take without it tells more" for name in loaded]
    warnings += [f"{name} is connected at none of these positions, or the coil lay badly over it" for name in answer.unheard]
    warnings += [f"no take has the coil over {name}" for name in answer.unmeasured]
    if answer.left_out:
        warnings.append(
            f"not needed: {', '.join(answer.left_out)} (a second take of the same, or with a pot turned and fewer pickups)"
        )
    if answer.leakage is not None and answer.leakage > MUCH_LEAKAGE:
        figure = f"{100 * answer.leakage:.0f} %"
        warnings.append(
            f"pickups that are not connected read up to {figure} (usual are a few): lay the coil closer to its pickup"
        )
    return warnings
