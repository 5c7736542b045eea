"""Degrees of freedom of range sigmas against simulation and against each other."""

import numpy as np
import pytest

from qc.stats.errors import StatisticsError
from qc.stats.run_lengths.worth import moving_range_df, subgroup_df


def worth_of(estimates):
    """Degrees of freedom that this scatter of a sigma stands for: 1 / (2 v)."""
    return 1.0 / (2.0 * estimates.var() / estimates.mean() ** 2)


@pytest.mark.parametrize("points", [20, 60])
def test_moving_ranges_in_simulation(points):
    """40,000 baselines: the mean within 4 %, the median (for large samples) within 8 %."""
    ranges = np.abs(np.diff(np.random.default_rng(4).standard_normal((40_000, points)), axis=1))
    assert moving_range_df(points) == pytest.approx(worth_of(ranges.mean(axis=1)), rel=0.04)
    assert moving_range_df(points, robust=True) == pytest.approx(
        worth_of(np.median(ranges, axis=1)), rel=0.08
    )


@pytest.mark.parametrize("size", [2, 5, 9])
def test_subgroups_in_simulation(size):
    """20,000 baselines of 30 subgroups, within 3 %."""
    groups = np.random.default_rng(5).standard_normal((20_000, 30, size))
    df = 30 * (size - 1)
    ranges, sds = np.ptp(groups, axis=2).mean(axis=1), groups.std(axis=2, ddof=1).mean(axis=1)
    assert subgroup_df(df, size, "range") == pytest.approx(worth_of(ranges), rel=0.03)
    assert subgroup_df(df, size, "sd") == pytest.approx(worth_of(sds), rel=0.03)


def test_ranges_of_two_are_sds_of_two_and_never_worth_more_than_the_readings():
    assert subgroup_df(30, 2, "range") == pytest.approx(subgroup_df(30, 2, "sd"))
    for points in (2, 5, 100, 5000):
        assert moving_range_df(points, robust=True) < moving_range_df(points) <= points


def test_bad_questions_are_named():
    with pytest.raises(StatisticsError, match="1 readings given"):
        moving_range_df(1)
    for size in (1, 101, float("inf"), float("nan")):
        with pytest.raises(StatisticsError, match="2 to 100 readings are needed"):
            subgroup_df(10, size, "sd")
    with pytest.raises(StatisticsError, match="inf degrees of freedom"):
        subgroup_df(float("inf"), 3, "sd")
    with pytest.raises(StatisticsError, match="0 degrees of freedom"):
        subgroup_df(0, 3, "sd")
