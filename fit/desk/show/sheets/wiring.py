"""What wiring finds, for people and as a JSON document."""

from collections.abc import Sequence

from fit.answers.digits import spread_texts
from fit.answers.figures import COVERAGE, Estimate
from fit.answers.wiring.arrangement import halved, is_split_alone, joined_text
from fit.answers.wiring.expected import out_of_phase
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import AS_IT_IS, Position, WiringAnswer
from fit.desk.show.document import guitar
from fit.desk.show.document.pieces import named_takes, value_of
from fit.desk.show.sheet import Block, Listing, Mark, Meaning, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import CIRCUIT, simulated_notice, titled, warnings_section
from fit.desk.show.words import MINUS

CAUTIONS = (
    "Signs compare pickups only if the exciter was laid the same way round over each. They tell how windings are wound and",
    "wired, not where magnets point: a pickup that is reverse wound with reversed magnets reads as inverted here, and is in",
    "phase for the strings.",
)

FINEST = -2  # [1] power of ten: hundredths of a level
PICTURE = Picture(
    name="positions",
    heading="At a glance",
    caption="A row for each position, a column for each pickup: depth of colour for level, colour for polarity.",
)
MOST_LISTED = 6  # takes that fit on a line
NEARLY_WHOLE = 0.9  # [1] level from which on a pickup is not said to be weaker
HALF_HINT = (
    "Split or coils in parallel: fit two takes at that position, one with a known part across the jack. About half the",
    "inductance of the whole is one coil, about a quarter both in parallel.",
)


def sheet_of_wiring(
    answer: WiringAnswer,
    expected: WiringAnswer | None,
    *,
    differences: dict[str, tuple[str, ...]],
    takes: tuple[str, ...],
    simulated: bool = False,
    warnings: Sequence[str] = (),
) -> Sheet:
    """Lay out which pickups each switch position connects.

    Parameters
    ----------
    differences : dict
        Position to where the two differ.
    simulated : bool
        One came from the virtual bench.
    warnings : sequence of str
        What was noticed on the way.

    Returns
    -------
    Sheet
        A table of positions and pickups, and what it says.
    """
    rows: list[Row] = [("position", *answer.pickups, "what is connected")]
    rows += [(one.label, *(_cell(one.readings[name]) for name in answer.pickups), position_text(one)) for one in answer.positions]
    count = f"{len(takes)} take{'s' if len(takes) > 1 else ''}"
    listed = f": {', '.join(takes)}" if len(takes) <= MOST_LISTED else ""
    legend = "figures: output over that of the same pickup alone, with its sign; · not connected, ? not told, blank: no take"
    notes = [Text((legend,), is_note=True)]
    if answer.leakage is not None:
        leak = f"pickups that are not connected read at most {100 * answer.leakage:.1f} %: the exciter reaches them"
        notes.append(Text((leak,), is_note=True))
    blocks: list[Block] = [_verdict(answer, expected, differences), *simulated_notice(is_simulated=simulated)]
    blocks += [Text((f"Wiring, from {count}{listed}",)), PICTURE, Meaning(_meaning(answer)), CIRCUIT]
    blocks.append(Section((Table(tuple(rows)), Section(tuple(notes))), label="The same as a table", is_pictured=True))
    if any(word == "" for one in answer.positions for word in one.halves.values()):
        blocks.append(Section((Text(HALF_HINT),)))
    needs = _needs(answer, expected)
    if needs:
        blocks.append(Section((Listing(needs),), heading="Not decided yet; these takes would tell"))
    if differences:
        items = tuple(f"{label}: {text}" for label, texts in differences.items() for text in texts)
        mark = Mark("look at this", "bad")
        blocks.append(Section((Listing(items),), heading="DIFFERS from instrument.toml", mark=mark))
    blocks += [Section((Text(CAUTIONS),)), *warnings_section(warnings)]
    return Sheet(title=titled("What the switch connects", is_simulated=simulated), blocks=tuple(blocks))


def _verdict(answer: WiringAnswer, expected: WiringAnswer | None, differences: dict[str, tuple[str, ...]]) -> Verdict:
    n, n_open = len(answer.positions), sum(bool(one.needs) for one in answer.positions)
    undecided = (f"{n_open} of {n} positions are not decided yet.",) if n_open else ()
    if differences:
        where = ", ".join(list(differences)[:MOST_LISTED])
        return Verdict(f"DIFFERS from instrument.toml at {len(differences)} of {n} positions: {where}.", "bad", undecided)
    if expected is not None:
        return Verdict("Nothing differs from instrument.toml.", "look" if n_open else "good", undecided)
    text = f"{n - n_open} of {n} positions told."
    return Verdict(text, "look" if n_open else "good")


def _meaning(answer: WiringAnswer) -> str:
    places = ((one, "With everything as it is" if one.label == AS_IT_IS else f"At {one.label}") for one in answer.positions)
    return " ".join(f"{place} you hear {position_text(one)}." for one, place in places)


def _needs(answer: WiringAnswer, expected: WiringAnswer | None) -> tuple[str, ...]:
    """List takes that would decide what is open, and what instrument.toml would have there."""
    needs = list(dict.fromkeys(need for one in answer.positions for need in one.needs))
    if not needs:
        return ()
    stated = {one.label: one.joined for one in expected.positions} if expected is not None else {}
    for one in answer.positions:
        joined = stated.get(one.label)
        if one.joined is None and joined is not None and (joined in one.possible or not one.is_complete):
            needs.append(f"{one.label}: instrument.toml would have {joined_text(joined)}")
    return tuple(needs)


def position_text(position: Position) -> str:
    """Say what a position connects.

    Returns
    -------
    str
        For example ``"bridge parallel to middle, in phase"``.
    """
    heard = {name: one for name, one in position.readings.items() if one.is_connected}
    if not heard:
        return "nothing" if position.is_complete else "not told"
    if position.joined is not None:
        text = _half_text(position) if len(heard) == 1 else joined_text(position.joined)
    else:
        text = " and ".join(heard)
        if len(heard) > 1:
            text += _undecided_text(position)
    if len(heard) > 1:
        text += f", {_phase_text(position, tuple(heard))}"
    untold = [name for name, one in position.readings.items() if one.take is not None and one.is_connected is None]
    missing = [name for name, one in position.readings.items() if one.take is None]
    text += f"; {' and '.join(untold)} not told" if untold else ""
    return text + (f"; no take over {' and '.join(missing)}" if missing else "")


def level_text(reading: Reading) -> str:
    """Write the level of a pickup that is connected, with its sign.

    Returns
    -------
    str
        For example ``"+0.62"``; ± where the polarity is not told.
    """
    sign = {1: "+", -1: MINUS, 0: "±"}[reading.sign]
    return sign + spread_texts(reading.level or 0.0, COVERAGE * (reading.level_std or 0.0), finest=FINEST)[0]


def wiring_document(
    answer: WiringAnswer,
    differences: dict[str, tuple[str, ...]] | None,
    *,
    takes: tuple[str, ...],
    simulated: bool,
    warnings: tuple[str, ...],
) -> guitar.WiringDocument:
    """Put the answer as ``wiring --json`` states it; `differences` is None where it was not compared with an instrument."""
    return guitar.WiringDocument(
        pickups=answer.pickups,
        positions=tuple(
            guitar.WiringPosition(
                position=one.label,
                controls=one.controls,
                pickups={name: _pickup_reading(reading) for name, reading in one.readings.items()},
                joined=one.joined,
                possible=one.possible,
                halves=one.halves,
                text=position_text(one),
                needs=one.needs,
                differs=None if differences is None else tuple(differences.get(one.label, ())),
            )
            for one in answer.positions
        ),
        leakage=answer.leakage,
        unheard=answer.unheard,
        unmeasured=answer.unmeasured,
        left_out=answer.left_out,
        takes=named_takes(takes, "read"),
        simulated=simulated,
        warnings=warnings,
    )


def _undecided_text(position: Position) -> str:
    if is_split_alone(position.possible):
        plain = min(position.possible, key=lambda one: len(halved(one)))
        split = sorted({name for one in position.possible for name in halved(one)})
        return f" ({joined_text(plain).replace('half of ', '')}); whether {' or '.join(split)} is split is not told"
    kinds = {one.kind for one in position.possible}
    return ", series or parallel not decided" if kinds >= {"series", "parallel"} else ", how they are joined is not decided"


def _half_text(position: Position) -> str:
    name = next(name for name, one in position.readings.items() if one.is_connected)
    level = f"at {100 * (position.readings[name].level or 1.0):.0f} % of its level"
    how = {
        "split": "split to one coil",
        "perhaps": f"{level}, perhaps split",
        "": "split, or its coils in parallel",
        None: level if (position.readings[name].level or 1.0) < NEARLY_WHOLE else "",
    }
    text = how[position.halves.get(name)]
    return f"{name}, {text}" if text else name


def _phase_text(position: Position, heard: tuple[str, ...]) -> str:
    odd = out_of_phase(position.readings)
    if any(position.readings[name].sign == 0 for name in heard):
        return "polarity not told"
    if not odd:
        return "in phase"
    return "out of phase" if len(heard) == 2 else f"{' and '.join(odd)} out of phase"


def _cell(reading: Reading) -> str:
    if reading.take is None:
        return ""
    if reading.is_connected is None:
        return "?"
    if not reading.is_connected:
        return "·"
    return level_text(reading)


def _pickup_reading(reading: Reading) -> guitar.PickupReading:
    level = None
    if reading.level is not None and reading.level_std is not None:
        half = COVERAGE * reading.level_std
        level = value_of(
            Estimate(
                value=reading.level,
                unit="1",
                standard_uncertainty=reading.level_std,
                low=reading.level - half,
                high=reading.level + half,
            )
        )
    return guitar.PickupReading(take=reading.take, connected=reading.is_connected, level=level, sign=reading.sign or None)
