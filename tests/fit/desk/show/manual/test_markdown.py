"""The few things of Markdown that pages use are read; what is broken is refused with its line."""

import pytest

from fit.desk.show.manual.markdown import Code, Grid, Heading, Image, Items, Paragraph, Span, parse, spans

PAGE = """# Title

One line
and another.
- first item
  goes on
- second

1. a
2. b

| word | what |
|---|---|
| `a` | b \\| c |

<!-- not shown -->
```console
$ coilsweep fit
  # no heading
```

    indented
      more

## Below
![A picture](pictures/a.png)
"""


def test_each_block_is_read():
    assert parse(PAGE) == (
        Heading(1, "Title"),
        Paragraph("One line and another. - first item goes on - second"),
        Items((("1.", "a"), ("2.", "b"))),
        Grid(("word", "what"), (("`a`", "b | c"),)),
        Code("console", ("$ coilsweep fit", "  # no heading")),
        Code("", ("indented", "  more")),
        Heading(2, "Below"),
        Image("A picture", "pictures/a.png"),
    )


def test_items_go_on_over_lines():
    assert parse("- one\n  of two\n- two\n") == (Items((("-", "one of two"), ("-", "two"))),)


def test_spans_of_a_line():
    assert list(spans("a `b*c` **d** *e* 2 * 3 [f](g.md#h)")) == [
        Span("text", "a "),
        Span("code", "b*c"),
        Span("text", " "),
        Span("strong", "d"),
        Span("text", " "),
        Span("em", "e"),
        Span("text", " 2 * 3 "),
        Span("link", "f", "g.md#h"),
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("# a\n\n```console\n$ b\n", "line 3: the fence is not closed"),
        ("| a | b |\n| c | d |\n", "line 1: a table begins with its head and a rule"),
        ("| a | b |\n|---|---|\n| c |\n", "line 1: the rows of the table do not have the same number"),
    ],
)
def test_what_is_broken_is_refused(text, told):
    with pytest.raises(ValueError, match=told):
        parse(text)
