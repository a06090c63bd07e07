"""What a job needs on the bench, before its first question."""

from dataclasses import dataclass
from typing import Literal

from fit.desk.show.sheet import Block, Listing, Row, Section, Sheet, Sketch, Table

HEADING = "What you will need"
BENCH = (
    "                                           interface",
    "      exciter coil                        +---------------------+",
    " +------ (((()))) ------------- tip ------| output              |",
    " |    on the pickup                       | (headphones)        |",
    " +----------------------------- tip ------| input 2 (line)      |",
    " |                                        |                     |",
    "[ ] sense resistor                        |                     |",
    " |                                        |                     |",
    " +--------------------------- sleeve -----| output and input 2  |",
    "                                          |                     |",
    " {source} -- cable ---+---- tip ----| input 1             |",
    "                            |             | (instrument, 1 M)   |",
    "            known capacitor ===           |                     |",
    "              in some takes |             |                     |",
    " sleeve --------------------+-- sleeve ---| input 1             |",
    "                                          +---------------------+",
)
Job = Literal["guitar", "pickup", "capacitor", "compare", "wiring"]
JACK = "guitar's jack "
SOURCES: dict[Job, str] = {"pickup": "pickup "}
# Minutes with the setting up; common practice, no source.
TIMES: dict[Job, str] = {
    "guitar": "a quarter of an hour to set up, then about 2 minutes a take: 3 takes for one pickup, 8 to 20 for three",
    "pickup": "a quarter of an hour to set up, then 2 to 4 takes of about 2 minutes",
    "capacitor": "a quarter of an hour to set up, then 3 takes of about 2 minutes",
    "compare": "a quarter of an hour before the job and as much after it, 3 to 5 takes on each side",
    "wiring": "a quarter of an hour to set up, then a minute for each pickup at each position",
}
NO_ADDED: tuple[Job, ...] = ("wiring",)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilToWind:
    """An exciter to wind, as `coilsweep exciter` proposes it; lengths in metres, the resistor in ohms."""

    turns: int
    wire: str
    former_m: float
    length_m: float
    sense_ohm: float


def sheet_of_needs(job: Job, coil: CoilToWind, *, virtual: bool) -> Sheet:
    """Lay out what a job needs, how it is connected, and which exciter to wind.

    Parameters
    ----------
    job : str
        One of the guide's.
    coil : CoilToWind
        For a usual headphone output.
    virtual : bool
        On the virtual bench, where nothing of it has to be there.
    """
    former = f"a round former of {1e3 * coil.former_m:.0f} mm, {1e3 * coil.length_m:.0f} mm long"
    rows: tuple[Row, ...] = (
        ("audio interface", "one output, an instrument input of about 1 MΩ, a line input"),
        ("cable", "the guitar's own, or a short one; the same for all takes"),
        ("exciter", f"{coil.turns} turns of {coil.wire} enamelled wire on {former}, no iron"),
        ("sense resistor", f"{coil.sense_ohm:.0f} Ω, film, 1/4 W, in series with the exciter"),
        *(() if job in NO_ADDED else (("known capacitor", "about 1 nF of 1 %, film or C0G, with clips: it sets the scale"),)),
        ("multimeter", "for the exciter and the sense resistor; a capacitance range helps"),
        ("time", TIMES[job]),
    )
    drawn = tuple(line.replace("{source}", f"{SOURCES.get(job, JACK):-<14}") for line in BENCH)
    more = (
        "another exciter, or another output: coilsweep exciter",
        "what the data sheet of the interface says of its inputs spares you two guesses",
    )
    first: tuple[Block, ...] = (Listing(("On the virtual bench nothing of it has to be there.",)),) if virtual else ()
    return Sheet(
        title=HEADING,
        blocks=(
            Section((*first, Table(rows, has_head=False), Listing(more)), heading=HEADING),
            Section((Sketch(drawn),), heading="The bench"),
        ),
    )
