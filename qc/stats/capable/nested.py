"""Capability where pieces have several readings: spread within, between and in all, kept apart.

Four readings along each of twenty-five tubes are no hundred independent readings: the mean and the spread are
worth little more than the twenty-five. Figures are those of single readings; their intervals, the verdict and
the least number of pieces count what the readings are worth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from qc.stats.capable.basis import UNSTABLE, Basis
from qc.stats.capable.figures import capability_many
from qc.stats.capable.result import Capability, Limits
from qc.stats.capable.spread import Spread
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, as_readings

SPREADS = ("within", "between", "total")


@dataclass(frozen=True, slots=True)
class Nest:
    """How readings lie in pieces: what a table of variance says of them.

    Attributes
    ----------
    pieces, readings : int
        How many. [count]
    size : float
        Readings a piece, as the expected mean square between weighs them. [count]
    squares : float
        Sum of squared sizes over the squared number of readings: 1 / pieces for equal sizes. [1]
    between_ms, within_ms : float
        Mean squares; `within_ms` NaN where no piece has two readings. [square of the unit]
    """

    pieces: int
    readings: int
    size: float
    squares: float
    between_ms: float
    within_ms: float

    @property
    def variances(self) -> tuple[float, float]:
        """Return the components within and between, the latter not below 0; within NaN when unknown."""
        if math.isnan(self.within_ms):
            return math.nan, self.between_ms
        return self.within_ms, max((self.between_ms - self.within_ms) / self.size, 0.0)


@dataclass(frozen=True, slots=True)
class Worth:
    """Independent readings that nested ones are worth to the mean, and degrees of freedom to the sd."""

    mean_n: float
    sd_df: float


def nested_capability(
    values: ArrayLike,
    piece: ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    wanted: float = 1.0,
    confidence: float = 0.95,
    stable: bool = True,
    unstable_because: str = UNSTABLE,
    resolution: float | None = None,
    gauge_sd: float | None = None,
) -> Capability:
    """Capability from several readings a piece, with the spread within and between pieces kept apart.

    Parameters
    ----------
    values : array_like of float, length n
        Readings. [unit of the characteristic]
    piece : array_like, length n
        Piece that a reading is of.
    lower, upper, target, wanted, confidence, stable, unstable_because, resolution, gauge_sd
        As `capability`.

    Returns
    -------
    Capability
        `n` counts pieces. Cp and Cpk use the total of the components, Pp and Ppk the sample sd of all
        readings. `spread` holds the sds within, between and in all with the Cp and Cpk by each: what would be
        left if only that spread were there. With `gauge_sd` also `gauge`.

    Raises
    ------
    StatisticsError
        As `capability`, labels that are not as many as readings, or fewer than two pieces.

    Notes
    -----
    One-way random model: total variance = within + between, estimated from the mean squares, between not
    below 0. Var(mean) = between * sum n_i^2 / n^2 + within / n; the degrees of freedom of the sd are
    Satterthwaite's. Bounds are those of single readings with these in the place of n and n - 1.

    References
    ----------
    .. [1] ISO 22514-1 and -2 tell the spread of single readings from that between pieces (pattern, from
       memory); components and degrees of freedom: Searle, Casella and McCulloch, "Variance Components",
       1992 (from memory; coverage simulated in the tests).

    Examples
    --------
    >>> means = np.tile([10.0, 10.3, 9.8, 10.1, 9.9], 5)
    >>> readings = (means[:, None] + [-0.05, 0.0, 0.05]).ravel()
    >>> found = nested_capability(readings, np.repeat(np.arange(25), 3), lower=9.0, upper=11.0)
    >>> found.n, round(found.spread.within, 3), round(found.spread.between, 3), round(found.spread.total, 3)
    (25, 0.05, 0.173, 0.18)
    >>> [round(x, 2) for x in found.ppk_interval]
    [1.31, 2.36]
    """
    readings = as_readings(values, "capability: value", least=2)
    labels = np.asarray(piece)
    if labels.shape != readings.shape:
        raise StatisticsError(
            f"capability: {readings.size} readings and {labels.size} labels: each reading needs its piece"
        )
    nest = nest_of(readings, labels)
    (found,) = capability_many(
        [readings],
        [_basis(readings, nest, stable, unstable_because)],
        lower=lower,
        upper=upper,
        target=target,
        wanted=wanted,
        confidence=confidence,
        resolution=resolution,
        gauge_sd=gauge_sd,
    )
    spread = spread_by(Limits(lower, upper, target), float(readings.mean()), *nest.variances)
    return beside(found, spread, nest.readings - nest.pieces)


def nest_of(readings: Floats, piece: NDArray[np.generic]) -> Nest:
    """Mean squares between and within pieces.

    Parameters
    ----------
    readings : ndarray, length n
        Finite readings. [unit]
    piece : ndarray, length n
        Piece of each reading.

    Raises
    ------
    StatisticsError
        Fewer than two pieces.

    Examples
    --------
    >>> nest = nest_of(np.array([1.0, 2.0, 3.0, 2.0, 3.0, 4.0]), np.repeat([1, 2], 3))
    >>> nest.pieces, round(nest.between_ms, 6), nest.within_ms
    (2, 1.5, 1.0)
    """
    _, code = np.unique(piece.astype(str) if piece.dtype == object else piece, return_inverse=True)
    sizes = np.bincount(code).astype(np.float64)
    k, n = sizes.size, readings.size
    if k < 2:
        raise StatisticsError(f"capability: {k} piece given, at least 2 are needed to tell their spread")
    away = readings - readings[0]  # a large common offset then costs no digits
    means = np.bincount(code, weights=away) / sizes
    grand = float(away.mean())
    between = float(sizes @ (means - grand) ** 2) / (k - 1)
    inside = float(np.sum((away - means[code]) ** 2)) / (n - k) if n > k else math.nan
    square = float(sizes @ sizes)
    return Nest(k, n, (n - square / n) / (k - 1), square / n**2, between, inside)


def worth(nest: Nest, within: float, between: float, seen: float, between_df: float | None = None) -> Worth:
    """Tell what nested readings are worth to the mean and to a sd.

    Parameters
    ----------
    nest : Nest
        Numbers of pieces and readings.
    within, between : float
        Components of variance. [square of the unit]
    seen : float, > 0
        Variance whose sd is asked about: that of the sample, or the total of the components. [same unit]
    between_df : float, optional
        Degrees of freedom of the spread of piece means, pieces - 1 when left out.

    References
    ----------
    .. [1] Satterthwaite, Biometrics Bulletin 2, 1946 (from memory; simulated in the tests).

    Examples
    --------
    >>> nest = Nest(25, 100, 4.0, 0.04, 5.0, 1.0)
    >>> found = worth(nest, within=1.0, between=1.0, seen=2.0)
    >>> round(found.mean_n, 1), round(found.sd_df, 1)
    (40.0, 55.1)
    """
    mean = between * nest.squares + within / nest.readings
    of_means = between + within / nest.size
    doubt = of_means**2 / (nest.pieces - 1 if between_df is None else between_df)
    if nest.readings > nest.pieces:
        doubt += (within * (1.0 - 1.0 / nest.size)) ** 2 / (nest.readings - nest.pieces)
    return Worth(mean_n=seen / mean, sd_df=seen**2 / doubt)


def spread_by(limits: Limits, mean: float, within: float, between: float, of: str = "pieces") -> Spread:
    """Sds within, between and in all, with the Cp and Cpk that each alone would give.

    Parameters
    ----------
    limits : Limits
        Specification limits. [unit]
    mean : float
        Mean of the readings. [unit]
    within, between : float
        Components of variance, within NaN where unknown. [square of the unit]
    of : str
        `pieces` or `subgroups`.

    Examples
    --------
    >>> spread_by(Limits(-3.0, 3.0), 0.0, 0.16, 0.09).cpk["total"]
    2.0
    """
    known = 0.0 if math.isnan(within) else within
    variances = {"within": within, "between": between, "total": known + between}
    cp: dict[str, float | None] = {}
    cpk: dict[str, float | None] = {}
    for name, variance in variances.items():
        usable = variance > 0.0  # NaN is not
        cp[name] = limits.width_over(math.sqrt(variance)) if usable else None
        cpk[name] = limits.nearest_over(mean, math.sqrt(variance)) if usable else None
    inside = None if math.isnan(within) else math.sqrt(within)
    return Spread(inside, math.sqrt(between), math.sqrt(known + between), cp, cpk, of)


def beside(found: Capability, spread: Spread, within_df: int) -> Capability:
    """Put the spread beside the figures; where those are withheld it keeps its sds only.

    Parameters
    ----------
    found : Capability
        Figures without the spread.
    spread : Spread
        Spread within, between and in all.
    within_df : int
        Degrees of freedom of the spread within. [count]

    Returns
    -------
    Capability
        With `spread`, and with the gauge's share of the spread within in `gauge`.
    """
    if found.reason is not None:
        none: dict[str, float | None] = dict.fromkeys(SPREADS)
        spread = replace(spread, cp=none, cpk=none)
    gauge = found.gauge
    if gauge is not None and gauge.reason is None and spread.within:
        share = (gauge.sd / spread.within) ** 2
        least = float(special.chdtri(within_df, 0.95)) / within_df  # variance seen over true, 1 time in 20
        gauge = replace(gauge, share_of_within=share, of=spread.of, doubtful=share * least > 1.0)
    return replace(found, spread=spread, gauge=gauge)


def _basis(readings: Floats, nest: Nest, stable: bool, unstable_because: str) -> Basis:
    """Say what the readings are worth, and take the total of the components as the sigma of Cp and Cpk."""
    basis = Basis(stable=stable, unstable_because=unstable_because, pieces=nest.pieces)
    within, between = nest.variances
    total = within + between
    if not total > 0.0:  # NaN where no piece has two readings: each is then a piece of its own
        return basis
    # Pp and Ppk rest on the sample sd, Cp and Cpk on the sum of the components: each has its own worth
    parts = worth(nest, within, between, float(np.var(readings, ddof=1)))
    own = worth(nest, within, between, total)
    return replace(basis, sigma=math.sqrt(total), sigma_df=own.sd_df, mean_n=parts.mean_n, sd_df=parts.sd_df)
