"""The simulated table: its shape, and what is read between and beyond its entries."""

import numpy as np
import pytest

from qc.stats import StatisticsError, threshold_scores
from qc.stats.change.thresholds import HIGHEST_RATE, LOWEST_RATE, check_rate, threshold_table


@pytest.mark.parametrize("shape", ["normal", "any"])
def test_thresholds_rise_as_the_rate_falls(shape):
    for length in (20, 50, 200):
        scores = np.array(
            [threshold_scores(rate, length, shape) for rate in (2e-2, 5e-3, 7e-4, 1e-4, 1e-5, 2e-6)]
        )
        assert (np.diff(scores, axis=0) > 0).all()


def test_errors_are_small_where_the_workshop_lives():
    table = threshold_table("normal")
    rate = table.rates.tolist().index(0.001)
    late = table.lengths >= 10
    assert (table.errors[rate, late] > 0).all()
    assert table.errors[rate, late].max() < 0.05


@pytest.mark.parametrize("shape", ["normal", "any"])
def test_tabulated_entries_are_met(shape):
    table = threshold_table(shape)
    for i in (0, 3, 7):
        for j in (0, 5, 30, len(table.lengths) - 1):
            found = threshold_scores(float(table.rates[i]), int(table.lengths[j]), shape)
            assert found == pytest.approx(table.scores[i, j], rel=1e-9)


def test_between_entries_stays_between():
    low, high = threshold_scores(1e-3, 110), threshold_scores(5e-4, 110)
    middle = threshold_scores(7e-4, 110)
    assert ((low < middle) & (middle < high)).all()
    ends = np.array([threshold_scores(1e-3, 100), threshold_scores(1e-3, 120)])
    between = threshold_scores(1e-3, 110)
    assert (ends.min(axis=0) <= between).all() and (between <= ends.max(axis=0)).all()


def test_constant_beyond_two_hundred():
    assert (threshold_scores(1e-3, 200) == threshold_scores(1e-3, 5000)).all()


def test_kinds_that_cannot_be_judged_yet_have_no_threshold():
    assert np.isfinite(threshold_scores(1e-3, 4)).tolist() == [True, False, False]
    assert np.isfinite(threshold_scores(1e-3, 6)).tolist() == [True, False, True]
    assert np.isfinite(threshold_scores(1e-3, 8)).all()


def test_tail_follows_the_tabulated_line():
    # a tenth of the rate lifts the squared score by about as much once more
    first = threshold_scores(1e-4, 60) ** 2 - threshold_scores(1e-3, 60) ** 2
    second = threshold_scores(1e-5, 60) ** 2 - threshold_scores(1e-4, 60) ** 2
    assert second == pytest.approx(first, rel=0.25)


@pytest.mark.parametrize("rate", [0.0, 0.021, 1e-7, -1.0, float("nan"), float("inf")])
def test_rates_without_a_threshold_are_refused(rate):
    with pytest.raises(StatisticsError, match="false-alarm rate"):
        check_rate(rate)


def test_ends_of_the_range_are_taken():
    assert check_rate(LOWEST_RATE) == LOWEST_RATE
    assert check_rate(HIGHEST_RATE) == HIGHEST_RATE


def test_other_questions_are_refused():
    with pytest.raises(StatisticsError, match="4th"):
        threshold_scores(1e-3, 3)
    with pytest.raises(StatisticsError, match="square"):
        threshold_table("square")
