"""Before a take: what has to be stated, what the rig leaves open, the cautions, and what lies on the virtual bench."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fit.desk.bench.rig import DEFAULT_RATE_HZ
from fit.desk.book.desk import Desk
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.show.words import CAUTIONS
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Rig, card_channel, missing
from measure.logbook.store import Logbook, instrument_path, list_takes
from measure.logbook.take import Take, parse_time
from measure.signal.stimulus import Sweep

if TYPE_CHECKING:
    from measure.source.interface import Source
    from measure.source.virtual import VirtualBench

USUAL_RATE_HZ = DEFAULT_RATE_HZ  # [Hz] where the rig states none
INPUT_GAIN = 0.3  # [1] of the virtual bench's input: turned down, so that the usual level does not clip
VIRTUAL_METHODS = ("exciter", "quiet")
SESSION_S = 8 * 3600.0  # [s] after so long a pause the cautions are said again


def virtual_source(logbook: Logbook, rig: Rig, conditions: Conditions) -> "Source":
    """Lay the invented pickup or guitar on the virtual bench, as a take wants it.

    Parameters
    ----------
    logbook : Logbook
        Its instrument.toml says what is wired how; without one it is a pickup alone.

    Raises
    ------
    ValueError
        If the virtual bench has no such method.
    """
    if conditions.method not in VIRTUAL_METHODS:
        msg = f"--virtual: the virtual bench knows the methods {' and '.join(VIRTUAL_METHODS)}, not {conditions.method}"
        raise ValueError(msg)
    bench = bench_of(logbook, rig, conditions)
    return replace(bench, pickup=lambda frequency_hz: INPUT_GAIN * bench.pickup(frequency_hz))


def rehearsal_source(logbook: Logbook | None, rig: Rig) -> "Source":
    """Lay what a logbook states on the virtual bench, the exciter over its first pickup and everything up, to listen only."""
    from fit.desk.bench.virtual import bench_for, rehearsal_load

    if logbook is None:
        bench = bench_for(Conditions(), load=rehearsal_load(rig), seed=1)
    else:
        bench = bench_of(logbook, rig, Conditions(), is_rehearsal=True)
    return replace(bench, pickup=lambda frequency_hz: INPUT_GAIN * bench.pickup(frequency_hz))


def bench_of(logbook: Logbook, rig: Rig, conditions: Conditions, *, is_rehearsal: bool = False) -> "VirtualBench":
    """Lay what instrument.toml states, or a pickup alone, on the virtual bench; each take has its own noise.

    Parameters
    ----------
    is_rehearsal : bool
        Nothing is kept, so the rig need not state what the jack sees.
    """
    from fit.desk.bench.virtual import bench_for, rehearsal_load

    load = rehearsal_load(rig) if is_rehearsal else load_of_rig(rig)
    path = instrument_path(logbook)
    return bench_for(
        conditions,
        load=load,
        instrument=read_instrument_file(path) if path.exists() else None,
        seed=1 + len(list_takes(logbook).takes),
    )


def say_cautions(desk: Desk, logbook: Logbook, rig: Rig, *, method: str) -> None:
    """Say the cautions before the first take of a session, and before the first with another sound card.

    Parameters
    ----------
    logbook : Logbook
        With the takes so far.
    """
    made = [take for take in list_takes(logbook).takes if _is_live(take)]
    if made:
        age_s = (datetime.now(UTC) - parse_time(made[-1].time_utc)).total_seconds()
        is_same = made[-1].rig is not None and made[-1].rig.interface.device == rig.interface.device
        if is_same and age_s < SESSION_S:
            return
    for caution in CAUTIONS:
        if method != "quiet" or not caution.startswith("Sweeps"):  # nothing is played in a quiet take
            desk.say(caution)


def _is_live(take: Take) -> bool:
    return not take.simulated and (isinstance(take.stimulus, Sweep) or take.conditions.method == "quiet")


def say_open(desk: Desk, rig: Rig, source: "Source") -> None:
    """Say what the rig leaves open and what is taken instead; a take can be made all the same.

    Parameters
    ----------
    source : Source
        Where the take comes from.
    """
    from measure.source.soundcard import SoundCard

    is_card = isinstance(source, SoundCard)
    open_keys = missing(rig, for_sound_card=is_card)
    usual = {
        "interface.device": f"the {source.describe()}",
        "interface.rate_hz": f"{USUAL_RATE_HZ} Hz",
        "interface.output_channel": "output 1",
        "interface.pickup_channel": f"input {card_channel(rig, 'pickup')} for the pickup",
        "interface.reference_channel": f"input {card_channel(rig, 'reference')} for the reference",
    }
    taken = [words for key, words in usual.items() if key in open_keys]
    if taken and is_card:
        desk.say(f"The rig does not say otherwise, so these are taken: {', '.join(taken)}.")
    later = [key for key in open_keys if key not in usual]
    if later:
        desk.say(f"Before a fit the rig has to state {', '.join(later)}: coilsweep rig --ask")


def require_resistor(conditions: Conditions) -> None:
    """See that a series resistor is stated where one is driven through, and there alone.

    Raises
    ------
    ValueError
        If it is missing, or senseless.
    """
    if conditions.method == "impedance" and conditions.series_resistor is None:
        msg = 'an impedance take needs the resistor that the jack is driven through: --series-resistor, such as "100k ± 1%"'
        raise ValueError(msg)
    if conditions.series_resistor is not None and conditions.method != "impedance":
        msg = "--series-resistor is for --method impedance alone"
        raise ValueError(msg)


def require_reference(rig: Rig, conditions: Conditions) -> None:
    """See that an impedance take has both ends of its resistor.

    Raises
    ------
    ValueError
        If the rig records no reference.
    """
    if conditions.method == "impedance" and rig.reference.kind == "none":
        msg = (
            "an impedance take records both ends of the series resistor, but the rig has no reference channel: "
            "coilsweep rig --reference loopback --reference-channel N"
        )
        raise ValueError(msg)
