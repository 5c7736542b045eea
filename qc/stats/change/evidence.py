"""Start, confidence set and size of a change, once the detector has signalled."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.change.learned_shape import Back
from qc.stats.change.scan import (
    LEVEL,
    SPREAD,
    SPREAD_SIDE,
    TREND,
    TREND_SIDE,
    Splits,
    Sums,
    level_profile,
    split_squares,
    trend_profile,
)
from qc.stats.change.whitening import Whitening
from qc.stats.numbers import Floats, Integers, Interval

# chosen; how often the set then holds the true start is simulated (docs/reference/detector.md)
START_CONFIDENCE = 0.90
SIZE_CONFIDENCE = 0.95  # common practice for an interval of a size
CLIMB_SHARE = 1 / 9  # of signals of the level how many are climbs: as the budget is shared, 0.1 to 0.8
LARGEST_RELATIVE = 1e9  # sizes over a spread of nothing stay finite


class Evidence(NamedTuple):
    """What a stretch says about its change; splits count the readings before it."""

    split: int
    split_set: tuple[int, int]
    size: float
    size_interval: Interval
    size_sigma: float


class AsLearned(NamedTuple):
    """What bears on the evidence beside the readings: a learned shape, and how the pieces hang together."""

    back: Back | None = None
    whitening: Whitening | None = None


AS_GIVEN = AsLearned()


def weigh(
    values: Floats,
    scale: Floats,
    kind: int,
    split: int,
    floor: float,
    shape: str,
    learned: AsLearned = AS_GIVEN,
) -> Evidence:
    """Confidence set (90 %) and size (with its 95 % interval) of the change of `kind` at `split`.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings of the stretch. [unit of the characteristic]
    scale : ndarray, shape (n,)
        The same as they were judged: readings, their logarithms, the normal scores of their ranks or of the
        learned shape.
    kind : int
        `LEVEL`, `SPREAD` or `TREND`.
    split : int
        Readings before the change, where the statistic is largest.
    floor : float
        Least variance within a part, on the judged scale.
    shape : str
        How the values were judged: `normal`, `positive`, `any` or `auto`.
    learned : AsLearned
        Way back from the learned shape (`auto`), and how the pieces hang together.

    Notes
    -----
    The set holds the likeliest splits that have between them 90 % of the probability, every split being as
    likely beforehand and level and spread unknown (uniform on the level and on the logarithm of the
    spread). Few pieces after a change cannot tell a step from a climb that began earlier: for both kinds the
    set weighs steps and climbs together. How often it holds the true start after a signal is simulated in
    `tests/simulation/detector_rates.py`, later in `tests/simulation/start_coverage.py`.
    """
    back, whitening = learned
    first, log_weight = log_weights(scale, floor, kind, whitening)
    own = span(likeliest(log_weight, START_CONFIDENCE) + first, split)
    held = own
    # only the set of the start weighs both kinds; the size is read off the places of the kind that was raised
    if kind != SPREAD:
        weight = level_weights(scale, floor, whitening=whitening)
        held = span(likeliest(weight, START_CONFIDENCE) + 1, split)
    if shape == "any":
        floor = step_variance(values)
    if kind == SPREAD:
        least = floor if shape != "positive" else 0.0
        return Evidence(split, held, *_spread_told(values, scale, split, least, learned))
    measured = values if shape == "any" else scale
    size, _, spread = level_size(measured, kind, split, floor, whitening)
    low, high = level_reach(measured, kind, own, floor, whitening)
    relative = size / max(spread, abs(size) / LARGEST_RELATIVE, np.finfo(float).tiny)
    if back is not None:
        level = float(scale[:split].mean())
        before, *told = back.readings([level, level + size, level + low, level + high])
        size, low, high = (reading - before for reading in told)
    if shape == "positive":
        middle = float(np.exp(scale[:split].mean()))
        # from the log scale to a change of the level before; the cap keeps the exponential finite
        size, low, high = (middle * float(np.expm1(min(log, 700.0))) for log in (size, low, high))
    return Evidence(split, held, size, (low, high), relative)


def likeliest(log_weight: Floats, share: float) -> Integers:
    """Places of the largest weights that hold `share` of their sum, in rising order."""
    weight = np.exp(log_weight - log_weight.max())
    order = np.argsort(-weight, kind="stable")
    held = np.cumsum(weight[order])
    count = int(np.searchsorted(held, share * held[-1])) + 1
    return np.sort(order[:count])


def level_weights(
    values: Floats, floor: float, *, rule_out: float = 0.0, whitening: Whitening | None = None
) -> Floats:
    """Logarithm of the probability that a step or a climb begins after reading k, for k = 1..n-1.

    A kind less probable than `rule_out` is left out altogether.
    """
    _, step = log_weights(values, floor, LEVEL, whitening)
    if values.size <= TREND_SIDE:
        return step
    climb = np.full(step.size, -np.inf)
    _, known = log_weights(values, floor, TREND, whitening)
    climb[: known.size] = known + math.log(CLIMB_SHARE)
    step = step + math.log1p(-CLIMB_SHARE)
    odds = float(np.logaddexp.reduce(climb) - np.logaddexp.reduce(step))
    climbs = float(special.expit(odds))
    if climbs < rule_out:
        return step
    return climb if 1 - climbs < rule_out else np.asarray(np.logaddexp(step, climb))


def log_weights(
    values: Floats, floor: float, kind: int, whitening: Whitening | None = None
) -> tuple[int, Floats]:
    """First split weighed and the logarithm of the probability of each.

    `whitening` is given where pieces hang together. Up to a constant, which `LEVEL` and `TREND` have in
    common: a climb is measured by its whole height, so that steps and climbs of one size are as likely
    beforehand.
    """
    if whitening is not None and kind != SPREAD:
        share, square = whitening.share(values, floor, kind)
        return 1, -0.5 * np.log(square) + 0.5 * (values.size - 2) * np.log1p(share)
    if whitening is not None:
        values = whitening.innovations(values)
    sums = Sums.of(values[None, :])
    parts = split_squares(sums)
    least = np.array([floor])
    n = values.size
    if kind == LEVEL:
        ratio = level_profile(parts, least if floor > 0 else None)[0] / (n - 2)
        k = np.arange(1.0, n)
        # between / within = ratio, and between + within = whole: within = whole / (1 + ratio)
        return 1, -0.5 * np.log(k * (n - k) / n) + 0.5 * (n - 2) * np.log1p(ratio)
    if kind == SPREAD:
        return SPREAD_SIDE, _spread_weight(parts, floor)
    ratio = trend_profile(sums, parts.whole, least)[0] / (n - 2)
    left = n - np.arange(1.0, n - TREND_SIDE + 1)
    square = left * (left + 1) * (2 * left + 1) / 6 - (left * (left + 1) / 2) ** 2 / n
    return 1, -0.5 * np.log(square / left**2) + 0.5 * (n - 2) * np.log1p(ratio)


def _spread_weight(parts: Splits, floor: float) -> Floats:
    n = parts.before.shape[1] + 1
    k = np.arange(float(SPREAD_SIDE), n - SPREAD_SIDE + 1)
    inner = slice(SPREAD_SIDE - 1, n - SPREAD_SIDE)
    degrees = k - 1, n - k - 1
    guard = max(float(parts.whole[0, 0]) * 1e-13, np.finfo(float).tiny)
    before = np.maximum(parts.before[0, inner], max(floor, guard) * degrees[0])
    after = np.maximum(parts.after[0, inner], max(floor, guard) * degrees[1])
    weight = special.gammaln(degrees[0] / 2) + special.gammaln(degrees[1] / 2) - 0.5 * np.log(k * (n - k))
    return np.asarray(weight - 0.5 * (degrees[0] * np.log(before) + degrees[1] * np.log(after)))


def span(inside: Integers, split: int) -> tuple[int, int]:
    """Lowest and highest of the places inside, the likeliest one among them in any case."""
    return int(min(inside[0], split)), int(max(inside[-1], split))


def level_size(
    values: Floats, kind: int, split: int, floor: float, whitening: Whitening | None = None
) -> tuple[float, float, float]:
    """Size of a step or climb at `split`, half its 95 % interval, and the standard deviation within."""
    n = values.size
    quantile = float(special.stdtrit(n - 2, 0.5 + SIZE_CONFIDENCE / 2))
    if whitening is not None:
        fitted = whitening.fitted(values, split, kind, floor)
        return fitted.size, quantile * fitted.spread * fitted.error, fitted.spread
    step = np.arange(1, n + 1) - split
    regressor = np.where(step > 0, 1.0, 0.0) if kind == LEVEL else np.maximum(step, 0) / (n - split)
    centred = regressor - regressor.mean()
    square = float(centred @ centred)
    size = float(centred @ values) / square
    residual = values - values.mean() - size * centred
    spread = float(np.sqrt(max(float(residual @ residual) / (n - 2), floor)))
    return size, quantile * spread / float(np.sqrt(square)), spread


def level_reach(
    values: Floats, kind: int, places: tuple[int, int], floor: float, whitening: Whitening | None = None
) -> Interval:
    """Lowest and highest end of the 95 % intervals of a step or climb at any of these places."""
    every = range(places[0], places[1] + 1)
    figures = [level_size(values, kind, split, floor, whitening) for split in every]
    return min(size - half for size, half, _ in figures), max(size + half for size, half, _ in figures)


def spread_size(values: Floats, split: int, floor: float) -> tuple[float, Interval, float]:
    """Change of the standard deviation, its interval (F ratio), and the change over the earlier one."""
    after = float(values[split:].std(ddof=1))
    least = max(float(np.sqrt(floor)), after / LARGEST_RELATIVE, np.finfo(float).tiny)
    before = max(float(values[:split].std(ddof=1)), least)
    degrees = values.size - split - 1, split - 1
    ratio = (after / before) ** 2
    tail = (1 - SIZE_CONFIDENCE) / 2
    low = ratio / special.fdtri(*degrees, 1 - tail)
    high = ratio / special.fdtri(*degrees, tail)
    interval = before * (float(np.sqrt(low)) - 1), before * (float(np.sqrt(high)) - 1)
    return after - before, interval, after / before - 1


def _spread_told(
    values: Floats, scale: Floats, split: int, floor: float, learned: AsLearned
) -> tuple[float, Interval, float]:
    """Change of the standard deviation: as a ratio where pieces hang together or the shape is learned.

    The ratio is then that of the innovations of the judged figures, and told in the standard deviation of the
    readings before.
    """
    if learned.back is None and learned.whitening is None:
        return spread_size(values, split, floor)
    judged = scale if learned.back is not None else values
    if learned.whitening is not None:
        judged = learned.whitening.innovations(judged)
    size, (low, high), relative = spread_size(judged, split, floor)
    if learned.back is None:
        return size, (low, high), relative
    ratio = float(values[:split].std(ddof=1)) / (size / relative if relative else 1.0)
    return size * ratio, (low * ratio, high * ratio), relative


def step_variance(values: Floats) -> float:
    """Variance that the step of recurring readings hides; 0 if none recurs."""
    distinct = np.unique(values)
    return float(np.diff(distinct).min()) ** 2 / 12 if 1 < distinct.size < values.size else 0.0
