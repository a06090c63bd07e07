"""What ``import measure, fit`` offers: the names, for ever; nothing heavy before one is used; who stands in the way is named."""

import base64
import hashlib
import shutil
import subprocess
import sys
from importlib import resources

import pytest

import fit
import measure
from tests.places import TOP

MEASURE = ["DeviceError", "FileError", "Finding", "Logbook", "MeasureError", "Origin", "Recording", "Response", "read", "record"]
FIT = [
    *("Comparison", "Confirmation", "Contribution", "Estimate", "Instrument", "NextTake", "PickupResult", "Prediction"),
    *("RejectedError", "Take", "WiringResult", "compare", "instrument", "pickup", "predict", "wiring"),
]
HEAVY = ("numpy", "scipy", "matplotlib", "lmfit", "soundfile", "sounddevice", "click", "msgspec", "tomlkit")
START = "import measure.start; measure.start.run()"


def python(script, *, first="", cwd=None, argv=()):
    path = f"{first}:{TOP}" if first else str(TOP)
    command = [sys.executable, "-P", "-c", script, *argv]
    return subprocess.run(command, env={"PYTHONPATH": path}, cwd=cwd, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(("package", "names"), [(measure, MEASURE), (fit, FIT)])
def test_public_names_are_pinned_and_there(package, names):
    assert sorted(package.__all__) == names
    assert set(names) <= set(dir(package))
    for name in names:
        assert getattr(package, name).__doc__
    with pytest.raises(AttributeError, match=f"module '{package.__name__}' has no attribute 'nothing'"):
        package.nothing  # noqa: B018


@pytest.mark.parametrize("package", ["measure", "fit"])
def test_types_are_declared(package):
    assert resources.files(package).joinpath("py.typed").is_file()


def test_import_loads_nothing_heavy():
    found = python(f"import sys, measure, fit; print([name for name in {HEAVY!r} if name in sys.modules])")
    assert (found.stdout.strip(), found.stderr) == ("[]", "")


def test_own_fit_in_the_way_is_named_in_one_line(tmp_path):
    (tmp_path / "fit.py").write_text("slope = 1\n", encoding="utf-8")
    script = f"import sys; sys.argv[0] = '/somewhere/bin/coilsweep'; {START}"
    said = python(script, first=tmp_path, argv=("--help",))
    assert said.returncode == 2
    told = (
        f"coilsweep: {tmp_path / 'fit.py'} is not coilsweep's own package fit and stands in its way: rename it, or run elsewhere"
    )
    assert said.stderr.splitlines() == [told]
    assert said.stdout == ""
    beside = python("import measure, fit", first=tmp_path)
    assert beside.returncode == 0
    assert f"{tmp_path / 'fit.py'} is not coilsweep's own package fit and stands in its way" in beside.stderr


def test_own_measure_in_the_way_is_named_in_one_line(tmp_path):
    (tmp_path / "measure.py").write_text("length = 1\n", encoding="utf-8")
    said = python("import fit; fit.pickup; fit.RejectedError", first=tmp_path)
    last = said.stderr.splitlines()[-1]
    assert last.startswith(f"ImportError: {tmp_path / 'measure.py'} is not coilsweep's own package measure")


def test_command_starts_where_nothing_is_in_the_way():
    assert python(START, argv=("--version",)).stdout.startswith("coilsweep ")


@pytest.mark.parametrize("is_overwritten", [False, True])
def test_package_that_overwrote_ours_is_named(tmp_path, is_overwritten):
    for name in ("measure", "fit"):
        shutil.copytree(TOP / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    first = tmp_path / "fit" / "__init__.py"
    digest = base64.urlsafe_b64encode(hashlib.sha256(first.read_bytes()).digest()).rstrip(b"=").decode()
    info = tmp_path / "coilsweep-0.1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: coilsweep\nVersion: 0.1.0\n", encoding="utf-8")
    (info / "RECORD").write_text(f"fit/__init__.py,sha256={digest},{first.stat().st_size}\n", encoding="utf-8")
    if is_overwritten:
        first.write_text("slope = 1\n", encoding="utf-8")
    said = python(START, first=tmp_path, argv=("--version",))
    assert said.returncode == (2 if is_overwritten else 0)
    assert (f"coilsweep: {first} is not coilsweep's own package fit" in said.stderr) == is_overwritten
