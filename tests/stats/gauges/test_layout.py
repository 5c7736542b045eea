"""Readings into a layout, or the missing reading named."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.stats.errors import StatisticsError
from qc.stats.gauges.layout import lay_out


@given(st.integers(1, 5), st.integers(1, 4), st.integers(1, 3), st.randoms(use_true_random=False))
def test_any_order_of_cells_gives_the_same_readings(parts, persons, repeats, random):
    if parts * persons * repeats < 2:
        return
    array = np.arange(parts * persons * repeats, dtype=float).reshape(parts, persons, repeats)
    cells = [(p, o) for p in range(parts) for o in range(persons)]
    random.shuffle(cells)
    rows = [(array[p, o, r], f"part {p}", f"person {o}") for r in range(repeats) for p, o in cells]
    values, pieces, people = zip(*rows, strict=True)
    found = lay_out(values, pieces, people)
    order_p = [int(name.split()[1]) for name in found.parts]
    order_o = [int(name.split()[1]) for name in found.persons]
    assert np.array_equal(found.readings, array[np.ix_(order_p, order_o)])


def test_nested_names_count_within_their_person():
    found = lay_out([1, 2, 3, 4, 5, 6, 7, 8], [1, 1, 2, 2] * 2, ["a"] * 4 + ["b"] * 4, nested=True)
    assert found.readings.tolist() == [[[1, 2], [3, 4]], [[5, 6], [7, 8]]]
    assert found.parts == ("a / 1", "a / 2", "b / 1", "b / 2")


@pytest.mark.parametrize(
    "values, parts, persons, nested, said",
    [
        ([1, 2, 3], [1, 1], ["a", "b", "c"], False, "3 readings, 2 parts and 3 persons"),
        ([1, 2, 3, 4, 5], [1, 1, 2, 2, 2], None, False, "part 1 has 2 readings where others have 3"),
        (
            [1, 2, 3, 4, 5, 6, 7],
            [1, 1, 2, 2, 3, 3, 3],
            None,
            False,
            "part 3 has 3 readings where others have 2",
        ),
        ([1, 2, 3], [1, 2, 1], ["a", "a", "b"], False, "part 2 has no reading by b"),
        (
            [1, 2, 3, 4, 5, 6],
            [1, 1, 2, 2, 3, 3],
            ["a"] * 4 + ["b"] * 2,
            True,
            "b measured 1 parts where others measured 2",
        ),
        ([1, 2, 3, 4, 5], [1, 1, 2, 1, 2], ["a", "a", "a", "b", "b"], True, "part 1 has 2 readings by a"),
        ([1, math.nan], [1, 2], None, False, "gauge study: value"),
        (["x", "y"], [1, 2], None, False, "gauge study: value"),
    ],
)
def test_holes_are_named(values, parts, persons, nested, said):
    with pytest.raises(StatisticsError, match=said):
        lay_out(values, parts, persons, nested=nested)
