"""The command compare: what a job on shielding or wiring changed, from takes before and after it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from fit.answers.compare.comparison import CompareAnswer, Foil, compare_takes
from fit.answers.compare.noise import NoiseChange, NoiseTake, compare_noise
from fit.answers.compare.shielding import ShieldingAnswer, common_frequencies, compare_shielding
from fit.circuit.controls import read_settings
from fit.desk.book.derived import kept_or_made, takes_key
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import page_with_drawing
from fit.desk.book.drift import drift_warnings
from fit.desk.book.fits import collect_evidence, require_one_item, take_to_fit, takes_of
from fit.desk.book.noise import noise_take
from fit.desk.book.response import take_response
from fit.desk.show.document.pieces import named_takes
from fit.desk.show.figures.compare import changes_figure
from fit.desk.show.sheets.compare import PICTURE, compare_document, sheet_of_compare
from fit.estimate.evidence import AS_IT_STANDS, Evidence
from measure.logbook.recordings import kept_recordings
from measure.logbook.store import Logbook, instrument_path, open_logbook, read_take
from measure.logbook.take import Take
from measure.response import Response

FITTED = ("exciter", "impedance")  # methods whose takes tell parts


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareWish:
    """What is to be compared, as it was typed."""

    before: tuple[str, ...]
    after: tuple[str, ...]
    dcr: str | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Compared:
    """Everything that a comparison found; None where the takes do not tell it.

    Attributes
    ----------
    parts : CompareAnswer or None
        Part by part, from what was driven by the exciter or through a resistor.
    shielding : ShieldingAnswer or None
        From takes with a foil.
    noise_takes : tuple of str
        Takes that hum and noise rest on.
    warnings : tuple of str
        What was noticed on the way.
    simulated : bool
        A take came from the virtual bench.
    """

    parts: CompareAnswer | None
    noise: NoiseChange | None
    shielding: ShieldingAnswer | None
    noise_takes: tuple[str, ...]
    warnings: tuple[str, ...]
    simulated: bool


def compare_sides(desk: Desk, wish: CompareWish) -> Outcome:
    """Say what a job changed.

    Returns
    -------
    Outcome
        Part by part, response by response, hum and noise, shielding against frequency.

    Raises
    ------
    ValueError
        If a side has no take, or a take is named twice.
    """
    for side, names in (("before", wish.before), ("after", wish.after)):
        if not names:
            msg = f"no take is named for the side {side}: coilsweep compare --before NAME... --after NAME..."
            raise ValueError(msg)
    twice = [name for name in (*wish.before, *wish.after) if (*wish.before, *wish.after).count(name) > 1]
    if twice:
        msg = f'the take "{twice[0]}" is named twice; it belongs to one side, once'
        raise ValueError(msg)
    logbook = open_logbook(desk.logbook)
    compared = compare_kept(desk, logbook, wish)
    found = (compared.parts, compared.noise, compared.shielding)
    sheet = sheet_of_compare(*found, simulated=compared.simulated, warnings=compared.warnings)
    return Outcome(
        sheet=sheet,
        page=partial(page_with_drawing, sheet, instrument_path(logbook)),
        figures={PICTURE.name: partial(changes_figure, compared.parts, compared.shielding)},
        document=compare_document(
            *found,
            takes=(
                *named_takes(wish.before, "before"),
                *named_takes(wish.after, "after"),
                *named_takes(compared.noise_takes, "noise"),
            ),
            simulated=compared.simulated,
            warnings=compared.warnings,
        ),
    )


# Nothing that was rejected; but where nothing was played, hum and noise may be read.
def _usable_take(logbook: Logbook, name: str) -> Take:
    take = read_take(logbook, name)
    return take if take.conditions.method == "quiet" else take_to_fit(logbook, name)


def compare_kept(desk: Desk, logbook: Logbook, wish: CompareWish) -> Compared:
    """Compare takes of a logbook by all that they tell; read where it is kept, with what is known of the bench at present.

    Raises
    ------
    ValueError
        If the two sides have nothing in common.
    """
    sides = [[_usable_take(logbook, name) for name in names] for names in (wish.before, wish.after)]
    require_one_item([take for side in sides for take in side])
    key = takes_key(logbook, [take for side in sides for take in side], "comparison", len(sides[0]), wish.dcr)
    kept = kept_or_made(logbook, "comparison", key, Compared, lambda: _compare(desk, logbook, sides, dcr=wish.dcr))
    if kept.parts is None:
        return kept
    fitted = [take for side in sides for take in side if take.conditions.method in FITTED]
    return replace(kept, warnings=(*kept.warnings, *drift_warnings(logbook, fitted)))


def _compare(desk: Desk, logbook: Logbook, sides: Sequence[Sequence[Take]], *, dcr: str | None) -> Compared:
    fitted = [[take for take in side if take.conditions.method in FITTED] for side in sides]
    warnings: tuple[str, ...] = ()
    plates = [[take for take in side if take.conditions.method == "plate"] for side in sides]
    responses = [[take_response(logbook, take) for take in side] for side in plates]
    parts = None
    if all(fitted):
        names = tuple(take.name for side in fitted for take in side)
        evidence, warnings = collect_evidence(desk, logbook, takes_of(logbook, names), dcr=dcr)
        foil = _foil(evidence, plates[0][0], responses) if all(plates) else None
        parts = compare_takes(with_sides(evidence, {take.name for take in fitted[1]}), foil=foil)
    shielding = _shielding(parts, responses) if all(plates) else None
    listened = _listened(sides)
    noise = None
    if listened is not None:
        found = [[_noise_of(logbook, take) for take in side] for side in listened]
        noise = compare_noise(found[0], found[1])
    if parts is None and shielding is None and noise is None:
        msg = "the two sides have nothing in common: name takes made by the same method before and after"
        raise ValueError(msg)
    return Compared(
        parts=parts,
        noise=noise,
        shielding=shielding,
        noise_takes=() if listened is None else tuple(take.name for side in listened for take in side),
        warnings=warnings,
        simulated=any(take.simulated for side in sides for take in side),
    )


def _foil(evidence: Evidence, take: Take, responses: Sequence[Sequence[Response]]) -> Foil:
    """Where the foil was driven, so that its capacitance comes out in farads."""
    settings = AS_IT_STANDS if evidence.instrument is None else read_settings(evidence.instrument, take.conditions.controls)
    return Foil(settings=settings, frequency_hz=common_frequencies(responses[0], responses[1]))


def _shielding(parts: CompareAnswer | None, responses: Sequence[Sequence[Response]]) -> ShieldingAnswer:
    if parts is None or "inductance" not in parts.quantities or parts.outcome != "good":
        return compare_shielding(responses[0], responses[1])
    one = parts.quantities["inductance"].before
    scale = 0.0 if one is None else one.standard_uncertainty / one.value  # whole impedances scale as the inductance does
    return compare_shielding(
        responses[0],
        responses[1],
        impedance_before=parts.jack_before,
        impedance_after=parts.jack_after,
        impedance_relative_std=scale,
    )


def with_sides(evidence: Evidence, after: set[str]) -> Evidence:
    """Mark the takes from after the job; the exciter was laid down anew for the first of them."""
    takes = sorted(evidence.takes, key=lambda take: (take.method != "exciter", take.name in after))
    marked = []
    for index, take in enumerate(takes):
        is_after = take.name in after
        begins = index > 0 and is_after != (takes[index - 1].name in after)
        marked.append(replace(take, is_after=is_after, coil_moved=take.coil_moved or begins))
    return replace(evidence, takes=tuple(marked))


def _listened(sides: Sequence[Sequence[Take]]) -> list[list[Take]] | None:
    """Choose takes to read hum and noise from: quiet ones where each side has one, else the silences of all recordings."""
    quiet = [[take for take in side if take.conditions.method == "quiet"] for side in sides]
    if all(quiet):
        return quiet
    recorded = [[take for take in side if take.recordings and take.conditions.method != "impedance"] for side in sides]
    return recorded if all(recorded) else None


def _noise_of(logbook: Logbook, take: Take) -> NoiseTake:
    recordings, stimulus = kept_recordings(logbook, take)
    return noise_take(take, recordings, stimulus=stimulus)
