"""What a job changed, written down by hand: parts, hum, a foil's signal; no fit behind it."""

import numpy as np

from fit.answers.compare.comparison import Change, CompareAnswer, ResponseChange
from fit.answers.compare.noise import LevelChange, NoiseChange
from fit.answers.compare.shielding import BandChange, Coupling, ShieldingAnswer
from fit.answers.figures import FloorAnswer
from measure.response import Finding
from tests.answer_by_hand import estimate

HZ = np.geomspace(50, 15e3, 40)


def changed_parts(*, outcome="good", findings=(), responses=2, simulated=False):
    change = Change(
        before=estimate(100e-12, 2e-12, "F"),
        after=estimate(160e-12, 2e-12, "F"),
        change=estimate(60e-12, 1e-12, "F"),
        verdict="changed",
    )
    same = Change(before=estimate(2.9, 0.02, "H"), after=None, change=estimate(-0.001, 0.004, "H"), verdict="not resolved")
    pairs = tuple(
        ResponseChange(
            before=f"before-{number}",
            after=f"after-{number}",
            frequency_hz=HZ,
            change_db=-3.0 * HZ / HZ[-1] * (number + 1),
            change_db_std=np.full(len(HZ), 0.1),
            measured_db=-3.0 * HZ / HZ[-1] * (number + 1) + 0.05,
            largest=estimate(-3.0 * (number + 1), 0.1, "dB"),
            at_hz=15e3,
            verdict="changed",
        )
        for number in range(responses)
    )
    return CompareAnswer(
        before=("before", "before-1n"),
        after=("after", "after-1n"),
        simulated=simulated,
        outcome=outcome,
        floor=FloorAnswer(value=4e-4, correlation_octaves=0.7, common=True, worst_hz=8100.0),
        model_name="one coil, one eddy loop",
        quantities={"inductance": same, "winding_capacitance": change},
        not_identified={"dc_resistance": "the takes do not tell it", "pot.tone.stop_0": "not at 0"},
        responses=pairs,
        beyond=2.6,
        curves=(),
        findings=findings,
    )


def misfit():
    return Finding(code="misfit", severity="reject", text="dcr as stated lies 9 σ off")


def level(change=None, bound=None, verdict="fell", before=-60.0, after=-74.0, notes=()):
    return LevelChange(
        change=change,
        bound_db=bound,
        verdict=verdict,
        before_dbfs=before,
        after_dbfs=after,
        scatter_db=0.3,
        n_before=1,
        n_after=1,
        notes=notes,
    )


def changed_noise():
    """Hum that fell by what is known, noise of which only a bound is."""
    hum = level(estimate(-14.0, 0.4, "dB"), notes=("one take a side",))
    return NoiseChange(hum=hum, noise=level(bound=-6.0, verdict="at least", after=None, notes=("one take a side",)), notes=())


def changed_foil(*, simulated=False):
    clear = HZ > 100
    bands = (
        BandChange(frequency_hz=100.0, change=None, bound_db=-20.0, verdict="at least"),
        BandChange(frequency_hz=1000.0, change=estimate(-12.0, 0.3, "dB"), bound_db=None, verdict="fell"),
    )
    coupling = Coupling(capacitance_f=np.full(len(HZ), 2e-12), std_f=np.full(len(HZ), 1e-14), mean=estimate(2e-12, 1e-14, "F"))
    return ShieldingAnswer(
        frequency_hz=HZ,
        ratio_db=np.full(len(HZ), -12.0),
        std_db=np.full(len(HZ), 0.3),
        is_clear=clear,
        bands=bands,
        coupling_before=coupling,
        coupling_after=None,
        text="the foil's signal fell by 12 dB",
        simulated=simulated,
    )
