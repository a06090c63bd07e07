"""Taking what the recording process hands over: every deadline by its length, every trouble by its name; no clock runs here."""

import numpy as np
import pytest

from measure.errors import CardHeldError, DeviceGoneError, NoProgressError, OpenError, RateError, ServerDiedError
from measure.source.listening import Tape, listen
from tests.scripted_process import LATE, Process, block, told

OPENED = told("opened", output=["card", "Plain"], input=["card", "Plain"])
RATE_HZ = 1000


def tape(n_wanted=2000):
    return Tape(rate_hz=RATE_HZ, n_channels=2, n_wanted=n_wanted)


def test_samples_are_kept_in_order_with_how_they_came():
    kept, heard = tape(), []
    process = Process(OPENED, block(5.0, [[1, 2], [3, 4]], flags=2), block(5.5, []), block(6.0, [[5, 6]]), told("done"))
    opened, was_stopped = listen(process, kept, heard.append)
    assert (opened["output"], was_stopped) == (["card", "Plain"], False)
    np.testing.assert_array_equal(kept.samples(), [[1, 2], [3, 4], [5, 6]])
    assert [(one.time_s, one.flags, one.n_came, one.n_kept) for one in kept.blocks] == [
        (5.0, 2, 2, 2),
        (5.5, 0, 0, 0),
        (6.0, 0, 1, 1),
    ]
    assert [(one.n_recorded, one.n_wanted, one.flags, len(one.samples)) for one in heard] == [
        (2, 2000, 2, 2),
        (2, 2000, 0, 0),
        (3, 2000, 0, 1),
    ]
    assert kept.place() == "0.00 s of 2.00 s"


def test_a_tape_without_samples_has_its_columns():
    assert tape().samples().shape == (0, 2)
    endless = tape(None)
    endless.n_recorded = 1500
    assert endless.place() == "1.50 s"


def test_what_was_found_is_claimed_before_it_is_opened():
    claimed = []
    process = Process(told("chosen", output="a", input="b"), OPENED, told("done"))
    listen(process, tape(), None, lambda *names: claimed.append((*names, process.n_gone)))
    assert (claimed, process.n_gone) == ([("a", "b", 0)], 1)

    def refuse(*_names):
        raise CardHeldError("another has it")

    process = Process(told("chosen", output="a", input="b"), OPENED, told("done"))
    with pytest.raises(CardHeldError, match="another has it"):
        listen(process, tape(), None, refuse)
    assert process.n_gone == 0


def test_each_wait_has_its_own_deadline():
    process = Process(OPENED, block(0.0, [[0, 0]]), block(0.1, [[0, 0]]), told("done"))
    listen(process, tape(), None)
    assert process.limits_s == [2.8, 1.3, 1.0, 1.0]  # to open, to the first block, between two


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ((LATE,), r"did not open within 2\.8 s"),
        ((OPENED, LATE), r"no sound came from the card \(nothing for 1\.3 s\), after 0\.00 s of 2\.00 s"),
        ((OPENED, block(0.0, [[0, 0]] * 500), LATE), r"\(nothing for 1\.0 s\), after 0\.50 s of 2\.00 s"),
    ],
)
def test_what_is_late_is_named_with_how_far_it_came(script, said):
    with pytest.raises(NoProgressError, match=said):
        listen(Process(*script), tape(), None)


@pytest.mark.parametrize(("time_s", "is_late"), [(3.49, False), (3.51, True)])
def test_a_recording_may_last_so_much_longer_than_its_samples(time_s, is_late):
    """0.2 s of silence before, 2 s that are wanted, and 1.3 s; by the clock of the process, from the first block on."""
    kept = tape()
    process = Process(OPENED, block(100.0, [[0, 0]]), block(100.0 + time_s, [[0, 0]]), told("done"))
    if is_late:
        with pytest.raises(NoProgressError, match=r"delivered only 0\.00 s of 2\.00 s within 3\.5 s.*the 1000 Hz asked for"):
            listen(process, kept, None)
    else:
        listen(process, kept, None)
    assert len(kept.samples()) == 2  # what came until an error stays
    endless = Process(OPENED, block(0.0, [[0, 0]]), block(1e6, [[0, 0]]), told("stopped"))
    listen(endless, tape(None), None)


def test_the_caller_stops_it_once_and_what_still_comes_is_kept():
    kept = tape(None)
    process = Process(OPENED, *(block(0.1 * k, [[k, k]]) for k in range(4)), told("stopped"))
    _, was_stopped = listen(process, kept, lambda progress: progress.n_recorded >= 2)
    assert was_stopped
    assert process.n_stopped == 1
    assert len(kept.samples()) == 4


@pytest.mark.parametrize(
    ("script", "code", "error", "said"),
    [
        ((told("error", error="RateError", text="not at 1 Hz"),), 0, RateError, "^not at 1 Hz$"),
        ((None,), 1, OpenError, r"ended \(exit code 1\), before the card was open"),
        ((None,), -11, ServerDiedError, "by signal 11, before the card was open"),
        ((block(0.0, []),), 3, OpenError, r"exit code 3"),
        (
            (OPENED, block(0.0, [[0, 0]] * 250), told("error", error="DeviceGoneError", text="the card went")),
            0,
            DeviceGoneError,
            r"^the card went after 0\.25 s of 2\.00 s\. Plug it in again",
        ),
        ((OPENED, None), -6, ServerDiedError, r"by signal 6, after 0\.00 s of 2\.00 s"),
    ],
)
def test_trouble_keeps_its_name(script, code, error, said):
    with pytest.raises(error, match=said) as caught:
        listen(Process(*script, code=code), tape(), None)
    assert type(caught.value) is error
