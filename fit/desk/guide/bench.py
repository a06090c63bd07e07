"""Where a guide's takes come from: the sound card that rig.toml names, or the virtual bench."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace

from fit.desk.bench.imports import TakeFacts
from fit.desk.book.desk import Desk
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.book.rig import rig_of
from fit.desk.guide.scene import FAILED, Bench, Offer, Order, Taken
from fit.desk.guide.session import Job
from fit.desk.show.words import CAUTIONS, SIMULATED_TEXT
from measure.logbook.rig import Rig
from measure.logbook.store import instrument_path, list_takes, open_logbook
from measure.source.interface import Source

VIRTUAL_DEFAULTS = {
    "reference": "current",
    "sense_resistor": "100 ± 1%",
    "input_resistance": "1M ± 1%",
    "input_capacitance": "185p ± 3p",
}


def virtual_bench(desk: Desk, job: Job) -> Bench:
    """Set up the virtual bench.

    Parameters
    ----------
    desk : Desk
        Where the logbook is.
    job : str
        For what.

    Returns
    -------
    Bench
        Its pickup or guitar answers to what each take asks for.
    """
    from fit.desk.bench.virtual import VIRTUAL_DCR

    def source(order: Order, rig: Rig) -> Source:
        from fit.desk.bench.virtual import OnBench, bench_for

        logbook = open_logbook(desk.logbook)
        path = instrument_path(logbook)
        there = OnBench(
            added=order.added,
            controls=order.controls,
            coil_over=order.coil_over,
            is_after=order.is_after,
            load=load_of_rig(rig),
            instrument=read_instrument_file(path) if path.exists() else None,
            seed=1 + len(list_takes(logbook).takes),
        )
        return bench_for(there)

    defaults = VIRTUAL_DEFAULTS | ({"dcr": VIRTUAL_DCR} if job == "pickup" else {})
    take = functools.partial(_make_take, desk, source=source, simulated=True)
    return Bench(take=take, offers=None, defaults=defaults)


def card_bench(desk: Desk) -> Bench:
    """Set up the sound card that rig.toml will name.

    Parameters
    ----------
    desk : Desk
        Where the logbook is.

    Returns
    -------
    Bench
        Nothing is opened before a take.
    """

    def source(order: Order, rig: Rig) -> Source:
        from fit.desk.bench.level import card_of

        del order
        return card_of(rig)

    seen: list[Offer] = []

    def offers() -> Sequence[Offer]:
        if not seen:
            seen.extend(_list_offers())
        return seen

    take = functools.partial(_make_take, desk, source=source, simulated=False)
    return Bench(take=take, offers=offers, defaults={})


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


def _make_take(desk: Desk, order: Order, *, source: Callable[[Order, Rig], Source], simulated: bool) -> Taken:
    from fit.desk.bench.take import PreflightError, TakeOrder, make_take

    rig = rig_of(open_logbook(desk.logbook, create=True))
    facts = TakeFacts(
        added=order.added,
        settings=tuple(f"{control}={value}" for control, value in order.controls.items()),
        coil_over=order.coil_over,
        coil_moved=order.coil_moved,
        method=order.method,
        note=order.note,
        simulated=simulated,
    )
    wanted = TakeOrder(name=order.name, facts=facts, level=order.level, is_looked_at_first=not order.may_be_silent)
    said: list[str] = []
    try:
        made = make_take(replace(desk, say=said.append), wanted, source=source(order, rig))
    except PreflightError as err:
        return Taken(outcome=FAILED, lines=(str(err),), codes=("clipped",) if "would clip" in str(err) else ())
    return Taken(
        outcome=made.looked.outcome,
        lines=tuple(line for line in (*said, *made.outcome.lines) if not _is_told_already(line)),
        codes=tuple(finding.code for finding in made.looked.findings if finding.severity != "pass"),
    )


# What the guide itself has told at its beginning, or asks next.
def _is_told_already(line: str) -> bool:
    return line == SIMULATED_TEXT or line in CAUTIONS or line.endswith("Repeat it under another name.")
