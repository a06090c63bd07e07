"""The guide to the switch: which pickups each position connects."""

import re

from fit.circuit.alone import switch_ways
from fit.desk.book.desk import Outcome
from fit.desk.guide.ask_instrument import instrument_of, instrument_stage
from fit.desk.guide.ask_rig import rig_stage
from fit.desk.guide.make_take import Slot, level_stage, take_of, takes_stage
from fit.desk.guide.needs import needs_stage
from fit.desk.guide.page import Asked, answer_stage
from fit.desk.guide.prepare import look_stage
from fit.desk.guide.scene import Scene, caution_stage, first_open, hushed
from fit.desk.guide.session import Question, Step
from fit.desk.show.words import plain_text
from measure.logbook.conditions import Conditions

STORY = "A guitar with several pickups and a switch: which of them does each position connect, and in which polarity?"
ASKED = Asked(title="What the switch connects", picture="wiring.png", is_whole=True)
SWITCH = "selector"  # the name of a switch that no instrument.toml names
MOST_NAMES = 12


def next_step(scene: Scene) -> Step | None:
    """Find what comes next.

    Returns
    -------
    Question, Deed or None
        None when the answer is given.
    """
    step = first_open((needs_stage, caution_stage, rig_stage, _wiring_stage, _names_stage, look_stage, level_stage), scene)
    if step is not None:
        return step
    return takes_stage(scene, slots(scene)) or _answer_stage(scene)


def slots(scene: Scene) -> tuple[Slot, ...]:
    """List the takes: the coil over each pickup in turn, there every position.

    Returns
    -------
    tuple of Slot
        Pickup by pickup, so that the coil is moved as seldom as can be.
    """
    instrument = instrument_of(scene)
    if instrument is None:
        pickups, pots = scene.answer("pickups").split(", "), dict[str, str]()
        switches = {SWITCH: scene.answer("positions").split(", ")}
    else:
        pickups, pots = list(instrument.pickup), dict.fromkeys(instrument.pot, "10")
        switches = {name: list(switch.positions) for name, switch in instrument.switch.items()}
    out = []
    for pickup in pickups:
        for number, settings in enumerate(switch_ways(switches)):
            lay = f"lay the exciter over the {plain_text(pickup)} pickup, the same way round as over the others, and fix it"
            where = "-".join(settings.values())
            out.append(
                Slot(
                    name=re.sub(r"[^A-Za-z0-9]+", "-", f"{pickup}-{where}").strip("-")[:50],
                    title=f"coil over {pickup}, {', '.join(f'{name} at {value}' for name, value in settings.items())}",
                    todo=(lay if number == 0 else "leave the coil where it is, turn the switch only",),
                    conditions=Conditions(controls=pots | settings, coil_over=pickup, coil_moved=number == 0),
                    may_be_silent=True,
                )
            )
    return tuple(out)


def _wiring_stage(scene: Scene) -> Step | None:
    is_virtual = scene.bench.offers is None  # it has to know what to connect
    without = "" if is_virtual else "none of these, or not known: the takes alone tell"
    return instrument_stage(scene, without=without, is_marking_known=False)


def _names_stage(scene: Scene) -> Step | None:
    """Ask for names where no instrument.toml gives them."""
    if instrument_of(scene) is not None:
        return None
    if not scene.settled("pickups"):
        return Question(
            key="pickups",
            text="Its pickups, with commas between?",
            default="bridge, middle, neck",
            explanation=("Names of your choice. Each gets the coil on top in turn.",),
            read=_read_names,
        )
    if not scene.settled("positions"):
        return Question(
            key="positions",
            text="The switch's positions, with commas between?",
            default="1, 2, 3, 4, 5",
            explanation=("Names or numbers of your choice, from one end to the other.",),
            read=_read_names,
        )
    return None


def _read_names(typed: str) -> str:
    names = [name.strip() for name in typed.split(",") if name.strip()]
    if not names or len(names) > MOST_NAMES or len(set(names)) < len(names):
        msg = f"expected 1 to {MOST_NAMES} different names with commas between"
        raise ValueError(msg)
    for name in names:
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}", name):
            msg = f'"{plain_text(name[:40])}" is not a name: letters, digits, - and _, 20 at most'
            raise ValueError(msg)
    return ", ".join(names)


def _answer_stage(scene: Scene) -> Step | None:
    def ask() -> Outcome:
        from fit.desk.questions.wiring import wiring_of

        return wiring_of(hushed(scene.desk), tuple(take_of(scene, slot) for slot in slots(scene)))

    return answer_stage(scene, ASKED, ask)
