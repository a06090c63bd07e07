"""Where a guide's takes come from: simulated and marked so, or by a card that is found when it is there."""

from dataclasses import replace

import pytest

from fit.desk.bench.take import Order
from fit.desk.book.desk import Desk, Outcome
from fit.desk.guide.bench import VIRTUAL_DEFAULTS, card_bench, virtual_bench
from fit.desk.show.words import CAUTIONS, SIMULATED_TEXT
from measure.logbook.conditions import Conditions
from measure.logbook.rig import write_rig
from measure.logbook.store import open_logbook, rig_path
from tests.guided import bad
from tests.kept_takes import RIG
from tests.listed_cards import BOX, DUMB, OTHER, list_cards

ORDER = Order(name="open", conditions=Conditions())


@pytest.fixture
def desk(tmp_path):
    write_rig(rig_path(open_logbook(tmp_path, create=True)), RIG)
    return Desk(logbook=tmp_path, say=print, tell=print, steps=lambda items, _: items)


@pytest.fixture
def made(monkeypatch):
    """Takes replaced by what they were asked with; the desk speaks and the reply has these lines."""
    asked = []

    def make_take(desk, order, *, source):
        asked.append((order, source))
        for line in ("a remark", *CAUTIONS):
            desk.say(line)
        reply = Outcome(document={}, lines=(SIMULATED_TEXT, "Outcome: good", "The take is bad. Repeat it under another name."))
        return replace(bad("warn", "x"), reply=reply)

    monkeypatch.setattr("fit.desk.guide.bench.make_take", make_take)
    return asked


def test_the_virtual_bench_marks_its_takes_and_offers_no_cards(desk, made, monkeypatch):
    monkeypatch.setattr("fit.desk.guide.bench.bench_of", lambda _, rig, conditions: (rig.input.resistance, conditions))
    bench = virtual_bench(desk, "pickup")
    bench.take(ORDER)
    ((order, source),) = made
    assert order.simulated
    assert source == ("1M ± 1%", ORDER.conditions)
    assert bench.offers is None


@pytest.mark.parametrize(("job", "has_dcr"), [("pickup", True), ("capacitor", False), ("compare", False), ("wiring", False)])
def test_only_a_bare_pickup_has_a_winding_that_was_measured(desk, job, has_dcr):
    defaults = virtual_bench(desk, job).defaults
    assert ("dcr" in defaults) is has_dcr
    assert VIRTUAL_DEFAULTS.items() <= defaults.items()


def test_a_take_by_the_card_is_real(desk, made, monkeypatch):
    monkeypatch.setattr("fit.desk.bench.level.card_of", lambda rig: ("card", rig.input.resistance))
    card_bench(desk).take(replace(ORDER, simulated=True))
    ((order, source),) = made
    assert (order.simulated, source) == (False, ("card", "1M ± 1%"))


def test_what_the_guide_has_said_itself_is_left_out(desk, made, monkeypatch, capsys):
    monkeypatch.setattr("fit.desk.bench.level.card_of", lambda _: "card")
    kept = card_bench(desk).take(ORDER)
    assert kept.reply.lines == ("a remark", "Outcome: good")
    assert capsys.readouterr().out == ""
    assert len(made) == 1


def test_cards_are_looked_for_until_one_is_there_and_then_no_more(desk, monkeypatch):
    offers = card_bench(desk).offers
    list_cards(monkeypatch)
    assert list(offers()) == []
    list_cards(monkeypatch, BOX, OTHER, DUMB)
    box, other, dumb = offers()
    assert (box.device, box.host_api, box.rates_hz, box.is_default) == ("box", "ALSA", (44100, 48000), True)
    assert (box.has_inputs, dumb.has_inputs, dumb.has_outputs, dumb.rates_hz) == (True, False, True, ())
    assert not other.is_default
    list_cards(monkeypatch)
    assert len(offers()) == 3
