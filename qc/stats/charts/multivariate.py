"""Charts for several figures at once: Hotelling's T2 and the multivariate EWMA.

They are a screen: one number says that something is odd, the decomposition says which figures made it so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, chdtri, fdtri

from qc.plain import JsonObject
from qc.stats.charts.chart import Chart, Signal
from qc.stats.charts.count_limits import LEAST_RATE
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers import LIMIT, SLACK, THREE_SIGMA_RATE, Baseline, Floats, as_floats, check_magnitude
from qc.stats.run_lengths import mewma_limit
from qc.words import count_words

ALL_POINTS = Baseline()
ROUNDING = 1e-15  # chosen: some machine epsilons, what a change of unit may leave
MOST_POINTS = 10**9  # beyond it the quantiles lose their digits


def phase_one_limit(figures: int, points: int, rate: float = THREE_SIGMA_RATE) -> float:
    """Limit of T2 for points that take part in the mean and covariance they are judged by.

    Parameters
    ----------
    figures : int
        Number of figures p.
    points : int
        Number of points m, above p + 1.
    rate : float
        False-alarm rate per point.

    Returns
    -------
    float
        (m - 1)^2 / m times a quantile of the beta distribution with p/2 and (m - p - 1)/2. [T2]

    Raises
    ------
    StatisticsError
        Too few points, or a rate outside 0..1.

    References
    ----------
    .. [1] Tracy, Young & Mason, "Multivariate control charts for individual observations", J. Quality
       Technology 24 (1992).

    Examples
    --------
    >>> round(phase_one_limit(2, 30), 3)
    9.945
    """
    _check_sizes(figures, points, rate)
    quantile = float(betaincinv(figures / 2, (points - figures - 1) / 2, 1 - rate))
    return (points - 1) ** 2 / points * quantile


def phase_two_limit(figures: int, points: int, rate: float = THREE_SIGMA_RATE) -> float:
    """Limit of T2 for a new point judged by mean and covariance of `points` earlier ones.

    Asked as `phase_one_limit`, errors and source too: p (m + 1)(m - 1) / (m^2 - m p) times a quantile of F
    with p and m - p degrees of freedom. [T2]

    Examples
    --------
    >>> round(phase_two_limit(3, 30, 0.005), 3)
    17.851
    """
    _check_sizes(figures, points, rate)
    p, m = figures, points
    return p * (m + 1) * (m - 1) / (m * m - m * p) * float(fdtri(p, m - p, 1 - rate))


def t2(
    values: ArrayLike,
    names: Sequence[str] | None = None,
    baseline: Baseline = ALL_POINTS,
    rate: float = THREE_SIGMA_RATE,
) -> Chart:
    """Hotelling's T2 chart of single pieces with several figures each.

    Parameters
    ----------
    values : array-like of float, shape (n, p)
        Pieces in order of making, one column per figure. [each its own unit]
    names : sequence of str, length p, optional
        Names of the figures.
    baseline : Baseline
        Points that set mean and covariance; they have the phase I limit, all others the phase II limit.
    rate : float
        False-alarm rate per point.

    Returns
    -------
    Chart
        T2 of every point. `extras` holds for each signal how much of T2 goes when one figure is left out.

    Raises
    ------
    StatisticsError
        Too few points, figures that depend on one another, or a value that is not finite.

    References
    ----------
    .. [1] Tracy, Young & Mason, J. Quality Technology 24 (1992).
    .. [2] Runger, Alt & Montgomery, "Contributors to a multivariate SPC chart signal", Communications in
       Statistics 25 (1996): the decomposition.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> chart = t2(np.vstack([rng.normal(size=(30, 2)), [[5.0, -5.0]]]), baseline=Baseline(1, 30))
    >>> chart.signals[-1].point
    31
    """
    matrix, labels = _matrix(values, names)
    n, p = matrix.shape
    part = baseline.select(n)
    mean, covariance, m = _estimates(matrix[part], p)
    deviation = matrix - mean
    inside = np.zeros(n, dtype=bool)
    inside[part] = True
    first, second = phase_one_limit(p, m, rate), phase_two_limit(p, m, rate)
    uppers = np.where(inside, first, second)
    middle = p * (m - 1) / m  # mean of T2 over the baseline, exactly
    chart = _chart("t2", middle, uppers, deviation, covariance, labels, m)
    if inside.all() or not inside.any():
        return replace(chart, upper=first)
    return replace(chart, upper=second, lowers=np.zeros(n), uppers=uppers)


def t2_of_means(
    values: ArrayLike,
    subgroups: Sequence[object],
    names: Sequence[str] | None = None,
    baseline: Baseline = ALL_POINTS,
    rate: float = THREE_SIGMA_RATE,
) -> Chart:
    """Hotelling's T2 chart of the means of subgroups: their covariance is the one within subgroups.

    Parameters
    ----------
    values, names, rate
        As for `t2`.
    subgroups : sequence, length n
        Subgroup of each piece, m of them in order of first appearance, all of the same size of 2 or more.
    baseline : Baseline
        Subgroups that set mean and covariance.

    Returns
    -------
    Chart
        T2 of every subgroup's mean, limits exact in both phases: p (m - 1)(n - 1) / (mn - m - p + 1) times a
        quantile of F with p and mn - m - p + 1 degrees of freedom, for new subgroups with m + 1 for m - 1.

    Raises
    ------
    StatisticsError
        As for `t2`, or subgroups of one piece or of different sizes.

    References
    ----------
    .. [1] Montgomery, "Introduction to Statistical Quality Control", section 11.3 (from memory): 13.72 for
       two figures of 20 subgroups of 10 at 0.001.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> round(t2_of_means(rng.normal(size=(200, 2)), [k // 10 for k in range(200)], rate=0.001).upper, 2)
    13.72
    """
    matrix, labels = _matrix(values, names)
    p = matrix.shape[1]
    if len(subgroups) != matrix.shape[0]:
        raise StatisticsError(
            f"{count_words(len(subgroups), 'label')} for {count_words(matrix.shape[0], 'piece')}: each piece "
            "needs a subgroup"
        )
    groups = dict.fromkeys(subgroups)
    sizes = {name: 0 for name in groups}
    for name in subgroups:
        sizes[name] += 1
    size = sizes[next(iter(groups))]
    odd = next((name for name, count in sizes.items() if count != size or count < 2), None)
    if odd is not None:
        raise StatisticsError(
            f"subgroup {odd} has {count_words(sizes.get(odd, 0), 'piece')}: T2 of means needs subgroups of "
            "one size, two pieces or more"
        )
    number = {name: at for at, name in enumerate(groups)}
    order = np.argsort([number[name] for name in subgroups], kind="stable")
    cells = matrix[order].reshape(len(groups), size, p)
    means, part = cells.mean(axis=1), baseline.select(len(groups))
    within = (cells[part] - means[part][:, None, :]).reshape(-1, p)
    m = means[part].shape[0]
    df = m * (size - 1)
    _check_sizes(p, df, rate)
    # the whole spread may be clear while nothing varies within: the same refusal as for single pieces
    _, covariance, _ = _estimates(within, p)
    covariance = covariance * (within.shape[0] - 1) / df
    f = float(fdtri(p, df - p + 1, 1 - rate)) * p * df / (m * (df - p + 1))
    inside = np.zeros(len(groups), dtype=bool)
    inside[part] = True
    uppers = np.where(inside, (m - 1) * f, (m + 1) * f)
    middle = p * (m - 1) / m * df / (df - p - 1) if df > p + 1 else float(p)
    deviation = means - means[part].mean(axis=0)
    chart = _chart("t2", middle, uppers, deviation, covariance / size, labels, df)
    if inside.all():
        return replace(chart, upper=float(uppers[0]))
    return replace(chart, upper=(m + 1) * f, lowers=np.zeros(len(groups)), uppers=uppers)


def mewma(
    values: ArrayLike,
    names: Sequence[str] | None = None,
    baseline: Baseline = ALL_POINTS,
    *,
    weight: float = 0.1,
    run_length: float = 200.0,
) -> Chart:
    """Multivariate EWMA chart: small lasting shifts of several figures at once.

    Parameters
    ----------
    values, names, baseline
        As for `t2`, but all points have one limit.
    weight : float
        Weight of the newest point, above 0 and at most 1.
    run_length : float
        Wanted mean number of points to a false signal, for known mean and covariance.

    Returns
    -------
    Chart
        Squared distance of the smoothed figures from the mean; limit from the exact run length.

    Raises
    ------
    StatisticsError
        As for `t2`, or a weight outside 0..1.

    References
    ----------
    .. [1] Lowry, Woodall, Champ & Rigdon, Technometrics 34 (1992); limit by Runger & Prabhu, J. American
       Statistical Association 91 (1996).

    Examples
    --------
    >>> rng = np.random.default_rng(2)
    >>> round(mewma(rng.normal(size=(40, 2))).upper, 2)
    8.63
    """
    matrix, labels = _matrix(values, names)
    n, p = matrix.shape
    limit = mewma_limit(p, weight, run_length)
    mean, covariance, m = _estimates(matrix[baseline.select(n)], p)
    deviation = matrix - mean
    smooth = np.empty_like(deviation)
    level = np.zeros(p)
    for row in range(n):
        level = weight * deviation[row] + (1 - weight) * level
        smooth[row] = level
    # the covariance that the smoothed figures settle at
    settled = covariance * weight / (2 - weight)
    return replace(_chart("mewma", float(p), limit, smooth, settled, labels, m), upper=limit)


def _check_sizes(figures: int, points: int, rate: float) -> None:
    if not figures >= 1 or not figures + 2 <= points <= MOST_POINTS:
        raise StatisticsError(
            f"{count_words(points, 'point')} cannot carry the covariance of {figures} figures: "
            f"at least {figures + 2} are needed"
        )
    if not LEAST_RATE <= rate < 1:
        raise StatisticsUsageError(f"false-alarm rate is {rate}: it must lie between {LEAST_RATE:g} and 1")


def _matrix(values: ArrayLike, names: Sequence[str] | None) -> tuple[Floats, list[str]]:
    """Take the table, or name the piece and figure at fault: a fault in a covariance would name neither."""
    matrix = as_floats(values, "table of figures")
    if matrix.ndim != 2 or matrix.shape[1] < 2:
        raise StatisticsError("several figures a piece are needed: one column each, at least two columns")
    faulty = np.argwhere(~np.isfinite(matrix))
    if faulty.size:
        row, column = faulty[0]
        raise StatisticsError(
            f"piece {row + 1}, figure {column + 1} is {matrix[row, column]}: it must be finite"
        )
    for at, peak in enumerate(np.abs(matrix).max(axis=0, initial=0.0)):
        check_magnitude(float(peak), f"figure {at + 1}")
    labels = [str(column + 1) for column in range(matrix.shape[1])] if names is None else list(names)
    if len(labels) != matrix.shape[1]:
        raise StatisticsError(f"there are {matrix.shape[1]} figures and {len(labels)} names")
    return matrix, labels


def _estimates(part: Floats, p: int) -> tuple[Floats, Floats, int]:
    m = part.shape[0]
    _check_sizes(p, m, THREE_SIGMA_RATE)
    covariance = np.cov(part, rowvar=False)
    scale = np.sqrt(np.diag(covariance))
    # a figure that never changes leaves rounding behind: a spread that small is none
    still = np.ptp(part, axis=0) <= ROUNDING * np.abs(part).max(axis=0)
    # beyond 1e12 the inverse keeps some four digits (chosen); on the correlations, since units must
    # not matter
    if np.any(still) or np.linalg.cond(covariance / np.outer(scale, scale)) > 1e12:
        raise StatisticsError(
            "the figures depend on one another or one never changes: leave out the figure that adds nothing"
        )
    return part.mean(axis=0), covariance, m


def _distances(deviation: Floats, covariance: Floats) -> Floats:
    solved = np.linalg.solve(covariance, deviation.T).T
    return np.asarray(np.einsum("ij,ij->i", deviation, solved))


def _contributions(row: int, deviation: Floats, covariance: Floats, labels: list[str]) -> JsonObject:
    """Give what goes when one figure is left out; beyond the chi-square limit it is a cause."""
    whole = float(_distances(deviation[row : row + 1], covariance)[0])
    parts: dict[str, float] = {}
    for at, label in enumerate(labels):
        rest = [column for column in range(len(labels)) if column != at]
        without = _distances(deviation[row : row + 1, rest], covariance[np.ix_(rest, rest)])[0]
        parts[label] = whole - float(without)
    # chosen: what one figure in a hundred reaches by chance
    limit = float(chdtri(1, 0.01))
    ranked = sorted(parts, key=lambda label: -parts[label])
    # none clear by itself: the greatest is named all the same, a signal without a figure helps nobody
    causes = [label for label in ranked if parts[label] > limit] or ranked[:1]
    return {"point": row + 1, "parts": parts, "causes": causes}


def _chart(
    kind: str,
    middle: float,
    limit: Floats | float,
    deviation: Floats,
    covariance: Floats,
    labels: list[str],
    m: int,
) -> Chart:
    """Squared distances of the deviations with what is beyond the limit, and which figures made it so."""
    distance = _distances(deviation, covariance)
    over = [int(row) for row in np.flatnonzero(distance > limit * (1 + SLACK))]
    return Chart(
        kind,
        middle,
        lower=0.0,
        upper=None,
        sigma=None,
        values=distance,
        signals=tuple(
            Signal(row + 1, LIMIT, "above", row + 1, float(distance[row] - middle), None) for row in over
        ),
        warnings=_few(m, len(labels)),
        extras={"decomposition": [_contributions(row, deviation, covariance, labels) for row in over]},
    )


def _few(m: int, p: int) -> tuple[str, ...]:
    # common practice, no source
    if m >= 20 * p:
        return ()
    return (f"the covariance of {p} figures rests on {m} points only: about {20 * p} are wanted",)
