"""Each scene played anew against what is kept of it, and the comparer against texts that are not the same."""

import pytest

from tests.golden.comparing import differences
from tests.golden.scenes import KEPT, SCENES, play

TEXT = "  Inductance   2.305 H   2.284 … 2.325 H   inside (58 %)\nOutcome: good (15 of 15 checks passed)\n"


@pytest.mark.slow
@pytest.mark.parametrize("scene", SCENES)
def test_scene_says_writes_and_draws_what_is_kept(scene, tmp_path):
    now = play(scene, tmp_path / scene)
    kept = {path.name: path.read_text(encoding="utf-8") for path in sorted((KEPT / scene).iterdir())}
    failed = []
    for name in sorted(kept.keys() | now.keys()):
        found = differences(kept.get(name, ""), now.get(name, ""))
        if found:
            failed.append("\n".join([f"{scene}/{name}: {now.get(name, 'not run any more').splitlines()[0]}", *found]))
    assert not failed, "\n\n".join(failed)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("2.305 H", "2.306 H"),  # one unit in the last digit
        ("2.305", "2.309"),  # 0.17 %
        ("58 %", "57 %"),
        ("Inductance   2", "Inductance  2"),
    ],
)
def test_small_change_of_a_number_or_of_spaces_passes(old, new):
    assert old in TEXT
    assert differences(TEXT, TEXT.replace(old, new)) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("2.305 H", "2.311 H"),
        ("58 %", "56 %"),
        ("2.305 H", "2.305 mH"),
        ("inside", "outside"),
        ("15 of", "14 of"),
        ("2.284", "-2.284"),
        ("Outcome: good (15 of 15 checks passed)\n", ""),
        ("Outcome", "Look\nOutcome"),
    ],
)
def test_changed_number_word_or_line_is_shown(old, new):
    changed = TEXT.replace(old, new)
    found = differences(TEXT, changed)
    assert found
    assert all(line[2:] in " ".join((TEXT + changed).split()) for line in found if line[0] in "-+")
    assert differences(changed, TEXT)


@pytest.mark.parametrize(
    ("kept", "now"),
    [
        ("take plus-1n", "take plus-2n"),
        ("exit 0", "exit 2"),
        ('"std": 0.00000', '"std": 1.20000e-06'),
        ('"level": 0.100000', '"level": 0.200000'),
        ("added 1n ± 1%", "added 1n ± 2%"),
        ("2.0", "two"),
    ],
)
def test_names_settings_and_noughts_are_compared_exactly(kept, now):
    assert differences(kept, now)[:2] == [f"- {kept}", f"+ {now}"]
