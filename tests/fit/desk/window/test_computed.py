"""What the worker answers: each kind has its name, and comes through the pipe as it went in."""

import msgspec

from fit.desk.window import computed, worker
from fit.desk.window.messages import Curve, Told

ANSWERS = [one for one in vars(computed).values() if isinstance(one, type) and issubclass(one, Told) and one is not Told]


def test_each_answer_has_a_kind_of_its_own_that_the_worker_knows():
    kinds = [one.__struct_config__.tag for one in ANSWERS]
    assert len(set(kinds)) == len(kinds) == len(worker.Answer.__args__)
    assert set(worker.Answer.__args__) == set(ANSWERS)


def test_an_answer_comes_through_as_it_went_in():
    change = Curve(label="a", frequency_hz=(20.0, 30.5), db=(0.1234567, None))
    pair = computed.ChangedResponse(before="a", after="b", overlay=(change, change), change=change, recorded=change)
    told = computed.Compared(
        before=("a",),
        after=("b",),
        choices=("a", "b"),
        answer_html="<p>",
        sheet_html="",
        responses=(pair,),
        foil=None,
        simulated=True,
        document={"schema": "x", "n": [1, None]},
    )
    data = msgspec.msgpack.encode(told)
    assert msgspec.msgpack.decode(data, type=worker.Answer) == told
    assert msgspec.json.decode(msgspec.json.encode(told))["kind"] == "compared"
