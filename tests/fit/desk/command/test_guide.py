"""The command guide as it is typed."""

import pytest

from tests.desk_bench import run, run_json
from tests.typed import catch, refused, typed


@pytest.fixture
def benches(monkeypatch):
    monkeypatch.setattr("fit.desk.guide.bench.virtual_bench", lambda _, job: f"virtual bench of {job}")
    monkeypatch.setattr("fit.desk.guide.bench.card_bench", lambda _: "card")


@pytest.mark.parametrize("job", ["guitar", "pickup", "capacitor", "compare", "wiring"])
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


@pytest.mark.parametrize(
    ("typed_words", "job"),
    [([""], "guitar"), (["1"], "guitar"), (["3"], "capacitor"), (["what", "9", "wir"], "wiring"), (["q"], None), ([], None)],
)
@pytest.mark.usefixtures("benches")
def test_without_a_job_they_are_offered_and_the_whole_guitar_comes_first(monkeypatch, capsys, tmp_path, typed_words, job):
    led = catch(monkeypatch, "fit.desk.guide.console.run_guide")
    told = iter(typed_words)

    def read():
        try:
            return next(told)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", read)
    code, out, _ = run(capsys, "guide", "--logbook", tmp_path)
    assert code == 0
    assert out.splitlines()[1].split()[:2] == ["1", "guitar"]
    assert "coilsweep guide --virtual rehearses" in out
    assert out.count("Not so:") == sum(word in ("what", "9") for word in typed_words)
    assert [args[1] for args, _ in led.calls] == ([] if job is None else [job])


def test_a_guide_without_a_job_has_a_document(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr("builtins.input", lambda: "q")
    code, document, _ = run_json(capsys, "guide", "--logbook", tmp_path)
    assert (code, document["schema"], document["job"], document["finished"]) == (0, "coilsweep.guide/1", None, False)


@pytest.mark.parametrize(("words", "says"), [(["amplifier"], "amplifier"), (["pickup", "wiring"], "wiring")])
def test_what_is_no_job_is_refused(monkeypatch, capsys, words, says):
    led = catch(monkeypatch, "fit.desk.guide.console.run_guide")
    assert says in refused(capsys, "guide", *words)
    assert led.calls == []
