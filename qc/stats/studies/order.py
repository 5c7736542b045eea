"""Checks of order in a study: runs, likeness of neighbours, one change of level."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.stats.change import START_CONFIDENCE, ChangePoint, mean_change, mean_change_from_target
from qc.stats.errors import StatisticsError
from qc.stats.numbers import factors, number, shown
from qc.stats.samples import (
    LEAST_FOR_LAG,
    false_alarm_rate,
    lag_1_autocorrelation,
    moving_range_inflation,
    runs_test,
)
from qc.stats.studies.check_result import ALPHA, Check, Readings
from qc.stats.studies.p_values import lag_1_interval, mean_change_p_value, target_change_p_value


@dataclass(frozen=True, slots=True)
class Ordered(Readings):
    """What the checks of order judge: points of a chart.

    `sigma` and `target` are given ones, `without_target` says why there is none; `limited` says whether
    three-sigma limits of these points make sense.
    """

    sigma: float | None = None
    target: float | None = None
    without_target: str = "no target is given: give --target (or --center) to ask for a change away from it"
    limited: bool = True


def check_runs(points: Ordered) -> Check:
    """Ask whether points fall on both sides of their median in random order.

    Returns
    -------
    Check
        Statistic: normal score of the number of runs.

    Raises
    ------
    StatisticsError
        As for `runs_test`.
    """
    found = runs_test(points.values)
    clear = found.p_value < ALPHA
    if not clear:
        verdict = "the order looks like chance"
    elif found.statistic < 0:
        verdict = "too few crossings of the middle: a drift, a change of level or pieces of one batch"
    else:
        verdict = "too many crossings of the middle: settings touched after every piece, or two sources"
    return Check("runs", points.judged, points.n, found.statistic, found.p_value, clear, verdict)


def check_lag_1(points: Ordered) -> Check:
    """Ask whether each point resembles the one before, and what limits would have to allow for it.

    Returns
    -------
    Check
        Statistic: the lag-1 coefficient; limits three sigma off the mean by the moving range, as they are
        usually drawn and widened by `moving_range_inflation`.

    Raises
    ------
    StatisticsError
        As for `lag_1_autocorrelation`.
    """
    found = lag_1_autocorrelation(points.values)
    p_value = float(2.0 * special.ndtr(-abs(found.lag_1) * math.sqrt(found.n)))
    rate, inflation = false_alarm_rate(found.lag_1), moving_range_inflation(found.lag_1)
    figures: dict[str, object] = {
        "interval": list(lag_1_interval(found.lag_1, found.n)) if found.n >= LEAST_FOR_LAG else None,
        "bound": found.bound,
        "moving_range_inflation": inflation,
        "false_alarm_rate": rate,
        "false_alarm_rate_asked": false_alarm_rate(0.0),
    }
    if points.limited:
        center = float(points.values.mean())
        half = 3.0 * float(np.abs(np.diff(points.values)).mean()) / factors(2).d2
        figures["limits"] = [center - half, center + half]
        figures["limits_allowing"] = [center - half * inflation, center + half * inflation]
    if not found.clear:
        verdict = "neighbours are no more alike than chance makes them: leave the limits as they are"
    else:
        alike = "alike" if found.lag_1 > 0 else "opposed"
        verdict = (
            f"neighbours are {alike}: limits by the moving range flag a settled process at "
            f"{shown(100 * rate, 2)} % of points, not {shown(100 * false_alarm_rate(0.0), 2)} %"
        )
    return Check("lag_1", points.judged, points.n, found.lag_1, p_value, found.clear, verdict, figures)


def check_mean_change(points: Ordered) -> Check:
    """Ask whether the level changed once, both levels unknown.

    Returns
    -------
    Check
        Statistic: the largest two-sample t over all splits, with the p-value of the largest.

    Raises
    ------
    StatisticsError
        As for `mean_change`.
    """
    found = mean_change(points.values)
    if found.sd == 0.0:  # two levels without any scatter: as clear as can be
        p_value = 0.0
    else:
        p_value = mean_change_p_value(found.statistic, points.n)
    figures = {"mean_before": found.mean_before}
    return _change_check("mean_change", points, found, number(found.statistic), p_value, figures)


def check_target_change(points: Ordered) -> Check:
    """Ask whether the level left a known target, and since when.

    Parameters
    ----------
    points : Ordered
        With its target.

    Returns
    -------
    Check
        Statistic: the largest sum of deviations since a point over root of their number, in sd. Without a
        given spread the set for the start rests on the sd about target and new level.

    Raises
    ------
    StatisticsError
        No target, or as for `mean_change_from_target`.
    """
    if points.target is None:
        raise StatisticsError(points.without_target)
    away = points.values - points.target
    found = mean_change_from_target(points.values, points.target, sigma=points.sigma)
    sd = points.sigma
    if sd is None:
        if points.n < 3:
            raise StatisticsError(
                f"{points.n} points: a change from a target needs three at least, or a sigma"
            )
        squares = float(away @ away)
        if squares == 0.0:
            raise StatisticsError("every point is on the target: there is no spread to judge a change by")
        p_value = target_change_p_value(found.statistic, points.n, squares)
        # what the change itself explains is taken out, else a large change would hide in its own spread
        sd = math.sqrt(max(squares - found.statistic**2, 0.0) / (points.n - 1))
        if sd > 0:
            found = mean_change_from_target(points.values, points.target, sigma=sd)
    else:
        p_value = target_change_p_value(found.statistic, points.n)
    figures = {
        "target": points.target,
        "sd": number(sd),
        "sd_given": points.sigma is not None,
    }
    statistic = number(found.statistic) if sd > 0 else None
    return _change_check("mean_change_from_target", points, found, statistic, p_value, figures)


def _change_check(
    name: str,
    points: Ordered,
    found: ChangePoint,
    statistic: float | None,
    p_value: float,
    figures: Mapping[str, object],
) -> Check:
    """Tell start, size and spread of a change, in point numbers of the series; `figures` come on top."""
    start = int(points.numbers[found.start - 1])
    held = None if found.start_set is None else [int(points.numbers[end - 1]) for end in found.start_set]
    told = {
        "start": start,
        "start_set": held,
        "start_confidence": START_CONFIDENCE,
        "mean_after": found.mean_after,
        "size": found.mean_after - found.mean_before,
        "sd": found.sd,
    }
    clear = p_value < ALPHA
    if clear:
        sure = "" if held is None or held[0] == held[1] else f" (90 % sure: {held[0]} to {held[1]})"
        verdict = f"since point {start}{sure}: from {shown(found.mean_before)} to {shown(found.mean_after)}"
    else:
        verdict = f"no clear change; were there one, point {start} would be its likeliest start"
    return Check(name, points.judged, points.n, statistic, p_value, clear, verdict, {**told, **figures})
