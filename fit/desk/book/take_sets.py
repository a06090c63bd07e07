"""Takes put together to sets that each give one result: a take with every load, made in one placement on one day."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from fit.desk.book.desk import Desk
from fit.desk.book.fits import FitWish, answer_for, require_once, require_one_item
from fit.desk.show.sheets.take_sets import FittedSet, TakeSet, TakeSets, named
from fit.desk.show.words import in_order, plain_text
from measure.logbook.days import days_of
from measure.logbook.placement import placements
from measure.logbook.store import Logbook, list_takes
from measure.logbook.take import Take
from measure.marking import parse_parts

Load = tuple[object, ...]


def split_into_sets(logbook: Logbook, takes: Sequence[Take]) -> TakeSets:
    """Put takes of one coil together by placement and day.

    Parameters
    ----------
    logbook : Logbook
        Open; its other takes tell when the coil was moved, too.

    Returns
    -------
    TakeSets
        A set has the loads that most placements have; a placement without one of them is left out.

    Raises
    ------
    ValueError
        If a take is named twice, they are of different items, or most placements have no load in common.
    """
    require_once([take.name for take in takes], why="it would count double; ")
    require_one_item(takes)
    listed = list_takes(logbook).takes
    days, placed = days_of(listed), placements(listed)
    order = {take.name: place for place, take in enumerate(listed)}
    groups: dict[tuple[int, int], dict[Load, list[Take]]] = {}
    for take in sorted(takes, key=lambda take: order[take.name]):
        groups.setdefault((days[take.name], placed[take.name]), {}).setdefault(_load(take), []).append(take)
    counts = Counter(load for group in groups.values() for load in group)
    usual = [load for load, count in counts.items() if 2 * count > len(groups)]
    if not usual:
        words = "; ".join(dict.fromkeys(_load_text(one[0]) for group in groups.values() for one in group.values()))
        msg = f"no load is common to most places of the exciter ({words}): make the same takes in each, for example with 1n"
        raise ValueError(msg)
    sets, notes = _sets(groups, usual)
    nights = Counter(placement for _, placement in groups)
    stayed = [take for (_, place), group in groups.items() if nights[place] > 1 for own in group.values() for take in own]
    if stayed:
        who = named([take.name for take in stayed])
        notes.append(f"{who}: of several days, but without --coil-moved; each day counts as if the exciter had been laid anew")
    texts = tuple(_load_text(sets[0].takes[index]) for index in range(len(usual))) if sets else ()
    return TakeSets(sets=sets, loads=texts, notes=tuple(notes))


def fit_sets(desk: Desk, logbook: Logbook, split: TakeSets, *, dcr: str | None) -> tuple[tuple[FittedSet, ...], tuple[str, ...]]:
    """Fit each set by itself, as ``coilsweep fit`` would.

    Parameters
    ----------
    desk : Desk
        Where; shows how far it is.
    dcr : str or None
        From a multimeter; the same for all.

    Returns
    -------
    fitted : tuple of FittedSet
        As many as there are sets, misfits among them.
    warnings : tuple of str
        Of the sets and of the fits, each once; misfits.
    """
    fitted, warnings = [], list(split.notes)
    silent = replace(desk, steps=lambda items, _label: items)
    for one in desk.steps(split.sets, "fits"):
        answer, noticed = answer_for(silent, logbook, FitWish(names=one.names, dcr=dcr))
        warnings += noticed
        fitted.append(FittedSet(takes=one, answer=answer))
        if answer.outcome != "good":
            why = [finding.text for finding in answer.findings if finding.severity == "reject"]
            warnings.append(f"{named(one.names)}: the fit misfits: {why[0] if why else 'see coilsweep fit'}")
    return tuple(fitted), tuple(dict.fromkeys(warnings))


def common_quantities(fitted: Sequence[FittedSet]) -> tuple[list[str], list[str]]:
    """List the quantities that every set tells, and those that only some do.

    Returns
    -------
    told, untold : list of str
        In the order in which people ask for them; those of losses, which hang on the model that was chosen, are left out.
    """
    each = [[key for key in one.answer.quantities if "eddy_" not in key] for one in fitted]
    told = set(each[0]).intersection(*each)
    return in_order(told), in_order(set().union(*each) - told)


def _sets(groups: dict[tuple[int, int], dict[Load, list[Take]]], usual: Sequence[Load]) -> tuple[tuple[TakeSet, ...], list[str]]:
    sets: list[TakeSet] = []
    lacking: list[str] = []
    spare: list[str] = []
    days = {day: number for number, day in enumerate(dict.fromkeys(day for day, _ in groups))}
    placement = 0
    for (day, _), group in groups.items():
        n_sets = min(len(group.get(load, ())) for load in usual)
        for turn in range(n_sets):
            chosen = tuple(group[load][turn] for load in usual)
            sets.append(TakeSet(day=days[day], placement=placement, takes=chosen))
        placement += n_sets > 0
        rest = [take.name for load, own in group.items() for take in own[n_sets if load in usual else 0 :]]
        (spare if n_sets else lacking).extend(rest)
    notes = []
    if lacking:
        notes.append(f"{named(lacking)}: left out, at that place of the exciter is no take with a load that the others have")
    if spare:
        notes.append(f"{named(spare)}: left out, they do not make up another whole set")
    return tuple(sets), notes


def _load(take: Take) -> Load:
    """Tell what a take was made with, beside the coil: takes that agree in it are repeats of each other."""
    stated = take.conditions
    added = sorted((part.value, part.bound or 0.0, part.unit) for part in parse_parts(stated.added))
    return (stated.method, stated.series_resistor, stated.coil_over, tuple(sorted(stated.controls.items())), tuple(added))


def _load_text(take: Take) -> str:
    stated = take.conditions
    parts = [stated.added or "nothing added", *(f"{name}={value}" for name, value in stated.controls.items())]
    parts += [] if stated.coil_over is None else [f"over {stated.coil_over}"]
    parts += [] if stated.method == "exciter" else [f"method {stated.method}"]
    return plain_text(", ".join(parts))
