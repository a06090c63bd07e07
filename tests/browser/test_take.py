"""A job of the guide on the page Take, by keyboard alone: the terminal's questions, the terminal's values, hands free, undo."""

import pytest

from tests.browser.visitor import numbers
from tests.guided import Script, guided

STEP = "({...document.querySelector('.step').dataset})"
ASKED = "n => (({asked, is}) => Number(asked ?? 0) > n || is === 'done')(document.querySelector('.step').dataset)"
NOTE = """addEventListener('DOMContentLoaded', () => {
  const line = document.getElementById('trouble');
  new MutationObserver(() => noted(line.textContent)).observe(line, {childList: true, characterData: true, subtree: true});
})"""
SPEAKING = """
  window.said = [];
  const voices = [{lang: 'en', localService: false, default: true, name: 'far'}, {lang: 'en', localService: true, name: 'here'}];
  const stub = {getVoices: () => voices, cancel() {}, speak: (one) => said.push(one)};
  Object.defineProperty(window, 'speechSynthesis', {value: stub});
  window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
"""
MOST_QUESTIONS = 80


class Person:
    """Answers by keys as soon as the page asks: those of a question's key in turn, then Enter."""

    def __init__(self, visitor, **keys):
        self.visitor, self.page = visitor, visitor.page
        self.keys = {name.replace("__", "."): list(each) for name, each in keys.items()}
        self.asked = []

    def do(self, job):
        """Open a job and go through it; what the guide ended with."""
        self.visitor.open(f"/take?job={job}")
        n = 0
        while True:
            self.visitor.wait(ASKED, n)
            step = self.page.evaluate(STEP)
            if step["is"] == "done":
                return self.visitor.all("guide_done")[-1]
            n = int(step["asked"])
            assert n < MOST_QUESTIONS
            self.asked.append(step["key"])
            waiting = self.keys.get(step["key"])
            for key in waiting.pop(0) if waiting else ("Enter",):
                self.press(key)

    def go_to(self, key):
        """Answer by Enter until a question stands, or the job is done."""
        n = 0
        while True:
            self.visitor.wait(ASKED, n)
            step = self.page.evaluate(STEP)
            if key in (step.get("key"), step["is"]):
                return
            n = int(step["asked"])
            self.press("Enter")

    def press(self, key):
        if key.startswith("type "):
            self.page.keyboard.type(key.removeprefix("type "))
        else:
            self.page.keyboard.press(key)


@pytest.mark.parametrize("job", ["pickup", "capacitor", "compare"])
def test_a_job_by_one_key_ends_with_the_terminals_values(tmp_path, served, visit, job):
    told = guided(tmp_path / "terminal", job, Script())
    person = Person(visit(served()))
    done = person.do(job)
    assert done["is_finished"]
    found, wanted = numbers(done["document"]), numbers(told)
    assert found.keys() == wanted.keys()
    assert len(wanted) > 30
    assert found == pytest.approx(wanted, rel=1e-9, abs=1e-30)
    takes = person.visitor.all("take_made")
    assert person.page.locator(".legend li").count() == len([one for one in takes if one["response"]])
    assert "All 15 checks passed" in person.page.locator(".taken").inner_text()
    assert person.page.locator("main table").count() >= 1
    with person.page.expect_popup() as opened:
        person.page.get_by_role("link", name="All of it as one page").press("Enter")
    whole = opened.value
    whole.wait_for_load_state()
    assert whole.locator("h1").count() == 1
    assert whole.locator("svg[role=img]").count() >= 1
    assert whole.evaluate("getComputedStyle(document.body).maxWidth") != "none"  # its style holds


def test_what_is_typed_wrong_undone_explained_and_chosen_by_number(served, visit):
    keys = {
        "rig.pickup_channel": [("type both", "Enter"), ("Control+a", "type 1", "Enter")],
        "rig.reference": [("?", "1")],
        "rig.sense_resistor": [("Alt+b",), ("Enter",)],
        "look": [("2",)],
        "ready.open": [("b",), ("Space",)],
    }
    person = Person(visit(served()), **keys)
    trouble = []
    person.page.expose_function("noted", lambda text: trouble.append(text))
    person.page.add_init_script(NOTE)
    done = person.do("pickup")
    assert done["is_finished"]
    assert 'Not so: "both" is not a whole number' in trouble
    assert [person.asked.count(key) for key in ("rig.pickup_channel", "rig.reference_channel", "level", "ready.open")] == [
        2,
        2,
        2,
        2,
    ]
    assert person.asked.count("look") == 1


def test_hands_free_counts_down_can_be_stopped_and_plays(served, visit):
    visitor = visit(served())
    person = Person(visitor)
    visitor.open("/take?job=pickup")
    person.go_to("ready.open")
    visitor.press("h", "PageDown")
    visitor.wait("document.querySelector('.countdown')?.textContent === '4'")
    person.press("Escape")
    visitor.wait("document.querySelector('form button')?.textContent.startsWith('Play in 5 s')")
    assert visitor.page.locator("#said").inner_text() == "Stopped: nothing was played."
    assert visitor.all("take_made") == []
    person.press("PageDown")
    for left in "54321":
        visitor.wait("left => document.querySelector('.countdown')?.textContent === left", left)
    visitor.wait("document.querySelector('.taken h2')?.textContent.startsWith('open')")
    assert [one["name"] for one in visitor.all("take_made")] == ["open"]


def test_a_page_that_comes_back_goes_on_where_it_was_and_a_second_one_looks_on(served, visit):
    server = served()
    first = visit(server)
    first.open("/take?job=pickup")
    first.wait(ASKED, 0)
    first.press("Enter")
    first.wait(ASKED, 1)
    second = visit(server)
    second.open("/take?job=pickup")
    second.wait("document.querySelector('.step').dataset.key === 'rig.pickup_channel'")
    assert second.page.locator("form button").first.is_disabled()
    assert "this one looks on" in second.page.locator("#card").inner_text()
    first.page.reload()
    first.wait("document.querySelector('.step').dataset.key === 'rig.pickup_channel'")
    second.page.get_by_role("button", name="Take it over").press("Enter")
    second.wait("document.documentElement.dataset.card === 'own'")
    second.wait("!document.querySelector('form button').disabled")
    first.wait("document.documentElement.dataset.card === 'other'")


def test_steps_are_read_aloud_only_if_asked_for_and_by_a_voice_of_this_machine(served, visit):
    visitor = visit(served())
    visitor.page.add_init_script(SPEAKING)
    person = Person(visitor)
    visitor.open("/take?job=pickup")
    person.go_to("rig.sense_resistor")
    assert visitor.page.evaluate("said.length") == 0
    visitor.page.get_by_label("Read the steps aloud").press("Space")
    said = visitor.page.evaluate("said.map(one => [one.voice.name, one.text])")
    assert said == [["here", "The sense resistor?"]]
    visitor.page.locator("#typed").focus()
    person.go_to("ready.open")
    voice, text = visitor.page.evaluate("(one => [one.voice.name, one.text])(said.at(-1))")
    assert voice == "here"
    assert text.startswith("Take 1 of 2. the pickup as it is. pickup to the input")


def test_a_foot_switch_is_learnt_and_known_the_next_time(served, visit):
    visitor = visit(served())
    visitor.open("/take?job=pickup")
    visitor.wait(ASKED, 0)
    visitor.page.get_by_role("button", name="Foot switch").press("Enter")
    visitor.press("F8")
    visitor.page.reload()
    visitor.wait("document.querySelector('.step')?.dataset.key === 'cautions'")
    assert visitor.page.get_by_role("button", name="Foot switch").inner_text() == "Foot switch: F8"
    visitor.press("F8")
    visitor.wait("document.querySelector('.step').dataset.key === 'rig.pickup_channel'")
    assert visitor.page.locator("#typed").get_attribute("aria-describedby").split()[0] == "asked"
    visitor.page.get_by_role("button", name="Foot switch").press("Enter")
    visitor.press("x")
    visitor.page.locator("#typed").focus()
    visitor.press("x")
    assert visitor.page.locator("#typed").input_value().count("x") == 1  # a letter is written where something is typed


def test_axe_core_finds_no_barrier_while_a_job_goes_on(served, visit):
    visitor = visit(served(), dark=True)
    person = Person(visitor)
    visitor.open("/take?job=pickup")
    for key in ("rig.reference", "rig.sense_resistor", "ready.plus-added", "more.1", "done"):
        person.go_to(key)
        assert visitor.barriers() == [], key
