"""The command guide as it is typed."""

import pytest

from tests.typed import catch, refused, typed


@pytest.fixture
def benches(monkeypatch):
    monkeypatch.setattr("fit.desk.guide.bench.virtual_bench", lambda _, job: f"virtual bench of {job}")
    monkeypatch.setattr("fit.desk.guide.bench.card_bench", lambda _: "card")


@pytest.mark.parametrize("job", ["pickup", "capacitor", "compare", "wiring"])
@pytest.mark.parametrize("is_virtual", [False, True])
@pytest.mark.usefixtures("benches")
def test_each_job_has_its_bench(monkeypatch, capsys, tmp_path, job, is_virtual):
    led = catch(monkeypatch, "fit.desk.guide.console.run_guide")
    typed(capsys, "guide", job, *(["--virtual"] if is_virtual else []), "--logbook", tmp_path)
    assert (led.args[0].logbook, led.args[1]) == (tmp_path, job)
    assert (led.options["virtual"], led.options["bench"]) == (is_virtual, f"virtual bench of {job}" if is_virtual else "card")


@pytest.mark.parametrize("is_json", [False, True])
@pytest.mark.usefixtures("benches")
def test_questions_leave_stdout_to_a_document(monkeypatch, capsys, is_json):
    led = catch(monkeypatch, "fit.desk.guide.console.run_guide")
    typed(capsys, "guide", "pickup", *(["--json"] if is_json else []))
    desk, read = led.args[0], led.options["read_line"]
    monkeypatch.setattr("builtins.input", lambda: "q")
    assert read("Ready? ") == "q"
    desk.tell("a line")
    said = capsys.readouterr()
    asked, other = (said.err, said.out) if is_json else (said.out, said.err)
    assert asked.startswith("Ready? ")
    assert asked.endswith("a line\n")
    assert other == ""


@pytest.mark.parametrize(("words", "says"), [(["amplifier"], "amplifier"), ([], "JOB"), (["pickup", "wiring"], "wiring")])
def test_what_is_no_job_is_refused(monkeypatch, capsys, words, says):
    led = catch(monkeypatch, "fit.desk.guide.console.run_guide")
    assert says in refused(capsys, "guide", *words)
    assert led.calls == []
