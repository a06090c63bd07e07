"""A job of the guide at a page: the terminal's questions and answer, takes with their error bars, leaving and going on."""

from dataclasses import replace

import pytest

from fit.desk.guide.scene import read_yes
from fit.desk.guide.session import Question, one_of
from fit.desk.window.guided import asked, run_job
from fit.desk.window.line import Order
from fit.desk.window.messages import (
    GuideAnswer,
    GuideAsk,
    GuideBack,
    GuideDo,
    GuideDone,
    GuideOpen,
    GuideTold,
    Refused,
    ResultOpen,
    TakeMade,
)
from fit.desk.window.result import result_of
from measure.logbook.store import list_takes, open_logbook, read_take
from tests.guided import Script, guided
from tests.window_server import Server

PATHS = {"logbook", "report", "written"}  # where two folders differ


class Caller:
    """Somebody at a page, who answers as soon as asked: words by key, each key's in turn, then what Enter takes."""

    def __init__(self, folder, job, *, opened=None, **answers):
        self.order = Order(message=opened or GuideOpen(job=job), logbook=folder, is_virtual=True)
        self.answers = {key.replace("__", "."): list(texts) for key, texts in answers.items()}
        self.heard = []

    def hear(self, told):
        self.heard.append(told)
        assert len(self.all(GuideAsk)) < 150
        if isinstance(told, GuideAsk):
            texts = self.answers.get(told.key, [])
            self.order.answers.put(self.message(told.key, texts.pop(0)) if texts else GuideDo(key=told.key))

    def message(self, key, text):
        if text is None:
            return None
        return GuideBack() if text == "back" else GuideAnswer(key=key, text=text)

    def all(self, kind):
        return [one for one in self.heard if isinstance(one, kind)]

    def run(self):
        run_job(self.order, self.hear)
        return self.heard[-1]


def figures(document):
    """Every number of a document, by where it stands."""

    def walk(value, place):
        if isinstance(value, dict):
            for key, inner in value.items():
                yield from walk(inner, f"{place}.{key}") if key not in PATHS else ()
        elif isinstance(value, list):
            for number, inner in enumerate(value):
                yield from walk(inner, f"{place}[{number}]")
        else:
            yield place, value

    return dict(walk(document, ""))


def assert_same(found, wanted):
    found, wanted = figures(found), figures(wanted)
    assert found.keys() == wanted.keys()
    assert len(wanted) > 50
    for place, value in wanted.items():
        is_number = isinstance(value, float) and not isinstance(value, bool)
        assert found[place] == (pytest.approx(value, rel=1e-9, abs=1e-30) if is_number else value), place


@pytest.mark.long
@pytest.mark.parametrize(
    "job", ["pickup", pytest.param("capacitor", marks=pytest.mark.slow), pytest.param("compare", marks=pytest.mark.slow)]
)
def test_a_job_at_a_page_ends_as_at_a_terminal(tmp_path, job):
    script, caller = Script(), Caller(tmp_path / "page", job)
    told = guided(tmp_path / "terminal", job, script)
    done = caller.run()
    assert isinstance(done, GuideDone)
    assert done.is_finished
    assert_same(done.document, told)
    assert done.report == str(tmp_path / "page" / "report.html")
    assert "<table>" in done.sheet_html
    asked_here = [f"{one.text} [{one.default}] " for one in caller.all(GuideAsk)]
    assert [line for line in script.shown if line in asked_here] == asked_here
    assert [one.name for one in caller.all(TakeMade)] == [take.name for take in list_takes(open_logbook(tmp_path / "page")).takes]


@pytest.mark.long
def test_a_job_over_the_socket_ends_as_at_a_terminal(tmp_path):
    """The same through server, pipe and process; the keys are those of a page."""
    told = guided(tmp_path / "terminal", "pickup", Script())
    server = Server(tmp_path / "page", "--virtual")
    try:
        with server.page() as page:
            page.send("guide_open", job="pickup")
            while (message := page.next("guide_ask", "guide_done", "refused"))["kind"] == "guide_ask":
                page.send("guide_do", key=message["key"])
        assert message["is_finished"]
        assert_same(message["document"], told)
    finally:
        server.end()
    assert server.complaints == ["Only this machine can open it. Ctrl-C ends it."]


@pytest.mark.long
def test_a_take_is_asked_for_with_what_to_do_and_shown_with_its_error_bars(tmp_path):
    caller = Caller(tmp_path, "pickup", **{"ready.plus-added": [None]})
    done = caller.run()
    assert not done.is_finished
    asks = {one.key: one for one in caller.all(GuideAsk)}
    first = asks["ready.open"]
    assert (first.heading, first.count, first.of, first.is_take, first.choices) == (
        "Take 1 of 2: the pickup as it is",
        1,
        2,
        True,
        ("yes",),
    )
    assert first.todo[1].startswith("lay the exciter flat")
    assert first.drawing_svg.startswith("<svg")
    assert first.setup.added == ""
    assert asks["ready.plus-added"].setup.added == "1n ± 1%"
    (take,) = caller.all(TakeMade)
    assert (take.name, take.outcome) == ("open", "good")
    n = len(take.response.frequency_hz)
    assert n == len(take.response.magnitude_db) == len(take.response.interval_db) > 150
    assert 0 < max(take.response.interval_db) < 1.0
    assert all(one.severity == "pass" for one in take.findings)


def test_what_will_not_do_is_asked_again_with_the_reason(tmp_path):
    caller = Caller(tmp_path, "pickup", rig__pickup_channel=["both", None])
    caller.run()
    _, again = (one for one in caller.all(GuideAsk) if one.key == "rig.pickup_channel")
    assert again.wrong == '"both" is not a whole number'
    assert not [line for one in caller.all(GuideTold) for line in one.lines if "Not so" in line]


def test_an_answer_is_taken_back(tmp_path):
    caller = Caller(tmp_path, "pickup", rig__input_resistance=["back", None])
    caller.run()
    keys = [one.key for one in caller.all(GuideAsk)]
    place = keys.index("rig.input_resistance")
    assert keys[place - 1 : place + 3] == [keys[place - 1], "rig.input_resistance", keys[place - 1], "rig.input_resistance"]
    assert not caller.all(GuideAsk)[0].can_go_back
    assert caller.all(GuideAsk)[1].can_go_back


@pytest.mark.long
def test_a_job_that_is_begun_anew_has_nothing_to_be_taken_back(tmp_path):
    Caller(tmp_path, "pickup").run()
    caller = Caller(tmp_path, "pickup", anew=["yes"], cautions=[None])
    caller.run()
    assert [(one.key, one.can_go_back) for one in caller.all(GuideAsk)] == [("anew", False), ("cautions", False)]


def test_an_answer_to_another_question_is_refused(tmp_path):
    caller = Caller(tmp_path, "pickup", cautions=[None])
    caller.order.answers.put(GuideDo(key="ready.open"))  # a key that was pressed twice, a moment ago
    assert not caller.run().is_finished
    assert [one.text for one in caller.all(Refused)] == ["that question stands no more: the one shown is asked"]


@pytest.mark.long
def test_a_job_that_was_left_goes_on_at_the_terminal_and_the_other_way_round(tmp_path):
    assert not Caller(tmp_path, "pickup", **{"ready.plus-added": [None]}).run().is_finished
    script = Script(**{"Ready?": ["q"]})
    guided(tmp_path, "pickup", script)
    assert "Going on where you left; takes so far: open." in script.text
    caller = Caller(tmp_path, "pickup")
    assert caller.run().is_finished
    assert caller.all(GuideAsk)[0].key == "ready.plus-added"


def test_nothing_told_at_a_page_is_a_terminals(tmp_path):
    page, script = Caller(tmp_path / "page", "pickup", cautions=[None]), Script(**{"Read that?": ["q"]})
    page.run()
    guided(tmp_path / "terminal", "pickup", script)
    told = [line for one in page.all(GuideTold) for line in one.lines]
    assert "q leaves" in script.text
    assert not [line for line in told if "q leaves" in line or "brackets" in line]
    assert [line for line in told if line.startswith("Leave whenever you like")]


@pytest.mark.long
def test_the_take_that_would_narrow_a_result_is_made_by_the_job_and_the_result_is_anew(tmp_path):
    script = Script()
    guided(tmp_path, "pickup", script)
    before = result_of(tmp_path, ResultOpen())
    assert before.job == "pickup"
    wanted = next(one for one in before.narrower if one.added)
    caller = Caller(tmp_path, "pickup", opened=GuideOpen(job=before.job, added=wanted.added, controls=wanted.controls))
    assert caller.run().is_finished
    first = caller.all(GuideAsk)[0]
    assert (first.is_take, first.setup.added) == (True, wanted.added)
    (made,) = caller.all(TakeMade)
    assert read_take(open_logbook(tmp_path), made.name).conditions.added == wanted.added
    assert result_of(tmp_path, ResultOpen()).takes == (*before.takes, made.name)


@pytest.mark.long
def test_a_take_that_cannot_be_is_refused_and_the_session_stays(tmp_path):
    guided(tmp_path, "pickup", Script())
    kept = (tmp_path / "results" / "guide-pickup.json").read_bytes()
    done = Caller(tmp_path, "pickup", opened=GuideOpen(job="pickup", added="green")).run()
    assert not done.is_finished
    assert "green" in done.text
    assert (tmp_path / "results" / "guide-pickup.json").read_bytes() == kept


def test_a_job_that_cannot_be_begun_says_why(tmp_path):
    (tmp_path / "instrument.toml").write_text("", encoding="utf-8")
    done = Caller(tmp_path, "pickup").run()
    assert not done.is_finished
    assert "states a guitar around the pickup" in done.text


def test_choices_are_those_of_the_question(tmp_path):
    book = open_logbook(tmp_path, create=True)
    question = Question(key="a", text="What now?", read=one_of(("again", "keep")), default="again")

    def shown(question):
        return asked(question, logbook=book, wrong="", can_go_back=False).choices

    assert shown(question) == ("again", "keep")
    assert shown(replace(question, read=read_yes)) == ("yes",)
    assert shown(replace(question, read=str)) == ()
