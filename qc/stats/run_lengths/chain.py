"""Run length: how many points a chart shows until its first signal.

Every chart here becomes a chain with a first step and a repeated step, exact (rules) or to many digits by
Gauss-Legendre nodes (EWMA, CUSUM). From the chain come the mean, the sd and all quantiles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy import sparse, special
from scipy.sparse import linalg as sparse_linalg

from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Floats
from qc.stats.tabled import Tabled

_SETTLED = 1e-11  # relative change of the hazard below which the tail is taken as geometric
_SETTLED_STEPS = 12  # chosen: so many in a row, since a hazard can stand still on its way
_ROUNDING = 4.0e-16  # of a ratio of two survivals
_ADDS_UP = 1e-6  # relative: chosen, a hazard that stood still on its way is wrong by far more
_MUCH_LEFT = 1e-3  # share of the mean in the tail from which the mean tells its ratio well: chosen
_MOST_STEPS = 200_000  # chosen: what has not settled by then is taken as geometric all the same
_LONGEST = 1e12  # points: no chart runs as long, and one less its rate has few digits left
_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True, eq=False)
class RunLength(Tabled):
    """Distribution of the number of points up to and with the first signal.

    Attributes
    ----------
    mean : float
        Average run length. [points]
    sd : float
        Its standard deviation. [points]
    survival : ndarray
        Chance of no signal in the first 0, 1, 2, ... points.
    ratio : float
        What the survival is multiplied by at each point beyond those listed.
    states : int
        States of the chain behind it.
    """

    mean: float
    sd: float
    survival: Floats
    ratio: float
    states: int

    def chance_beyond(self, points: int) -> float:
        """Return the chance of no signal within this many points."""
        if points < 0:
            raise StatisticsError(f"run length: {points} points asked for, at least 0 are needed")
        last = self.survival.size - 1
        if points <= last:
            return float(self.survival[points])
        return float(self.survival[last] * self.ratio ** (points - last))

    def quantile(self, share: float) -> int:
        """Return the number of points within which the signal has come with this chance."""
        if not 0.0 < share < 1.0:
            raise StatisticsError(f"run length: quantile {share} asked for, must lie between 0 and 1")
        left = 1.0 - share
        within = np.flatnonzero(self.survival <= left * (1.0 + 1e-13))
        if within.size:
            return int(within[0])
        last = self.survival.size - 1
        if self.ratio <= 0.0:  # the next point signals for certain
            return last + 1
        return last + math.ceil(math.log(left / float(self.survival[-1])) / math.log(self.ratio) - 1e-9)

    def to_dict(self) -> dict[str, object]:
        """Return mean, sd and quantiles as plain values."""
        return {
            "mean": self.mean,
            "sd": self.sd,
            "quantiles": {f"{share:g}": self.quantile(share) for share in _QUANTILES},
        }

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, RunLength):
            return NotImplemented
        same = (self.mean, self.sd, self.ratio) == (other.mean, other.sd, other.ratio)
        return same and np.array_equal(self.survival, other.survival)

    def __hash__(self) -> int:
        return hash((self.mean, self.sd, self.ratio))


class NeverSignals(StatisticsError):
    """The chart signals so rarely that its run length is lost in rounding."""


class TailWatch:
    """Watches a growing survival for the point from which each step multiplies it by the same ratio.

    A hazard can stand still on its way, most of all at 0 while a rule has too few points to signal. So it is
    believed only where what is listed and the tail that follows from it add up to the mean, which is known.
    """

    def __init__(self, mean: float) -> None:
        self._mean = mean
        self._left = mean - 1.0  # of the mean, beyond what is listed; the first survival is 1
        self._watched = 0.0
        self._newest = 1.0
        self._calm = 0

    @property
    def ratio(self) -> float:
        """What the newest survival is multiplied by from here on."""
        # a slow chart's ratio, so near 1 that few of its digits are left, is better told by the mean
        if self._newest > 0.0 and self._left > _MUCH_LEFT * self._mean:
            return self._left / (self._left + self._newest)
        return self._watched

    def settled(self, survival: list[float]) -> bool:
        """Look at the newest value; true once the rest is geometric or too small to matter."""
        self._newest, before = survival[-1], survival[-2]
        self._left -= self._newest
        if self._newest <= 0.0 or before <= 0.0:
            return True
        previous, self._watched = self._watched, self._newest / before
        # the second term: no ratio is known better than the rounding of the two values it is made of
        near = _SETTLED * (1.0 - self._watched) + _ROUNDING
        self._calm = self._calm + 1 if abs(self._watched - previous) <= near else 0
        return self._newest < 1e-14 or (self._calm >= _SETTLED_STEPS and self._adds_up())

    def _adds_up(self) -> bool:
        """Whether the geometric tail by the ratio watched makes up what is left of the mean."""
        hazard = 1.0 - self._watched
        near = _ADDS_UP * (self._newest + self._mean * hazard * _MUCH_LEFT) + _ROUNDING * abs(self._left)
        return abs(self._left * hazard - self._newest * self._watched) <= near


def shewhart_run_length(
    factor: float = 3.0, shift: float = 0.0, *, n: int = 1, sd_ratio: float = 1.0
) -> RunLength:
    """Run length (geometric) of a chart with two limits and no memory, centre and sigma known.

    Parameters
    ----------
    factor : float, > 0
        Limits at this many standard deviations of the plotted mean.
    shift : float
        Shift of the process, in standard deviations of one reading.
    n : int, >= 1
        Readings in a plotted mean.
    sd_ratio : float, > 0
        True standard deviation over the one the limits rest on.

    Raises
    ------
    StatisticsError
        A factor, size or ratio not above 0, or a shift that is not a number.

    References
    ----------
    .. [1] Montgomery and Runger, "Applied Statistics and Probability for Engineers", p. 638: 370 and 43.9.

    Examples
    --------
    >>> round(shewhart_run_length().mean, 2), round(shewhart_run_length(shift=1.0).mean, 2)
    (370.4, 43.89)
    """
    check_process(shift, sd_ratio)
    if not (factor > 0 and n >= 1):
        raise StatisticsError(f"run length: limit factor {factor} and size {n}; both must be above 0")
    away = shift * math.sqrt(n)
    chance = float(special.ndtr((away - factor) / sd_ratio) + special.ndtr((-away - factor) / sd_ratio))
    if chance <= 0.0:
        raise StatisticsError(f"run length: limits at {factor} standard deviations are never crossed")
    return RunLength(1.0 / chance, math.sqrt(1.0 - chance) / chance, np.array([1.0]), 1.0 - chance, 1)


def shewhart_factor(mean_run_length: float) -> float:
    """Limit factor on the sd of a point that gives a chart without memory the wanted in-control run length.

    Parameters
    ----------
    mean_run_length : float, > 1
        Wanted average points to a false signal, centre and sigma known.

    Raises
    ------
    StatisticsError
        A run length outside 1..1e12.

    References
    ----------
    .. [1] Normal quantile of half the rate, 1 / run length.

    Examples
    --------
    >>> round(shewhart_factor(370.398347), 6)
    3.0
    """
    if not 1.0 < mean_run_length <= _LONGEST:
        raise StatisticsError(f"design: wanted run length is {mean_run_length}, must lie between 1 and 1e12")
    return -float(special.ndtri(0.5 / mean_run_length))


def false_alarms(points: float, mean_run_length: float) -> float:
    """Count the false signals to expect in so many points.

    Parameters
    ----------
    points : float, >= 0
        Points judged, over all charts.
    mean_run_length : float, >= 1
        Average points between false signals of one chart.

    Raises
    ------
    StatisticsError
        Negative points or a run length under 1.

    References
    ----------
    .. [1] Renewal argument: one signal in `mean_run_length` points on average.

    Examples
    --------
    >>> round(false_alarms(12 * 150, 370.4), 2)
    4.86
    """
    if not (0 <= points < math.inf and mean_run_length >= 1):
        raise StatisticsError(f"false alarms: {points} points and run length {mean_run_length}")
    return points / mean_run_length


class Steps(Protocol):
    """Chances of going from the row's state to the column's: an array, or a sparse one."""

    @property
    def shape(self) -> tuple[int, ...]:
        """States, twice."""

    def __matmul__(self, other: Any, /) -> Any:
        """Go one step."""


def run_length_of_chain(first: Floats, step: Steps, *, before: Floats | None = None) -> RunLength:
    """Run length of a chain that is left with the first signal.

    Parameters
    ----------
    first : ndarray, shape (states,)
        Chance (or mass at a node) of each state after the last point of `before` without a signal.
    step : ndarray or sparse array, shape (states, states)
        Chance of going from the row's state to the column's without a signal.
    before : ndarray, optional
        Survival after 0, 1, ... points, up to but without the point that `first` stands for; `[1.0]` when
        left out.

    Returns
    -------
    RunLength
        Exact mean and sd; survival until its tail is geometric.

    Raises
    ------
    NeverSignals
        The mean run length is above 1e12, where rounding eats it.

    References
    ----------
    .. [1] Kemeny and Snell, "Finite Markov Chains", 1960: the fundamental matrix (from memory).

    Examples
    --------
    >>> fair_coin = run_length_of_chain(np.array([0.5]), np.array([[0.5]]))
    >>> fair_coin.mean, round(fair_coin.sd, 4), fair_coin.quantile(0.9)
    (2.0, 1.4142, 4)
    """
    head = np.array([1.0]) if before is None else before
    solve = _solver(step)
    waits = solve(np.ones(first.size))
    later = solve(waits)
    start = head.size
    # sum of S_t and of t S_t over all t: the head by hand, the chain by its fundamental matrix
    mean = float(head.sum()) + float(first @ waits)
    weighted = float(np.arange(start) @ head) + float(first @ later) + (start - 1.0) * float(first @ waits)
    variance = 2.0 * weighted + mean - mean * mean
    if not (math.isfinite(mean) and 1.0 - 1e-9 <= mean <= _LONGEST):
        raise NeverSignals("run length: the chart never signals")
    survival, ratio = _survival(first, step, head, mean)
    return RunLength(mean, math.sqrt(max(variance, 0.0)), survival, ratio, first.size)


def check_process(shift: float, sd_ratio: float) -> None:
    """Refuse a shift that is not a number and a spread that is not above 0.

    Parameters
    ----------
    shift : float
        Shift in standard deviations.
    sd_ratio : float
        True over assumed standard deviation.

    Raises
    ------
    StatisticsError
        Either is out of range.

    Examples
    --------
    >>> check_process(0.5, 1.0)
    """
    if not (abs(shift) <= GREATEST and LEAST <= sd_ratio <= GREATEST):
        raise StatisticsError(
            f"run length: shift is {shift} and spread ratio {sd_ratio}; a number and one above 0 are needed"
        )


def _solver(step: Any) -> Any:
    """Solve (I - step) x = b for many b."""
    if sparse.issparse(step):
        return sparse_linalg.splu(sparse.csc_array(sparse.identity(step.shape[0]) - step)).solve
    system = np.eye(step.shape[0]) - step

    def solve(b: Floats) -> Floats:
        """Solve it, unless all chance stays where it is."""
        try:
            return np.asarray(np.linalg.solve(system, b))
        except np.linalg.LinAlgError:
            raise NeverSignals("run length: the chart never signals") from None

    return solve


def _survival(first: Floats, step: Any, head: Floats, mean: float) -> tuple[Floats, float]:
    """Survival point by point until the hazard has settled; then its ratio says the rest."""
    backwards = step.T if not sparse.issparse(step) else sparse.csr_array(step.T)
    listed, tail = list(head), TailWatch(mean - float(head.sum()) + 1.0)
    mass = first
    while len(listed) < _MOST_STEPS:
        listed.append(float(mass.sum()))
        if tail.settled(listed):
            break
        mass = backwards @ mass
    return np.array(listed), tail.ratio
