"""Lines of a text as traces: what separates cells, which lines are numbers, and where one trace ends."""

import pytest

from measure.tables.traces import SPACES, find_traces, is_comment, is_number, split_line, split_names


@pytest.mark.parametrize(
    ("text", "separator"),
    [
        ("1,2,3\n", ","),
        ("1, 2, 3\n", ","),
        ("1;2,5;3,5\n", ";"),
        ("1\t2\t3\n", "\t"),
        ("1 2 3\n", SPACES),
        ("1,5 2,5 3,5\n", SPACES),
        ("words, and more\n1;2;3\n", ";"),
    ],
)
def test_what_stands_between_cells_is_told_by_the_first_line_of_numbers(text, separator):
    traces, found = find_traces(text)
    assert found == separator
    assert [len(row) for trace in traces for _, row in trace.rows] == [3]


def test_words_between_numbers_begin_another_trace_and_comments_do_not():
    text = "made today\n! a\nf,re\n1,2\n# between\n2,3\nEND\nBEGIN\n; b\n1,4\nEND\n"
    first, second = find_traces(text)[0]
    assert first.rows == [(4, ["1", "2"]), (6, ["2", "3"])]
    assert (first.words, first.comments) == ([(1, "made today"), (3, "f,re")], [(2, " a")])
    assert second.rows == [(10, ["1", "4"])]
    assert (second.words, second.comments) == ([(7, "END"), (8, "BEGIN")], [(9, " b")])


def test_a_slip_within_numbers_stays_where_it_is():
    (trace,) = find_traces("f,re,im\n1,2,3\nO2,3,4\n3\n4,x,6\n")[0]
    assert [number for number, _ in trace.rows] == [2, 3, 4, 5]
    assert find_traces("a count of 201\n201\nwords\n")[0] == []


def test_names_are_split_as_they_may_be_meant():
    assert ["Freq (Hz)", "R [Ohm]", "X"] in list(split_names(1, "Freq (Hz) R [Ohm] X", SPACES))
    assert ["f / Hz", "Re part"] in list(split_names(1, "f / Hz   Re part", ","))
    assert next(split_names(1, "f;Re", ";")) == ["f", "Re"]


def test_cells_of_a_line():
    assert split_line(1, '"1";" 2 ";', ";") == ["1", "2"]
    assert split_line(1, ' 1  "2" ', SPACES) == ["1", "2"]
    assert [is_number(cell) for cell in ("1,5", "-1.#IND", "1e3", "1.5D+03", "1,5,0", "1O", "")] == [True] * 4 + [False] * 3
    assert [is_comment(line) for line in ("# a", "  ; b", "1;2", "// c")] == [True, True, False, True]
