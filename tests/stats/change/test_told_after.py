"""How soon a change is told, of many courses at once: the answer of `detect`, which takes one by one."""

import numpy as np
import pytest

from qc.stats import Noise, StatisticsError, counts_told_after, detect, detect_counts, told_after

RATE = 0.004
FRONT = 20
WAYS = [
    pytest.param("normal", None, False, id="normal"),
    pytest.param("positive", None, False, id="logarithms"),
    pytest.param("any", None, False, id="ranks"),
    pytest.param(
        "auto", Noise(skew=0.2, tails=0.1, odd_share=0.01, odd_reach=0.6, pieces=200), False, id="learned"
    ),
    pytest.param("auto", Noise(tails=0.05, lots=0.3, pieces=200), True, id="lots"),
    pytest.param("auto", Noise(echo=0.3, fade=0.6, pieces=200), False, id="neighbours"),
]


@pytest.mark.parametrize("shape, noise, by_lots", WAYS)
def test_many_courses_at_once_are_told_where_each_alone_is(rng, shape, noise, by_lots):
    courses = rng.normal(size=(12, FRONT + 15))
    courses[:, FRONT:] += np.linspace(0, 4, 12)[:, None]
    courses = np.exp(0.1 * courses) if shape == "positive" else courses
    lots = np.tile(np.arange(FRONT + 15) // 5, (12, 1)) if by_lots else None
    found = told_after(
        courses, FRONT, false_alarm_rate=RATE, shape=shape, noise=noise, resolution=0.05, lots=lots
    )
    for row, course in enumerate(courses):
        names = [str(lot) for lot in lots[row]] if by_lots else None
        alone = detect(
            course,
            false_alarm_rate=RATE,
            shape=shape,
            noise=noise,
            resolution=0.05,
            settled=FRONT,
            lots=names,
        )
        first = alone.signals[0].point - FRONT if alone.signals else 0
        assert found[row] == first
    assert 0 < np.count_nonzero(found) and found.max() > 1


def test_more_courses_than_one_block_are_all_answered(rng):
    courses = rng.normal(size=(300, FRONT + 2))
    courses[299, FRONT:] += 9.0
    found = told_after(courses, FRONT, false_alarm_rate=RATE)
    assert found.shape == (300,) and found[299] == 1


def test_a_course_that_is_no_number_is_refused():
    with pytest.raises(StatisticsError):
        told_after(np.array([[1.0, 2.0, 1.5, np.nan]]), 3)


@pytest.mark.parametrize("pass_fail", [False, True])
def test_a_course_of_counts_is_told_where_the_whole_series_is(rng, pass_fail):
    for rate in (0.2, 0.6):
        front = rng.binomial(1, 0.1, FRONT) if pass_fail else rng.poisson(0.5, FRONT)
        after = rng.binomial(1, rate, 30) if pass_fail else rng.poisson(8 * rate, 30)
        counts = np.concatenate([front, after])
        whole = detect_counts(counts, None, RATE, pass_fail=pass_fail, settled=FRONT).signals
        first = whole[0].point - FRONT if whole else 0
        assert counts_told_after(counts, None, FRONT, RATE, pass_fail=pass_fail) == first


def test_counts_that_stay_are_mostly_not_told():
    assert counts_told_after([1, 0, 1, 2] * 10, None, 20, RATE) == 0
