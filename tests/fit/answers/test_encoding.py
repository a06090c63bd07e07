"""Every kind of answer comes back from its bytes as it was, and nothing else is taken for one."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from fit.answers.calibrate.exciter_corner import CornerAnswer, find_corner
from fit.answers.calibrate.input import InputAnswer, characterise_input
from fit.answers.compare.comparison import CompareAnswer, Foil, compare_takes
from fit.answers.compare.noise import NoiseChange, NoiseTake, compare_noise
from fit.answers.compare.shielding import ShieldingAnswer, compare_shielding
from fit.answers.confirm.confirmation import ConfirmAnswer, confirm_part
from fit.answers.encoding import decode_answer, encode_answer
from fit.answers.exciter.rating import ExciterAnswer, analyse_exciter
from fit.answers.exciter.setup import Drive, PickupCoil, Setup, Winding
from fit.answers.figures import Contribution, Estimate, NextTake
from fit.answers.listen.impulse import ListenAnswer, Side, design_change
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.characterisation import characterise_pickup
from fit.answers.predict.prediction import PredictAnswer, predict_instrument
from fit.answers.repeat.control_chart import Charts, chart_coil
from fit.answers.repeat.repeatability import Repeatability, Result, judge_repeatability
from fit.answers.wiring.levels import WiringTake
from fit.answers.wiring.survey import WiringAnswer, read_wiring
from fit.circuit.controls import read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import TakeEvidence
from measure.quantity import parse_quantity
from measure.response import ComplexArray, FloatArray, Origin, Response
from tests.guitar_cases import draw_one_pickup
from tests.guitar_evidence import evidence_of_guitar
from tests.recorded import evidence_of
from tests.recorded_guitars import recorded_guitar
from tests.same import assert_same

LOAD = {"input.resistance": parse_quantity("1M ± 1%", "Ω"), "input.capacitance": parse_quantity("470p ± 10p", "F")}
GRID_HZ = np.geomspace(30, 20e3, 120)
S = 2j * np.pi * GRID_HZ


def response(value, *, noise=1e-4, seed=0):
    std = noise * np.abs(value)
    drawn = np.random.default_rng(seed).standard_normal((2, len(value)))
    return Response(
        frequency_hz=GRID_HZ,
        value=value + std / np.sqrt(2) * (drawn[0] + 1j * drawn[1]),
        covariance=std[:, None, None] ** 2 / 2 * np.eye(2),
        origin=Origin(rate_hz=96000.0, simulated=True),
    )


def pickup():
    return characterise_pickup(evidence_of("bare-single-coil", ["open", "plus-1n"]))


def misfit():
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"])
    return characterise_pickup(replace(evidence, takes=(evidence.takes[0], replace(evidence.takes[1], added=()))))


def comparison():
    sides = ("before", "before-plus-1n", "after", "after-plus-1n")
    evidence, _ = recorded_guitar("shielding", sides, after=sides[2:])
    return compare_takes(evidence, foil=Foil(settings=read_settings(evidence.instrument, {}), frequency_hz=GRID_HZ))


def confirmation():
    measured = Estimate(value=36.2e-9, unit="F", standard_uncertainty=1e-10, low=36.0e-9, high=36.4e-9)
    another = NextTake(add="", text="tone at 0", predicted_relative_std=0.003, controls=("tone=0",))
    return confirm_part("capacitor.tone", marked=parse_quantity("33n ± 10%", "F"), measured=measured, next_take=another)


def wiring():
    alone = {"bridge": 2e-4 * S / (1 + S / 2e4), "neck": -1e-4 * S / (1 + S / 3e4)}
    levels = {"bridge": {"bridge": 1.0, "neck": 0.02, "both": 0.5}, "neck": {"bridge": 0.01, "neck": 1.0, "both": 0.5}}
    takes = [
        WiringTake(
            name=f"{name}-{position}",
            pickup=name,
            controls={"volume": "10", "selector": position},
            placement=index,
            response=response(level * alone[name], seed=index),
        )
        for index, name in enumerate(alone)
        for position, level in levels[name].items()
    ]
    return read_wiring(takes, pickups=("bridge", "neck"), switches=("selector",))


def prediction():
    """By values that a fit measured: their covariance is among the answer."""
    evidence = evidence_of_guitar(draw_one_pickup(1))
    measured = characterise_pickup(evidence).parts
    return predict_instrument(evidence.instrument, {"volume": "7"}, load=LOAD, measured=measured, at_hz=(82.4, 1e3))


def listening():
    instrument = read_instrument(layout_text("one-pickup"))
    sides = [Side(instrument=instrument, controls={"tone": tone}, load=LOAD) for tone in ("10", "3")]
    return design_change(*sides, rate_hz=48000)


def exciter():
    winding = Winding(
        turns=60, wire_m=0.2e-3, enamelled_m=0.225e-3, is_round=True, former_width_m=0.02, former_depth_m=0.02,
        length_m=0.008, room_m=0.003, celsius=20.0,
    )  # fmt: skip
    drive = Drive(level_v=1.0, source_ohm=30.0, sense_ohm=100.0, minimum_load_ohm=16.0, rating_w=0.25)
    coil = PickupCoil(
        turns=8000.0, is_round=False, width_m=0.058, depth_m=0.010, height_m=0.011, build_m=0.004, gap_m=0.005, iron=1.0
    )
    return analyse_exciter(Setup(winding=winding, drive=drive, pickup=coil), bounds={"drive.level_v": 0.1}, at_hz=(100.0, 1e3))


def calibrated_input():
    takes = []
    for name, ohm in (("a", 100e3), ("b", 1e6)):
        value = 1 / (1 + ohm * (1e-6 + S * 185e-12))
        series = parse_quantity(f"{ohm} ± 1%", "Ω")
        takes.append(TakeEvidence(name=name, response=response(value), method="impedance", series_resistor=series))
    return characterise_input(takes)


def repeatability():
    rng = np.random.default_rng(3)
    results = [
        Result(day=place // 2, placement=place, value=rng.normal(3, 0.01), stated_std=0.01, own_std=0.01, stated_half=0.02)
        for place in range(6)
        for _ in range(2)
    ]
    return judge_repeatability(results, n_quantities=3)


def noise():
    takes = [NoiseTake(name=f"take {hum}", hum_dbfs=hum, noise_dbfs=-100.0, hum_std_db=0.05, n_lines=5) for hum in (-60.0, -59.0)]
    return compare_noise(takes, [replace(take, name=f"{take.name} after", hum_dbfs=None) for take in takes])


ANSWERS = {
    PickupAnswer: pickup,
    CompareAnswer: comparison,
    ConfirmAnswer: confirmation,
    WiringAnswer: wiring,
    PredictAnswer: prediction,
    ListenAnswer: listening,
    ExciterAnswer: exciter,
    InputAnswer: calibrated_input,
    CornerAnswer: lambda: find_corner(response(0.7 / (1 + S / (2 * np.pi * 9e3)))),
    Repeatability: repeatability,
    Charts: lambda: chart_coil(np.random.default_rng(2).normal(3, 0.01, size=12)),
    NoiseChange: noise,
    ShieldingAnswer: lambda: compare_shielding([response(1e-6 * S)], [response(1e-7 * S, seed=1)]),
    Response: lambda: replace(response(1e-4 * S), shifts=np.array([1e-3 * S]), shift_names=("gain",)),
}


@pytest.mark.long
@pytest.mark.parametrize("kind", ANSWERS)
def test_comes_back_as_it_was(kind):
    answer = ANSWERS[kind]()
    assert type(answer) is kind
    assert_same(answer, decode_answer(encode_answer(answer), kind))


@pytest.mark.long
def test_misfit_comes_back_too():
    answer = misfit()
    assert answer.outcome == "misfit"
    assert_same(answer, decode_answer(encode_answer(answer), PickupAnswer))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Everything:
    real: FloatArray
    complex_: ComplexArray
    number: complex
    limits: tuple[float, float, float]
    levels: dict[float, float]


def everything():
    return Everything(
        real=np.array([[0.1, -0.0], [np.inf, np.nan]]),
        complex_=np.array([complex(0.0, np.inf), complex(np.nan, -0.0), 1 / 3]),
        number=complex(-np.inf, 0.1),
        limits=(np.float64(np.inf), -np.inf, np.nan),
        levels={82.4: 1.0, np.inf: 2.0},
    )


def test_infinities_and_signs_of_zero_come_back():
    back = decode_answer(encode_answer(everything()), Everything)
    assert_same(everything(), back)
    assert np.signbit(back.real[0, 1])
    assert np.signbit(back.complex_[1].imag)
    assert not np.isnan(back.complex_[0].real)


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("real", [[1.0, 2.0], [3.0]], "inhomogeneous"),
        ("real", ["1.0"], "expected one of float"),
        ("real", [True, False], "an array of bool, expected one of float"),
        ("complex_", [[1.0], [1.0, 2.0]], r"real parts of shape \(1,\), imaginary parts of shape \(2,\)"),
        ("complex_", [1.0], "Expected `array`"),
        ("number", [1.0], "length 2"),
        ("limits", [1.0, "inf", 2.0], "Expected `float`"),
        ("levels", None, "Expected `object`"),
    ],
)
def test_wrong_fields_are_refused_with_their_place(field, value, why):
    import msgspec

    plain: dict[str, Any] = msgspec.msgpack.decode(encode_answer(everything()))
    with pytest.raises(ValueError, match=rf"no Everything: .*{why}"):
        decode_answer(msgspec.msgpack.encode(plain | {field: value}), Everything)
    del plain[field]
    with pytest.raises(ValueError, match=f"missing required field `{field}`"):
        decode_answer(msgspec.msgpack.encode(plain), Everything)


def test_cut_or_foreign_bytes_are_refused():
    content = encode_answer(confirmation())
    for wrong in (content[:-3], b"", b"\xc1", content + b"x", encode_answer(everything()), b"\xff" * 200):
        with pytest.raises(ValueError, match="no ConfirmAnswer"):
            decode_answer(wrong, ConfirmAnswer)


def test_what_is_no_data_is_not_encoded():
    with pytest.raises(NotImplementedError, match="a function is no part of an answer"):
        encode_answer({"make": pickup})


def test_contribution_of_numpy_becomes_a_plain_number():
    part = decode_answer(encode_answer(Contribution(source="noise", contribution=np.float64(0.1))), Contribution)
    assert type(part.contribution) is float
