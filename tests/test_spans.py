"""Sets of spans against a brute-force grid of one-second cells."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.spans import NOTHING, Spans, intersect, length_s, spans, subtract, union, within

CELLS = 40

pairs = st.lists(st.tuples(st.integers(0, CELLS), st.integers(0, CELLS)), max_size=8)


def cells(given_pairs: list[tuple[int, int]]) -> set[int]:
    """The seconds that any of the pairs covers; a pair that does not rise covers none."""
    return {second for start, end in given_pairs for second in range(start, end)}


def cells_of(part: Spans) -> set[int]:
    return cells([(int(start), int(end)) for start, end in part])


def assert_proper(part: Spans) -> None:
    """Sorted, disjoint, none empty, none touching the next."""
    assert part.ndim == 2
    assert part.shape[1] == 2
    assert (part[:, 1] > part[:, 0]).all()
    assert (part[1:, 0] > part[:-1, 1]).all()


@given(pairs)
def test_spans_cover_what_the_pairs_cover(a):
    made = spans(a)
    assert_proper(made)
    assert cells_of(made) == cells(a)


@given(pairs, pairs, pairs)
def test_union_intersect_and_subtract_agree_with_sets_of_seconds(a, b, c):
    x, y, z = spans(a), spans(b), spans(c)
    for made, expected in (
        (union(x, y, z), cells(a) | cells(b) | cells(c)),
        (intersect(x, y), cells(a) & cells(b)),
        (intersect(x, y, z), cells(a) & cells(b) & cells(c)),
        (subtract(x, y), cells(a) - cells(b)),
    ):
        assert_proper(made)
        assert cells_of(made) == expected
        assert length_s(made) == len(expected)


@given(pairs, st.integers(-5, CELLS + 5), st.integers(-5, CELLS + 5))
def test_within_cuts_at_both_ends(a, low, high):
    made = within(spans(a), low, high)
    assert_proper(made)
    assert cells_of(made) == {second for second in cells(a) if low <= second < high}


@given(pairs)
def test_one_set_alone_stays_as_it_is(a):
    x = spans(a)
    assert np.array_equal(union(x), x)
    assert np.array_equal(intersect(x), x)
    assert len(subtract(x, x)) == 0


def test_a_reversed_pair_does_not_punch_a_hole():
    assert spans([(0, 10), (5, 3)]).tolist() == [[0, 10]]


def test_touching_spans_merge_and_nothing_stays_nothing():
    assert spans([(0, 1), (1, 2)]).tolist() == [[0, 2]]
    assert len(intersect(spans([(0, 1)]), spans([(1, 2)]))) == 0
    assert length_s(NOTHING) == 0
    assert len(union()) == 0
    assert len(subtract(NOTHING, spans([(0, 1)]))) == 0


def test_fractions_of_a_second_are_kept():
    assert length_s(spans([(0.25, 0.5), (0.75, 1.5)])) == pytest.approx(1.0)
