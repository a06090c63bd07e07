"""The guide in a pseudo-terminal, on the live bench: the test does what the screen says, and the truth has to come out."""

import json
import re
import signal
import sys

import numpy as np
import pytest

from tests.guitar_circuit import Circuit, Winding, solve_tip
from tests.live.bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, INPUT_F, INPUT_OHM, coil
from tests.live.person import Person

ADDED_F = 1.0024e-9  # [F] of a part that says 1n ± 1%
VOLUME_OHM, TONE_OHM, TONE_F = 463e3, 528e3, 30.6e-9
HENRY, OHM, FARAD = 3.62, 7150.0, 118e-12
COMMAND = [sys.executable, "-c", "from fit.desk.command.main import run; run()", "guide"]


def number_of_bench(shown):
    return re.search(r"(\d+) +bench \(JACK Audio Connection Kit\)", shown)[1]


# What is asked of the person; everything else is what Enter takes.
ANSWERS = {
    "Which interface?": number_of_bench,
    "Resistance of the pickup's input?": "1M ± 1%",
    "Capacitance of input and cable together?": "185p ± 3p",
}


def fraction(rotation):
    """Of an audio pot at the ends of its travel; nothing else is asked for here."""
    return {"0": 0.0, "10": 1.0}[rotation]


def guitar(frequency_hz, *, added_f, volume, tone):
    """One pickup, volume, tone by node equations with coupled windings; level as of the bare coil."""
    circuit = Circuit(
        resistors=[("tip", "ground", INPUT_OHM)],
        capacitors=[("hot", "ground", FARAD), ("tip", "ground", INPUT_F + added_f), ("tone", "ground", TONE_F)],
        windings=[
            Winding(name="pickup", henry=HENRY, ohm=OHM, to_exciter=0.01, ends=("hot", "ground")),
            Winding(name="loop", henry=1e-6, ohm=2 * np.pi * 8e3 * 1e-6, to_exciter=0.006),
        ],
        couplings={("pickup", "loop"): 0.35},
    )
    circuit.add_pot(("hot", "tip", "ground"), VOLUME_OHM, fraction(volume))
    circuit.add_pot(("", "hot", "tone"), TONE_OHM, fraction(tone))
    per_ampere = solve_tip(circuit, np.maximum(frequency_hz, 0.1))
    at_1k = abs(2j * np.pi * 1000 * 0.01 * np.sqrt(HENRY * 1e-3))
    return 0.05 * per_ampere / at_1k


@pytest.fixture
def at_terminal():
    people = []

    def start(*words):
        people.append(Person([*COMMAND, *words]))
        return people[-1]

    yield start
    for person in people:
        person.end()


def todo_before(shown):
    """What the screen says to do before a take: the part to be clipped on, and the controls."""
    text = " ".join(shown.split())
    set_to = re.search(r"Set ([^.]+)\.", text)
    return {
        "added_f": ADDED_F if "clip 1n ± 1%" in text else 0.0,
        **dict(re.findall(r"(\w+) to (\d+)", set_to[1] if set_to else "")),
    }


def test_guide_pickup(live, tmp_path, at_terminal):
    _, bench = live(48000, pickup_noise=2e-5, hum=1e-3)
    person = at_terminal("pickup", "--logbook", tmp_path)
    made = []

    def obey(shown):
        if "Ready?" in shown:
            made.append(todo_before(shown))
            bench.change(lambda f: coil(f, **made[-1]))

    code = person.go_through({**ANSWERS, "Winding resistance": "6.35k ± 1%"}, before_answer=obey)
    assert code == 0, person.screen
    assert made == [{"added_f": 0.0}, {"added_f": ADDED_F}]
    document = json.loads((tmp_path / "results" / "fit.json").read_text(encoding="utf-8"))["answer"]
    assert (document["outcome"], document["simulated"]) == ("good", False)
    found = document["quantities"]
    print({name: (found[name]["value"], found[name]["interval_95"]) for name in ("inductance", "winding_capacitance")})
    assert found["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.01)
    assert found["winding_capacitance"]["value"] == pytest.approx(CAPACITANCE_F, abs=5e-12)
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        assert abs(found[name]["value"] - truth) < 3 * found[name]["standard_uncertainty"]
    assert person.screen.rstrip().endswith(str(tmp_path / "report.html"))
    assert (tmp_path / "report.html").stat().st_size > 100_000


def test_guide_capacitor_left_and_resumed(live, tmp_path, at_terminal):
    """Left by q after the first take, interrupted in the sweep of the second one, and gone on with."""
    _, bench = live(48000, pickup_noise=2e-5, hum=1e-3)
    made = []

    def obey(shown):
        if "Ready?" in shown:
            made.append(todo_before(shown))
            bench.change(lambda f: guitar(f, **made[-1]))

    answers = {**ANSWERS, "What is printed on the tone capacitor?": "33n ± 10%"}
    person = at_terminal("capacitor", "--logbook", tmp_path)
    while "Take 2 of" not in (shown := person.wait_for_question()):
        obey(shown)
        person.answer(answers)
    person.type("q")
    assert person.wait_for_question() is None
    assert person.process.wait(timeout=5.0) == 0
    assert "To go on: coilsweep guide capacitor" in " ".join(person.screen.split())

    person = at_terminal("capacitor", "--logbook", tmp_path)
    obey(shown := person.wait_for_question())
    assert "Going on where you left; takes so far: open." in shown
    person.type("")
    person.wait_until_shown("recording", 2.0)
    person.send(signal.SIGINT)
    assert person.wait_for_question() is None
    assert person.process.wait(timeout=5.0) == 130
    assert sorted(path.name for path in (tmp_path / "takes").iterdir()) == ["open"]

    person = at_terminal("capacitor", "--logbook", tmp_path)
    code = person.go_through(answers, before_answer=obey)
    assert code == 0, person.screen
    up = {"volume": "10", "tone": "10"}
    clipped = {"added_f": ADDED_F, **up}
    assert made == [{"added_f": 0.0, **up}, clipped, clipped, {"added_f": 0.0, "volume": "10", "tone": "0"}], person.screen
    assert "WITHIN MARKING" in person.screen
    found = json.loads((tmp_path / "results" / "fit.json").read_text(encoding="utf-8"))["answer"]["quantities"]
    capacitor = found["capacitor.tone"]
    print({name: (found[name]["value"], found[name]["interval_95"]) for name in ("capacitor.tone", "pot.tone", "pot.volume")})
    assert capacitor["value"] == pytest.approx(TONE_F, rel=0.01)
    assert abs(capacitor["value"] - TONE_F) < 3 * capacitor["standard_uncertainty"]
    assert found["inductance"]["value"] == pytest.approx(HENRY, rel=0.01)
    for name in ("answer.html", "report.html"):
        assert "capacitor" in (tmp_path / name).read_text(encoding="utf-8")
