"""Exact distribution of a sigma estimated from ranges: the mean moving range, or the mean range, over d2.

The density comes from the moment generating function by the inversion integral along a line through (about)
its saddle point, so that it keeps its digits far out in both tails, where run lengths live.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
from scipy import special

from qc.stats.numbers import Floats, d2, d3
from qc.stats.run_lengths.nodes import legendre_from_0
from qc.stats.run_lengths.transfer import Complex, moving_range_log_mgf, range_log_mgf

_DEGREE = 20  # of the interpolation in a panel; the one at 0 is nearly straight
_DEGREE_AT_0 = 6
_EULER = 14  # terms averaged at the end of a series that dies slowly
_LEAST_TERMS = 24  # chosen; with `_EULER` they hold ten digits (tests)
_EDGES = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)  # panels, in true sigma
_FINE = 12.0  # sds about 1 that have panels of their own, when ranges are many
_FAR_OUT = 90.0  # twice the log of 3e-20, a chance that is none
# on every panel; from 30 nodes on the chances no longer change by more than 2e-12 (tried)
_AT, _WEIGHTS = legendre_from_0(80)


class RangeEstimate:
    """Sigma estimated by a mean range over d2, the true sigma being 1.

    Parameters
    ----------
    points : int
        Points (moving ranges of neighbours) or subgroups.
    n : int
        Readings in a subgroup; 1 for the moving range.

    Notes
    -----
    S, the sum of the ranges, is a norm of the readings' differences: its density is s^(order - 1) times an
    entire function of s^2, of which the value at 0 and the course at infinity are known. In between the
    logarithm is interpolated on panels that are made when first asked for.
    """

    def __init__(self, points: int, n: int = 1) -> None:
        self.points, self.n = points, n
        if n == 1:
            self.order, self.spread = points - 1, 4.0 * points - 6.0
            self.unit = self.order * d2(2)
            self._log_mgf = partial(moving_range_log_mgf, points=points)
            # differences have covariance determinant n: their density at 0, times the area of |d| sum 1
            corner = -0.5 * self.order * math.log(2.0 * math.pi) - 0.5 * math.log(points)
            self._corner = corner + self.order * math.log(2.0) - special.gammaln(self.order)
            self._patterns = math.log(2.0)
            variation = moving_range_variation(points)
        else:
            self.order, self.spread = points * (n - 1), 2.0 * points
            self.unit = points * d2(n)
            self._log_mgf = partial(_ranges_log_mgf, points=points, n=n)
            one = math.log(n * (n - 1)) - 0.5 * (n - 1) * math.log(2.0 * math.pi) - 0.5 * math.log(n)
            self._corner = points * (one + special.gammaln(n - 1)) - special.gammaln(self.order)
            self._patterns = points * math.log(n * (n - 1))
            variation = (d3(n) / d2(n)) ** 2 / points
        near = _FINE * math.sqrt(variation)
        own = (1.0 - near, 1.0 + near) if near < 0.5 else ()
        self._edges = np.array(sorted({*_EDGES, *own}))
        self._panels: dict[int, Floats] = {}
        self._masses: dict[int, float] = {}

    @property
    def tail(self) -> float:
        """Give t where the density falls like exp(-t w^2 / 2)."""
        return self.unit**2 / self.spread

    def log_density(self, w: Floats) -> Floats:
        """Log density of the estimate at w > 0."""
        found = np.empty_like(w)
        panel = np.searchsorted(self._edges, w, side="right") - 1
        for number in np.unique(panel):
            here = panel == number
            found[here] = self._on_panel(int(number), w[here])
        return found

    def beyond(self, w: Floats) -> Floats:
        """Chance that the estimate is above w.

        The sum is a Lipschitz function of the readings with constant root of `spread`, so that it lies so far
        from its mean with chance below exp(-distance^2 / 2 spread): what is far out need not be computed.
        """
        found = np.where(w > 1.0, 0.0, 1.0)
        near = (w - 1.0) ** 2 * self.tail < _FAR_OUT
        panel = np.searchsorted(self._edges, w, side="right") - 1
        for number in np.unique(panel[near]):
            here = near & (panel == number)
            found[here] = self._above(int(number), w[here])
        return found

    def _above(self, number: int, w: Floats) -> Floats:
        """Chance above points of one panel: the rest of it and all panels further out."""
        last = self._edges.size - 1
        if number >= last:
            log = self._patterns + special.log_ndtr(-w * self.unit / math.sqrt(self.spread))
            return np.asarray(np.exp(log))
        gap = self._edges[number + 1] - w
        at = w[:, None] + gap[:, None] * _AT
        rest = gap * (np.exp(self._on_panel(number, at.ravel()).reshape(at.shape)) @ _WEIGHTS)
        for further in range(number + 1, last + 1):
            if self._edges[further] > 1.0 and (self._edges[further] - 1.0) ** 2 * self.tail > _FAR_OUT:
                break
            rest = rest + self._mass(further)
        return np.asarray(rest)

    def _mass(self, number: int) -> float:
        """Chance of a whole panel."""
        if number not in self._masses:
            edge = self._edges[number : number + 1]
            if number == self._edges.size - 1:
                self._masses[number] = float(self._above(number, edge)[0])
            else:
                gap = self._edges[number + 1] - edge[0]
                self._masses[number] = float(
                    gap * _WEIGHTS @ np.exp(self._on_panel(number, edge[0] + gap * _AT))
                )
        return self._masses[number]

    def _on_panel(self, number: int, w: Floats) -> Floats:
        """Log density at points of one panel."""
        if number == self._edges.size - 1:
            # only the patterns of greatest variance are left: each is one normal
            z = w * self.unit
            log = self._patterns - 0.5 * z * z / self.spread - 0.5 * math.log(2.0 * math.pi * self.spread)
            return np.asarray(log + math.log(self.unit))
        if number not in self._panels:
            self._panels[number] = self._fit(number)
        low, high = self._edges[number] ** 2, self._edges[number + 1] ** 2
        place = (2.0 * w * w - low - high) / (high - low)
        smooth = np.polynomial.chebyshev.chebval(place, self._panels[number])
        return np.asarray(smooth + (self.order - 1) * np.log(w * self.unit) + math.log(self.unit))

    def _fit(self, number: int) -> Floats:
        """Chebyshev coefficients of log density less its power of s, in the square of w."""
        low, high = self._edges[number] ** 2, self._edges[number + 1] ** 2
        degree = _DEGREE if number else _DEGREE_AT_0
        place = -np.cos(np.pi * np.arange(degree + 1) / degree)
        s = self.unit * np.sqrt(np.maximum((low + high + (high - low) * place) / 2.0, 0.0))
        values = np.full(s.size, self._corner)
        inside = s > 0.0
        values[inside] = self._log_density_of_sum(s[inside]) - (self.order - 1) * np.log(s[inside])
        return np.asarray(np.polynomial.chebyshev.chebfit(place, values, degree))

    def _log_density_of_sum(self, s: Floats) -> Floats:
        """Invert the moment generating function at each s."""
        saddle, sd = self._saddles(s)
        # few ranges: the line is moved left, or the density's copies at 3 s, 5 s, ... would be seen
        line = saddle - max(0.0, 26.0 - self.order) / (2.0 * s)
        binomial = np.array([math.comb(_EULER, j) for j in range(_EULER + 1)]) / 2.0**_EULER
        found = np.empty_like(s)
        for i in range(s.size):
            # the tilted density is about normal: beyond 8.5 of its sds terms are below a double's last digit
            terms = max(math.ceil(8.5 * s[i] / (sd[i] * math.pi)), _LEAST_TERMS) + _EULER + 1
            k = np.arange(terms)
            scale, mantissa = self._log_mgf(line[i] + 1j * k * (math.pi / s[i]))
            series = (-1.0) ** k * (mantissa * np.exp(scale - scale[0])).real
            series[0] /= 2.0
            total = float(np.cumsum(series)[-_EULER - 1 :] @ binomial)
            found[i] = math.log(total / s[i]) + scale[0] - line[i] * s[i]
        return found

    def _saddles(self, s: Floats) -> tuple[Floats, Floats]:
        """Where the log moment generating function has slope s, and the root of its curvature there."""
        # the log has slope about order / |theta| far to the left and spread * theta far to the right: the
        # ends of the search lie a little beyond
        least, most = -1.3 * self.order / float(s.min()) - 1.0, 1.2 * float(s.max()) / self.spread + 1.0
        theta = np.concatenate([-np.geomspace(-least, 1e-2, 40), np.linspace(0.0, most, 24)])
        log = np.concatenate([self._log_of_real(part) for part in np.array_split(theta, 8)])
        slope, middle = np.diff(log) / np.diff(theta), (theta[1:] + theta[:-1]) / 2.0
        curvature = np.diff(slope) / np.diff(middle)
        return (
            np.interp(s, slope, middle),
            np.sqrt(np.interp(s, (slope[1:] + slope[:-1]) / 2.0, curvature)),
        )

    def _log_of_real(self, theta: Floats) -> Floats:
        """Log of the moment generating function at real arguments."""
        scale, mantissa = self._log_mgf(theta)
        return np.asarray(scale + np.log(mantissa))


@lru_cache(maxsize=64)
def range_estimate(points: int, n: int = 1) -> RangeEstimate:
    """Give the estimate's distribution, made once.

    Parameters
    ----------
    points, n
        As `RangeEstimate`.

    Examples
    --------
    >>> two = range_estimate(2)  # one moving range: |N(0, 2)| over d2
    >>> round(float(two.beyond(np.array([1.0]))[0]), 6)
    0.424937
    """
    return RangeEstimate(points, n)


def moving_range_variation(points: int) -> float:
    """Variance of the mean moving range over its squared mean, neighbours sharing a point. [1].

    Parameters
    ----------
    points : int, >= 2
        Points.

    References
    ----------
    .. [1] From the bivariate normal: E|XY| = (2/pi) var (sqrt(1 - rho^2) + rho asin rho), rho = -1/2.

    Examples
    --------
    >>> round(moving_range_variation(2), 6) == round(math.pi / 2 - 1, 6)
    True
    """
    ranges = points - 1
    mean = 2.0 / math.sqrt(math.pi)
    variance = 2.0 - mean**2
    product = (4.0 / math.pi) * (math.sqrt(0.75) + 0.5 * math.asin(0.5))
    covariance = product - mean**2
    total = variance / ranges + 2.0 * (ranges - 1) * covariance / ranges**2
    return total / mean**2


def _ranges_log_mgf(zeta: Complex, points: int, n: int) -> tuple[Floats, Complex]:
    """Mean of exp(zeta S) for the sum of independent ranges."""
    scale, mantissa = range_log_mgf(zeta, n)
    size = np.abs(mantissa)
    return points * (scale + np.log(size)), (mantissa / size) ** points
