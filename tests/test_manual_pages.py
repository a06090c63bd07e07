"""The examples of README.md and of the manual run, and say what is shown of them; and the comparer sees what is not so."""

import shutil

import pytest

from tests.manual_pages import PAGES, examples, missing, play, renewed

QUICK = {
    "README",
    "exciter",
    "json",
    "calibrate",
    "compare",
    "listen",
}  # the others fit several guitars, or simulate a bench over months
RUN = [page for page in PAGES if any(example.is_run for example in examples(page))]
SAID = ["Written: a.png", "Guitar, from up", "", "  Inductance  2.305 H", "  Tone pot    540 kΩ", "", "Warnings", "  none"]

needs_bash = pytest.mark.skipif(shutil.which("bash") is None, reason="the examples' lines are for a shell")


@pytest.mark.long
@needs_bash
@pytest.mark.parametrize("page", [page if page in QUICK else pytest.param(page, marks=pytest.mark.slow) for page in RUN])
def test_examples_say_what_is_shown(page, tmp_path):
    failed = []
    for _, command, code, said in play(page, tmp_path):
        is_refused = any("coilsweep: " in line or "rejected" in line for line in command.shown)
        off = missing(command.shown, [line for line in said if line.strip()])
        if off or (code != 0 and not is_refused):
            failed.append("\n".join([f"$ {command.typed}", f"exit {code}", *off]))
    assert not failed, "\n\n".join(failed)


def test_quick_pages_are_run():
    assert set(RUN) >= QUICK
    assert len(RUN) > 15


@pytest.mark.parametrize(
    "shown",
    [
        (),
        SAID,
        ("Written: a.png", "  …"),
        ("  …", "Warnings", "  none"),
        ("  …", "  Inductance  2.306 H", "  …"),
        ("Written: a.png", "  …", "  Tone pot    540 kΩ", "  …", "  none"),
    ],
)
def test_what_was_said_is_found(shown):
    assert missing(shown, list(filter(None, SAID))) == []


@pytest.mark.parametrize(
    "shown",
    [
        ("Written: a.png",),
        ("Guitar, from up", "  …"),
        ("  …", "  Inductance  2.405 H", "  …"),
        ("  …", "  Tone pot    540 kΩ", "  …", "  Inductance  2.305 H", "  …"),
        ("  …", "Written: b.png", "  …"),
        ("  …", "  Tone pot    540 kΩ"),
    ],
)
def test_what_was_not_said_is_told(shown):
    assert missing(shown, list(filter(None, SAID)))


def test_the_same_parts_are_shown_anew():
    shown = ("Written: a.png", "  …", "  Inductance  2.1 H", "  …", "  none")
    now = renewed(shown, SAID)
    assert now == ["Written: a.png", "  …", "", "  Inductance  2.305 H", "  …", "  none"]
    assert missing(now, list(filter(None, SAID))) == []
