import json

import numpy as np
import pytest

from fit.answers.compare.noise import NoiseTake, compare_noise
from fit.desk.book.noise import noise_take
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, Take
from measure.source.files import read_recording
from tests.recorded import RECORDINGS


def takes(names, hum, noise=None, **more):
    noise = [-100.0] * len(hum) if noise is None else noise
    return [
        NoiseTake(name=name, hum_dbfs=h, noise_dbfs=n, **({"hum_std_db": 0.05, "noise_std_db": 0.05, "n_lines": 5} | more))
        for name, h, n in zip(names, hum, noise, strict=True)
    ]


def recorded(names):
    written = json.loads((RECORDINGS / "shielding" / "case.json").read_text())
    found = []
    for name in names:
        facts = written["takes"][name]
        take = Take(
            name=name,
            conditions=Conditions(
                added=facts["add"], controls={control: str(setting) for control, setting in facts["controls"].items()}
            ),
            recordings=(RecordingFile(file="recording.flac"),),
            rate_hz=48000,
        )
        found.append(noise_take(take, [read_recording(RECORDINGS / "shielding" / f"{name}.flac")], stimulus=None))
    return found


def test_independent_recordings_of_a_shielding_job():
    actual = json.loads((RECORDINGS / "shielding" / "case.json").read_text())["actual"]
    change = compare_noise(recorded(["before", "before-plus-1n"]), recorded(["after", "after-plus-1n"]))
    assert change.hum.change.value == pytest.approx(actual["hum_change_db"], abs=0.1)  # asked for: 1 dB
    assert change.hum.verdict == "changed"
    assert change.hum.change.low < actual["hum_change_db"] < change.hum.change.high
    assert (change.hum.n_before, change.hum.n_after) == (2, 2)
    assert change.hum.notes == ()
    assert change.noise.verdict == "not resolved"
    assert abs(change.noise.change.value) < 0.2


def test_one_take_a_side_says_what_is_not_known():
    actual = json.loads((RECORDINGS / "shielding" / "case.json").read_text())["actual"]
    change = compare_noise(recorded(["before"]), recorded(["after"]))
    assert change.hum.change.value == pytest.approx(actual["hum_change_db"], abs=0.1)
    assert change.hum.verdict == "changed"
    assert change.hum.scatter_db is None
    assert "One take a side" in change.hum.notes[0]
    assert "gain was the same" in change.notes[0]
    # Two independent voltages within ±10 %: 20·lg(1.1)/√3 dB each.
    assert change.hum.change.standard_uncertainty == pytest.approx(np.sqrt(2) * 0.4780, abs=0.01)


def test_nothing_done_is_not_resolved():
    # Takes of one state, sorted into two sides.
    change = compare_noise(recorded(["before"]), recorded(["before-plus-1n"]))
    assert change.hum.verdict == "not resolved"
    assert change.noise.verdict == "not resolved"
    assert any("settings" in note for note in change.notes)
    change = compare_noise(takes("ab", [-60.0, -60.4]), takes("cd", [-60.5, -59.9]))
    assert (change.hum.verdict, change.noise.verdict) == ("not resolved", "not resolved")


def test_interval_by_hand():
    before, after = [-60.0, -61.0, -62.0], [-70.0, -71.5]
    change = compare_noise(takes("abc", before), takes("de", after)).hum
    # Pooled: squares about the means 2 and 1.125, three degrees of freedom; t 0.975 of 3 is 3.182 (handbook table).
    scatter = np.sqrt(3.125 / 3)
    std = scatter * np.sqrt(1 / 3 + 1 / 2)
    assert change.change.value == pytest.approx(-9.75)
    assert change.scatter_db == pytest.approx(scatter)
    assert change.change.standard_uncertainty == pytest.approx(std)
    assert change.change.high - change.change.value == pytest.approx(3.182 * std, rel=2e-4)
    assert change.before_dbfs == pytest.approx(10 * np.log10(np.mean(10 ** (np.array(before) / 10))))


def test_levels_own_errors_are_a_floor():
    # Takes that agree by chance: the errors of the levels remain, with Welch and Satterthwaite's degrees of freedom.
    first = takes("ab", [-60.0, -60.0], hum_std_db=0.5, hum_freedom=4.0)
    second = takes("cd", [-60.0, -60.0], hum_std_db=0.5, hum_freedom=4.0)
    change = compare_noise(first, second).hum
    assert change.change.standard_uncertainty == pytest.approx(0.5)
    assert change.change.high == pytest.approx(2.120 * 0.5, rel=2e-4)  # t 0.975 of 16, handbook table


@pytest.mark.long
@pytest.mark.parametrize("n", [2, 3, 5])
@pytest.mark.parametrize("true_db", [0.0, -6.0])
def test_coverage_with_scatter_from_take_to_take(n, true_db):
    rng = np.random.default_rng(n)
    inside = changed = 0
    for _ in range(600):
        before, after = rng.normal(-60, 0.8, n), rng.normal(-60 + true_db, 0.8, n)
        names = [f"take{k}" for k in range(2 * n)]
        hum = compare_noise(takes(names[:n], before), takes(names[n:], after)).hum
        inside += hum.change.low < true_db < hum.change.high
        changed += hum.verdict == "changed"
    assert 0.93 < inside / 600 < 0.98
    assert changed / 600 < 0.07 if true_db == 0.0 else changed / 600 > (0.6 if n == 2 else 0.99)


def test_loads_are_told_apart_from_the_job():
    # The added part takes 3 dB off the hum; unpaired, that would drown a change of 2 dB.
    before = takes("ab", [-60.0, -60.1], condition="") + takes("cd", [-63.0, -63.1], condition="1 nF")
    after = takes("ef", [-62.0, -62.1], condition="") + takes("gh", [-65.0, -65.1], condition="1 nF")
    change = compare_noise(before, after).hum
    assert change.change.value == pytest.approx(-2.0)
    assert change.verdict == "changed"
    assert change.scatter_db < 0.1


def test_takes_without_a_partner_are_left_out_and_named():
    before = takes("a", [-60.0]) + takes(["loaded"], [-63.0], condition="1 nF")
    change = compare_noise(before, takes("b", [-60.2]))
    assert change.hum.n_before == 1
    assert any("loaded" in note for note in change.notes)
    apart = compare_noise(takes("a", [-60.0], condition="volume=10"), takes("b", [-66.0], condition="volume=5"))
    assert apart.hum.change.value == pytest.approx(-6.0)
    assert any("settings" in note for note in apart.notes)


def test_hum_that_vanishes_has_a_bound():
    gone = takes("cd", [None, None], hum_limit_dbfs=-110.0, n_lines=0)
    change = compare_noise(takes("ab", [-80.0, -80.0]), gone).hum
    assert change.change is None
    assert change.verdict == "changed"
    # Five lines may each lie just below the limit: -110 + 10·lg 5; the rest is the allowance for the level before.
    assert -23.01 < change.bound_db < -20.0
    assert "fell by" in change.notes[0]
    faint = compare_noise(takes("ab", [-109.0, -109.0]), gone).hum
    assert (faint.bound_db, faint.verdict) == (None, "not resolved")
    came = compare_noise(gone, takes("ab", [-80.0, -80.0])).hum
    assert came.bound_db > 20.0
    assert "rose by" in came.notes[0]
    gone_of = compare_noise(takes("ab", [-80.0, -80.0]), gone).hum
    assert (gone_of.before_dbfs, gone_of.after_dbfs) == (-80.0, None)
    assert (came.before_dbfs, came.after_dbfs) == (None, -80.0)


def test_no_hum_at_all():
    none = [takes(name, [None], hum_limit_dbfs=-120.0) for name in "ab"]
    change = compare_noise(none[0], none[1])
    assert change.hum.verdict == "not resolved"
    assert change.hum.notes == ("No hum was found on either side.",)
    assert change.noise.change.value == pytest.approx(0.0, abs=1e-9)


def test_wrong_calls():
    with pytest.raises(ValueError, match=r"0 take\(s\) before and 1 after"):
        compare_noise([], takes("a", [-60.0]))
    with pytest.raises(ValueError, match='"a" is named before and after'):
        compare_noise(takes("a", [-60.0]), takes("a", [-60.0]))
