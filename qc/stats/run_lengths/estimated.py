"""What estimated limits do to a chart without memory: the run length becomes a lottery, with known odds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Floats, covering_radii, tolerance_factor
from qc.stats.run_lengths.nodes import legendre_from_0
from qc.stats.run_lengths.sigma import SigmaDistribution, sigma_distribution
from qc.stats.tabled import Tabled

# on every part of the range; 60 nodes already agree with 400 to 1e-12 (tried), the rest
# is for sharper densities
_NODES, _WEIGHTS = legendre_from_0(120)
_REACH = 9.0  # standard errors of the centre: beyond lie 2e-19 of its distribution
_BREAKS = (1.25, 2.5, 5.0, 10.0, 25.0, 60.0, 150.0)  # parts of sigma's range that have nodes of their own
_NEGLIGIBLE = 42.0  # e^-42 of the greatest value is left out
LONGEST = 1e14  # a run length beyond is a rate that the content 1 - rate can no longer hold
_LEAST_FACTOR, _GREATEST_FACTOR = 0.01, 40.0  # chosen: nobody draws limits beyond these
_NEAREST, _FURTHEST = 1e-4, 1e4  # sigma is looked for between these, the true one being 1


@dataclass(frozen=True, slots=True)
class EstimatedLimits(Tabled):
    """Run length of a chart over all sets of limits that such a baseline could have given.

    Attributes
    ----------
    points : int
        Plotted points of the baseline.
    factor : float
        Limit factor on the estimated sigma.
    shift : float
        Shift, in standard deviations of a plotted point.
    average_run_length : float
        Mean over baselines of the average run length; infinite when the baseline is too small for it.
    sd_between_baselines : float
        Standard deviation of the average run length from baseline to baseline; infinite likewise.
    sd_run_length : float
        Standard deviation of the run length, baseline unknown; infinite likewise.
    signal_rate : float
        Mean chance of a signal per point, 0..1.
    sigma : SigmaDistribution
        Distribution of the sigma estimate.
    """

    points: int
    factor: float
    shift: float
    average_run_length: float
    sd_between_baselines: float
    sd_run_length: float
    signal_rate: float
    sigma: SigmaDistribution

    def chance_under(self, run_length: float) -> float:
        """Return the chance that the limits drawn have a true in-control run length under this one."""
        _check_run_length(run_length, "run length")
        return 1.0 - _kept(self.points, self.factor, run_length, self.sigma)

    def run_length_quantile(self, share: float) -> float:
        """Return the in-control run length that this share of baselines stays under; infinite above 1e14."""
        if not 0.0 < share < 1.0:
            raise StatisticsError(f"estimated limits: quantile {share} asked for, must lie between 0 and 1")
        if self.chance_under(LONGEST) < share:
            return math.inf
        low, high = -30.0, math.log(LONGEST - 1.0)
        if self.chance_under(1.0 + math.exp(low)) >= share:
            return 1.0
        log = optimize.brentq(lambda x: self.chance_under(1.0 + math.exp(x)) - share, low, high, xtol=1e-11)
        return 1.0 + math.exp(float(log))

    def to_dict(self) -> dict[str, object]:
        """Return plain values; an infinite one is None."""
        return {name: value for name, value in Tabled.to_dict(self).items() if name != "sigma"}


def estimated_limits(
    points: int, *, n: int = 1, factor: float = 3.0, shift: float = 0.0, estimator: str = "sd"
) -> EstimatedLimits:
    """Effect of limits estimated from a baseline, centre and sigma both unknown.

    Parameters
    ----------
    points : int, >= 2
        Plotted points of the baseline: pieces, or subgroups.
    n : int, >= 1
        Readings in a plotted point.
    factor : float, > 0
        Limits at this many estimated standard deviations.
    shift : float
        Shift of the process afterwards, in standard deviations of a plotted point.
    estimator : {"sd", "sd-unbiased", "moving-range", "range"}
        Sample or pooled sd; the same over c4; mean moving range over d2 (n = 1); mean range over d2 (n > 1).

    Returns
    -------
    EstimatedLimits
        Averages over baselines, with the odds of any run length.

    Raises
    ------
    StatisticsError
        Too few points, or a size or factor out of range.
    StatisticsUsageError
        An estimator that does not exist or does not go with `n`.

    Notes
    -----
    The centre and sigma of a normal baseline are independent (for ranges by Basu's theorem), so that all
    averages are double integrals over their two distributions, exact here: a chi for the sds, the inverted
    moment generating function for the ranges. Far out in sigma the average run length grows like
    exp(factor^2 w^2 / 2), so that its mean over baselines exists only if sigma's density falls faster:
    factor^2 < `sigma.tail`. At three sigma that is from 11 points on for the sd of single readings, from 29
    for the moving range; its spread between baselines exists from 20 and from 58 points on.

    References
    ----------
    .. [1] Quesenberry, "The effect of sample size on estimated limits for X-bar and X control charts",
       Journal of Quality Technology 25, 1993; Jensen et al., ibid. 38, 2006 (method).

    Examples
    --------
    >>> few = estimated_limits(30, estimator="sd")
    >>> round(few.average_run_length, 1), round(few.signal_rate, 5), round(few.chance_under(100), 2)
    (885.8, 0.00621, 0.18)
    """
    if not (
        2 <= points <= GREATEST
        and 1 <= n <= GREATEST
        and _LEAST_FACTOR <= factor <= _GREATEST_FACTOR
        and abs(shift) <= _FURTHEST
    ):
        raise StatisticsError(
            f"estimated limits: {points} points of {n}, factor {factor}, shift {shift}; at least 2 points, "
            f"1 reading each, a factor of {_LEAST_FACTOR:g} to {_GREATEST_FACTOR:g} and a shift are needed"
        )
    sigma = sigma_distribution(points, n=n, estimator=estimator)
    average = square = math.inf
    if sigma.tail > factor**2:
        average = _expectation(points, factor, shift, sigma, 1)
    if sigma.tail > 2.0 * factor**2:
        square = _expectation(points, factor, shift, sigma, 2)
    finite = math.isfinite(square)
    return EstimatedLimits(
        points=points,
        factor=factor,
        shift=shift,
        average_run_length=average,
        sd_between_baselines=math.sqrt(max(square - average**2, 0.0)) if finite else math.inf,
        sd_run_length=math.sqrt(max(2.0 * square - average - average**2, 0.0)) if finite else math.inf,
        signal_rate=_expectation(points, factor, shift, sigma, -1),
        sigma=sigma,
    )


def guaranteed_run_length_factor(
    points: int, run_length: float, confidence: float = 0.90, *, n: int = 1, estimator: str = "sd"
) -> float:
    """Factor on a point's estimated sd with which most baselines keep a wanted in-control run length.

    Parameters
    ----------
    points, n, estimator
        As `estimated_limits`.
    run_length : float, > 1
        Wanted average points to a false signal.
    confidence : float, 0 < confidence < 1
        Share of baselines whose limits keep it.

    Raises
    ------
    StatisticsError, StatisticsUsageError
        As `estimated_limits`, or a run length or confidence out of range.

    References
    ----------
    .. [1] Goedhart, Schoonhoven and Does, "Guaranteed in-control performance for the Shewhart X and X-bar
       control charts", Journal of Quality Technology 49, 2017 (method; the distribution is exact here).

    Examples
    --------
    >>> round(guaranteed_run_length_factor(30, 370.4), 3)
    3.694
    >>> round(guaranteed_run_length_factor(30, 370.4, estimator="moving-range"), 3)
    3.857
    """
    _check_run_length(run_length, "wanted run length")
    sigma = sigma_distribution(points, n=n, estimator=estimator)
    # the factor of the sd is a start near enough; ranges know less, so the bracket is widened from it
    df = points - 1 if n == 1 else points * (n - 1)
    start = tolerance_factor(points, 1.0 - 1.0 / run_length, confidence, df=df)

    def gap(log_factor: float) -> float:
        """Share of baselines that keep the run length, less the wanted share."""
        return _kept(points, math.exp(log_factor), run_length, sigma) - confidence

    middle, reach = math.log(start), 0.25
    while gap(middle - reach) > 0.0 or gap(middle + reach) < 0.0:
        reach *= 2.0
    return math.exp(float(optimize.brentq(gap, middle - reach, middle + reach, xtol=1e-13)))


def _check_run_length(run_length: float, name: str) -> None:
    """Refuse a run length that no content can hold."""
    if not 1.0 < run_length <= LONGEST:
        raise StatisticsError(
            f"estimated limits: {name} is {run_length}, must be above 1 and at most {LONGEST:g}"
        )


def _kept(points: int, factor: float, run_length: float, sigma: SigmaDistribution) -> float:
    """Share of baselines whose in-control run length is at least this one."""
    radius, weight = covering_radii(points, 1.0 - 1.0 / run_length)
    return float(weight @ sigma.beyond(radius / factor))


def _expectation(points: int, factor: float, shift: float, sigma: SigmaDistribution, power: int) -> float:
    """Mean over baselines of (average run length) ** power, by quadrature over the errors of both.

    Far out in sigma the run length grows like exp(factor^2 w^2 / 2); the range of w follows that growth.
    """
    w, w_weight = _sigma_nodes(sigma, max(power, 0) * factor**2)
    z, z_weight = _center_nodes(shift * math.sqrt(points))
    off = z / math.sqrt(points) - shift
    reach = factor * w[:, None]
    log_signal = np.logaddexp(special.log_ndtr(-reach - off), special.log_ndtr(-reach + off))
    log_weight = sigma.log_density(w)[:, None] - 0.5 * z * z - 0.5 * math.log(2.0 * math.pi)
    return float(w_weight @ np.exp(log_weight - power * log_signal) @ z_weight)


def _sigma_nodes(sigma: SigmaDistribution, growth: float) -> tuple[Floats, Floats]:
    """Nodes and weights over sigma for its density times a function that grows like exp(growth w^2 / 2)."""

    def size(w: float) -> float:
        """Log of density times growth."""
        return float(sigma.log_density(np.array([w]))[0]) + 0.5 * growth * w * w

    top, most, ends = 1.0, size(1.0), []
    for ratio in (1.04, 1.0 / 1.04):
        w, value = 1.0, size(1.0)
        while value >= most - _NEGLIGIBLE and _NEAREST < w < _FURTHEST:
            w *= ratio
            value = size(w)
            if value > most:
                top, most = w, value
        ends.append(w)
    high, low = ends[0], ends[1] if ends[1] > _NEAREST else 0.0
    edges = [low, *(top * b for b in _BREAKS if low < top * b < high), high]
    nodes = [a + (b - a) * _NODES for a, b in zip(edges, edges[1:], strict=False)]
    weights = [(b - a) * _WEIGHTS for a, b in zip(edges, edges[1:], strict=False)]
    return np.concatenate(nodes), np.concatenate(weights)


def _center_nodes(kink: float) -> tuple[Floats, Floats]:
    """Nodes over the error of the centre, dense where it makes good for the shift."""
    middle = min(max(kink, -_REACH), _REACH)
    parts = [(end - middle) for end in (-_REACH, _REACH) if end != middle]
    nodes = [middle + part * _NODES**2 for part in parts]
    weights = [abs(part) * 2.0 * _NODES * _WEIGHTS for part in parts]
    return np.concatenate(nodes), np.concatenate(weights)
