"""What a fit found, and the checks of a take, as sheets."""

from fit.desk.show.sheets.fit import limiting_source, not_told
from tests.answer_by_hand import answer


def test_limiting_source_is_the_largest_share_of_the_variance():
    assert limiting_source(answer(), "inductance") == "added 1n in plus-1n (92 %)"
    assert limiting_source(answer(), "q_unloaded") == ""


def test_what_is_not_told_comes_with_its_next_take():
    ((names, why, following),) = not_told(answer())
    assert names == "Sharing"
    assert why == "both halves look alike from the jack"
    assert following == "a take with 470p ± 1% across the jack; it would tell sharing to ± 0.78 %"
