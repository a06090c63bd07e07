"""The estimate of widths against what a browser measured (getComputedTextLength, DejaVu Sans)."""

import pytest

from fit.desk.show.drawing.letters import SHARES, SIZES, Label, label_box, text_width

MEASURED = [  # [px]
    ("tip", "lug", 12.0),
    ("sleeve", "lug", 29.6),
    ("1–3", "value", 19.5),
    ("680 pF", "value", 37.8),
    ("500 kΩ linear", "value", 74.4),
    ("jack", "name", 29.3),
    ("fourth", "name", 42.2),
    ("third", "name", 32.9),
    ("bridge-tone", "name", 79.6),
    ("selector = bridge (heard: bridge)", "name", 224.2),
    ("without tone", "title", 108.6),
    ("input to wiper, tone", "title", 166.7),
]
SPARE = 1.25  # [1] an estimate that is wider would only waste room


@pytest.mark.parametrize(("text", "css", "width"), MEASURED)
def test_no_text_is_wider_than_its_estimate(text, css, width):
    assert width <= text_width(text, css) <= SPARE * width


def test_no_letter_stands_in_two_groups():
    letters = "".join(SHARES.values())
    assert len(set(letters)) == len(letters)


@pytest.mark.parametrize(("anchor", "left"), [("start", 50.0), ("middle", 40.0), ("end", 30.0)])
def test_a_box_lies_where_its_anchor_says(anchor, left):
    text = "0" * 3
    width = text_width(text, "value")
    box = label_box(Label(x=50.0, y=100.0, text=text, anchor=anchor))
    assert box[0] == pytest.approx(50.0 + (left - 50.0) / 20 * width)
    assert box[2] - box[0] == pytest.approx(width)
    assert box[1] < 100.0 - 0.7 * SIZES["value"]
    assert box[3] > 100.0
