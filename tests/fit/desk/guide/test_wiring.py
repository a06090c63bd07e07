"""The guide to the switch: the coil over each pickup in turn, there every position."""

from dataclasses import replace

import pytest

from fit.desk.bench.take import make_take
from fit.desk.guide.scene import Bench, Offer
from measure.logbook.store import list_takes, open_logbook
from measure.source.virtual import Noise, VirtualBench
from tests.desk_bench import flat
from tests.guided import Script, answers, desk_of, guided
from tests.pages import read_page
from tests.two_pickups import guitar


@pytest.mark.slow
def test_wiring_finds_the_exchanged_leads(tmp_path):
    script = Script(**answers(layout=["two-pickups-tone-after"]))
    document = guided(tmp_path, "wiring", script)
    takes = list_takes(open_logbook(tmp_path)).takes
    assert [(take.conditions.coil_over, take.conditions.controls["selector"]) for take in takes] == [
        (pickup, position) for pickup in ("bridge", "neck") for position in ("bridge", "both", "neck")
    ]
    assert [take.conditions.coil_moved for take in takes] == [True, False, False] * 2
    assert "bridge parallel to neck, out of phase" in script.text
    assert "DIFFERS from instrument.toml" in script.text
    assert document["report"] == str(tmp_path / "answer.html")
    page = read_page((tmp_path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "What the switch connects (simulated)"
    assert "Wiring of the guitar two-pickups-tone-after" in page.said


OFFERS = (
    Offer(device="other", host_api="ALSA", rates_hz=(44100,)),
    Offer(device="bench", host_api="JACK", rates_hz=(48000, 96000, 192000), is_default=True),
)


def card_of_two_pickups(desk, *, silent=()):
    """A bench with interfaces to choose from; what hangs on it is the independent guitar of the tests of `wiring`."""

    def take(order):
        over, position = order.conditions.coil_over, order.conditions.controls["selector"]
        is_silent = (over, position) in silent
        source = VirtualBench(
            pickup=(lambda f: 0 * f) if is_silent else guitar(over, position),
            reference=flat,
            noise=Noise(pickup_white=2e-5, reference_white=1e-5),
            seed=len(list_takes(open_logbook(desk.logbook)).takes),
        )
        return make_take(desk, replace(order, duration_s=1.0), source=source)

    return Bench(take=take, offers=lambda: OFFERS, defaults={})


def test_wiring_of_a_guitar_that_nobody_knows(tmp_path):
    """No instrument.toml: names from the person; a pickup that is not connected gives silence, which is an answer."""
    script = Script(**answers(layout=["none"], pickups=["bridge, bridge", "bridge, neck"], positions=["bridge, both, neck"]))
    bench = card_of_two_pickups(desk_of(tmp_path, script), silent={("neck", "bridge")})
    document = guided(tmp_path, "wiring", script, bench=bench, virtual=False)
    assert "expected 1 to 12 different names" in script.text
    assert "Nothing of the sweep reached the jack" in script.text
    assert "bridge parallel to neck, out of phase" in script.text
    told = {
        one["position"]: {name: each["sign"] for name, each in one["pickups"].items() if each["connected"]}
        for one in document["answer"]["positions"]
    }
    assert told == {
        "selector=bridge": {"bridge": 1},
        "selector=both": {"bridge": 1, "neck": -1},
        "selector=neck": {"neck": -1},
    }
    rig = (tmp_path / "rig.toml").read_text(encoding="utf-8")
    for line in ('device = "bench"', 'host_api = "JACK"', "rate_hz = 96000", "output_channel = 1", "reference_channel = 2"):
        assert line in rig
