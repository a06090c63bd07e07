"""The command schema: all documents, the schema of one, and nothing heavy for either."""

import json
import subprocess
import sys

import pytest

from fit.desk.show.document.catalogue import DOCUMENTS, json_schema
from tests.desk_bench import run


def test_without_a_name_each_document_has_a_line(capsys):
    code, out, err = run(capsys, "schema")
    assert (code, err) == (0, "")
    assert [line.split()[0] for line in out.splitlines() if line[2] != " "] == list(DOCUMENTS)
    assert "  confirm     Whether a part is what is marked on it." in out.splitlines()


@pytest.mark.parametrize("name", ["fit", "calibrate"])
def test_with_a_name_the_schema_is_printed(capsys, name):
    code, out, _ = run(capsys, "schema", name)
    schema = json.loads(out)
    assert (code, schema) == (0, json_schema(name))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == f"coilsweep.{name}/1"


def test_another_name_is_refused_in_one_line(capsys):
    code, out, err = run(capsys, "schema", "volume")
    assert (code, out) == (2, "")
    assert err.startswith('coilsweep: there is no document "volume", expected one of bench, calibrate, check, compare, ')


@pytest.mark.long
def test_nothing_heavy_is_loaded():
    heavy = ("scipy", "matplotlib", "lmfit", "soundfile", "sounddevice", "fit.estimate.model", "fit.estimate.joint")
    script = "import sys; from fit.desk.command.main import main; main(['schema', 'fit']); "
    script += f"print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.rpartition("\n[")[0])["title"] == "coilsweep.fit/1"
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_guide_tells_of_the_whole_guitar(capsys):
    code, out, _ = run(capsys, "schema", "guide")
    assert code == 0
    whole = json.loads(out)
    properties = whole["$defs"]["GuideDocument"]["properties"] if "$defs" in whole else whole["properties"]
    assert "guitar" in str(properties["job"])
    assert "what its switch connects" in properties["wiring"]["description"]
