"""Resistance and capacitance of an input from takes through known resistors, against loads written out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.calibrate.input import characterise_input
from fit.estimate.evidence import TakeEvidence
from measure.quantity import Quantity, parse_quantity
from measure.response import Origin, Response
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Noise, VirtualBench
from measure.transfer.calibration import apply_calibration
from measure.transfer.loopback import solve_loopback
from measure.transfer.response import estimate_response
from tests.benches import GRID_HZ, RATE_HZ, quantity

ONE_PERCENT = 0.01 / np.sqrt(3)
CARD_HZ = 48000
CARD_NOISE = Noise(pickup_white=1e-5, reference_white=1e-5, pickup_hum=(3e-4, 1e-4), reference_hum=(1e-4,))


def divided(frequency_hz, *, series_ohm, stray_f=0.0, input_ohm=1e6, input_f=185e-12, across_f=0.0):
    """Input's end over driven end, by voltage division."""
    s = 2j * np.pi * np.maximum(frequency_hz, 1e-6)
    source = 1 / (1 / series_ohm + s * stray_f)
    load = 1 / (1 / input_ohm + s * (input_f + across_f))
    return load / (load + source)


def through(*, name: str, response: Response, series: Quantity, added: tuple[Quantity, ...] = ()) -> TakeEvidence:
    return TakeEvidence(name=name, response=response, added=added, method="impedance", series_resistor=series)


def by_hand(name: str, value, *, series: Quantity, added: tuple[Quantity, ...] = (), rng=None, noise=1e-5) -> TakeEvidence:
    std = noise * np.abs(value)
    if rng is not None:
        parts = rng.standard_normal((2, len(GRID_HZ)))
        value = value + std / np.sqrt(2) * (parts[0] + 1j * parts[1])
    covariance = std[:, None, None] ** 2 / 2 * np.eye(2)
    response = Response(frequency_hz=GRID_HZ, value=value, covariance=covariance, origin=Origin(rate_hz=RATE_HZ))
    return through(name=name, response=response, series=series, added=added)


def recorded(ratio, *, seed: int) -> list[Recording]:
    """Driven end and input end, 24 bits, hum and noise; the inputs differ by 0.5 dB and 0.04 samples."""
    gain = 10 ** (0.5 / 20)
    bench = VirtualBench(
        pickup=lambda f: 0.5 * gain * ratio(f) / (1 - 2j / np.maximum(f, 1e-9)),
        reference=lambda f: 0.5 / (1 - 2j / np.maximum(f, 1e-9)),
        reference_delay_samples=0.04,
        noise=CARD_NOISE,
        seed=seed,
    )
    samples = bench.record(sweep_samples(Sweep(rate_hz=CARD_HZ, duration_s=2.0)), rate_hz=CARD_HZ)
    return [Recording(samples=samples, rate_hz=CARD_HZ, n_bits=24, simulated=True)]


def recorded_takes(
    rng: np.random.Generator, *, input_ohm: float, input_f: float, n: int, is_calibrated: bool
) -> list[TakeEvidence]:
    """Through 100 kΩ, 1 MΩ, and 1 MΩ with 1 nF across; what is marked 1 % lies anywhere within it."""
    actual = [value * (1 + 0.01 * rng.uniform(-1, 1)) for value in (100e3, 1e6, 1e-9)]
    cases = (
        ("through-100k", actual[0], 0.0, "100k ± 1%", ()),
        ("through-1M", actual[1], 0.0, "1M ± 1%", ()),
        ("through-1M-plus-1n", actual[1], actual[2], "1M ± 1%", (parse_quantity("1n ± 1%"),)),
    )
    loop = solve_loopback(recorded(np.ones_like, seed=99), time_utc="2026-01-01T00:00:00Z").calibration
    takes = []
    for index, (name, series_ohm, across_f, text, added) in enumerate(cases[:n]):

        def ratio(f, series_ohm=series_ohm, across_f=across_f):
            return divided(f, series_ohm=series_ohm, input_ohm=input_ohm, input_f=input_f, across_f=across_f)

        response = estimate_response(recorded(ratio, seed=int(rng.integers(1000)) + index))
        response = apply_calibration(response, loop) if is_calibrated else response
        takes.append(through(name=name, response=response, series=parse_quantity(text, "Ω"), added=added))
    return takes


@pytest.mark.long
@pytest.mark.parametrize("is_calibrated", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_a_megohm_and_185_picofarad_come_out_of_recordings(seed, is_calibrated):
    rng = np.random.default_rng(seed)
    takes = recorded_takes(rng, input_ohm=1e6, input_f=185e-12, n=3, is_calibrated=is_calibrated)
    answer = characterise_input(takes)
    assert answer.resistance.value == pytest.approx(1e6, rel=0.01)
    assert answer.capacitance.value == pytest.approx(185e-12, abs=2e-12)
    assert 2e-3 < answer.resistance.standard_uncertainty / 1e6 < 5e-3
    assert answer.findings == ()
    assert answer.simulated
    assert (answer.gain is None) == is_calibrated
    if answer.gain is not None:  # it comes out of the takes themselves
        assert abs(answer.gain.value - 10 ** (0.5 / 20)) < 3 * answer.gain.standard_uncertainty + 1e-3


def drawn_takes(rng: np.random.Generator, *, input_ohm: float, input_f: float) -> list[TakeEvidence]:
    """Parts that scatter as they claim, one ratio of the inputs in all takes, a little of its own in each."""
    scatter = np.exp(ONE_PERCENT * rng.standard_normal(3))
    gain, strays = np.exp(0.1 * rng.standard_normal()), 1e-12 * (0.3 + 0.3 * rng.standard_normal(2))
    delay = np.exp(-2j * np.pi * GRID_HZ * 0.05 * rng.standard_normal() / RATE_HZ)
    cases = (("a", 100e3, 0, ()), ("b", 1e6, 1, ()), ("c", 1e6, 1, (quantity(1e-9, ONE_PERCENT, "F"),)))
    takes = []
    for name, nominal_ohm, part, added in cases:
        value = divided(
            GRID_HZ,
            series_ohm=nominal_ohm * scatter[part],
            stray_f=strays[part],
            input_ohm=input_ohm,
            input_f=input_f,
            across_f=1e-9 * scatter[2] if added else 0.0,
        )
        value = value * gain * delay * np.exp(5e-4 * rng.standard_normal())
        takes.append(by_hand(name, value, series=quantity(nominal_ohm, ONE_PERCENT, "Ω"), added=added, rng=rng))
    return takes


@pytest.mark.long
def test_intervals_hold_the_truth_as_often_as_they_say():
    rows = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        input_ohm, input_f = 10 ** rng.uniform(5.5, 6.3), rng.uniform(60e-12, 600e-12)
        answer = characterise_input(drawn_takes(rng, input_ohm=input_ohm, input_f=input_f))
        pairs = ((answer.resistance, input_ohm), (answer.capacitance, input_f))
        rows.append([np.log(one.value / truth) / (one.standard_uncertainty / one.value) for one, truth in pairs])
    pulls = np.array(rows)
    assert np.all(np.abs(pulls.mean(axis=0)) < 0.3)  # 120 runs: 0.09 is one standard deviation
    assert np.all((pulls.std(axis=0) > 0.8) & (pulls.std(axis=0) < 1.2))
    inside = np.mean(np.abs(pulls) < 1.96, axis=0)
    assert np.all((inside > 0.89) & (inside < 0.995))


def test_the_scale_is_that_of_all_parts_together():
    answer = characterise_input(drawn_takes(np.random.default_rng(5), input_ohm=1e6, input_f=185e-12))
    budget = {one.source: one.contribution / answer.resistance.value for one in answer.budget["resistance"]}
    total = np.sqrt(sum(share**2 for share in budget.values()))
    assert total == pytest.approx(answer.resistance.standard_uncertainty / answer.resistance.value, rel=1e-6)
    # multiplying every impedance by one factor leaves all takes alike: 1 / √Σ 1/u² over three parts is a lower bound
    assert ONE_PERCENT / np.sqrt(3) <= total < 1.5 * ONE_PERCENT / np.sqrt(3)
    parts = [source for source in budget if source.startswith(("series resistor", "added"))]
    assert len(parts) == 3
    assert all(budget[source] > 0.2 * ONE_PERCENT for source in parts)


def test_one_resistor_without_a_loopback_tells_too_little():
    take = drawn_takes(np.random.default_rng(6), input_ohm=1e6, input_f=185e-12)[0]
    answer = characterise_input([take])
    told = [finding.code for finding in answer.findings if finding.severity == "reject"]
    assert "input-not-told" in told
    assert "another resistor, or run coilsweep calibrate loopback first" in answer.findings[0].text


def test_exchanged_labels_are_noticed():
    takes = drawn_takes(np.random.default_rng(7), input_ohm=1e6, input_f=185e-12)
    swapped = [
        through(name=one.name, response=one.response, series=other.series_resistor, added=one.added)
        for one, other in zip(takes[:2], takes[1::-1], strict=True)
    ]
    answer = characterise_input([*swapped, takes[2]])
    assert {"input-misfit", "reference-pulled", "input-not-told"} & {f.code for f in answer.findings if f.severity == "reject"}


def test_an_inductor_at_the_input_is_no_input():
    def coil(f):
        s = 2j * np.pi * f
        load = 1 / (1 / 1e6 + s * 185e-12 + 1 / (6e3 + s * 3.0))
        return load / (load + 100e3)

    answer = characterise_input([by_hand("a", coil(GRID_HZ), series=quantity(100e3, ONE_PERCENT, "Ω"))])
    assert "input-misfit" in {finding.code for finding in answer.findings if finding.severity == "reject"}


def test_a_line_input_is_warned_of():
    takes = drawn_takes(np.random.default_rng(8), input_ohm=20e3, input_f=185e-12)
    answer = characterise_input(takes)
    assert answer.resistance.value == pytest.approx(20e3, rel=0.02)
    assert [(one.code, one.severity) for one in answer.findings] == [("input-low", "warn")]


def test_reversed_polarity_is_undone():
    takes = drawn_takes(np.random.default_rng(9), input_ohm=1e6, input_f=185e-12)
    turned = [replace(one, response=replace(one.response, value=-one.response.value)) for one in takes]
    assert characterise_input(turned).resistance.value == pytest.approx(characterise_input(takes).resistance.value, rel=1e-9)


def test_what_cannot_be_fitted_is_refused():
    with pytest.raises(ValueError, match="at least one known resistor"):
        characterise_input([])
    take = drawn_takes(np.random.default_rng(1), input_ohm=1e6, input_f=185e-12)[0]
    with pytest.raises(ValueError, match="without a bound; write for example 100k ± 1%"):
        characterise_input([replace(take, series_resistor=parse_quantity("100k", "Ω"))])
    noisy = replace(take.response, covariance=take.response.covariance * 1e10)
    with pytest.raises(ValueError, match="0 usable frequencies, at least 16 are needed"):
        characterise_input([replace(take, response=noisy)])
