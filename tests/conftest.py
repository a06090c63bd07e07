"""How the tests run: threads, what is collected when, and which of the slow tests are of today."""

import os
import signal

import pytest

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(variable, "1")  # the matrices here are small, and threads would wait for each other

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # a job in the background inherits that, and what it starts does too
    signal.signal(signal.SIGINT, signal.default_int_handler)

from tests.draws import DAY, IS_PART, is_of_today  # noqa: E402 - the threads are set before numpy is there


@pytest.fixture(autouse=True, scope="session")
def own_cards(tmp_path_factory):
    """Who has which card is told apart from other runs of these tests, and from the person who sits here."""
    os.environ["XDG_RUNTIME_DIR"] = str(tmp_path_factory.mktemp("session"))


collect_ignore = ["unused_allowed.py"]  # a list for vulture, which no interpreter reads


def pytest_report_header():
    return f"slow tests draw the cases of day {DAY}: COILSWEEP_DAY={DAY} draws them again"


def pytest_ignore_collect(collection_path, config):
    """Benchmarks are run where they are asked for: timing them beside other tests says nothing."""
    return True if collection_path.name == "benchmarks" and not config.getoption("benchmark_enable") else None


@pytest.hookimpl(wrapper=True)
def pytest_collect_file():
    """No test file holds an example to run; looking for one costs as much as reading the file."""
    return [found for found in (yield) if type(found).__name__ != "DoctestModule"]


@pytest.hookimpl(trylast=True)  # what other files mark is marked by then
def pytest_collection_modifyitems(items, config):
    if not IS_PART:
        return
    left_out = [item for item in items if item.get_closest_marker("slow") and not is_of_today(part_of(item))]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]


def part_of(item):
    """What stays together: tests of one group, since they share what they draw."""
    group = item.get_closest_marker("xdist_group")
    return group.args[0] if group else item.nodeid.removeprefix("tests/")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    if report.failed and item.get_closest_marker("slow"):
        report.sections.append(("drawn cases", f"COILSWEEP_DAY={DAY} draws the same ones again; keep what fails as a test."))
    return report
