"""Topics: every page is reached by its name or a command's, and every word is found where it stands."""

import pytest

from fit.desk.show.manual.lines import lines
from fit.desk.show.manual.topics import GROUPS, TOPICS, command_topics, find, page, purpose, title, topic_of

LONGEST = 58  # characters: a line of the list of topics


@pytest.mark.parametrize("topic", TOPICS)
def test_each_topic_says_in_one_line_what_it_is_for(topic):
    assert topic_of(topic) == topic
    assert title(topic)
    assert purpose(topic).endswith(".")
    assert len(purpose(topic)) <= LONGEST


def test_topics_are_grouped_without_repeating():
    assert [topic for group in GROUPS.values() for topic in group] == list(TOPICS)
    assert len({purpose(topic) for topic in TOPICS}) == len(TOPICS)


@pytest.mark.parametrize(
    ("word", "topic"),
    [
        ("confirm", "confirm"),
        ("Sound-Card", "sound-card"),
        ("sound card", "sound-card"),
        ("wiring.md", "wiring"),
        ("level", "sound-card"),
    ],
)
def test_a_topic_by_any_of_its_names(word, topic):
    assert topic_of(word) == topic


def test_a_command_leads_to_its_topic():
    for command, topic in command_topics().items():
        assert topic_of(command) == (command if command in TOPICS else topic)


@pytest.mark.parametrize(("word", "hint"), [("wirng", " Do you mean wiring?"), ("xyzzy", "")])
def test_another_word_is_refused_with_the_nearest(word, hint):
    with pytest.raises(ValueError, match=f'has no topic "{word}".{hint.replace("?", "[?]")} coilsweep manual'):
        topic_of(word)
    with pytest.raises(ValueError, match="has no topic"):
        page(word)


def test_words_are_found_in_any_case_and_over_the_end_of_a_line():
    assert {hit.topic for hit in find("LETHAL voltage")} == {"cautions"}
    text = lines(page("cautions"), "cautions")
    at = next(n for n, line in enumerate(text[:-1]) if line.strip() and text[n + 1].startswith("  "))
    broken = f"{text[at].split()[-1]}  {text[at + 1].split()[0]} {text[at + 1].split()[1]}"
    assert [hit.line for hit in find(broken) if hit.topic == "cautions"] == text[at : at + 2]
    assert list(find("xyzzy")) == []


def test_hits_stand_in_the_order_of_the_topics():
    topics = [hit.topic for hit in find("resonance")]
    assert len(set(topics)) > 5
    assert topics == sorted(topics, key=TOPICS.index)
