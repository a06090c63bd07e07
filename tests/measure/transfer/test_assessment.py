"""Recordings of every method, sound and faulty, through the checks to a response."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from measure.checks.judgement import Judgement
from measure.checks.method import judge_impedance, judge_plate
from measure.response import Finding, Response
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Faults
from measure.transfer.assessment import assess, join_findings
from tests.desk_bench import run, run_json
from tests.driven_takes import CARD, Instrument, changed, quiet, record, save, through_plate, through_resistor
from tests.faulty_takes import BENCH, coil, take
from tests.faulty_takes import STIMULUS as PLAYED
from tests.simulated_cases import sweep, write

INSTRUMENT = Instrument()
TONE_DOWN = Instrument(load_f=22e-9)
STIMULUS = sweep(48000, level=0.5)


def recording(samples, **more):
    return Recording(samples=samples, rate_hz=48000, n_bits=24, **more)


def look(samples, method, *, stimulus=STIMULUS):
    each = samples if isinstance(samples, list) else [samples]
    return assess([recording(one) for one in each], stimulus=stimulus, method=method)


def worse_than_pass(looked):
    return {finding.code: finding.severity for finding in looked.findings if finding.severity != "pass"}


def named(looked, code):
    return next(finding for finding in looked.findings if finding.code == code)


def mean_square_pull(response, ratio):
    residual = response.value - ratio(response.frequency_hz)
    return np.mean(np.abs(residual) ** 2 / np.trace(response.covariance, axis1=1, axis2=2))


@pytest.mark.long
@pytest.mark.parametrize(
    ("coupling_f", "instrument", "stimulus", "allowed"),
    [
        (0.2e-12, INSTRUMENT, STIMULUS, set()),
        (2e-12, INSTRUMENT, None, set()),
        (2e-12, TONE_DOWN, STIMULUS, {"buried-in-hum", "low-level", "plate-level"}),  # the capacitor takes most of it
    ],
    ids=["faint", "stimulus unknown", "tone down"],
)
def test_plate_take_and_its_response(coupling_f, instrument, stimulus, allowed):
    ratio = through_plate(instrument, coupling_f)
    looked = look(record(1, ratio), "plate", stimulus=stimulus)
    assert set(worse_than_pass(looked)) <= allowed
    assert 0.8 < mean_square_pull(looked.response, ratio) < 1.3


@pytest.mark.long
@pytest.mark.parametrize(
    ("instrument", "resistor_ohm", "stimulus"),
    [
        (INSTRUMENT, 10e3, STIMULUS),
        (INSTRUMENT, 100e3, None),
        (TONE_DOWN, 22e3, STIMULUS),
        (Instrument(resistance_ohm=1e6, load_f=22e-9), 100e3, None),
    ],
    ids=["small", "large", "tone down", "capacitor alone"],
)
def test_impedance_take_is_good_and_its_response_right(instrument, resistor_ohm, stimulus):
    ratio = through_resistor(instrument, resistor_ohm)
    looked = look(record(2, ratio), "impedance", stimulus=stimulus)
    assert worse_than_pass(looked) == {}
    assert 0.8 < mean_square_pull(looked.response, ratio) < 1.3
    assert looked.response.unit == "V/V"


def test_impedance_comes_out_in_ohms():
    response = look(record(3, through_resistor(INSTRUMENT, 100e3)), "impedance").response
    found = 100e3 * response.value / (1 - response.value)
    # From 24 bits and noise of -104 dBFS: a thousandth everywhere.
    np.testing.assert_allclose(found, INSTRUMENT.impedance(response.frequency_hz), rtol=1e-3)


def test_good_shielding_is_no_fault():
    # A hundred-thousandth of a farad's billionth: far under the noise. The take stays, with its noise as the answer.
    looked = look(record(4, through_plate(INSTRUMENT, 2e-15)), "plate")
    assert looked.outcome == "usable"
    assert looked.response is not None
    assert named(looked, "plate-level").severity == "warn"
    assert "shielding keeps it out" in named(looked, "plate-level").text


def test_dead_input_is_a_fault_all_the_same():
    samples = record(5, through_plate(INSTRUMENT, 1e-12))
    samples[:, 0] = 0.0
    looked = look(samples, "plate")
    assert (looked.outcome, looked.response) == ("rejected", None)
    assert worse_than_pass(looked)["dead-channel"] == "reject"


@pytest.mark.long
def test_reference_that_is_not_driven_is_a_fault():
    samples = record(5, through_plate(INSTRUMENT, 1e-12))
    samples[:, 1] = quiet(6, duration_s=len(samples) / 48000)[:, 1]
    assert look(samples, "plate").outcome == "rejected"


@pytest.mark.long
@pytest.mark.parametrize(
    ("method", "ratio", "code", "stimulus"),
    [
        ("plate", through_plate(INSTRUMENT, 1e-12), "swapped", STIMULUS),
        ("plate", through_plate(INSTRUMENT, 1e-12), "swapped", None),
        ("impedance", through_resistor(INSTRUMENT, 100e3), "passive", STIMULUS),
    ],
)
def test_exchanged_channels(method, ratio, code, stimulus):
    looked = look(record(7, ratio)[:, ::-1].copy(), method, stimulus=stimulus)
    assert worse_than_pass(looked)[code] == "reject"
    assert "exchanged" in named(looked, code).text


@pytest.mark.long
def test_turned_polarity_and_unequal_gains_of_an_impedance_take():
    samples = record(8, through_resistor(INSTRUMENT, 10e3))
    turned = samples * [-1.0, 1.0]
    assert worse_than_pass(look(turned, "impedance"))["passive"] == "reject"
    # 10 kΩ against an inductive instrument: the ratio runs close to the circle, and a gain too high leads out of it.
    assert "passive" in worse_than_pass(look(samples * [1.12, 1.0], "impedance"))
    assert "passive" not in worse_than_pass(look(samples * [1.01, 1.0], "impedance"))


@pytest.mark.long
def test_resistor_that_does_not_suit():
    large = named(look(record(9, through_resistor(INSTRUMENT, 2e6)), "impedance"), "series-resistor")
    assert (large.severity, "too large" in large.text) == ("warn", True)
    small = named(look(record(9, through_resistor(INSTRUMENT, 100.0)), "impedance"), "series-resistor")
    assert (small.severity, "too small" in small.text) == ("warn", True)


def test_plate_that_touches_the_wiring():
    def ratio(frequency_hz):  # a resistance of 10 MΩ instead of a capacitance
        return INSTRUMENT.impedance(frequency_hz) / (INSTRUMENT.impedance(frequency_hz) + 1e7)

    finding = named(look(record(10, ratio), "plate"), "plate-coupling")
    assert finding.severity == "warn"
    assert finding.figure < 2.0


@pytest.mark.long
@pytest.mark.parametrize("method", ["plate", "impedance"])
def test_common_faults_are_found_with_every_method(method):
    ratio = through_plate(INSTRUMENT, 2e-12) if method == "plate" else through_resistor(INSTRUMENT, 100e3)
    samples = record(11, ratio)
    clipped = np.clip(samples, -0.3, 0.3)
    lost = np.concatenate([samples[:70000], samples[70480:]])
    assert worse_than_pass(look(clipped, method))["clipped"] == "reject"
    assert "dropouts" in worse_than_pass(look(lost, method))
    assert worse_than_pass(look(samples[:120000], method))["truncated"] == "reject"


@pytest.mark.long
@pytest.mark.parametrize(
    ("method", "step", "severity"),
    [("plate", 1.0, "pass"), ("plate", 1.1, "reject"), ("impedance", 1.01, "warn")],
)
def test_repeats_that_differ(method, step, severity):
    ratio = through_plate(INSTRUMENT, 2e-12) if method == "plate" else through_resistor(INSTRUMENT, 100e3)
    second = record(13, lambda frequency_hz: step * ratio(frequency_hz))
    finding = named(look([record(12, ratio), second], method), "repeats-differ")
    assert finding.severity == severity
    assert "exciter" not in finding.text


@pytest.mark.long
def test_texts_do_not_speak_of_the_exciter():
    for method, ratio in (("plate", through_plate(INSTRUMENT, 2e-14)), ("impedance", lambda f: 1e-6 * np.ones(len(f)))):
        looked = look(record(14, ratio), method)
        assert worse_than_pass(looked)
        assert not [finding.text for finding in looked.findings if "exciter" in finding.text or "coil" in finding.text]


@pytest.mark.long
def test_quiet_take_has_no_response_and_is_good():
    looked = look(quiet(15), "quiet", stimulus=None)
    assert (looked.outcome, looked.response) == ("good", None)
    assert [finding.code for finding in looked.findings] == ["clipped", "dropouts", "dc-offset", "length", "muted", "unsteady"]
    assert not [finding.text for finding in looked.findings if "stimulus" in finding.text or "not judged" in finding.text]
    samples = quiet(15)
    samples[101024:] = samples[100512:-512]
    assert worse_than_pass(look(samples, "quiet", stimulus=None))["dropouts"] == "reject"


@pytest.mark.long
def test_faults_of_quiet_takes():
    short = look(quiet(16, duration_s=0.4), "quiet", stimulus=None)
    assert worse_than_pass(short)["length"] == "reject"
    muted = look(np.zeros((200000, 2)), "quiet", stimulus=None)
    assert worse_than_pass(muted)["muted"] == "reject"
    played = look(record(17, through_resistor(INSTRUMENT, 100e3)), "quiet", stimulus=None)
    assert worse_than_pass(played)["unsteady"] == "warn"
    loud = quiet(18, card=changed(hum_dbfs=6.0))
    assert worse_than_pass(look(np.clip(loud, -1, 1 - 2.0**-23), "quiet", stimulus=None))["clipped"] == "reject"


def test_band_outside_of_a_response_is_not_judged():
    high = Response(
        frequency_hz=np.array([15e3, 16e3]), value=np.array([0.1, 0.1j]), covariance=np.tile(np.eye(2) * 1e-9, (2, 1, 1))
    )
    assert [finding.text[:10] for finding in (*judge_plate(high), *judge_impedance(high))] == ["not judged"] * 4


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("driven")
    write(made / "sweep.wav", STIMULUS, rate_hz=48000)
    save(made, "plate", record(1, through_plate(INSTRUMENT, 1e-12)))
    save(made, "impedance", record(2, through_resistor(INSTRUMENT, 100e3)))
    save(made, "exciter", record(3, lambda f: 0.1j * f / 3000 / (1 + 0.1j * f / 3000 - (f / 4000) ** 2)))
    save(made, "quiet", quiet(4))
    write(made / "mono.wav", quiet(5)[:, :1], rate_hz=CARD.rate_hz)
    return made


@pytest.mark.long
@pytest.mark.parametrize("method", ["exciter", "plate", "impedance", "quiet"])
def test_import_and_inspect_of_every_method(capsys, folder, tmp_path, method):
    book = tmp_path / "book"
    played = [] if method == "quiet" else ["--stimulus", folder / "sweep.wav"]
    words = ["import", "one", folder / f"{method}.wav", "--method", method, *played, "--logbook", book]
    code, document, _ = run_json(capsys, *words)
    assert (code, document["outcome"]) == (0, "good")
    code, document, _ = run_json(capsys, "inspect", "one", "--logbook", book)
    assert (code, document["outcome"]) == (0, "good")
    noise = document["noise"]
    assert noise["hum_hz"] == pytest.approx(50.0, abs=0.01)
    assert noise["hum_dbfs"] == pytest.approx(CARD.hum_dbfs + 10 * np.log10(2), abs=0.1)  # the card's is rms, AES17's 3 dB more
    expected = CARD.noise_dbfs + 10 * np.log10(2 * (20e3 - 20) / 24e3)
    assert noise["floor_dbfs"] == pytest.approx(expected, abs=5 * noise["floor_std_db"] + 0.02)
    code, out, _ = run(capsys, "inspect", "one", "--logbook", book)
    assert "mains at 50.0" in out
    assert "without mains lines" in out


@pytest.mark.long
def test_mono_quiet_take_is_taken_as_it_is(capsys, folder, tmp_path):
    code, document, err = run_json(
        capsys, "import", "q", folder / "mono.wav", "--method", "quiet", "--logbook", tmp_path / "book"
    )
    assert (code, document["outcome"]) == (0, "good")
    assert "coilsweep inspect q" in err


def test_wrong_use(capsys, folder, tmp_path):
    book = ["--logbook", tmp_path / "book"]
    quiet_words = ["import", "a", folder / "quiet.wav", "--method", "quiet", "--stimulus", folder / "sweep.wav", *book]
    code, _, err = run(capsys, *quiet_words)
    assert code == 2
    assert "nothing is played" in err
    words = ["import", "b", folder / "impedance.wav", "--method", "impedance", "--reference-channel", "none", *book]
    code, _, err = run(capsys, *words)
    assert code == 2
    assert "both ends of the series resistor" in err
    code, _, err = run(capsys, "import", "c", folder / "plate.wav", "--method", "plate", "--reference-channel", "none", *book)
    assert code == 2
    assert "--stimulus" in err


def test_worst_of_several_findings_counts():
    judgement = Judgement(findings=())
    found = [Finding(code="unplugged", severity=severity, text=severity) for severity in ("pass", "reject", "warn")]
    joined = join_findings(judgement, found)
    assert (joined.outcome, [finding.severity for finding in joined.findings]) == ("rejected", ["reject"])
    assert join_findings(judgement, found[:1]).outcome == "good"


@pytest.mark.long
@pytest.mark.parametrize(
    ("change", "severity", "result"), [(1.0, "pass", "good"), (1.01, "warn", "usable"), (1.06, "reject", "rejected")]
)
def test_repeats_are_compared(change: float, severity: str, result: str) -> None:
    second = take(replace(BENCH, seed=2, pickup=lambda f: coil()(f) * change))
    looked = assess([take(), second], stimulus=PLAYED)
    moved = [finding for finding in looked.findings if finding.code == "coil-moved"]
    assert [finding.severity for finding in moved] == [severity]
    assert looked.outcome == result
    assert (looked.response is None) == (result == "rejected")


def test_a_faulty_repeat_is_named_and_not_compared() -> None:
    looked = assess([take(), take(faults=Faults(is_swapped=True))], stimulus=PLAYED)
    assert looked.outcome == "rejected"
    assert {finding.code for finding in looked.findings if finding.severity == "reject"} == {"swapped"}
    assert "coil-moved" not in {finding.code for finding in looked.findings}


MEMORY_PROGRAM = """
import sys
from pathlib import Path
import numpy, scipy.fft, soundfile
import measure.checks.recording, measure.checks.repeats, measure.transfer.response
from measure.transfer.assessment import assess
from measure.source.files import read_recording
def peak():  # of this program alone; ru_maxrss also holds that of the one that started it
    return next(int(line.split()[1]) for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))

before = peak()
recording = read_recording(sys.argv[1])
looked = assess([recording], stimulus=None)
assert looked.response is not None, looked.findings
print(1024 * (peak() - before) / (recording.samples.size * 2))
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peak memory is read the Linux way")
@pytest.mark.parametrize("duration_s", [30.0, 60.0, 120.0])
def test_memory_of_checks_and_response(tmp_path, duration_s: float) -> None:
    # 16 bits are the hard case, since samples are kept as 32-bit floats: these alone are twice the recording.
    sweep = Sweep(rate_hz=48000, duration_s=duration_s - 1.2, before_s=0.7, after_s=0.5)
    reference = sweep_samples(sweep)
    samples = np.stack([0.2 * reference, reference], axis=1)
    samples += 1e-4 * np.random.default_rng(3).normal(size=samples.shape)
    soundfile.write(tmp_path / "long.wav", samples, sweep.rate_hz, subtype="PCM_16")
    command = [sys.executable, "-c", MEMORY_PROGRAM, str(tmp_path / "long.wav")]
    run = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    assert float(run.stdout) < 6


@pytest.mark.parametrize(("severity", "is_kept"), [("pass", True), ("warn", True), ("reject", False)])
def test_what_the_card_told_may_take_the_response_away(severity, is_kept):
    response = Response(frequency_hz=np.array([1e3]), value=np.array([1 + 0j]), covariance=np.zeros((1, 2, 2)))
    own, told = Finding(code="own", severity="warn", text="a"), Finding(code="xrun", severity=severity, text="b")
    joined = join_findings(Judgement(findings=(own,), response=response), [told, replace(told, severity="pass")])
    assert joined.findings == (own, told)
    assert (joined.response is response) == is_kept
