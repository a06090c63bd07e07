"""Responses as text: tables and Touchstone files, as many programs write them; what is wrong is named with its line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.response import Origin, Response
from measure.tables.files import format_csv, format_touchstone, parse_csv, parse_touchstone

# The same two points, written in many ways: 100 Hz 0.1j, 1 kHz −0.5.
SAME = {
    "comma, real and imaginary": "frequency_hz,real,imaginary\n100,0,0.1\n1000,-0.5,0\n",
    "semicolon, decimal comma": "Frequency (Hz);Re;Im\n100,0;0,0;0,1\n1e3;-0,5;0\n",
    "tab, decimal comma": "f/Hz\tReal part\tImag part\n100\t0\t0,1\n1000\t-0,5\t0\n",
    "kilohertz, dB, degrees": "freq [kHz],Gain [dB],Phase [°]\n0.1,-20,90\n1,-6.020599913279624,180\n",
    "magnitude, radians": "frequency;magnitude;phase (rad)\n100;0.1;1.5707963267948966\n1000;0.5;3.141592653589793\n",
    "percent": "frequency;magnitude (%);phase (deg)\n100;10;90\n1000;50;180\n",
    "comments of any kind": "# by hand\n! x\n% y\n// z\n* w\nfrequency,real,imaginary\n\n100,0,0.1\n# between\n1000,-0.5,0\n",
    "header in a comment": "# measured today\n# frequency, real, imaginary\n100, 0, 0.1\n1000, -0.5, 0\n",
    "preamble": "Made by a program\nDate,today\nfrequency,real,imaginary\n100,0,0.1\n1000,-0.5,0\n",
    "quoted": '"frequency","room","real","imaginary",\r\n"100","20","0","0.1",\r\n"1e3","20","-0.5","0",\r\n',
    "levels beside it": "Frequency in Hz,Gain in dB,Phase in °,Level in Vpp\n100,-20,90,1\n1000,-6.020599913279624,180,1\n",
    "phase that can only be degrees": "frequency,magnitude,phase\n100,0.1,90\n1000,0.5,180\n",
    "gain that can only be dB": "frequency,gain,phase (deg)\n100,-20,90\n1000,-6.020599913279624,180\n",
    "real and imaginary preferred": "frequency,real,imaginary,magnitude,phase (deg)\n100,0,0.1,9,9\n1000,-0.5,0,9,9\n",
    "spaces": "frequency  real   imaginary\n 100   0    0.1\n1000  -0.5   0\n",
    "spaces, a unit in brackets": "Freq (Hz) Re Im\n100 0 0.1\n1000 -0.5 0\n",
    "spaces, decimal comma": "f[kHz] Re Im\n0,1 0,0 0,1\n1,0 -0,5 0,0\n",
    "semicolon for comments": "; by hand\n; frequency, real, imaginary\n100,0,0.1\n; between\n1000,-0.5,0\n; the end\n",
    "header in a comment, otherwise split": "! f(Hz)  Re  Im\n!---------\n100\t0\t0.1\n1000\t-0.5\t0\n! the end\n",
    "between marks": "BEGIN\nfrequency,real,imaginary\n100,0,0.1\n1000,-0.5,0\nEND\n",
    "marks below the header": "frequency;real;imaginary\nBEGIN TRACE A\n100;0;0,1\n1000;-0,5;0\nEND TRACE A\n",
    "marks in brackets": "[settings]\npoints=2\n[data]\nfrequency,real,imaginary\n100,0,0.1\n1000,-0.5,0\n[end]\n",
    "a count": "frequency,real,imaginary\n2\n100,0,0.1\n1000,-0.5,0\n",
    "units in a line of their own": "frequency;gain;phase\nkHz;dB;deg\n0,1;-20;90\n1;-6,020599913279624;180\n",
    "two segments": "frequency,real,imaginary\nBEGIN\n100,0,0.1\nEND\nBEGIN\n1000,-0.5,0\nEND\n",
    "the same trace twice": "BEGIN\nf,re,im\n100,0,0.1\n1000,-0.5,0\nEND\n" * 2,
    "two traces, a part each": "BEGIN\nf;real\n100;0\n1000;-0,5\nEND\nBEGIN\nf;imaginary\n100;0,1\n1000;0\nEND\n",
    "a trace that is no response": "BEGIN\nf,SWR\n100,3\n1000,2\nEND\nBEGIN\nf,re,im\n100,0,0.1\n1000,-0.5,0\nEND\n",
    "a negated part": "f,Re,-Im\n100,0,-0.1\n1000,-0.5,0\n",
    "byte order of digits": "frequency,real,imaginary\n1.0D+02,.0,1.0d-1\n+1000.,-5E-1,0.\n",
}


# 1 kHz 3000 + 4000j Ω, 2 kHz 1000 − 500j Ω, as analysers name such columns.
POLAR = "5000{0}53.13010235415598\n2000{0}1118.033988749895{0}-26.56505117707799\n"
IMPEDANCES = {
    "R and X": "Frequency(Hz),R(Ohm),X(Ohm)\n1000,3000,4000\n2000,1000,-500\n",
    "Rs and Xs": "f (kHz);Rs (kΩ);Xs (kΩ)\n1;3;4\n2;1;-0,5\n",
    "R and X without a unit": "freq R X\n1000 3000 4000\n2000 1000 -500\n",
    "resistance and reactance": "Frequency,Resistance,Reactance,SWR\n1000,3000,4000,9\n2000,1000,-500,9\n",
    "size and phase": "Frequency (Hz),|Z| (ohm),phase (deg)\n1000," + POLAR.format(","),
    "size and angle": "f/Hz;|Z|/Ω;θ/°\n1000;" + POLAR.format(";").replace(".", ","),
    "Z and phase, beside a reflection": "f,RL (dB),Z,Phase (deg),S11 (dB)\n1000,1," + POLAR.format(",").replace(
        "\n", ",7\n").replace("2000,", "2000,1,"),
    "real and imaginary part of Z": "f,Re(Z)/Ohm,Im(Z)/Ohm\n1000,3000,4000\n2000,1000,-500\n",
    "Z' and Z''": "f (Hz)\tZ' (Ω)\t-Z'' (Ω)\n1000\t3000\t-4000\n2000\t1000\t500\n",
    "R in one trace, X in another": "BEGIN CH1\nf,R\n1000,3000\n2000,1000\nEND\nBEGIN CH2\nf,X\n1000,4000\n2000,-500\nEND\n",
    "both forms": "f,R,X,|Z|,phase (deg)\n1000,3000,4000,5000,53.1\n2000,1000,-500,1118,-26.6\n",
}  # fmt: skip


@pytest.mark.parametrize("text", IMPEDANCES.values(), ids=IMPEDANCES)
def test_an_impedance_as_analysers_write_it(text):
    table = parse_csv(text)
    np.testing.assert_allclose(table.frequency_hz, [1000, 2000], rtol=1e-12)
    np.testing.assert_allclose(table.value, [3000 + 4000j, 1000 - 500j], rtol=1e-12)
    assert table.unit == "Ω"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("f,re,im\n1,2,3\n2,3,4\nEND\nBEGIN\n1,5,6\n2,6,7\n", r"line 6: another .* first \(2 frequencies\) cut lines 4 to 7"),
        ("f,re,im\n1,2,3\nnext\nf,re,im\n1,5,6\nnext\nf,re,im\n1,8,9\n", "line 5: another trace begins, .* cut lines 3 to 8"),
        ("f,R1,X1,R2,X2\n1,2,3,4,5\n", 'line 1: columns 2 and 4, "R1" and "R2", are both real: leave one'),
        ("f,R,X,R,X\n1,2,3,4,5\n", 'line 1: columns 2 and 4, "R" and "R", are both real: leave one'),
        ("f,Rp (parallel),Xp (parallel)\n1,2,3\n", "real and imaginary or magnitude and phase are needed; found only f"),
        ("f,S11 (dB),S11 (deg)\n1,2,3\n", "real and imaginary or magnitude and phase are needed; found only f"),
        ("f,re,im\n1,2,3\n2,3,4\n3O,5,6\n", 'line 4, column 1: "3O" is not a number'),
        ("f,re,im\n1,2,3\n2,3\n4,5,6\n", "line 3: 2 columns, but 3 are named"),
        ("f,re\n1,2\n2,3\nx\nf,im\n1,2\n3,4\n", "line 1: beside the frequency"),
    ],
)  # fmt: skip
def test_what_of_a_file_is_to_be_cut_or_mended_is_said(text, message):
    with pytest.raises(ValueError, match=message):
        parse_csv(text)


def test_a_trace_that_is_not_used_is_told():
    text = "BEGIN\nf,re,im\n100,0,0.1\n1000,-0.5,0\nEND\nBEGIN\nf,SWR\n100,3\n1000,2\nEND\n"
    assert parse_csv(text).unused == ("lines 8 to 9",)


def test_of_traces_that_hold_a_part_each_only_what_is_left_out_is_told():
    halves = "f,re\n100,1\n200,2\nend\nf,im\n100,4\n200,5\n"
    table = parse_csv(halves)
    assert (list(table.value), table.unused) == ([1 + 4j, 2 + 5j], ())
    assert parse_csv(f"{halves}end\nf,SWR\n100,3\n150,2\n200,2\n").unused == ("lines 10 to 12",)


CELLS = st.sampled_from(
    ["1", "-2.5", "3e3", "1e20", "nan", "x", "", "BEGIN", "END", "f", "R", "X", "kHz", "0,5", '"', "|Z|", "!"]
)
LINES = st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=8)


@pytest.mark.long
@given(st.sampled_from([",", ";", "\t", "  "]), LINES, LINES)
def test_malformed_tables_are_read_or_refused_in_one_line(sign, above, below):
    lines = [*above, ["f", "R", "X"], ["1", "2", "3"], ["2", "3", "4"], *below]
    said, table = outcome_of(parse_csv, "\n".join(sign.join(cells) for cells in lines))
    assert (table is None) == bool(said)
    assert len(said.splitlines()) <= 1
    if table is None:
        return
    assert len(table.lines) == len(table.value) >= 1
    for line, frequency in zip(table.lines, table.frequency_hz, strict=True):  # each point is one of the file's own lines
        assert np.isnan(frequency) or f"{frequency:g}" in {f"{float(c):g}" for c in _floats(lines[line - 1][0])}


def _floats(cell):
    """What a cell's number may be: in Hz, or in kHz."""
    number = float(cell.replace(",", ".")) if cell not in ("", '"') else np.nan
    return [number, 1e3 * number]


@pytest.mark.parametrize("text", SAME.values(), ids=SAME)
def test_the_same_table_in_many_ways(text):
    table = parse_csv(text)
    np.testing.assert_allclose(table.frequency_hz, [100, 1000], rtol=1e-12)
    np.testing.assert_allclose(table.value, [0.1j, -0.5], rtol=0, atol=1e-15)
    assert table.std is None
    assert not table.simulated


def test_units_deviation_and_what_is_not_used():
    table = parse_csv("frequency (Hz);real (kΩ);imaginary (kΩ);standard deviation (kΩ);room\n100;1,5;2;0,25;3\n200;2;-1;0,5;3\n")
    assert table.unit == "Ω"
    np.testing.assert_allclose(table.value, [1500 + 2000j, 2000 - 1000j], rtol=1e-12)
    np.testing.assert_allclose(table.std, [250, 500], rtol=1e-12)
    assert table.unused == ("room",)
    assert table.lines == (2, 3)
    percent = parse_csv("frequency,real,imaginary,std %\n100,3,4,2\n")
    np.testing.assert_allclose(percent.std, [0.1], rtol=1e-12)  # 2 % of 5


def test_a_file_says_that_it_is_simulated_only_in_a_line_of_its_own():
    assert parse_csv("# simulated: yes\nfrequency,real,imaginary\n1,2,3\n").simulated
    assert not parse_csv("# note: simulated: yes it was not\nfrequency,real,imaginary\n1,2,3\n").simulated
    assert parse_touchstone("! simulated: yes\n# Hz Z RI R 50\n1 2 3\n").simulated


WRONG = {
    "": "no line of numbers",
    "only words\nand more\n": "no line of numbers",
    "1 2 3\n4 5 6\n": "line 1: no column is named frequency",
    "100,1,2\n": "line 1: no column is named frequency",
    "time,real,imaginary\n1,2,3\n": "line 1: no column is named frequency",
    "frequency,real\n1,2\n": "line 1: beside the frequency, real and imaginary or magnitude and phase are needed",
    "frequency,real,imaginary,re,im\n1,2,3,4,5\n": 'columns 2 and 4, "real" and "re", are both real',
    "frequency,real,imaginary\n1,2\n": "line 2: 2 columns, but 3 are named",
    "frequency,real,imaginary\n1,2,3\n2,x,4\n": 'line 3, column 2: "x" is not a number',
    "frequency,real,imaginary\n1,2,3\n2,,4\n": "line 3, column 2: empty",
    "frequency,real,imaginary\n1,2,3\n2,1_000,4\n": 'line 3, column 2: "1_000" is not a number',
    "frequency;real;imaginary\n1;0,5;0.5\n": "a decimal point in line 2 and a comma in line 2",
    "frequency;real;imaginary\n1;1.000,5;2\n": "a decimal point in line 2 and a comma in line 2",
    "frequency,magnitude,phase (deg)\n1,-3,0\n": "line 2, column 2: a magnitude below 0",
    "frequency,gain,phase (deg)\n1,3,0\n": "may be dB or a ratio",
    "frequency,magnitude,phase\n1,3,0.5\n": "may be degrees or radians",
    "frequency,magnitude (dBm),phase (deg)\n1,3,0.5\n": "real and imaginary or magnitude and phase are needed",
    "frequency,real,imaginary,std\n1,2,3,0\n": "line 2, column 4: a standard deviation must be above 0",
    "frequency,real,imaginary,std (dB)\n1,2,3,1\n": "a deviation in dB is not read",
}


@pytest.mark.parametrize(("text", "message"), WRONG.items())
def test_what_is_wrong_with_a_table_is_said_with_its_place(text, message):
    with pytest.raises(ValueError, match=message) as caught:
        parse_csv(text)
    assert "\n" not in str(caught.value)


def test_numbers_that_are_not_finite_are_left_to_the_checks():
    table = parse_csv("frequency,real,imaginary\n100,nan,1\n200,inf,1\n300,1,1e999\n400,1,1\n")
    assert np.isfinite(table.value).tolist() == [False, False, False, True]


@pytest.mark.long
def test_too_many_lines_are_refused():
    with pytest.raises(ValueError, match="50001 lines of numbers, at most 50000"):
        parse_csv("frequency,real,imaginary\n" + "1,2,3\n" * 50001)


def drawn_response(seed, *, unit="V/V", is_simulated=False):
    rng = np.random.default_rng(seed)
    n = 40
    value = rng.standard_normal(n) * 10.0 ** rng.uniform(-9, 9, n) + 1j * rng.standard_normal(n)
    std = np.abs(value) * rng.uniform(1e-6, 1, n)
    return Response(
        frequency_hz=np.cumsum(rng.uniform(0.1, 500, n)),
        value=value,
        covariance=(std**2 / 2)[:, None, None] * np.eye(2),
        unit=unit,
        origin=Origin(simulated=is_simulated),
    )


@pytest.mark.parametrize("unit", ["V/V", "Ω"])
@pytest.mark.parametrize("seed", range(5))
def test_a_table_comes_back_exactly(seed, unit):
    response = drawn_response(seed, unit=unit, is_simulated=bool(seed % 2))
    table = parse_csv(format_csv(response, comments=("take x", "unit: nonsense", "note: a\nsecond, line; 1,5")))
    assert np.array_equal(table.frequency_hz, response.frequency_hz)
    assert np.array_equal(table.value, response.value)
    np.testing.assert_allclose(table.std, np.sqrt(2 * response.covariance[:, 0, 0]), rtol=1e-15)
    assert table.unit == unit
    assert table.simulated == bool(seed % 2)
    assert table.unused == ("magnitude_db", "phase_degree")


def test_decibels_and_degrees_of_a_table_are_those_of_the_value():
    response = drawn_response(3)
    rows = [line.split(",") for line in format_csv(response).splitlines() if line[0] not in "#f"]
    level, degree = np.array([[float(row[3]), float(row[4])] for row in rows]).T
    back = 10 ** (level / 20) * np.exp(1j * np.radians(degree))
    np.testing.assert_allclose(back, response.value, rtol=2e-5)  # four decimals


def outcome_of(parse, text):
    try:
        return "", parse(text)
    except ValueError as err:
        return str(err), None


@given(st.text(max_size=300))
def test_hostile_text_is_a_table_or_one_line(text):
    for parse in (parse_csv, parse_touchstone):
        for whole in (text, f"frequency,real,imaginary\n{text}", f"# Hz Z RI R 50\n{text}"):
            said, table = outcome_of(parse, whole)
            assert (table is None) == bool(said)
            assert len(said.splitlines()) <= 1
            assert len(said) < 400
            assert table is None or len(table.value) == len(table.frequency_hz) == len(table.lines) > 0


# 5 kΩ + 2.5 kΩ j at 1 kHz in every form of the format (from memory of its specification; another package writes them in
# test_outside_export.py). R 10 kΩ: z 0.5 + 0.25j, y = 1/z = 1.6 − 0.8j, s = (z − 1)/(z + 1) = (−0.5 + 0.25j)/(1.5 + 0.25j).
REFLECTED = (-0.5 + 0.25j) / (1.5 + 0.25j)
PORTS = [
    "# kHz Z RI R 10000\n1 0.5 0.25\n",
    "#HZ z ri r 1E4\n1000 0.5 0.25 ! remark\n",
    "! remark\n\n# MHz Y RI R 10000\n1e-3 1.6 -0.8\n",
    "# GHz Z MA R 10000\n1e-6 0.5590169943749475 26.56505117707799\n",
    "# Hz Z DB R 10000\n1000 -5.051499783199059 26.56505117707799\n",
    f"# R 10000 RI S Hz\n1000 {REFLECTED.real!r} {REFLECTED.imag!r}\n# Hz Y MA R 1\n",
    "# RI Z\n1e-6 100 50\n",  # GHz, R 50 where nothing is said
]


@pytest.mark.parametrize("text", PORTS)
def test_one_port_in_every_form(text):
    table = parse_touchstone(text)
    np.testing.assert_allclose(table.frequency_hz, [1000], rtol=1e-12)
    np.testing.assert_allclose(table.value, [5000 + 2500j], rtol=1e-12)
    assert table.unit == "Ω"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no option line"),
        ("# Hz Z RI R 50\n", "no line of three numbers"),
        ("1 2 3\n# Hz Z RI R 50\n", "line 1: numbers before the option line"),
        ("[Version] 2.0\n# Hz Z RI R 50\n1 2 3\n", "line 1: .Version. belongs to a version 2 file"),
        ("# Hz Z RI R 50\n1 2 3\n2 3\n", "line 3: 2 numbers, expected 3"),
        ("# Hz S RI R 50\n1 2 3 4 5 6 7 8 9\n", "line 2: 9 numbers, expected 3 .* one port"),
        ("# Hz Z RI R 50\n1 2 x\n", 'line 2, column 3: "x" is not a number'),
        ("# Hz Z RI R\n1 2 3\n", "line 1: R without a resistance above 0"),
        ("# Hz Z RI R -50\n1 2 3\n", "line 1: R without a resistance above 0"),
        ("# Hz G RI R 50\n1 2 3\n", "line 1: G parameters, of two ports"),
        ("# parsec Z RI R 50\n1 2 3\n", "line 1: 'parsec' in the option line"),
    ],
)
def test_what_is_wrong_with_a_port_is_said_with_its_line(text, message):
    with pytest.raises(ValueError, match=message):
        parse_touchstone(text)


def test_an_open_port_is_not_finite():
    assert not np.isfinite(parse_touchstone("# Hz S RI R 50\n1 1 0\n").value[0])
    assert not np.isfinite(parse_touchstone("# Hz Y RI R 50\n1 0 0\n").value[0])


@pytest.mark.parametrize("reference_ohm", [50.0, 10e3])
def test_a_port_comes_back_with_twelve_digits(reference_ohm):
    response = drawn_response(7, unit="Ω")
    text = format_touchstone(response.frequency_hz, response.value, reference_ohm=reference_ohm, comments=("two\nlines",))
    assert text.startswith("! two lines\n# Hz Z RI R ")
    table = parse_touchstone(text)
    np.testing.assert_allclose(table.value.real, response.value.real, rtol=1e-11)
    np.testing.assert_allclose(table.value.imag, response.value.imag, rtol=1e-11)
    np.testing.assert_allclose(table.frequency_hz, response.frequency_hz, rtol=1e-11)
