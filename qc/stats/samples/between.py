"""Groups measured each by itself, such as workshops: their mean, how far apart they are, who differs.

Every group brings a mean and its standard error. The groups are taken as drawn from many alike: their true
means scatter by `between`, and each measured mean is off its true one by its own error. What stands apart
in a small sample is then mostly its error, so each group is told drawn towards the others, by as much as
its own error asks for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval, as_readings, check_between
from qc.stats.tabled import Tabled

LEAST_GROUPS: Final = 2
NODES: Final = 200
"""Chosen: so many values of the scatter between groups stand for all that it may be; with four times as many
no limit of the thirteen trials in the tests moves by a thousandth of its interval."""

REACH: Final = 3.0
"""Chosen: half of the values lie below so many times the typical distance, the last far beyond it."""

LEAST_ERROR: Final = 1e-6
"""Chosen: no standard error is a smaller share of the largest; the squares would lose their digits."""

HALVINGS: Final = 45  # a limit of an interval to a millionth of a millionth of it
_STEPS: Final = 200  # each doubles what is found, or is nearly there: no scatter needs more


@dataclass(frozen=True, slots=True)
class GroupApart(Tabled):
    """How far one group is from the mean of the groups that were compared.

    Attributes
    ----------
    estimate, error : float
        Its own mean and standard error, as given. [unit of the figures]
    deviation : float
        How far it is from the mean of all groups, each counted alike, drawn towards it. [unit of the figures]
    interval : (float, float)
        Two-sided interval of that.
    kept : float
        Share of its measured deviation that is believed, 0..1.
    """

    estimate: float
    error: float
    deviation: float
    interval: Interval
    kept: float

    @property
    def differs(self) -> bool:
        """Whether the interval leaves 0 out: the group does differ from the others."""
        return self.interval[0] > 0.0 or self.interval[1] < 0.0


@dataclass(frozen=True, slots=True)
class BetweenGroups(Tabled):
    """What groups have in common, and how far they are apart.

    Attributes
    ----------
    mean : float
        Mean of all groups of this sort. [unit of the figures]
    interval : (float, float)
        Two-sided interval of it.
    between : float
        Standard deviation of the groups' true means, >= 0. [unit of the figures]
    between_interval : (float, float)
        Two-sided interval of it.
    p_value : float
        Chance of means as far apart as these where all groups are the same, 0..1.
    confidence : float
        Confidence of every interval.
    groups : tuple of GroupApart
        One for each group, in the order given.
    """

    ROWS = "groups"

    mean: float
    interval: Interval
    between: float
    between_interval: Interval
    p_value: float
    confidence: float
    groups: tuple[GroupApart, ...]


def between_groups(
    estimates: Sequence[float], errors: Sequence[float], *, confidence: float = 0.95
) -> BetweenGroups:
    """Compare groups by their means and standard errors, with random effects.

    The scatter between the groups is the one at which the weighted squares are what they should be [1]_, its
    interval holds every scatter at which they still may be [2]_. The mean's interval is that of Hartung and
    Knapp [3]_, never narrower than its weights say. The groups' own deviations are told over all that the
    scatter may be, each value of it held as likely before anything is measured [4]_. Of two groups nothing
    can be learned about the scatter: their deviations stand as they were measured.

    Parameters
    ----------
    estimates : sequence of float, length k >= 2
        Mean of each group. [any unit]
    errors : sequence of float, length k
        Standard error of each, > 0; taken as known, so let each rest on ten pieces or more. [that unit]
    confidence : float, 0..1
        Confidence of the intervals.

    Raises
    ------
    StatisticsError
        Fewer than two groups, lengths that differ, a figure that is no number, an error that is not above 0,
        or a confidence outside 0..1.

    References
    ----------
    .. [1] Paule and Mandel, "Consensus values and weighting factors", Journal of Research of the National
       Bureau of Standards 87 (1982), 377-385.
    .. [2] Viechtbauer, "Confidence intervals for the amount of heterogeneity in meta-analysis", Statistics
       in Medicine 26 (2007), 37-52: the profile of Q.
    .. [3] Hartung and Knapp, "A refined method for the meta-analysis of controlled clinical trials with
       binary outcome", Statistics in Medicine 20 (2001), 3875-3889.
    .. [4] Gelman, "Prior distributions for variance parameters in hierarchical models", Bayesian Analysis 1
       (2006), 515-534: a flat prior on the standard deviation, of three groups and more.

    Examples
    --------
    >>> found = between_groups([150.0, 152.0, 171.0], [2.0, 2.0, 2.0])
    >>> round(found.mean, 1), round(found.between, 1), [round(one.deviation, 1) for one in found.groups]
    (157.7, 11.4, [-7.6, -5.6, 13.1])
    >>> [one.differs for one in found.groups]
    [True, True, True]
    """
    check_between(confidence, "between groups: confidence")
    means, own = _usable(estimates, errors)
    # of their own scale: neither large figures nor small ones lose digits
    middle, unit = float(np.median(means)), float(own.max())
    y, variance = (means - middle) / unit, (own / unit) ** 2
    freedom = y.size - 1
    tail = 0.5 - confidence / 2.0
    edges = special.chdtri(freedom, np.array([tail, 1.0 - tail]))
    between, low, high = (float(math.sqrt(t)) for t in _scatter(y, variance, np.array([freedom, *edges])))
    weights = 1.0 / (variance + between**2)
    mean = float(weights @ y / weights.sum())
    # where there is scatter the squares are as they should be; without it they may be less by luck alone
    squares = max(float(weights @ (y - mean) ** 2) / freedom, 1.0)
    reach = float(special.stdtrit(freedom, 1.0 - tail)) * math.sqrt(squares / float(weights.sum()))
    alike = _squares(y, variance, np.zeros(1))[0]
    return BetweenGroups(
        middle + unit * mean,
        (middle + unit * (mean - reach), middle + unit * (mean + reach)),
        unit * between,
        (unit * low, unit * high),
        float(special.chdtrc(freedom, alike[0])),
        confidence,
        _apart(y, variance, means, own, unit, between, tail),
    )


def _usable(estimates: Sequence[float], errors: Sequence[float]) -> tuple[Floats, Floats]:
    """Take means and standard errors as arrays; refuse what cannot be compared."""
    means, own = as_readings(estimates, "between groups"), as_readings(errors, "between groups: errors")
    if means.size != own.size:
        raise StatisticsError(
            f"between groups: {means.size} means and {own.size} standard errors; each group needs both"
        )
    if means.size < LEAST_GROUPS:
        raise StatisticsError(f"between groups: {means.size} group; at least {LEAST_GROUPS} are compared")
    if not bool((own > 0.0).all()):
        raise StatisticsError("between groups: a standard error must be above 0")
    if float(own.min()) < LEAST_ERROR * float(own.max()):
        raise StatisticsError(
            f"between groups: standard errors of {own.min():g} and {own.max():g} cannot be those of one "
            "figure; give them in one unit"
        )
    return means, own


def _squares(y: Floats, variance: Floats, scatter: Floats) -> tuple[Floats, Floats]:
    """Return the weighted squares about the weighted mean, and how fast they fall, at each scatter."""
    weights = 1.0 / (variance[:, None] + scatter)
    mean = (weights * y[:, None]).sum(axis=0) / weights.sum(axis=0)
    parts = weights * (y[:, None] - mean) ** 2
    return parts.sum(axis=0), (weights * parts).sum(axis=0)


def _scatter(y: Floats, variance: Floats, wanted: Floats) -> Floats:
    """Return the squared scatter at which the weighted squares are as wanted; 0 where they are less anyway.

    The squares fall with the scatter, ever more slowly, so Newton's steps come from below and never pass it.
    """
    found = np.zeros_like(wanted)
    for _ in range(_STEPS):
        squares, fall = _squares(y, variance, found)
        step = np.where(squares > wanted, (squares - wanted) / np.where(fall > 0.0, fall, 1.0), 0.0)
        found = found + step
        if bool((step <= 1e-13 * found).all()):
            break
    return found


def _levels(y: Floats, variance: Floats, scatter: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return, at each squared scatter, every group's deviation, its variance, what is kept, and the fit.

    The deviation is that from the mean of all groups; the fit is the scatter's likelihood on the log scale.
    """
    k = y.size
    weights = 1.0 / (variance[:, None] + scatter)
    total = weights.sum(axis=0)
    mean = (weights * y[:, None]).sum(axis=0) / total
    off = y[:, None] - mean
    fits = 0.5 * (np.log(weights).sum(axis=0) - np.log(total) - (weights * off**2).sum(axis=0))
    kept = scatter * weights
    level = mean + kept * off
    # given the mean each level is off by its own part alone; what the mean is off goes into all of them
    lent = variance[:, None] * weights
    alone = scatter * lent
    spread = alone * (1.0 - 2.0 / k) + alone.sum(axis=0) / k**2 + (lent - lent.mean(axis=0)) ** 2 / total
    return level - level.mean(axis=0), spread, kept, fits


def _apart(
    y: Floats, variance: Floats, means: Floats, own: Floats, unit: float, between: float, tail: float
) -> tuple[GroupApart, ...]:
    """Return each group's deviation over all that the scatter may be: one value of it would be too sure."""
    k = y.size
    if k == LEAST_GROUPS:  # one distance says nothing of how groups scatter: what was measured stands
        deviations, kept, shares = (y - y.mean())[:, None], np.ones((k, 1)), np.ones(1)
        spreads = (variance * (1.0 - 2.0 / k) + variance.sum() / k**2)[:, None]
    else:
        even = (np.arange(NODES) + 0.5) / NODES
        typical = math.sqrt(1.0 / float((1.0 / variance).mean()) + between**2)
        scatter = REACH * typical * even / (1.0 - even)
        deviations, spreads, kept, fits = _levels(y, variance, scatter**2)
        shares = np.exp(fits - fits.max()) / (1.0 - even) ** 2
        shares /= shares.sum()
    low, high = (_quantile(deviations, np.sqrt(spreads), shares, share) for share in (tail, 1.0 - tail))
    return tuple(
        GroupApart(
            float(means[i]),
            float(own[i]),
            unit * float(deviations[i] @ shares),
            (unit * float(low[i]), unit * float(high[i])),
            float(kept[i] @ shares),
        )
        for i in range(k)
    )


def _quantile(means: Floats, sds: Floats, weights: Floats, share: float) -> Floats:
    """Return, of each row, the value below which this share of its weighed normal parts lies."""
    reach = 1.0 - float(special.ndtri(min(share, 1.0 - share)))
    low, high = (means - reach * sds).min(axis=1), (means + reach * sds).max(axis=1)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        below = special.ndtr((middle[:, None] - means) / sds) @ weights
        low, high = np.where(below < share, middle, low), np.where(below < share, high, middle)
    return np.asarray(high, dtype=np.float64)
