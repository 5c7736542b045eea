"""A batch that outlasted the state before it is over where others are used again, if the cards say so."""

from dataclasses import replace

import numpy as np
import pytest

from qc.watch.changes.used_up import batch_used_up
from tests.watch.changes.test_told_over import series

RATE = 0.004
USED = ["K-1"] * 10 + ["K-2"] * 25 + ["K-1"] * 20


def found(values, batches):
    course = series(values)
    points = tuple(replace(p, batch=b) for p, b in zip(course.points, batches, strict=True))
    changes = replace(course, points=points).changes(RATE).signals
    return [(s.side, s.ended) for s in changes if s.kind != "single"]


@pytest.fixture
def values():
    """Ten pieces, twenty-five that are four spreads higher, and twenty as at first."""
    draw = np.random.default_rng(13232).standard_normal(55)
    draw[10:35] += 4
    return draw


@pytest.mark.parametrize(
    "batches",
    [
        USED,
        [*USED[:35], *["K-3"] * 20],
        ["", "", *USED[2:]],
        [f"{one} + L-1" if one == "K-2" else one for one in USED],
    ],
    ids=["the first again", "a third", "not recorded at first", "two on a card"],
)
def test_it_is_told_once_with_its_end(values, batches):
    assert found(values, batches) == [("above", 36)]


@pytest.mark.parametrize(
    "batches",
    [
        [""] * 55,
        ["K-1"] * 55,
        [f"K-{n // 6}" for n in range(55)],
        ["K-1"] * 10 + ["K-2"] * 45,
        ["K-1"] * 10 + ["K-2"] * 30 + ["K-1"] * 15,
        ["K-2"] * 3 + ["K-1"] * 7 + USED[10:],
        [""] * 8 + USED[8:],
    ],
    ids=["none", "one", "of six", "goes on", "five too long", "used before", "hardly known before"],
)
def test_without_a_batch_that_explains_it_leaving_it_is_news(values, batches):
    assert found(values, batches) == [("above", None), ("below", None)]


@pytest.mark.parametrize("back", [4.0, 2.0])
def test_what_does_not_come_back_is_not_over(values, back):
    values[35:] += back
    assert ("above", 36) not in found(values, [*USED[:35], *["K-3"] * 20])


def test_only_pieces_of_the_state_before_and_since_are_compared():
    level = np.repeat([9.0, 0.0, 4.0, 0.0], [20, 6, 30, 4]) + np.tile([0.5, -0.5], 30)
    batches = ["K-0"] * 20 + ["K-1"] * 6 + ["K-2"] * 30 + ["K-1"] * 4
    assert batch_used_up(level, batches, 21, 27, 57) == 57
    assert batch_used_up(level, batches, 1, 27, 57) is None
    assert batch_used_up(level, ["K-2", *batches[1:]], 21, 27, 57) == 57, "long ago it was another state"
