"""Options that several commands share: what they add, what they write, and how names behind --before are read."""

import click
import pytest
from click.testing import CliRunner

from fit.desk.book.desk import Outcome
from fit.desk.command.options import SeveralNames, conditions_of, output_options, shared_options, temperature_option
from fit.desk.show.document.bench import InspectDocument, Noise
from measure.logbook.conditions import Conditions
from tests.desk_bench import run
from tests.pages import read_page


def draw(*_, **__):
    from matplotlib.figure import Figure

    return Figure(figsize=(1, 1))


SILENCE = Noise(
    **dict.fromkeys(("hum_hz", "hum_dbfs", "hum_std_db", "hum_limit_dbfs", "floor_dbfs", "floor_std_db")),
    band_hz=(20.0, 20e3),
    silence_s=1.0,
    lines=(),
    third_octaves=(),
)
DOCUMENT = InspectDocument(takes=(), outcome="good", simulated=False, checks=(), noise=SILENCE)


def answer(**figures):
    return Outcome(lines=("a line",), document=DOCUMENT, figures=figures)


def ask(*words, command):
    result = CliRunner().invoke(command, [str(word) for word in words], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.return_value


@pytest.fixture
def command():
    @click.command()
    @output_options(("--plot", "curves", "Curves"), ("--more", "tapers", "Tapers"))
    @shared_options
    def asked(*, as_json, logbook, debug):
        del as_json, logbook, debug
        return answer(curves=draw, tapers=draw)

    return asked


def test_shared_options_have_their_defaults():
    @click.command()
    @shared_options
    def show(**options):
        return options

    plain = ask(command=show)
    assert (plain["as_json"], plain["debug"], str(plain["logbook"])) == (False, False, ".")
    given = ask("--json", "--debug", "--logbook", "x", command=show)
    assert (given["as_json"], given["debug"], str(given["logbook"])) == (True, True, "x")


def test_without_a_file_nothing_is_written(command, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert ask(command=command).document == DOCUMENT
    assert list(tmp_path.iterdir()) == []


def test_each_picture_goes_to_its_file_and_the_page_is_named(command, tmp_path):
    files = [tmp_path / name for name in ("a.png", "b.svg", "c.html")]
    outcome = ask("--plot", files[0], "--more", files[1], "--page", files[2], command=command)
    assert files[0].read_bytes().startswith(b"\x89PNG")
    assert b"<svg" in files[1].read_bytes()
    assert "a line" in read_page(files[2].read_text(encoding="utf-8")).said
    assert outcome.document.written == tuple(map(str, files))


@pytest.mark.parametrize(
    ("words", "says"), [(["--plot", "x.jpg"], r"\.png or \.svg"), (["--more", "x"], r"\.png"), (["--page", "x.txt"], r"\.html")]
)
def test_a_name_that_will_not_do_is_said_before_the_work(words, says):
    @click.command()
    @output_options(("--plot", "curves", "Curves"), ("--more", "tapers", "Tapers"))
    @shared_options
    def asked(**_):
        pytest.fail("asked")

    with pytest.raises(ValueError, match=says):
        ask(*words, command=asked)


@pytest.mark.parametrize(
    ("words", "celsius"), [([], None), (["--temperature", "24C"], 24.0), (["--temperature", "-3.5 °C"], -3.5)]
)
def test_temperature_in_degrees_celsius(words, celsius):
    @click.command()
    @temperature_option("How warm.")
    def show(temperature_c):
        return temperature_c

    assert ask(*words, command=show) == celsius


def test_a_wrong_temperature_names_its_option():
    @click.command()
    @temperature_option("How warm.")
    def show(temperature_c):
        pytest.fail(f"read {temperature_c}")

    with pytest.raises(ValueError, match=r'^--temperature: .*"75F"'):
        ask("--temperature", "75F", command=show)


def test_conditions_are_taken_out_and_the_rest_stays():
    options = {
        "method": "plate",
        "added": "1n ± 1%",
        "coil_moved": True,
        "series_resistor": None,
        "temperature_c": 24.0,
        "note": "n",
        "settings": ("volume=7", "selector=both"),
        "coil_over": "",
        "item": " red one ",
        "operator": None,
        "level": 0.5,
    }
    assert conditions_of(options) == Conditions(
        method="plate",
        added="1n ± 1%",
        coil_moved=True,
        temperature_c=24.0,
        note="n",
        controls={"volume": "7", "selector": "both"},
        coil_over=None,
        item="red one",
    )
    assert options == {"level": 0.5}


@pytest.mark.parametrize(
    ("words", "before", "after"),
    [
        (["--before", "a", "--after", "b"], ("a",), ("b",)),
        (["--before", "a", "b", "--after", "c", "d"], ("a", "b"), ("c", "d")),
        (["--after", "c", "--flag", "--before", "a", "--before", "b"], ("a", "b"), ("c",)),
        ([], (), ()),
    ],
)
def test_names_up_to_the_next_option_belong_to_the_one_before(words, before, after):
    @click.command(cls=SeveralNames)
    @click.option("--before", multiple=True)
    @click.option("--after", multiple=True)
    @click.option("--flag", is_flag=True)
    def show(**options):
        return options

    got = ask(*words, command=show)
    assert (got["before"], got["after"]) == (before, after)


@pytest.mark.parametrize("words", [["--before"], ["--before", "a", "--after"]])
def test_a_side_without_a_name_is_refused(words):
    @click.command(cls=SeveralNames)
    @click.option("--before", multiple=True)
    @click.option("--after", multiple=True)
    def show(**_):
        pytest.fail("asked")

    with pytest.raises(click.UsageError, match="requires an argument"):
        ask(*words, command=show)


@pytest.mark.long
def test_nothing_is_written_over_unless_it_is_said(tmp_path, capsys):
    page = tmp_path / "coil.html"
    page.write_text("mine", encoding="utf-8")
    words = ("exciter", "--turns", "200", "--wire", "0.25 mm", "--page", page, "--logbook", tmp_path)
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert "coil.html is there already and is not overwritten: choose another name, or add --replace" in err
    assert page.read_text(encoding="utf-8") == "mine"
    assert run(capsys, *words, "--replace")[0] == 0
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
