"""Sets of takes with their results, written down by hand: no logbook, no fit."""

from dataclasses import replace

import numpy as np

from fit.answers.repeat.control_chart import chart_coil
from fit.answers.repeat.repeatability import Result, judge_repeatability
from fit.desk.show.sheets.check import Checked
from fit.desk.show.sheets.repeat import Repeated
from fit.desk.show.sheets.take_sets import FittedSet, TakeSet, TakeSets
from measure.logbook.take import RecordingFile, Take
from tests.answer_by_hand import answer, estimate

KEY, UNIT = "resonance_loaded", "Hz"


def take_set(number, *, day=0, placement=None):
    takes = tuple(
        Take(
            name=f"coil-{number}{part}",
            time_utc=f"2026-03-{number + 1:02d}T17:0{minute}:00.000Z",
            recordings=(RecordingFile(file="recording.wav"),),
            rate_hz=48000,
        )
        for minute, part in enumerate(("", "-1n"))
    )
    return TakeSet(day=day, placement=number if placement is None else placement, takes=takes)


def fitted(takes, value, *, simulated=False, std=9.0):
    quantities = {KEY: estimate(value, std, UNIT), "inductance": estimate(2.874, 0.0157, "H")}
    return FittedSet(takes=takes, answer=replace(answer(simulated=simulated), quantities=quantities))


def checked(values, *, simulated=False, warnings=(), untold=()):
    """A kept coil of which only its resonance is looked at."""
    sets = tuple(take_set(number) for number in range(len(values)))
    return Checked(
        coil="coil",
        split=TakeSets(sets=sets, loads=("nothing added", "1n ± 1%"), notes=()),
        fitted=tuple(fitted(one, value, simulated=simulated) for one, value in zip(sets, values, strict=True)),
        values={KEY: tuple(values)},
        units={KEY: UNIT},
        charts={KEY: chart_coil(np.array(values))} if len(values) >= 8 else {},
        untold=untold,
        warnings=warnings,
    )


def repeated(design=((0, 0), (0, 0), (1, 1), (1, 1), (2, 2), (2, 2)), *, spread=5.0, own_std=2.0, advice=(), simulated=False):
    """Results of one coil, by (placement, day); drawn with a spread of [Hz]."""
    rng = np.random.default_rng(1)
    values = 5900.0 + spread * rng.standard_normal(len(design))
    sets = tuple(take_set(number, placement=placement, day=day) for number, (placement, day) in enumerate(design))
    results = [
        Result(day=day, placement=placement, value=value, stated_std=9.0, own_std=own_std, stated_half=1.96 * 9.0)
        for (placement, day), value in zip(design, values.tolist(), strict=True)
    ]
    return Repeated(
        split=TakeSets(sets=sets, loads=("nothing added", "1n ± 1%"), notes=()),
        fitted=tuple(fitted(one, value, simulated=simulated) for one, value in zip(sets, values.tolist(), strict=True)),
        quantities={KEY: judge_repeatability(results)},
        untold=(),
        advice=advice,
        warnings=(),
    )
