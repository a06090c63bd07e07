"""What is wrong with a response that was measured elsewhere."""

import numpy as np
import pytest

from measure.checks.table import judge_table
from measure.tables.files import ResponseTable

GRID_HZ = 1000 * 2.0 ** (np.arange(-80, 70) / 16)  # as other instruments have them too: rising, some 16 an octave


def table_of(frequency_hz, value, std=None):
    return ResponseTable(
        frequency_hz=np.asarray(frequency_hz, dtype=float),
        value=np.asarray(value, dtype=complex),
        std=std,
        lines=tuple(range(2, 2 + len(frequency_hz))),
    )


def found(table, *, is_impedance=False):
    return {finding.code: finding for finding in judge_table(table, is_impedance=is_impedance)}


def test_each_check_fires_on_its_fault_alone():
    good = table_of(GRID_HZ, np.ones(len(GRID_HZ)), np.full(len(GRID_HZ), 0.01))
    assert {finding.severity for finding in found(good, is_impedance=True).values()} == {"pass"}
    twice = np.append(GRID_HZ[:-1], GRID_HZ[-2])
    assert found(table_of(twice, good.value))["order"].severity == "reject"
    hole = np.where(np.arange(len(GRID_HZ)) == 5, np.nan, 1.0)
    finite = found(table_of(GRID_HZ, hole))["finite"]
    assert (finite.severity, finite.figure) == ("reject", 1.0)
    assert "first line 7" in finite.text
    few = np.geomspace(100, 10e3, 9)
    assert found(table_of(few, np.ones(9)))["points"].severity == "reject"
    assert found(table_of(np.geomspace(100, 10e3, 10), np.ones(10)))["points"].severity == "warn"
    outside = np.append(np.geomspace(21e3, 1e6, 50), 2e6)
    assert found(table_of(outside, np.ones(51)))["points"].severity == "reject"
    narrow = found(table_of(np.geomspace(300, 10e3, 50), np.ones(50)))
    assert [code for code, finding in narrow.items() if finding.severity == "warn"] == ["band", "noise"]
    assert found(table_of(np.geomspace(100, 7e3, 50), np.ones(50)))["band"].severity == "warn"
    gap = np.append(np.geomspace(50, 1000, 30), np.geomspace(2100, 15e3, 30))
    assert found(table_of(gap, np.ones(60)))["gaps"].severity == "warn"
    assert found(table_of(gap, np.ones(60)))["gaps"].figure == pytest.approx(np.log2(2.1))
    noisy = table_of(GRID_HZ, np.ones(len(GRID_HZ)), np.full(len(GRID_HZ), 0.6))
    assert found(noisy)["noise"].severity == "reject"
    active = np.where(GRID_HZ > 5e3, -0.1 + 1j, 1.0)
    assert found(table_of(GRID_HZ, active), is_impedance=True)["passive"].severity == "warn"
    assert "passive" not in found(table_of(GRID_HZ, active))
