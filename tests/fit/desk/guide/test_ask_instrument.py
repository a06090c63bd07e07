"""The stages that state the guitar: its file, what is printed on its parts, how its controls stand."""

import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.guide.ask_instrument import instrument_of, instrument_stage, is_as_written, marked_text, over_stage, usual_controls
from tests.guide_scenes import scene
from tests.guided import Script, answers, guided


@pytest.mark.parametrize("is_edited", [False, True])
def test_instrument_that_was_edited_is_not_written_over(tmp_path, is_edited):
    """Back over what is printed on a part: the guide's own file is written anew, one that was edited stays."""
    path = tmp_path / "instrument.toml"
    guided(tmp_path, "capacitor", Script(**answers(part=["q"])))
    written = path.read_text(encoding="utf-8")
    assert 'marked = "22n ± 10%"' in written
    if is_edited:
        path.write_text(written.replace('taper = "audio"', 'taper = "linear"', 1), encoding="utf-8")
    script = Script(**answers(part=["b", "q"], capacitor=["33n ± 10%"]))
    guided(tmp_path, "capacitor", script)
    text = path.read_text(encoding="utf-8")
    assert ('marked = "33n ± 10%"' in text) is not is_edited
    assert ("linear" in text) is is_edited
    assert ("was changed in an editor since and stays as it is" in script.text) is is_edited


TWO = "two-pickups-tone-after"


def state(folder, layout):
    (folder / "instrument.toml").write_text(layout_text(layout), encoding="utf-8")


def test_a_pot_is_written_with_the_taper_that_is_printed_on_it():
    printed = read_instrument(marked_text("one-pickup", {"pot.volume": "B500K", "pot.tone": "500k", "capacitor.tone": ".033"}))
    assert (printed.pot["volume"].taper, printed.pot["tone"].taper) == ("linear", "audio")  # as the marking says, or as usual
    assert printed.capacitor["tone"].marked == ".033"


def test_a_file_that_a_guide_wrote_is_known_until_somebody_edits_it():
    text = marked_text("one-pickup", {"capacitor.tone": "33n ± 10%"})
    assert read_instrument(text).capacitor["tone"].marked == "33n ± 10%"
    assert is_as_written(text)
    assert not is_as_written(text.replace("33n", "47n"))
    assert not is_as_written(layout_text("one-pickup"))


def test_a_file_that_is_there_is_not_asked_for(tmp_path):
    text = layout_text("one-pickup").replace("22n", "33n")
    (tmp_path / "instrument.toml").write_text(text, encoding="utf-8")
    done = instrument_stage(scene(tmp_path)).run()
    assert done.entries == {"instrument.known": "yes"}
    assert done.lines[1].startswith("instrument.toml states the guitar already")
    assert instrument_stage(scene(tmp_path, instrument__known="yes")) is None


def test_of_a_starting_file_that_nobody_has_changed_the_markings_are_asked_for(tmp_path):
    state(tmp_path, "one-pickup")
    done = instrument_stage(scene(tmp_path)).run()
    assert done.entries == {"instrument.known": "no", "layout": "one-pickup"}
    assert done.lines[1:] == (
        "instrument.toml is as it was begun: One pickup, volume, tone.",
        "What is printed on its parts is asked for.",
    )
    settled = {"instrument__known": "no", "layout": "one-pickup"}
    while (step := instrument_stage(scene(tmp_path, **settled))).key.startswith("marked."):
        settled[step.key.replace(".", "__")] = "33n ± 10%" if "capacitor" in step.key else step.read(step.default)
    assert step.run().lines[0].startswith("Written: ")
    assert 'marked = "33n ± 10%"' in (tmp_path / "instrument.toml").read_text(encoding="utf-8")


def test_a_wiring_is_chosen_then_what_is_printed_on_its_parts_then_it_is_written(tmp_path):
    begun = {"instrument__known": "no", "layouts": "layouts.html"}
    chosen = instrument_stage(scene(tmp_path, **begun))
    assert (chosen.key, chosen.read("one-pickup")) == ("layout", "one-pickup")
    settled = begun | {"layout": "one-pickup"}
    keys = []
    while (step := instrument_stage(scene(tmp_path, **settled))).key.startswith("marked."):
        keys.append(step.key)
        settled[step.key.replace(".", "__")] = step.read(step.default)
    assert set(keys) == {"marked.pot.volume", "marked.pot.tone", "marked.capacitor.tone"}
    assert step.run().entries == {"instrument.written": "one-pickup"}
    assert is_as_written((tmp_path / "instrument.toml").read_text(encoding="utf-8"))
    assert instrument_stage(scene(tmp_path, **settled, instrument__written="one-pickup")) is None


def test_none_is_a_choice_only_where_it_means_something(tmp_path):
    begun = {"instrument__known": "no", "layouts": "layouts.html"}
    with pytest.raises(ValueError, match="is not one of"):
        instrument_stage(scene(tmp_path, **begun)).read("none")
    assert instrument_stage(scene(tmp_path, **begun), without="a pickup alone").read("none") == "none"
    assert instrument_stage(scene(tmp_path, **begun, layout="none"), without="a pickup alone") is None
    assert instrument_of(scene(tmp_path, layout="none")) is None


def test_of_several_pickups_one_lies_under_the_coil(tmp_path):
    assert over_stage(scene(tmp_path)) is None
    state(tmp_path, "one-pickup")
    assert over_stage(scene(tmp_path)) is None
    state(tmp_path, TWO)
    assert over_stage(scene(tmp_path)).read("n") == "neck"
    assert over_stage(scene(tmp_path, over="neck")) is None
    assert over_stage(scene(tmp_path, over="middle")).key == "over"  # a pickup that is no longer there


def test_controls_stand_so_that_the_pickup_alone_reaches_the_jack(tmp_path):
    assert usual_controls(scene(tmp_path)) == {}
    state(tmp_path, TWO)
    for over in ("bridge", "neck"):
        controls = usual_controls(scene(tmp_path, over=over))
        assert controls["selector"] == over
        assert {value for name, value in controls.items() if name != "selector"} == {"10"}
