"""The command exciter as it is typed."""

import pytest

from fit.desk.questions.exciter import ExciterWish
from tests.typed import catch, refused, typed


@pytest.fixture
def planned(monkeypatch):
    return catch(monkeypatch, "fit.desk.questions.exciter.plan_exciter")


def test_without_words_a_coil_for_a_headphone_output(capsys, tmp_path, planned):
    typed(capsys, "exciter", "--logbook", tmp_path)
    desk, wish = planned.args
    assert desk.logbook == tmp_path
    assert wish == ExciterWish(
        turns=None,
        wire=None,
        former="20",
        length="8",
        depth="3",
        sense_resistor=None,
        rating="0.25",
        source="headphone",
        source_level="1 V",
        source_resistance=None,
        minimum_load=None,
        temperature_c=None,
        distance="5",
        pickup_turns=None,
        pickup_size=None,
        pickup_height=None,
        at=("100", "1k", "10k"),
        corner="20k",
        current=None,
        pickup_voltage=None,
    )


@pytest.mark.parametrize(
    ("words", "field", "value"),
    [
        (["--turns", "200"], "turns", 200),
        (["--wire", "AWG 32"], "wire", "AWG 32"),
        (["--former", "70x12"], "former", "70x12"),
        (["--length", "6"], "length", "6"),
        (["--depth", "4"], "depth", "4"),
        (["--sense-resistor", "68"], "sense_resistor", "68"),
        (["--rating", "0.5"], "rating", "0.5"),
        (["--source", "line"], "source", "line"),
        (["--source-level", "4 dBu"], "source_level", "4 dBu"),
        (["--source-resistance", "33"], "source_resistance", "33"),
        (["--minimum-load", "16"], "minimum_load", "16"),
        (["--temperature", "-5"], "temperature_c", -5.0),
        (["--distance", "3"], "distance", "3"),
        (["--pickup-turns", "5000"], "pickup_turns", 5000.0),
        (["--pickup-size", "58x10"], "pickup_size", "58x10"),
        (["--pickup-height", "11"], "pickup_height", "11"),
        (["--at", "1k", "--at", "5k"], "at", ("1k", "5k")),
        (["--corner", "15k"], "corner", "15k"),
        (["--current", "5m"], "current", "5m"),
        (["--pickup-voltage", "20m"], "pickup_voltage", "20m"),
    ],
)
def test_each_option_is_what_it_says(capsys, planned, words, field, value):
    typed(capsys, "exciter", *words)
    assert getattr(planned.args[1], field) == value


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--turns", "many"], "many"),
        (["--source", "speaker"], "speaker"),
        (["--temperature", "151"], "151"),
        (["--temperature", "-41"], "-41"),
        (["--pickup-turns", "x"], "x"),
        (["200"], "200"),
    ],
)
def test_wrong_words_are_refused(capsys, planned, words, says):
    assert says in refused(capsys, "exciter", *words)
    assert planned.calls == []
