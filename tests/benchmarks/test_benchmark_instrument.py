"""The network solver on a guitar's netlist beside a general circuit simulator, with its start and without; in one run, as ratios.

Ours gives the transfer of every pickup and every derivative; the simulator one transfer.
"""

import subprocess
import time

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness
from tests.general_simulator import needs_ngspice, worst_relative

ROUNDS = 25
N_POINTS = 151  # 50 a decade from 20 Hz to 20 kHz
REPEATED = 200  # the simulator's sweep so many times in one process, to take its start out
CONTROLS = {"selector": "both", "bridge-volume": "70%", "neck-volume": "60%", "bridge-tone": "40%", "neck-tone": "30%"}
NETLIST = """four pots, two humbuckers, both on, tone before the volume
V1 e1 0 AC 1
L1 e1 a1 4.4
R1 a1 h1 8k
C1 h1 0 110p
V2 e2 0 AC 0
L2 e2 a2 4.4
R2 a2 h2 8k
C2 h2 0 110p
Rv1 h1 tip 150k
Rw1 tip 0 350k
Rv2 h2 tip 200k
Rw2 tip 0 300k
Rt1 h1 t1 200k
Ct1 t1 0 22n
Rt2 h2 t2 150k
Ct2 t2 0 22n
Ri tip 0 1MEG
Ci tip 0 470p
.options noopac
"""


def timed(call):
    start = time.perf_counter()
    result = call()
    return time.perf_counter() - start, result


def repeated(call):
    """Seconds of one call among many, as in a fit, and as the simulator repeats its sweep."""
    return timed(lambda: [call() for _ in range(20)])[0] / 20


def guitar(n_settings=1):
    instrument = read_instrument(layout_text("two-pickups-tone-before"))
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items()}
    values |= {"input.resistance": 1e6, "input.capacitance": 470e-12}
    frequency_hz = 20 * 10 ** (np.arange(N_POINTS) / 50)
    turned = [CONTROLS | {"bridge-tone": f"{40 + index}%"} for index in range(n_settings)]
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=frequency_hz) for one in turned]
    return build_harness(instrument, cases), values, frequency_hz


def simulator(folder, n_sweeps):
    """Run the sweep so many times in one process, the last one written."""
    sweep = "ac dec 50 20 20k"
    control = [
        ".control",
        "set numdgt=14",
        "set wr_singlescale",
        *[sweep] * n_sweeps,
        "wrdata out.txt v(tip)",
        "quit",
        ".endc",
        ".end",
    ]
    (folder / "net.cir").write_text(NETLIST + "\n".join(control) + "\n")
    seconds, done = timed(lambda: subprocess.run(["ngspice", "-b", "net.cir"], cwd=folder, capture_output=True, check=False))
    assert b"rror" not in done.stderr
    return seconds, np.loadtxt(folder / "out.txt")


@needs_ngspice
def test_solver_beside_a_circuit_simulator(benchmark, tmp_path):
    harness, values, frequency_hz = guitar()
    _, table = simulator(tmp_path, 1)
    (transfer,) = solve_harness(harness, values=values)
    theirs = table[:, 1] + 1j * table[:, 2]
    np.testing.assert_allclose(table[:, 0], frequency_hz, rtol=1e-9)
    assert worst_relative(transfer.voltage[0], theirs) < 1e-9
    pairs = [(repeated(lambda: solve_harness(harness, values=values)), simulator(tmp_path, 1)[0]) for _ in range(ROUNDS)]
    ours_s, started_s = (float(np.median(times)) for times in zip(*pairs, strict=True))
    many_s = min(simulator(tmp_path, 1 + REPEATED)[0] for _ in range(3)) - min(pair[1] for pair in pairs)
    bare_s = many_s / REPEATED
    benchmark.extra_info["with start"], benchmark.extra_info["without"] = started_s / ours_s, bare_s / ours_s
    benchmark(lambda: solve_harness(harness, values=values))
    print(
        f"\nsolver {1e6 * ours_s:.0f} us; simulator with its start {1e3 * started_s:.1f} ms ({started_s / ours_s:.0f} times), "
        f"without {1e6 * bare_s:.0f} us ({bare_s / ours_s:.1f} times)"
    )


def test_time_over_settings(benchmark):
    """Settings with the same network are solved together: the time grows no faster than their number."""
    times = {}
    for n_settings in (1, 4, 16):
        harness, values, _ = guitar(n_settings)
        assert len(harness.groups) == 1
        times[n_settings] = min(timed(lambda h=harness, v=values: solve_harness(h, values=v))[0] for _ in range(ROUNDS))
    benchmark.extra_info["ratio"] = times[16] / times[4]
    benchmark.pedantic(lambda: solve_harness(harness, values=values), rounds=3)
    print(f"\n4 settings {times[4] / times[1]:.1f} times one, 16 settings {times[16] / times[4]:.1f} times four")
