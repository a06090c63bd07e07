"""The rig, asked for one thing at a time, and written as it is answered."""

import pytest

from measure.logbook.rig import read_rig
from measure.logbook.store import open_logbook
from tests.desk_bench import run, run_json
from tests.kept_takes import keep
from tests.listed_cards import BOX, OTHER, list_cards


def test_rig_is_asked_for(tmp_path, capsys, monkeypatch):
    list_cards(monkeypatch, BOX, OTHER)
    answers = iter(["2", "", "", "2", "loopback", "1", "12k ± 5%", "1M ± 1%", "185p ± 3p"])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    code, document, said = run_json(capsys, "rig", "--ask", "--logbook", tmp_path / "new")
    assert code == 0, said
    assert document["missing"] == []
    rig = read_rig(tmp_path / "new" / "rig.toml")
    assert (rig.interface.device, rig.interface.host_api, rig.interface.rate_hz) == ("box", "JACK", 96000)
    assert (rig.interface.pickup_channel, rig.reference.kind, rig.exciter.corner_hz) == (2, "loopback", "12k ± 5%")
    assert "Phantom power off." in said
    assert "Which interface?" in said


def test_rig_asked_for_can_be_left(tmp_path, capsys, monkeypatch):
    list_cards(monkeypatch, BOX)
    answers = iter(["1", "q"])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    code, out, _ = run(capsys, "rig", "--ask", "--logbook", tmp_path)
    assert code == 0
    assert read_rig(tmp_path / "rig.toml").interface.device == "box"
    assert "Still missing" in out


def test_the_questions_are_rehearsed_without_devices(tmp_path, capsys, monkeypatch):
    list_cards(monkeypatch)
    monkeypatch.setattr("builtins.input", lambda: "")
    code, document, said = run_json(capsys, "rig", "--ask", "--virtual", "--logbook", tmp_path)
    assert code == 0
    assert document["missing"] == []
    assert "no devices to choose from" in said
    assert "Which interface?" not in said
    assert read_rig(tmp_path / "rig.toml").input.capacitance == "185p ± 3p"


@pytest.mark.parametrize("is_by_take", [False, True], ids=["a device", "a real take"])
def test_no_rehearsal_is_written_into_a_real_rig(tmp_path, capsys, monkeypatch, is_by_take):
    list_cards(monkeypatch)
    monkeypatch.setattr("builtins.input", lambda: "")
    run(capsys, "rig", *(["--pickup-channel", "2"] if is_by_take else ["--device", "my box"]), "--logbook", tmp_path)
    if is_by_take:
        keep(open_logbook(tmp_path), "open")
    before = (tmp_path / "rig.toml").read_bytes()
    for words in (["rig", "--ask"], ["guide", "pickup"]):
        code, _, err = run(capsys, *words, "--virtual", "--logbook", tmp_path)
        assert code == 2
        assert ('take "open" here is real' if is_by_take else "names a real interface, my box") in err
        assert "--virtual --logbook rehearsal" in err
    assert (tmp_path / "rig.toml").read_bytes() == before


def test_there_is_nothing_to_rehearse_without_questions(tmp_path, capsys):
    code, _, err = run(capsys, "rig", "--virtual", "--logbook", tmp_path)
    assert code == 2
    assert "coilsweep rig --ask --virtual" in err
