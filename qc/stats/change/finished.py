"""One change of level in a finished series: where it most likely happened, and the means on both sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.stats.change.evidence import START_CONFIDENCE, likeliest, span
from qc.stats.change.input import check_values
from qc.stats.change.scan import Sums, level_profile, split_squares
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Values
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class ChangePoint(Tabled):
    """The likeliest single change of level. Points count from 1.

    Attributes
    ----------
    last_before, start : int
        Last point before the change (0: the whole series is changed) and first point after it.
    start_set : tuple of int or None
        Lowest and highest point of the 90 % confidence set of `start`; None where the spread is not known.
    mean_before, mean_after : float
        Means on both sides; `mean_before` is the target where one was given. [unit of the values]
    sd : float or None
        Standard deviation within the two sides, or as given. [unit of the values]
    statistic : float
        Two-sample t of the change, or its known-target counterpart in standard deviations (in units of the
        values without `sigma`). It is the largest of many, so do not look it up in a table of t.
    """

    last_before: int
    start: int
    start_set: tuple[int, int] | None
    mean_before: float
    mean_after: float
    sd: float | None
    statistic: float


def mean_change(values: Values) -> ChangePoint:
    """Locate one change of the mean, both means and the common spread unknown.

    Parameters
    ----------
    values : sequence of float, length n >= 3
        Readings in order of making. [unit of the characteristic]

    Returns
    -------
    ChangePoint
        The split with the largest sum of squares between its sides: the likeliest one for normal readings.

    Raises
    ------
    StatisticsError
        Fewer than three readings, one that is not finite, or none that differs from the rest.

    References
    ----------
    .. [1] Hinkley, "Inference about the change-point in a sequence of random variables", Biometrika 57
    (1970), 1-17.
    .. [2] Cobb, "The problem of the Nile: conditional solution to a changepoint problem", Biometrika 65
    (1978),
       243-251: the example of the tests, last year before the change 1898.

    Examples
    --------
    >>> found = mean_change([10.0, 10.2, 9.9, 10.1, 11.0, 11.2, 10.9])
    >>> found.start, round(found.mean_after - found.mean_before, 3)
    (5, 0.983)
    """
    series = check_values(values, "normal")
    n = series.size
    if n < 3:
        raise StatisticsError(f"{n} values: a change of the mean needs at least three")
    parts = split_squares(Sums.of(series[None, :]))
    if float(parts.whole[0, 0]) == 0:
        raise StatisticsError("all values are equal: no change of the mean can be located")
    squared_t = level_profile(parts, None)[0]
    split = int(parts.between[0].argmax()) + 1
    k = np.arange(1.0, n)
    # probability of each place with both means and the spread integrated out (uniform; uniform in the
    # logarithm)
    log_weight = -0.5 * np.log(k * (n - k)) + 0.5 * (n - 2) * np.log1p(squared_t / (n - 2))
    held = likeliest(log_weight, START_CONFIDENCE) + 2
    before, after = float(series[:split].mean()), float(series[split:].mean())
    within = float(((series[:split] - before) ** 2).sum() + ((series[split:] - after) ** 2).sum())
    statistic = float(np.copysign(np.sqrt(squared_t[split - 1]), after - before))
    sd = float(np.sqrt(within / (n - 2)))
    return ChangePoint(split, split + 1, span(held, split + 1), before, after, sd, statistic)


def mean_change_from_target(values: Values, target: float, *, sigma: float | None = None) -> ChangePoint:
    """Locate the change of the mean away from a known target, once a chart has signalled at the last reading.

    Parameters
    ----------
    values : sequence of float, length n >= 1
        Readings up to and with the one that signalled. [unit of the characteristic]
    target : float
        Mean before the change. [unit of the characteristic]
    sigma : float or None
        Known standard deviation; without it there is no confidence set. [unit of the characteristic]

    Returns
    -------
    ChangePoint
        `start` may be 1: the change may lie before the first reading.

    Raises
    ------
    StatisticsError
        No reading, one that is not finite, or a sigma that is not above 0.

    References
    ----------
    .. [1] Samuel, Pignatiello & Calvin, "Identifying the time of a step change with X-bar control charts",
    Quality
       Engineering 10 (1998), 521-527: largest (T - t) (mean after t - target) squared.

    Examples
    --------
    >>> mean_change_from_target([10.1, 9.9, 10.0, 10.9, 11.2], 10.0).start
    4
    """
    series = check_values(values, "normal")
    n = series.size
    if n < 1:
        raise StatisticsError("no values: a change from the target needs at least one")
    if not abs(target) <= GREATEST:
        raise StatisticsError(f"target {target!r}: a finite number is needed")
    if sigma is not None and not LEAST <= sigma <= GREATEST:
        raise StatisticsError(f"sigma {sigma!r}: a number above 0 is needed")
    left = n - np.arange(n)
    sums = np.cumsum((series - target)[::-1])[::-1]
    squares = sums * sums / left
    split = int(squares.argmax())
    unit = 1.0 if sigma is None else sigma
    start_set = None
    if sigma is not None:
        held = likeliest(squares / (2 * sigma * sigma) - 0.5 * np.log(left), START_CONFIDENCE) + 1
        start_set = span(held, split + 1)
    statistic = float(np.copysign(np.sqrt(squares[split]), sums[split])) / unit
    after = float(series[split:].mean())
    return ChangePoint(split, split + 1, start_set, float(target), after, sigma, statistic)
