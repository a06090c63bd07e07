"""From the live bench to the pickup's values: what is emulated comes out, in the accuracy asked of recordings of such a coil."""

import pytest

from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.files import write_recording
from tests.desk_bench import RIG, run, run_json
from tests.live.bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H
from tests.live.playing import record_cleanly, troubles

RATE_HZ = 96000


def test_two_takes_of_a_bare_coil_tell_its_values(live, tmp_path, capsys):
    book = ["--logbook", tmp_path / "book"]
    assert run(capsys, "rig", *RIG, *book)[0] == 0
    for name, added in (("open", {}), ("plus-1n", {"added_f": 1e-9})):
        _, bench = live(RATE_HZ, load=added, pickup_noise=2e-5, hum=1e-3)
        capture = record_cleanly(bench, RATE_HZ, stimulus=sweep_samples(Sweep(rate_hz=RATE_HZ)))
        assert troubles(capture) == {}
        write_recording(tmp_path / f"{name}.wav", capture.samples, RATE_HZ)
        bench.end()
        words = ["--add", "1n ± 1%"] if added else []
        code, said, complaint = run(capsys, "import", name, tmp_path / f"{name}.wav", *words, *book)
        assert code == 0, said + complaint
    code, document, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6.35k ± 1%", *book)
    assert (code, document["outcome"]) == (0, "good")
    found = document["quantities"]
    print(
        {
            name: (found[name]["value"], found[name]["interval_95"])
            for name in ("inductance", "winding_capacitance", "dc_resistance")
        }
    )
    assert found["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.01)
    assert found["winding_capacitance"]["value"] == pytest.approx(CAPACITANCE_F, abs=5e-12)
    for name, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        assert abs(found[name]["value"] - truth) < 3 * found[name]["standard_uncertainty"]
    assert document["agreement"]["open"]["rms_db"] < 0.06
    assert document["agreement"]["open"]["rms_degree"] < 0.4
