"""The command listen: from a recording of the instrument as it is to one of it changed."""

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from fit.answers.listen.impulse import Side, design_change
from fit.answers.listen.loudness import weighted_energy
from fit.answers.listen.minimum_phase import convolve_blocks
from fit.circuit.controls import split_settings
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.output import require_free
from fit.desk.book.variant import Change, Changed, ChangeWish, carry_settings, read_change, with_change
from fit.desk.questions.predict import Stand, stand_of
from fit.desk.show.figures.listen import listen_figure
from fit.desk.show.sheets.listen import PICTURE, Facts, Levels, Written, is_simulated, listen_document, sheet_of_listen
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.disk import replaced_file
from measure.logbook.store import instrument_path, open_logbook
from measure.response import FloatArray
from measure.source.files import SUFFIXES, create_blocks, open_blocks

CEILING = 10 ** (-0.1 / 20)  # [1] of full scale; the little that is left keeps a converter from overshooting
SILENT = 10 ** (-120 / 20)  # [1] of full scale; a recording whose peak does not come up to it
BLOCK_VALUES = 1 << 18  # samples times channels that are transformed at a time: bounds the memory
LEAST_TAPS = 2  # [1] lengths of the filter in a transform, at least: shorter blocks cost more than they save


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenWish(ChangeWish):
    """What is to be heard, as it was typed.

    Attributes
    ----------
    source, target : Path
        Recording of the instrument as it is; what is written, as loud as it.
    true_level : Path or None
        The same with the level that the change gives it.
    recorded : tuple of str
        CONTROL=VALUE: where the controls stood in the recording.
    replace : bool
        Files that are there already are replaced.
    """

    source: Path
    target: Path
    true_level: Path | None = None
    recorded: tuple[str, ...] = ()
    replace: bool = False


def listen_to_change(desk: Desk, wish: ListenWish) -> Outcome:
    """Filter a recording so that it sounds as after a change.

    Returns
    -------
    Outcome
        What was written, and what the change does.

    Raises
    ------
    ValueError
        If a setting, part, pickup or value is wrong or missing, nothing changes, or nothing is heard.
    FileError
        If the recording is not usable or silent, or a file cannot be written or is there already.
    """
    changes = (wish.change, *wish.versus)
    targets = [_targets(wish, number) for number in range(1, len(changes) + 1)]
    _require_targets(wish.source, [path for own in targets for path in own], may_replace=wish.replace)
    before, others, made, notes = _sides(desk, wish)
    with open_blocks(wish.source) as audio:
        answers = [design_change(before, after, rate_hz=audio.rate_hz, excite=wish.excite) for after in others]
    levels = [_measure(desk, wish.source, answer.impulse) for answer in answers]
    written = _plan(targets, levels)
    _write(desk, wish, [answer.impulse for answer in answers], levels=levels[0], rate_hz=answers[0].rate_hz, written=written)
    first, *versus = (
        Facts(
            changed=(*change.told, *(plain_text(text) for text in change.settings)),
            excite=wish.excite,
            answer=answer,
            levels=level,
            written=tuple(files),
            measured=before.measured,
            notes=notes,
        )
        for change, answer, level, files in zip(changes, answers, levels, written, strict=True)
    )
    figure = partial(
        listen_figure,
        first.answer,
        level_change_db=20 * math.log10(first.levels.change),
        is_simulated=is_simulated(first, versus),
        versus=[(one.answer, 20 * math.log10(one.levels.change)) for one in versus],
    )
    document = listen_document(first, versus, source=str(wish.source))
    sheet = sheet_of_listen(first, versus)
    page = partial(with_change, sheet, wish.change, made)
    return Outcome(document=document, sheet=sheet, figures={PICTURE.name: figure}, page=page)


def _targets(wish: ListenWish, number: int) -> list[Path]:
    """Name the files of a change; those of a second one are called like the first, with a 2."""
    named = [wish.target] if wish.true_level is None else [wish.target, wish.true_level]
    return named if number == 1 else [path.with_name(f"{path.stem}-{number}{path.suffix}") for path in named]


# As recorded, after each change, the first change as it was read, and what is to be said.
def _sides(desk: Desk, wish: ListenWish) -> tuple[Side, list[Side], Changed, tuple[str, ...]]:
    if not (wish.change.settings or wish.change.told):
        msg = "nothing is changed, so there is nothing to hear: say what by --set, --change, --solder, --move or --layout"
        raise ValueError(msg)
    own = instrument_path(open_logbook(desk.logbook))
    if not own.exists():
        raise _nothing_recorded(own)
    stand = stand_of(desk.logbook, stated=wish.stated)
    recorded, shared = split_settings(wish.recorded), split_settings(wish.change.settings)
    read = [read_change(change, stand.instrument, stand.fit.parts) for change in (wish.change, *wish.versus)]
    sides = [_after(stand, wish.change, read[0], recorded)]
    sides += [_after(stand, change, made, recorded, shared=shared) for change, made in zip(wish.versus, read[1:], strict=True)]
    notes = (*stand.fit.notes, *(note for made in read for note in made.notes))
    return _recorded(stand, recorded), sides, read[0], tuple(dict.fromkeys(notes))


def sides_of(stand: Stand, change: Change, recorded: dict[str, str]) -> tuple[Side, Side, tuple[str, ...]]:
    """Put the instrument as it was recorded beside what it is changed to.

    Parameters
    ----------
    recorded : dict of str to str
        Control to where it stood.

    Returns
    -------
    before, after : Side
        What is not set stands as recorded.
    notes : tuple of str
        What is to be said of the last fit, and of the change.

    Raises
    ------
    FileError
        If there is no instrument.
    """
    before = _recorded(stand, recorded)
    made = read_change(change, stand.instrument, stand.fit.parts)
    return before, _after(stand, change, made, recorded), (*stand.fit.notes, *made.notes)


def _recorded(stand: Stand, recorded: dict[str, str]) -> Side:
    if stand.instrument is None:
        raise _nothing_recorded(stand.file)
    return Side(instrument=stand.instrument, controls=recorded, load=stand.load, measured=stand.fit.parts)


def _nothing_recorded(file: Path) -> FileError:
    cure = "state the instrument that was recorded, begin with coilsweep instrument --layout NAME"
    return FileError(f"{file} is not there: {cure}")


# Another change stands at the settings of the first, where it has these controls.
def _after(
    stand: Stand, change: Change, made: Changed, recorded: dict[str, str], *, shared: Mapping[str, str] | None = None
) -> Side:
    other = made.variant.instrument
    stood = carry_settings(recorded, other) if change.is_rewired else recorded
    return Side(
        instrument=other,
        controls=stood | carry_settings(shared or {}, other) | split_settings(change.settings),
        load=stand.load,
        changes=made.variant.changes,
        measured=made.parts,
    )


def _require_targets(source: Path, targets: list[Path], *, may_replace: bool) -> None:
    if len({path.resolve() for path in targets}) < len(targets):
        msg = f"{plain_text(str(targets[0]))}: both levels would go to the same file, name two"
        raise ValueError(msg)
    for path in targets:
        shown = plain_text(str(path))
        if path.suffix.lower() not in SUFFIXES:
            msg = f"{shown}: give a name that ends in {', '.join(SUFFIXES)}"
            raise ValueError(msg)
        if path.resolve() == source.resolve() or (path.exists() and source.exists() and path.samefile(source)):
            msg = f"{shown}: this is the recording itself, which is never written over; name another file"
            raise FileError(msg)
        if path.is_dir() or not path.parent.is_dir():
            msg = f"{shown}: {'is a folder' if path.is_dir() else 'there is no such folder'}; name a file in one that is there"
            raise FileError(msg)
        require_free(path, may_replace=may_replace)


# With the filter's tail a block fills a power of two.
def _block_frames(n_taps: int, n_channels: int) -> int:
    size = max(BLOCK_VALUES // n_channels, LEAST_TAPS * n_taps)
    return (1 << (size - 1).bit_length()) - n_taps + 1


def _filtered(desk: Desk, source: Path, impulse: FloatArray, label: str) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Blocks of the recording, and the same filtered."""
    with open_blocks(source) as audio:
        n_frames = _block_frames(len(impulse), audio.n_channels)
    with open_blocks(source, n_frames=n_frames) as audio:
        n_blocks = math.ceil(audio.n_frames / n_frames)
        kept: list[FloatArray] = []

        def keep() -> Iterator[FloatArray]:
            for block in audio.blocks:
                kept[:] = [block]
                yield block

        blocks = convolve_blocks(keep(), impulse)
        for _ in desk.steps(range(n_blocks), label):
            after = next(blocks)
            yield kept[0], after
        for _ in blocks:  # none is left; but only now a file that ends too early is told
            pass


def _measure(desk: Desk, source: Path, impulse: FloatArray) -> Levels:
    n_frames = n_channels = 0
    before = after = peak_before = peak = 0.0
    with open_blocks(source) as audio:
        rate_hz, n_channels = audio.rate_hz, audio.n_channels
    for old, new in _filtered(desk, source, impulse, "listening"):
        n_frames += len(old)
        before, after = before + weighted_energy(old, rate_hz), after + weighted_energy(new, rate_hz)
        peak_before, peak = max(peak_before, float(np.max(np.abs(old)))), max(peak, float(np.max(np.abs(new))))
    if peak_before < SILENT or after <= 0:
        msg = (
            f"{plain_text(source.name)}: silent, its largest sample is below −120 dB of full scale. Record the instrument again."
        )
        raise FileError(msg)
    return Levels(n_frames=n_frames, n_channels=n_channels, change=math.sqrt(after / before), peak=peak)


# What has to be lowered so that nothing clips is lowered by as much in the others, so that they stay equally loud.
def _plan(targets: list[list[Path]], levels: list[Levels]) -> list[list[Written]]:
    gains = [[1 / own.change, 1.0] for own in levels]
    room = [[min(1.0, CEILING / (gain * own.peak)) for gain in two] for two, own in zip(gains, levels, strict=True)]
    lowered = [min(one) for one in zip(*room, strict=True)]
    return [
        [
            Written(path=path, level=level, gain=gain * down, lowered=down)
            for path, level, gain, down in zip(paths, ("matched", "true"), two, lowered, strict=False)
        ]
        for paths, two in zip(targets, gains, strict=True)
    ]


def _write(
    desk: Desk, wish: ListenWish, impulses: list[FloatArray], *, levels: Levels, rate_hz: int, written: list[list[Written]]
) -> None:
    with ExitStack() as files:
        for impulse, own in zip(impulses, written, strict=True):
            places = [files.enter_context(replaced_file(one.path)) for one in own]
            with ExitStack() as open_files:
                writers: list[Callable[[FloatArray], None]] = [
                    open_files.enter_context(
                        create_blocks(
                            place,
                            rate_hz=rate_hz,
                            n_channels=levels.n_channels,
                            n_frames=levels.n_frames,
                            suffix=one.path.suffix,
                        )
                    )
                    for place, one in zip(places, own, strict=True)
                ]
                for _, block in _filtered(desk, wish.source, impulse, "writing"):
                    for write, one in zip(writers, own, strict=True):
                        write(block * one.gain)
        for one in (one for own in written for one in own):  # a name may have been taken meanwhile
            require_free(one.path, may_replace=wish.replace)
