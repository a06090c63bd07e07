"""The stages that state the guitar: its file, what is printed on its parts, how its controls stand."""

import pytest

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
