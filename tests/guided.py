"""The guide by scripted answers: somebody who types, and benches whose takes go wrong as they are told."""

import json
from dataclasses import replace

from fit.desk.bench.intake import KeptTake
from fit.desk.book.desk import Desk, Outcome
from fit.desk.guide.bench import virtual_bench
from fit.desk.guide.console import file_name, run_guide
from fit.desk.show.document.pieces import plain
from measure.checks.judgement import Judgement
from measure.response import Finding
from tests.documents import typed


class Script:
    """Answers questions by how they begin, each key's texts in turn, then with Enter; keeps what was shown."""

    def __init__(self, **answers):
        self.shown = []
        self.answers = {key: list(texts) for key, texts in answers.items()}
        self.n_asked = 0

    def read_line(self, prompt):
        self.n_asked += 1
        assert self.n_asked < 150, "\n".join(self.shown[-60:])
        self.shown.append(prompt)
        for key, texts in self.answers.items():
            if prompt.startswith(key) and texts:
                return texts.pop(0)
        return ""

    @property
    def text(self):
        return " ".join(" ".join(self.shown).split())


def desk_of(folder, script):
    return Desk(logbook=folder, say=script.shown.append, tell=script.shown.append, steps=lambda items, label: items)  # noqa: ARG005


def guided(folder, job, script, *, bench=None, virtual=True):
    desk = desk_of(folder, script)
    outcome = run_guide(desk, job, virtual=virtual, bench=bench or virtual_bench(desk, job), read_line=script.read_line)
    typed(told := plain(outcome.document))
    return told


def answers(**by_word):
    """Words of the keyword arguments to the beginnings of the questions."""
    begins = {
        "ready": "Ready?",
        "layout": "Which wiring",
        "level": "How loud",
        "more": "Make that take",
        "now": "What now",
        "capacitor": "What is printed on the tone capacitor",
        "input_capacitance": "Capacitance of input",
        "input_resistance": "Resistance of the pickup",
        "dcr": "Winding resistance",
        "part": "Which part is in doubt",
        "pickups": "Its pickups",
        "positions": "The switch's positions",
        "rate": "Sample rate",
        "cautions": "Read that?",
        "done": "Is the job done",
        "anew": "Begin anew",
    }
    return {begins[word]: texts for word, texts in by_word.items()}


def settled(folder, key, job="pickup"):
    """Latest answer in the file of a session."""
    entries = json.loads((folder / "results" / file_name(job)).read_text(encoding="utf-8"))["entries"]
    return next((entry["answer"] for entry in reversed(entries) if entry["key"] == key), None)


def bench_with(desk, *, outcomes):
    """The virtual bench, where it is given what it says of its first takes: None as it is, an exception is raised."""
    real, waiting = virtual_bench(desk, "pickup"), list(outcomes)

    def take(order):
        said = waiting.pop(0) if waiting else None
        if isinstance(said, BaseException):
            raise said
        made = real.take(order)
        return made if said is None else said

    return replace(real, take=take)


def bad(severity, *codes):
    findings = tuple(Finding(code=code, severity=severity, text=code) for code in codes)
    reply = Outcome(lines=(f"{severity}: {', '.join(codes)}",), document={})
    return KeptTake(take=None, judgement=Judgement(findings=findings), reply=reply)
