"""Where a guide's takes come from: the sound card that rig.toml names, or the virtual bench."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace

from fit.desk.bench.intake import KeptTake
from fit.desk.bench.level import rehearse_level, watch_level
from fit.desk.bench.preparation import bench_of
from fit.desk.bench.recordings import Batch, InputLoad, calibration_source, real_take, record_by_rig
from fit.desk.bench.take import Order, make_take
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.rig import rig_of
from fit.desk.guide.prepare import LOOK_S
from fit.desk.guide.scene import Bench, InputBench, Offer, hushed
from fit.desk.guide.session import Job
from fit.desk.show.words import CAUTIONS, SIMULATED_TEXT
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Rig
from measure.logbook.store import open_logbook
from measure.source.interface import Source

CALIBRATION_LEVEL = 0.1  # [1] of full scale, as `coilsweep calibrate` plays
VIRTUAL_DEFAULTS = {
    "reference": "current",
    "sense_resistor": "100 ± 1%",
    "input_resistance": "1M ± 1%",
    "input_capacitance": "185p ± 3p",
}


def virtual_bench(desk: Desk, job: Job) -> Bench:
    """Set up the virtual bench.

    Returns
    -------
    Bench
        Its pickup or guitar answers to what each take asks for.
    """
    from fit.desk.bench.virtual import VIRTUAL_DCR

    def source(conditions: Conditions, rig: Rig) -> Source:
        return bench_of(open_logbook(desk.logbook), rig, conditions)

    defaults = VIRTUAL_DEFAULTS | ({"dcr": VIRTUAL_DCR} if job == "pickup" else {})
    take = functools.partial(_make_take, desk, source=source, simulated=True)

    def record(load: InputLoad) -> Batch:
        source = calibration_source(desk, "input", load)
        return record_by_rig(hushed(desk), level=CALIBRATION_LEVEL, label=load.name, source=source)

    def level() -> Outcome:
        return rehearse_level(hushed(desk))

    # beside real takes nothing is rehearsed that would be written to their rig.toml
    calibration = None if real_take(desk) is not None else InputBench(record=record)
    return Bench(take=take, offers=None, defaults=defaults, level=level, calibration=calibration)


def card_bench(desk: Desk) -> Bench:
    """Set up the sound card that rig.toml will name.

    Returns
    -------
    Bench
        Nothing is opened before a take.
    """

    def source(conditions: Conditions, rig: Rig) -> Source:
        from fit.desk.bench.level import card_of

        del conditions
        return card_of(rig)

    seen: list[Offer] = []

    def offers() -> Sequence[Offer]:
        if not seen:
            seen.extend(_list_offers())
        return seen

    take = functools.partial(_make_take, desk, source=source, simulated=False)

    def record(load: InputLoad) -> Batch:
        return record_by_rig(desk, level=CALIBRATION_LEVEL, label=load.name)

    def level() -> Outcome:
        return watch_level(desk, seconds=LOOK_S)

    return Bench(take=take, offers=offers, defaults={}, level=level, calibration=InputBench(record=record))


def _list_offers() -> list[Offer]:
    from measure.source.devices import list_devices

    return [
        Offer(
            device=device.name,
            host_api=device.host_api,
            rates_hz=device.rates_hz or (),
            is_default=device.is_default_output or device.is_default_input,
            has_inputs=device.n_inputs > 0,
            has_outputs=device.n_outputs > 0,
        )
        for device in list_devices().devices
    ]


def _make_take(desk: Desk, order: Order, *, source: Callable[[Conditions, Rig], Source], simulated: bool) -> KeptTake:
    rig = rig_of(open_logbook(desk.logbook, create=True))
    said: list[str] = []
    made = make_take(replace(desk, say=said.append), replace(order, simulated=simulated), source=source(order.conditions, rig))
    lines = tuple(line for line in (*said, *made.reply.lines) if not _is_told_already(line))
    return replace(made, reply=replace(made.reply, lines=lines))


# What the guide itself has told at its beginning, or asks next.
def _is_told_already(line: str) -> bool:
    return line == SIMULATED_TEXT or line in CAUTIONS or line.endswith("Repeat it under another name.")
