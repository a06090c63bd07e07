"""What the stages of a guide share: how consents, quantities and parts are read, and which stage is next."""

import pytest

from fit.desk.guide.scene import caution_stage, first_open, parts_said, read_parts, read_quantity, read_yes, said
from fit.desk.guide.session import Question
from fit.desk.show.words import CAUTIONS
from tests.guide_scenes import scene


def test_temperatures_and_loss_angles_are_kept_as_they_were_typed():
    assert read_quantity("dcr")("7.9k ± 1% at 24C") == "7.9k ± 1% at 24C"
    assert read_parts(may_be_none=False)("1n ± 1% tan 0.1%") == "1n ± 1% tan 0.1%"
    with pytest.raises(ValueError, match="at is the temperature of a resistance, -40 to 120"):
        read_quantity("dcr")("7.9k ± 1% at 240C")


def test_what_is_settled_is_told_and_the_logbook_is_made(tmp_path):
    one = scene(tmp_path / "new", level="0.1", rig__known="x")
    assert (one.settled("level"), one.settled("rig.known"), one.settled("dcr")) == (True, True, False)
    assert (one.answer("level"), one.answer("dcr", "none")) == ("0.1", "none")
    assert one.logbook().path == tmp_path / "new"
    assert (tmp_path / "new").is_dir()


def test_the_first_stage_with_something_to_do_is_next(tmp_path):
    steps = [Question(key=key, text="", read=str) for key in "ab"]
    asked = []
    stages = [lambda _: None, lambda _: steps[0], lambda _: asked.append("too far") or steps[1]]
    assert first_open(stages, scene(tmp_path)) is steps[0]
    assert asked == []
    assert first_open([lambda _: None], scene(tmp_path)) is None


def test_all_cautions_are_shown_once(tmp_path):
    question = caution_stage(scene(tmp_path))
    assert {line.strip() for line in question.before} >= set(CAUTIONS)
    assert caution_stage(scene(tmp_path, cautions="yes")) is None


@pytest.mark.parametrize("typed", ["yes", "Y"])
def test_a_consent(typed):
    assert read_yes(typed) == "yes"


@pytest.mark.parametrize("typed", ["", "no", "yes please"])
def test_what_is_no_consent(typed):
    with pytest.raises(ValueError, match="was not expected"):
        read_yes(typed)


@pytest.mark.parametrize("read", [read_quantity("input capacitance", may_be_none=True), read_parts(may_be_none=True)])
def test_none_is_an_answer_where_it_may_be(read):
    assert read("NONE") == "none"


def test_none_is_no_answer_where_it_may_not_be():
    for read in (read_quantity("input capacitance"), read_parts(may_be_none=False)):
        with pytest.raises(ValueError, match="none"):
            read("none")


def test_what_an_answer_was_taken_for_is_said():
    assert said("A500K", "volume pot", "pot") == (
        "  volume pot: 500 kΩ, audio taper, from A and 500K",
        '  volume pot: A is taken as audio, as on most parts today; on older European ones A is linear: then write "lin"',
        "  A500K (volume pot) states no tolerance; ± 20 % is assumed (common practice)",
    )
    assert said("22n ± 5%", "tone capacitor", "capacitor") == said("None", "dcr", "dcr") == ()
    assert parts_said("102J, 680p ± 1%", "at hand") == ("  at hand: 1 nF ± 5 %, from 102 and J",)
    assert parts_said("none", "at hand") == ()


def test_a_value_that_lost_its_prefix_is_asked_for_again():
    with pytest.raises(ValueError, match=r"is 7\.9k meant"):
        read_quantity("dcr")("7.9")
