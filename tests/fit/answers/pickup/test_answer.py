"""A pickup's answer is data: not changed by accident, back from JSON as it was, and read without what makes it."""

import os
import subprocess
import sys
from dataclasses import FrozenInstanceError

import pytest

from fit.answers.encoding import decode_answer, encode_answer
from fit.answers.pickup.answer import PickupAnswer, Released
from tests.answer_by_hand import answer, estimate
from tests.found_parts import found_parts
from tests.same import assert_same


@pytest.mark.parametrize("parts", [None, found_parts()])
def test_it_comes_back_as_it_was(parts):
    from dataclasses import replace

    one = replace(answer(), parts=parts, tapers={"volume": "audio"})
    assert_same(decode_answer(encode_answer(one), PickupAnswer), one)


def test_what_was_let_go_comes_back_as_it_was():
    one = Released(
        parameter="dcr",
        is_reference=True,
        stated=estimate(6000.0, 30.0, "Ω"),
        found=estimate(6300.0, 40.0, "Ω"),
        instead=("input capacitance",),
    )
    assert_same(decode_answer(encode_answer(one), Released), one)


def test_an_answer_is_not_changed():
    with pytest.raises(FrozenInstanceError, match="outcome"):
        answer().outcome = "good"  # type: ignore[misc]


def test_a_pickup_alone_has_neither_parts_nor_tapers():
    assert (answer().parts, answer().tapers) == (None, {})


def test_reading_an_answer_loads_nothing_that_makes_one():
    code = "import sys; import fit.answers.pickup.answer; print([m for m in sys.modules if m in {'lmfit', 'scipy.optimize', "
    code += "'fit.estimate.ladder', 'fit.answers.pickup.characterisation'}])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=dict(os.environ), timeout=60
    )
    assert done.stdout.strip() == "[]"
