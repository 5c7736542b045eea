"""Capability where pieces have several readings: spread within, between and in all, kept apart.

Four readings along each of twenty-five tubes are no hundred independent readings: the mean and the spread are
worth little more than the twenty-five. Figures are those of single readings; their intervals, the verdict and
the least number of pieces count what the readings are worth.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from qc.stats.capable.basis import UNSTABLE, Basis
from qc.stats.capable.figures import SEED, capability_many
from qc.stats.capable.nest import Nest, nest_of, worth
from qc.stats.capable.result import Capability, Limits
from qc.stats.capable.shape import check_shape
from qc.stats.capable.spread import Spread
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, as_readings

SPREADS = ("within", "between", "total")


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
    shape: str = "normal",
    resolution: float | None = None,
    gauge_sd: float | None = None,
    seed: int = SEED,
) -> Capability:
    """Capability from several readings a piece, with the spread within and between pieces kept apart.

    Parameters
    ----------
    values : array_like of float, length n
        Readings. [unit of the characteristic]
    piece : array_like, length n
        Piece that a reading is of.
    lower, upper, target, wanted, confidence, stable, unstable_because, shape, resolution, gauge_sd, seed
        As `capability`.

    Returns
    -------
    Capability
        `n` counts pieces. Cp and Cpk use the total of the components, Pp and Ppk the sample sd of all
        readings. `spread` holds the sds within, between and in all with the Cp and Cpk by each: what would be
        left if only that spread were there. With `gauge_sd` also `gauge`. Of a shape that is not normal what
        the readings are worth is counted on its scale (`qc.stats.capable.shape`).

    Raises
    ------
    StatisticsError
        As `capability`, labels that are not as many as readings, or fewer than two pieces.

    Notes
    -----
    One-way random model from the mean squares, between not below 0. Var(mean) = between * sum n_i^2 / n^2 +
    within / n; the degrees of freedom of the sd are Satterthwaite's. These stand in the place of n and n - 1.

    References
    ----------
    .. [1] ISO 22514-1 and -2 tell these spreads apart (pattern); components and degrees of freedom: Searle,
       Casella and McCulloch, "Variance Components", 1992 (from memory; coverage simulated in the tests).

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
    labels = _labels(readings, piece)
    check_shape(readings, shape)
    nest = nest_of(readings, labels)
    basis = replace(_basis(readings, nest, stable, unstable_because), piece=labels)
    (found,) = capability_many(
        [readings],
        [basis],
        lower=lower,
        upper=upper,
        target=target,
        wanted=wanted,
        confidence=confidence,
        shape=shape,
        resolution=resolution,
        gauge_sd=gauge_sd,
        seed=seed,
    )
    spread = spread_by(Limits(lower, upper, target), float(readings.mean()), *nest.variances)
    return beside(found, spread, nest.readings - nest.pieces)


def _labels(readings: Floats, piece: ArrayLike) -> NDArray[np.int64]:
    """Give each piece a number, in the order of their names."""
    labels = np.asarray(piece)
    if labels.shape != readings.shape:
        raise StatisticsError(
            f"capability: {readings.size} readings and {labels.size} labels: each reading needs its piece"
        )
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


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
