"""A guided session as data: asking, explaining, going back, leaving, and how words are read. No terminal, no disk."""

import msgspec
import pytest

from fit.desk.guide.session import (
    MAX_ANSWER,
    MOST_ENTRIES,
    NO_EXPLANATION,
    Deed,
    Done,
    Entry,
    Memory,
    Question,
    answer_of,
    converse,
    is_settled,
    one_back,
    one_of,
    prompt_of,
    refusal,
    remember,
    rewound,
)


class Talk:
    """Somebody who types these words one after the other, and then nothing any more."""

    def __init__(self, *words):
        self.words, self.told, self.kept, self.backs = list(words), [], [], []

    def tell(self, line):
        self.told.append(line)

    def refuse(self, why):
        self.told.append(refusal(why))

    def ask(self, question, *, can_go_back=False):
        self.backs.append(can_go_back)
        self.told.append(prompt_of(question))
        return self.words.pop(0) if self.words else None

    def keep(self, memory):
        self.kept.append(memory)


def memory_of(*entries):
    return Memory(job="pickup", entries=tuple(Entry(key=key, answer=answer, is_asked=asked) for key, answer, asked in entries))


def pairs(memory):
    return [(entry.key, entry.answer) for entry in memory.entries]


def question(key, **options):
    return Question(key=key, text=f"{key}?", **({"read": str, "default": "usual"} | options))


def steps(*stages):
    """What comes next: the first that is not settled."""
    return lambda memory: next((stage for stage in stages if not is_settled(memory, stage.key)), None)


def test_answers_settle_one_question_after_the_other():
    talk = Talk("one", "")
    ending = converse(steps(question("a"), question("b")), memory_of(), talk)
    assert ending.is_finished
    assert pairs(ending.memory) == [("a", "one"), ("b", "usual")]
    assert [len(kept.entries) for kept in talk.kept] == [1, 2]


@pytest.mark.parametrize("word", ["q", "Q", "quit", None])
def test_leaving_keeps_what_is_settled(word):
    talk = Talk("one", *([word] if word else []))
    ending = converse(steps(question("a"), question("b")), memory_of(), talk)
    assert not ending.is_finished
    assert pairs(ending.memory) == [("a", "one")]


def test_going_back_asks_the_question_before_again_and_names_the_take_that_is_not_used():
    deed = Deed(key="sweep", run=lambda: Done(entries={"take.open": "open"}))
    talk = Talk("one", "b", "other", "two")
    ending = converse(steps(question("a"), deed, question("b")), memory_of(), talk)
    assert pairs(ending.memory) == [("a", "other"), ("sweep", "done"), ("take.open", "open"), ("b", "two")]
    assert '  The take "open" stays in the logbook, but is not used.' in talk.told


def test_there_is_nothing_before_the_first_question():
    talk = Talk("b", "one")
    converse(steps(question("a")), memory_of(), talk)
    assert "This is the first question." in talk.told


def test_a_question_mark_explains_and_asks_again_without_repeating_what_stood_before():
    talk = Talk("?", "one")
    converse(steps(question("a", before=("before",), explanation=("why",))), memory_of(), talk)
    assert talk.told == ["before", "a? [usual]", "  why", "a? [usual]"]
    talk = Talk("?", "one")
    converse(steps(question("a")), memory_of(), talk)
    assert f"  {NO_EXPLANATION[0]}" in talk.told


def test_a_wrong_answer_is_asked_again_with_the_reason():
    def read(typed):
        if typed != "right":
            raise ValueError("it is wrong")
        return typed

    talk = Talk("left", "right")
    ending = converse(steps(question("a", read=read)), memory_of(), talk)
    assert "  Not so: it is wrong" in talk.told
    assert pairs(ending.memory) == [("a", "right")]


def test_who_is_asked_hears_whether_there_is_an_answer_to_be_taken_back():
    talk = Talk("x", "b", "y", "z")
    converse(steps(question("a"), Deed(key="do", run=Done), question("b")), memory_of(("deed", "done", False)), talk)
    assert talk.backs == [False, True, False, True]


def test_what_an_answer_does_at_once_is_remembered_beside_it():
    one = question("a", act=lambda answer: Done(lines=("done",), entries={"more": answer.upper()}))
    talk = Talk("x")
    ending = converse(steps(one), memory_of(), talk)
    assert pairs(ending.memory) == [("a", "x"), ("more", "X")]
    assert "done" in talk.told


def test_a_deed_tells_before_and_after_and_its_document_is_the_answer():
    deed = Deed(key="fit", run=lambda: Done(lines=("after",), document={"x": 1}), before=("before",))
    talk = Talk()
    ending = converse(steps(deed), memory_of(), talk)
    assert talk.told == ["before", "after"]
    assert (ending.is_finished, ending.documents) == (True, ({"x": 1},))


def test_a_deed_may_lead_back_to_a_question():
    fails = iter([True, False])
    deed = Deed(key="sweep", run=lambda: Done(entries={"level": "0.2"}, back_to="ready") if next(fails) else Done())
    ending = converse(steps(question("ready"), deed), memory_of(), Talk("", ""))
    assert pairs(ending.memory) == [("level", "0.2"), ("ready", "usual"), ("sweep", "done")]


def test_of_two_answers_the_later_counts():
    memory = memory_of(("a", "old", True), ("a", "new", True))
    assert answer_of(memory, "a") == "new"
    assert answer_of(memory, "b", "otherwise") == "otherwise"
    assert (is_settled(memory, "a"), is_settled(memory, "b")) == (True, False)


def test_taking_away_ends_before_the_latest_answer_to_a_question():
    memory = memory_of(("a", "1", True), ("b", "2", False), ("a", "3", True), ("c", "4", False))
    assert pairs(rewound(memory, "a")) == [("a", "1"), ("b", "2")]
    assert rewound(memory, "z") is memory
    assert pairs(one_back(memory)) == [("a", "1"), ("b", "2")]
    assert one_back(memory_of(("b", "2", False))).entries == memory_of(("b", "2", False)).entries


def test_remembering_leads_back_where_that_is_said():
    memory = memory_of(("a", "1", True), ("b", "2", True))
    entry = Entry(key="c", answer="3")
    assert pairs(remember(memory, entry, Done(entries={"d": "4"}))) == [("a", "1"), ("b", "2"), ("c", "3"), ("d", "4")]
    assert pairs(remember(memory, entry, Done(back_to="b", entries={"d": "4"}))) == [("a", "1"), ("d", "4")]


def test_a_prompt_shows_what_enter_means():
    assert prompt_of(question("a")) == "a? [usual]"
    assert prompt_of(question("a", default="")) == "a?"


@pytest.mark.parametrize(
    ("typed", "read"), [("1", "keep"), ("3", "softer"), ("k", "keep"), ("SOF", "softer"), ("again", "again"), ("s", "softer")]
)
def test_a_word_is_read_by_number_or_beginning(typed, read):
    assert one_of(("keep", "again", "softer"))(typed) == read


def test_a_whole_word_goes_before_the_beginning_of_another_and_a_number_that_is_a_word_is_that_word():
    assert one_of(("neck", "necklace"))("neck") == "neck"
    assert one_of(("2", "1"))("1") == "1"


@pytest.mark.parametrize("typed", ["", "4", "x", "0", "²"])
def test_what_is_none_of_the_words_is_refused_with_all_of_them(typed):
    with pytest.raises(ValueError, match="is not one of keep, again, softer"):
        one_of(("keep", "again", "softer"))(typed)


@pytest.mark.parametrize("typed", ["s"])
def test_what_begins_two_words_is_refused(typed):
    with pytest.raises(ValueError, match="is not one of"):
        one_of(("softer", "same"))(typed)


def test_a_session_is_no_larger_than_any_guide_makes():
    with pytest.raises(ValueError, match="at most"):
        Entry(key="a", answer="x" * (MAX_ANSWER + 1))
    with pytest.raises(ValueError, match="a guide makes at most"):
        Memory(job="pickup", entries=(Entry(key="a", answer=""),) * (MOST_ENTRIES + 1))


def test_a_session_comes_back_from_its_file():
    memory = memory_of(("a", "1", True), ("b", "2", False))
    assert msgspec.json.decode(msgspec.json.encode(memory), type=Memory) == memory
