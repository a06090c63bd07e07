"""From the takes of an instrument to the networks that `fit.estimate.through_controls` evaluates."""

from collections.abc import Collection, Mapping, Sequence

import msgspec
import numpy as np

from fit.circuit.dielectric import log_turn
from fit.circuit.harness import INPUT_LOAD, Case, Group, build_harness
from fit.circuit.instrument import Instrument, Part, Pickup, SecondCoil
from fit.circuit.network import GROUND, Network
from fit.circuit.wiring import Passive, Wiring
from fit.estimate.coils import Circumstances
from fit.estimate.evidence import Evidence, TakeEvidence, warmth_of
from fit.estimate.parameters import (
    PickupModel,
    across_name,
    fraction_name,
    leak_name,
    loss_name,
    part_name,
    series_name,
    shunt_name,
    stop_name,
    suffix_of,
)
from fit.estimate.through_controls import SOURCE, Drive, Points, TakeSet, Term, Wired, pickup_of
from measure.response import FloatArray

MIDDLE, OPEN, SHUNT = "(middle)", "(open)", "(shunt)"  # no name in an instrument.toml has brackets
WINDING = ".winding_capacitance"


def models_of(evidence: Evidence, model: PickupModel) -> dict[str, PickupModel]:
    """Circuit of each pickup of an instrument.

    Parameters
    ----------
    model : PickupModel
        Losses of every coil; two coils stand for pickups whose middle is not led out, too.
    """
    profiles = model.eddies[0]
    out = {}
    for name, pickup in instrument_of(evidence).pickup.items():
        n_coils = 2 if pickup.second is not None else len(model.eddies)
        out[name] = PickupModel(eddies=(profiles,) * n_coils)
    return out


def instrument_of(evidence: Evidence) -> Instrument:
    """Instrument of the takes.

    Returns
    -------
    Instrument
        One pickup straight at the jack where none is stated.
    """
    return evidence.instrument or Instrument(pickup={"pickup": Pickup(ends=("tip", GROUND))})


def wire_takes(
    evidence: Evidence,
    models: Mapping[str, PickupModel],
    *,
    frequencies: Sequence[FloatArray],
    added: Sequence[Sequence[tuple[str, bool]]],
) -> Wired:
    """Lay the takes of an instrument out.

    Parameters
    ----------
    evidence : Evidence
        Takes, and what the instrument states.
    frequencies : sequence of ndarray
        Of each take. [Hz]
    added : sequence of sequence of (str, bool)
        Parameter of each part across the jack in each take; is it a capacitor.

    Raises
    ------
    ValueError
        If nothing reaches the jack in a take, or the exciter stood over a pickup that is not connected; the message names it.
    """
    plain = _with_middles(instrument_of(evidence), models)
    starts = np.concatenate([[0], np.cumsum([len(frequency) for frequency in frequencies])])
    placement = np.cumsum([take.begins_placement for take in evidence.takes])
    kinds: dict[tuple[bool, str, bool, str], list[int]] = {}
    for index, take in enumerate(evidence.takes):
        kinds.setdefault((take.is_after, take.method, take.is_loaded, series_name(evidence, take)), []).append(index)
    groups: list[tuple[Group, list[int], bool, str, str]] = []
    for (is_after, method, is_loaded, source), chosen in kinds.items():
        instrument = plain if method == "exciter" else _with_source(plain)
        instrument = _with_shunts(instrument, plain) if is_after else instrument
        own_load = INPUT_LOAD if is_loaded else ((OPEN, False),)
        cases = [
            Case(settings=evidence.takes[k].settings, frequency_hz=frequencies[k], load=(*own_load, *added[k])) for k in chosen
        ]
        harness = build_harness(instrument, cases, has_stops=True)
        groups += [(group, [chosen[case] for case in group.cases], is_after, method, source) for group in harness.groups]
    seen = {
        stop_name(part.key, evidence.takes[take].settings.pots[part.key.removeprefix("pot.")].fraction)
        for group, takes, *_ in groups
        for take, wiring in zip(takes, group.wirings, strict=True)
        for branch in wiring.branches
        for part in branch
        if part.side == "stop"
    }
    sets = []
    for group, takes, is_after, method, source in groups:
        owners = np.array(takes)[group.case_of_point]
        points = np.concatenate([np.arange(starts[take], starts[take + 1]) for take in takes])
        of_group = [evidence.takes[take] for take in takes]
        sets.append(
            TakeSet(
                wiring=group.wiring,
                network=_heard_network(group.wiring, of_group),
                points=_as_slice(points),
                s=group.s,
                turn=log_turn(group.s),
                is_after=is_after,
                source=source,
                terms=_terms(group, of_group, models, points, seen),
                drives=_drives(evidence, group.wiring, owners, placement) if method == "exciter" else (),
            )
        )
    take_of_point = np.repeat(np.arange(len(frequencies)), [len(each) for each in frequencies])
    felt = {pickup_of(coil) for group in sets for coil in group.wiring.coils}
    s = 2j * np.pi * np.concatenate(frequencies)
    is_excited = np.repeat([take.method == "exciter" for take in evidence.takes], [len(each) for each in frequencies])
    return Wired(
        models={name: model for name, model in models.items() if name in felt},
        suffixes={name: suffix_of(name, models) for name in models},
        s=s,
        field=np.where(is_excited, s, 1.0),
        names=_felt_names(sets),
        sets=tuple(sets),
        circumstances={
            name: Circumstances(placed=placed_after(evidence, name, take_of_point), warmth=warmth_of(evidence)[take_of_point])
            for name in models
            if name in felt
        },
    )


def placed_after(evidence: Evidence, pickup: str, take_of_point: np.ndarray) -> tuple[tuple[str, FloatArray], ...]:
    """Find the placements of the exciter over a pickup after the first one.

    Parameters
    ----------
    pickup : str
        Its name; empty for a pickup straight at the jack.
    take_of_point : ndarray of int, shape (m,)
        Index of the take.

    Returns
    -------
    tuple of (str, ndarray)
        Name of each, and 1 at its points, shape (m,).
    """
    placement = np.cumsum([take.begins_placement for take in evidence.takes])
    is_over = np.array([take.method == "exciter" and take.coil_over in ("", pickup) for take in evidence.takes])
    later = np.unique(placement[is_over])[1:]
    return tuple((str(one), (is_over & (placement == one))[take_of_point].astype(float)) for one in later)


def _as_slice(points: np.ndarray) -> Points:
    if len(points) and np.array_equal(points, np.arange(points[0], points[0] + len(points))):
        return slice(int(points[0]), int(points[-1]) + 1)
    return points


def _with_middles(instrument: Instrument, models: Mapping[str, PickupModel]) -> Instrument:
    """Part a pickup of two coils whose middle is not led out in the middle."""
    pickups = {}
    for name, pickup in instrument.pickup.items():
        split = pickup
        if len(models[name].eddies) == 2 and pickup.second is None:
            middle = f"{MIDDLE}{name}"
            split = Pickup(ends=(pickup.ends[0], middle), second=SecondCoil(ends=(middle, pickup.ends[1])))
        pickups[name] = split
    return msgspec.structs.replace(instrument, pickup=pickups)


def _with_source(instrument: Instrument) -> Instrument:
    source = Pickup(ends=(instrument.output, GROUND))
    return msgspec.structs.replace(instrument, pickup={**instrument.pickup, SOURCE: source})


def _with_shunts(instrument: Instrument, plain: Instrument) -> Instrument:
    """Lay a capacitance across every pickup, for what a job on shielding or wiring added."""
    shunts = {}
    for name, pickup in plain.pickup.items():
        ends = (pickup.ends[0], pickup.ends[1])
        if pickup.second is not None and MIDDLE + name in ends:
            ends = (pickup.ends[0], pickup.second.ends[1])
        shunts[SHUNT + name] = Part(between=ends)
    return msgspec.structs.replace(instrument, capacitor={**instrument.capacitor, **shunts})


def _heard_network(wiring: Wiring, takes: Sequence[TakeEvidence]) -> Network:
    for take in takes:
        if wiring.network is not None and take.method == "exciter" and take.coil_over and take.coil_over not in wiring.coils:
            what = f"the exciter stood over {take.coil_over}, which is not connected at these settings"
            msg = f"take {take.name}: {what}; leave it out"
            raise ValueError(msg)
    if wiring.network is None:
        msg = f"take {takes[0].name}: with its controls set so, nothing reaches the jack; leave it out, or correct --set"
        raise ValueError(msg)
    return wiring.network


def _terms(
    group: Group, takes: Sequence[TakeEvidence], models: Mapping[str, PickupModel], all_points: np.ndarray, seen: Collection[str]
) -> tuple[Term, ...]:
    """Every part in every branch, those of several takes together; stops that are seen are ohms of their own."""
    found: dict[tuple[str, int, bool, str, str, str], list[np.ndarray]] = {}
    for column, (wiring, take) in enumerate(zip(group.wirings, takes, strict=True)):
        points = np.flatnonzero(group.case_of_point == column)
        for row, branch in enumerate(wiring.branches):
            for part in branch:
                if part.key in (SOURCE + WINDING, OPEN):
                    continue
                fraction = fraction_name(part.key, take.settings) if part.side in ("ccw", "cw") else ""
                stop = _stop_of(part, take, seen) if part.side in ("stop", "rest") else ""
                found.setdefault((part.key, row, part.is_capacitor, part.side, fraction, stop), []).append(points)
    terms = []
    for (key, row, is_capacitor, side, fraction, stop), pieces in found.items():
        is_winding, points = key.endswith(WINDING), np.concatenate(pieces)
        name = key.removesuffix(WINDING) if is_winding else _parameter_of(key, list(models))
        own, at = _as_slice(points), _as_slice(all_points[points])
        if key.startswith("capacitor.") and SHUNT not in key:
            terms.append(Term(name=across_name(key), branch=row, points=own, at=at, is_capacitor=False))
        terms.append(
            Term(
                name=name,
                branch=row,
                points=own,
                at=at,
                is_capacitor=is_capacitor,
                is_winding=is_winding,
                side=side,
                fraction=fraction,
                stop=stop,
                loss=loss_name(name) if is_capacitor and not is_winding and SHUNT not in key else "",
            )
        )
    return tuple(terms)


def _stop_of(part: Passive, take: TakeEvidence, seen: Collection[str]) -> str:
    fraction = take.settings.pots[part.key.removeprefix("pot.")].fraction
    name = stop_name(part.key, fraction)
    return name if name in seen else stop_name(part.key, fraction, is_hidden=True)


def _parameter_of(key: str, pickups: Sequence[str]) -> str:
    mark = f"capacitor.{SHUNT}"
    return shunt_name(key.removeprefix(mark), pickups) if key.startswith(mark) else part_name(key)


def _drives(evidence: Evidence, wiring: Wiring, owners: np.ndarray, placement: np.ndarray) -> tuple[Drive, ...]:
    pickups = list(dict.fromkeys(pickup_of(coil) for coil in wiring.coils))
    drives = []
    for pickup in pickups:
        is_under = np.array([float(evidence.takes[take].coil_over in ("", pickup)) for take in owners])
        leaks: dict[str, FloatArray] = {}
        for index in np.unique(owners[is_under == 0]):
            name = leak_name(int(placement[index]), pickup)
            leaks[name] = leaks.get(name, np.zeros(len(owners))) + (owners == index)
        drives.append(Drive(pickup=pickup, is_under=is_under, leaks=tuple(leaks.items())))
    return tuple(drives)


def _felt_names(sets: Sequence[TakeSet]) -> tuple[str, ...]:
    names: dict[str, None] = {}
    for group in sets:
        names |= dict.fromkeys(term.name for term in group.terms if not term.is_winding)
        names |= dict.fromkeys(name for term in group.terms for name in (term.fraction, term.stop, term.loss) if name)
        names |= dict.fromkeys(name for drive in group.drives for name, _ in drive.leaks)
    return tuple(names)
