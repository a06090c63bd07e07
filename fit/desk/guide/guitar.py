"""The guide to a whole guitar that stays closed: what is in it."""

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from fit.circuit.alone import DOWN, FULL, alone_controls, pickups_heard, switch_ways, turned_down
from fit.circuit.instrument import Instrument
from fit.desk.book.desk import Outcome
from fit.desk.guide.ask_instrument import instrument_of, instrument_stage
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.make_take import Slot, level_stage, take_of, takes_stage
from fit.desk.guide.needs import needs_stage
from fit.desk.guide.page import Asked, answer_stage
from fit.desk.guide.plan import (
    LEFT_ALONE,
    Plan,
    accepted_slots,
    further_stage,
    names_of,
    plan_for_guitar,
    reference_stage,
    report_stage,
    wish_of,
)
from fit.desk.guide.prepare import input_stage, look_stage
from fit.desk.guide.scene import NONE, Scene, caution_stage, first_open, hushed
from fit.desk.guide.session import Deed, Done, Question, Step, one_of
from fit.desk.show.document.pieces import Document
from fit.desk.show.sheet import Block, Section, Sheet, Text
from fit.desk.show.sheets.notices import CIRCUIT
from fit.desk.show.words import plain_text, table_lines
from measure.errors import FileError, MeasureError
from measure.logbook.conditions import Conditions

if TYPE_CHECKING:
    from fit.answers.pickup.answer import PickupAnswer

STORY = "A whole guitar that stays closed: its pickups, pots and capacitors, and what its switch connects."
ASKED = Asked(title="What is in the guitar", picture="guitar.png")
MINUTES_A_TAKE = 2  # [min] with moving the coil, turning and clipping; common practice, no source
SOME, ALL = "some", "all"
WIRING_HEADING = "What the switch connects"


def next_step(scene: Scene) -> Step | None:
    """Find what comes next.

    Returns
    -------
    Question, Deed or None
        None when the report is written.
    """
    return first_open(
        (
            needs_stage,
            caution_stage,
            rig_stage,
            input_stage,
            lambda scene: instrument_stage(scene, is_marking_known=False),
            _check_stage,
            reference_stage,
            _plan_stage,
            look_stage,
            level_stage,
            lambda scene: takes_stage(scene, _before_fit(scene), plan(scene)),
            lambda scene: further_stage(scene, slots(scene), lambda answer: _plan(scene, answer), plan=plan),
            _answer_stage,
            lambda scene: report_stage(scene, names_of(scene, slots(scene))),
        ),
        scene,
    )


def plan(scene: Scene) -> tuple[Slot, ...]:
    """List all takes that are planned by now."""
    return (*_before_fit(scene), *accepted_slots(scene))


# Pickup by pickup, so that the coil is moved as seldom as can be.
def _before_fit(scene: Scene) -> tuple[Slot, ...]:
    both = (*slots(scene), *switch_slots(scene))
    pickups = list(dict.fromkeys(slot.conditions.coil_over for slot in both))
    return tuple(sorted(both, key=lambda slot: pickups.index(slot.conditions.coil_over)))


def slots(scene: Scene) -> tuple[Slot, ...]:
    """List the takes that the parts are found from: the coil over each pickup, there as it is, with the known part, tone down.

    Returns
    -------
    tuple of Slot
        A pot that is turned down for one pickup stays at 10 for the others.
    """
    instrument, added = _instrument(scene), plain_text(scene.answer("added"))
    out: list[Slot] = []
    turned: set[str] = set()
    for pickup in instrument.pickup:
        base = alone_controls(instrument, pickup)
        named = plain_text(pickup)
        lay = f"lay the exciter over the {named} pickup, on the strings if need be, and fix it: it has to stay there"
        first = "guitar to the input by the cable that you stated, unplugged from any amplifier; nothing else at the jack"
        out.append(
            Slot(
                name=_name(pickup, "open"),
                title=f"the {named} pickup, everything up",
                todo=(lay,) if out else (first, lay),
                conditions=Conditions(controls=base, coil_over=pickup, coil_moved=True),
            )
        )
        clip = f"clip {added} across the jack, tip to sleeve, for example at the far plug of the cable"
        with_part = Conditions(controls=base, coil_over=pickup, added=scene.answer("added"))
        out.append(
            Slot(
                name=_name(pickup, "plus"),
                title=f"the {named} pickup, with the known part",
                todo=(LEFT_ALONE, clip),
                conditions=with_part,
            )
        )
        for pot in turned_down(instrument, base):
            if pot not in turned:
                turned.add(pot)
                down = base | {pot: DOWN}
                out.append(
                    Slot(
                        name=_name(pickup, f"{pot}-{DOWN}"),
                        title=f"the {named} pickup, {plain_text(pot)} turned down",
                        todo=(LEFT_ALONE, "take the known part off the jack"),
                        conditions=Conditions(controls=down, coil_over=pickup),
                    )
                )
    return tuple(out)


def switch_slots(scene: Scene, wanted: str = "") -> tuple[Slot, ...]:
    """List the takes that check what the switch connects.

    Parameters
    ----------
    scene : Scene
        The guitar is stated.
    wanted : {"some", "all", "none", ""}
        Each joined position over the pickups that ought to be connected there, or every position over every pickup; empty for
        what the person chose.
    """
    instrument, wanted = _instrument(scene), wanted or scene.answer("check", NONE)
    if wanted not in (SOME, ALL):
        return ()
    out = []
    pots = dict.fromkeys(instrument.pot, FULL)
    for pickup in instrument.pickup:
        base = alone_controls(instrument, pickup)
        for settings in switch_ways({name: tuple(switch.positions) for name, switch in instrument.switch.items()}):
            is_base = all(base[name] == position for name, position in settings.items())
            if is_base or (wanted == SOME and pickup not in pickups_heard(instrument, pots | settings)):
                continue
            where = ", ".join(f"{plain_text(name)} at {plain_text(position)}" for name, position in settings.items())
            out.append(
                Slot(
                    name=_name(pickup, "at", *settings.values()),
                    title=f"the {plain_text(pickup)} pickup, {where}",
                    todo=(LEFT_ALONE, "nothing but the cable at the jack"),
                    conditions=Conditions(controls=pots | settings, coil_over=pickup),
                    may_be_silent=True,
                )
            )
    return tuple(out)


def _instrument(scene: Scene) -> Instrument:
    instrument = instrument_of(scene)
    if instrument is None:
        msg = "the guitar is not stated: instrument.toml is not there"
        raise FileError(msg)
    return instrument


def _name(*words: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", "-".join(words)).strip("-")[:50]


def _check_stage(scene: Scene) -> Step | None:
    """Ask whether the switch is to be checked, where there is one."""
    if not _instrument(scene).switch or scene.answer("check") in (SOME, ALL, NONE):
        return None
    n_some, n_all = (len(switch_slots(scene, wanted)) for wanted in (SOME, ALL))
    return Question(
        key="check",
        text="Check the switch as well: some, all or none?",
        default=SOME if n_some else NONE,
        before=(
            "",
            "What the switch connects",
            *table_lines(
                [
                    (
                        SOME,
                        f"{n_some} more takes",
                        "each position, over what ought to be connected there: is it, and is it in phase",
                    ),
                    (
                        ALL,
                        f"{n_all} more takes",
                        "each position over every pickup: series or parallel as well, and what ought not to be there",
                    ),
                    (NONE, "", "the wiring is taken as it is stated"),
                ]
            ),
        ),
        explanation=("Which pickups a position connects, in series or in parallel, and whether one is out of phase.",),
        read=one_of((SOME, ALL, NONE)),
    )


def _plan_stage(scene: Scene) -> Step | None:
    """Say how many takes there will be, and where the coil ends."""
    if scene.settled("planned"):
        return None

    def run() -> Done:
        takes = plan(scene)
        over = [slot.conditions.coil_over or "" for slot in takes]
        rows: list[tuple[str, ...]] = [
            (
                pickup,
                f"{over.count(pickup)} takes",
                "; ".join(_short(slot, pickup) for slot in takes if slot.conditions.coil_over == pickup),
            )
            for pickup in dict.fromkeys(over)
        ]
        head = f"The plan: {len(takes)} takes, about {MINUTES_A_TAKE * len(takes)} minutes; then one fit of all of them"
        entries = {"planned": str(len(takes)), "over": over[0], "coil_last": over[-1]}
        return Done(lines=("", head, *table_lines(rows)), entries=entries)

    return Deed(key="planning", run=run)


def _short(slot: Slot, pickup: str) -> str:
    return slot.title.removeprefix(f"the {plain_text(pickup)} pickup, ")


def _plan(scene: Scene, answer: "PickupAnswer") -> Plan | None:
    return plan_for_guitar(answer, has_parts=scene.answer("at_hand", NONE) != NONE)


def _switch_takes(scene: Scene) -> tuple[str, ...]:
    """Name the takes that tell what the switch connects; none where that was not asked for."""
    more = switch_slots(scene)
    if not more:
        return ()
    whole = [slot for slot in slots(scene) if slot.name.endswith("-open")]
    return tuple(take_of(scene, slot) for slot in (*whole, *more))


def _answer_stage(scene: Scene) -> Step | None:
    connected: list[Document] = []

    def ask() -> Outcome:
        from fit.desk.questions.fit import fit_takes

        found = fit_takes(hushed(scene.desk), wish_of(scene, names_of(scene, slots(scene))))
        names = _switch_takes(scene)
        if not names or found.sheet is None:
            return found
        wired = _wired(scene, names)
        connected.extend(() if isinstance(wired, str) else (wired.document,))
        figures = found.figures if isinstance(wired, str) else {**found.figures, **wired.figures}
        text, page = found.sheet, found.page
        return replace(
            found,
            sheet=_joined(text, wired),
            page=None if page is None else lambda: _joined(page(), wired),
            figures=figures,
        )

    return answer_stage(scene, ASKED, ask, beside=connected)


def _joined(sheet: Sheet, wired: Outcome | str) -> Sheet:
    """Put behind an answer what the switch connects, or why that is not told; the guitar is drawn once."""
    blocks: tuple[Block, ...] = (Text((f"not told: {wired}",)),)
    if isinstance(wired, Outcome):
        blocks = () if wired.sheet is None else tuple(block for block in wired.sheet.blocks if block != CIRCUIT)
    return Sheet(title=sheet.title, blocks=(*sheet.blocks, Section(blocks, heading=WIRING_HEADING)))


# What the takes cannot tell of the switch must not keep the rest from being told.
def _wired(scene: Scene, names: tuple[str, ...]) -> Outcome | str:
    from fit.desk.questions.wiring import wiring_of

    try:
        return wiring_of(hushed(scene.desk), names)
    except (MeasureError, ValueError) as err:
        return str(err)
