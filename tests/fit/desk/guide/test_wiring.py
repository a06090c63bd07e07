"""The guide to the switch: the coil over each pickup in turn, there every position."""

from dataclasses import replace

import pytest

from fit.circuit.layouts import layout_text
from fit.desk.bench.take import make_take
from fit.desk.guide import wiring
from fit.desk.guide.scene import Bench, Offer
from measure.logbook.store import list_takes, open_logbook
from measure.source.virtual import Noise, VirtualBench
from tests.desk_bench import flat
from tests.guide_scenes import scene
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


@pytest.mark.long
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


def test_the_coil_moves_once_for_each_pickup(tmp_path):
    slots = wiring.slots(scene(tmp_path, pickups="bridge, neck", positions="1, 2, 3"))
    assert [slot.name for slot in slots] == ["bridge-1", "bridge-2", "bridge-3", "neck-1", "neck-2", "neck-3"]
    assert [slot.conditions.coil_moved for slot in slots] == [True, False, False] * 2
    assert [slot.conditions.controls for slot in slots][:3] == [{"selector": number} for number in "123"]
    assert all(slot.may_be_silent for slot in slots)
    assert slots[1].todo == ("leave the coil where it is, turn the switch only",)


def test_an_instrument_gives_its_own_names_and_pots_stand_at_ten(tmp_path):
    (tmp_path / "instrument.toml").write_text(layout_text("two-pickups-tone-after"), encoding="utf-8")
    first = wiring.slots(scene(tmp_path))[0]
    assert first.conditions.coil_over == "bridge"
    assert first.conditions.controls["bridge-volume"] == "10"
    assert first.conditions.controls["selector"] == "bridge"


def names_question(folder, **settled):
    """The question for names, in a session that has all before it."""
    stated = {"cautions": "yes", "rig__known": "", "instrument__known": "no", "layout": "none"} | settled
    return wiring._names_stage(scene(folder, **stated))


@pytest.mark.parametrize(("typed", "read"), [("a,b", "a, b"), (" bridge , neck,", "bridge, neck"), ("1", "1")])
def test_names_are_read_with_commas_between(tmp_path, typed, read):
    assert names_question(tmp_path).key == "pickups"
    assert names_question(tmp_path, pickups="a").read(typed) == read
    assert names_question(tmp_path, pickups="a", positions="1") is None


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "1 to 12"),
        (",", "1 to 12"),
        ("a,a", "different"),
        (",".join(map(str, range(13))), "1 to 12"),
        ("a/b", "is not a name"),
        ("x" * 21, "is not a name"),
    ],
)
def test_what_cannot_be_names_is_refused(tmp_path, typed, says):
    with pytest.raises(ValueError, match=says):
        names_question(tmp_path).read(typed)
