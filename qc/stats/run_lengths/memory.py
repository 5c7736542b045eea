"""Run lengths of EWMA and CUSUM charts by integral equation, and their design for a wanted run length."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy import optimize, special

from qc.plain import as_meant
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, Floats
from qc.stats.run_lengths.chain import NeverSignals, RunLength, check_process, run_length_of_chain
from qc.stats.run_lengths.joined import join_sides
from qc.stats.run_lengths.nodes import legendre

_ROOT_2PI = math.sqrt(2.0 * math.pi)
_LIMITS_SETTLED = 1e-13  # relative distance of growing EWMA limits from the fixed ones at which they are one
_MOST_NODES = 1500  # chosen: a dense matrix of that size is still solved while one waits


@as_meant
def ewma_run_length(
    weight: float,
    width: float,
    shift: float = 0.0,
    *,
    sd_ratio: float = 1.0,
    start: float = 0.0,
    time_varying: bool = False,
) -> RunLength:
    """Run length of a two-sided EWMA chart, centre and sigma known, to about 1e-8 of the mean.

    Parameters
    ----------
    weight : float, 0 < weight <= 1
        Weight of the newest point.
    width : float, > 0
        Limits at this many standard deviations of the settled EWMA.
    shift : float
        Shift of the process from the first point on, in standard deviations of a point.
    sd_ratio : float, > 0
        True standard deviation of a point over the one the limits rest on.
    start : float
        Where the EWMA starts, in standard deviations of a point.
    time_varying : bool
        Limits that grow with the EWMA's own spread over the first points.

    Raises
    ------
    StatisticsError
        A weight outside 0..1, a width not above 0, or a start beyond the limits.

    References
    ----------
    .. [1] Crowder, "A simple method for studying run-length distributions of exponentially weighted moving
       average charts", Technometrics 29, 1987 (integral equation).
    .. [2] Lucas and Saccucci, "Exponentially weighted moving average control schemes", Technometrics 32,
       1990: weight 0.2, width 2.962 gives 500 (from memory).

    Examples
    --------
    >>> round(ewma_run_length(0.2, 2.962).mean, 1), round(ewma_run_length(0.2, 2.962, 1.0).mean, 1)
    (499.7, 10.5)
    """
    check_process(shift, sd_ratio)
    _check_ewma(weight, width)
    limit = width * math.sqrt(weight / (2.0 - weight))
    if not abs(start) <= limit:
        raise StatisticsError(f"run length of EWMA: start {start} lies beyond the limits at {limit:.4g}")
    count = _node_count(2.0 * limit / (weight * sd_ratio))
    unit, unit_weights = legendre(count)
    spread = weight * sd_ratio

    def step_from(values: Floats, reach: float) -> Floats:
        """Mass carried from each value to each node inside +-reach."""
        gaps = reach * unit[np.newaxis, :] - (1.0 - weight) * values[:, np.newaxis] - weight * shift
        return np.asarray(np.exp(-0.5 * (gaps / spread) ** 2) / (spread * _ROOT_2PI) * (reach * unit_weights))

    here, survival = np.array([start]), [1.0]
    mass = np.ones(1)
    if time_varying:
        for point in range(1, 100_000):
            left = (1.0 - weight) ** (2 * point)
            if left < _LIMITS_SETTLED:
                break
            reach = limit * math.sqrt(1.0 - left)
            mass = mass @ step_from(here, reach)
            here = reach * unit
            survival.append(float(mass.sum()))
    return run_length_of_chain(
        mass @ step_from(here, limit), step_from(limit * unit, limit), before=np.array(survival)
    )


@as_meant
def cusum_run_length(
    reference: float,
    decision: float,
    shift: float = 0.0,
    *,
    sides: int = 2,
    sd_ratio: float = 1.0,
    head_start: float = 0.0,
) -> RunLength:
    """Run length of a tabular CUSUM, centre and sigma known.

    Parameters
    ----------
    reference : float, >= 0
        Allowance k, in standard deviations of a point.
    decision : float, > 0
        Decision interval h, in the same unit; a sum above it signals.
    shift : float
        Shift of the process from the first point on, in the same unit.
    sides : {1, 2}
        Upper sum alone, or upper and lower together.
    sd_ratio : float, > 0
        True standard deviation of a point over the assumed one.
    head_start : float, 0 <= head_start <= decision
        Where both sums start; h / 2 is the usual fast start.

    Returns
    -------
    RunLength
        One side: by Gauss-Legendre nodes with an atom at 0. Two sides: from the one-sided survival series,
        exact as long as one sum is at 0 when the other signals (head start up to h / 2 and k > 0 or none).

    Raises
    ------
    StatisticsError
        A reference, decision or head start out of range, or `sides` neither 1 nor 2.

    References
    ----------
    .. [1] Page, "Continuous inspection schemes", Biometrika 41, 1954 (integral equation); Lucas and Crosier,
       "Fast initial response for CUSUM quality-control schemes", Technometrics 24, 1982 (two sides, from
       memory; both sums simulated in the tests).

    Examples
    --------
    >>> round(cusum_run_length(0.5, 5.0).mean, 1), round(cusum_run_length(0.5, 5.0, 1.0).mean, 1)
    (465.4, 10.4)
    """
    check_process(shift, sd_ratio)
    _check_cusum(reference, decision, head_start)
    if sides == 1:
        return _one_sided(reference, decision, shift, sd_ratio, head_start)
    if sides != 2:
        raise StatisticsError(f"run length of CUSUM: sides is {sides}, must be 1 or 2")
    if head_start > decision / 2.0 + 1e-12:
        raise StatisticsError(
            f"run length of CUSUM: head start {head_start} is above half the decision interval {decision}; "
            "both sums could then signal at once"
        )
    both = [_side(reference, decision, d, sd_ratio, head_start) for d in (shift, -shift)]
    acting = [side for side in both if side is not None]
    if not acting:
        raise StatisticsError(f"run length of CUSUM: a decision interval of {decision} is never reached")
    if len(acting) == 1:
        return acting[0][1]
    (up, fast_up), (down, fast_down) = acting
    return join_sides(up, down, fast_up, fast_down)


def ewma_width(weight: float, mean_run_length: float, *, time_varying: bool = False) -> float:
    """Limit width L, in sds of the settled EWMA, that gives a chart the wanted in-control run length.

    Parameters
    ----------
    weight, time_varying
        As `ewma_run_length`, which is solved for the width (source and errors there).
    mean_run_length : float, 2 < length <= 1e9
        Wanted average points to a false signal.

    Examples
    --------
    >>> round(ewma_width(0.2, 370.398347), 4)
    2.8593
    """
    _check_ewma(weight, 1.0)
    _check_wanted(mean_run_length)

    def gap(width: float) -> float:
        """Log run length at this width, less the wanted one."""
        if time_varying:
            return math.log(ewma_run_length(weight, width, time_varying=True).mean / mean_run_length)
        return math.log(_ewma_mean(weight, width) / mean_run_length)

    if not time_varying:
        return float(optimize.brentq(gap, 0.05, 7.0, xtol=1e-11))
    # the first points' narrower limits cost a little: the width lies just above that of fixed limits
    fixed = ewma_width(weight, mean_run_length)
    return float(optimize.brentq(gap, fixed - 1e-6, fixed + 1.0, xtol=1e-9))


def cusum_decision(
    reference: float, mean_run_length: float, *, sides: int = 2, head_start_share: float = 0.0
) -> float:
    """Decision interval h, in sds of a point, that gives a CUSUM the wanted in-control run length.

    Parameters
    ----------
    reference, sides
        As `cusum_run_length`, which is solved for h (source and errors there).
    mean_run_length : float, 2 < length <= 1e9
        Wanted average points to a false signal.
    head_start_share : float, 0..0.5
        Head start over decision interval.

    Examples
    --------
    >>> round(cusum_decision(0.5, 370.398347), 4)
    4.7749
    """
    _check_wanted(mean_run_length)
    _check_cusum(reference, 1.0, 0.0)
    if sides not in (1, 2) or not 0.0 <= head_start_share <= 0.5:
        raise StatisticsError(
            f"design of CUSUM: sides {sides}, head start {head_start_share}; 1 or 2, and 0 to 0.5 are needed"
        )

    def gap(decision: float) -> float:
        """Log run length at this interval, less the wanted one."""
        return math.log(_cusum_mean(reference, decision, sides, head_start_share) / mean_run_length)

    # the run length grows about exponentially with the interval: a few steps reach any that is wanted
    high = 1.0
    while gap(high) < 0.0:
        high *= 1.5
    return float(optimize.brentq(gap, 1e-6, high, xtol=1e-11))


def _side(
    reference: float, decision: float, shift: float, sd_ratio: float, head_start: float
) -> tuple[RunLength, RunLength] | None:
    """Give the run lengths of one sum from 0 and from the head start; None if it never signals."""
    try:
        plain = _one_sided(reference, decision, shift, sd_ratio, 0.0)
        fast = plain if head_start == 0.0 else _one_sided(reference, decision, shift, sd_ratio, head_start)
    except NeverSignals:
        return None
    return plain, fast


def _one_sided(
    reference: float, decision: float, shift: float, sd_ratio: float, head_start: float
) -> RunLength:
    """Upper CUSUM: an atom at 0 and Gauss-Legendre nodes on 0..h."""
    return run_length_of_chain(*_one_sided_chain(reference, decision, shift, sd_ratio, head_start))


def _one_sided_chain(
    reference: float, decision: float, shift: float, sd_ratio: float, head_start: float
) -> tuple[Floats, Floats]:
    """First step and repeated step; the first state is the atom."""
    unit, unit_weights = legendre(_node_count(decision / sd_ratio))
    nodes, weights = decision * (unit + 1.0) / 2.0, decision * unit_weights / 2.0
    drift = shift - reference

    def step_from(values: Floats) -> Floats:
        """Mass carried from each value to the atom and to each node."""
        to_atom = special.ndtr((-values - drift) / sd_ratio)
        gaps = (nodes[np.newaxis, :] - values[:, np.newaxis] - drift) / sd_ratio
        density = np.exp(-0.5 * gaps * gaps) / (sd_ratio * _ROOT_2PI)
        return np.hstack([to_atom[:, np.newaxis], density * weights])

    return step_from(np.array([head_start]))[0], step_from(np.concatenate([[0.0], nodes]))


@lru_cache(maxsize=256)
def _ewma_mean(weight: float, width: float) -> float:
    """In-control mean run length alone, for the search of the width."""
    limit = width * math.sqrt(weight / (2.0 - weight))
    unit, unit_weights = legendre(_node_count(2.0 * limit / weight))
    gaps = limit * (unit[np.newaxis, :] - (1.0 - weight) * np.append(unit, 0.0)[:, np.newaxis]) / weight
    step = np.exp(-0.5 * gaps * gaps) / (weight * _ROOT_2PI) * (limit * unit_weights)
    waits = np.linalg.solve(np.eye(unit.size) - step[:-1], np.ones(unit.size))
    return 1.0 + float(step[-1] @ waits)


def _cusum_mean(reference: float, decision: float, sides: int, head_start_share: float) -> float:
    """In-control mean run length alone, for the search of the decision interval."""
    first, step = _one_sided_chain(reference, decision, 0.0, 1.0, head_start_share * decision)
    waits = np.linalg.solve(np.eye(first.size) - step, np.ones(first.size))
    plain, fast = float(waits[0]), 1.0 + float(first @ waits)
    # two equal sums, one at 0 when the other signals: (2 L' L - L L) / 2 L
    return fast if sides == 1 else fast - plain / 2.0


def _node_count(spreads: float) -> int:
    """Nodes for a kernel this many times narrower than the interval: five a spread hold eight digits."""
    count = 30 + math.ceil(5.0 * min(spreads, _MOST_NODES))
    if count > _MOST_NODES:
        raise StatisticsError(
            "run length: the chart's memory is too long for the integral equation; take a greater weight, "
            "or a smaller decision interval"
        )
    return count


def _check_ewma(weight: float, width: float) -> None:
    """Refuse weights and widths out of range."""
    if not 0.0 < weight <= 1.0:
        raise StatisticsError(f"run length of EWMA: weight is {weight}, must lie above 0 and be at most 1")
    if not (math.isfinite(width) and width > 0):
        raise StatisticsError(f"run length of EWMA: width is {width}, must be above 0")


def _check_cusum(reference: float, decision: float, head_start: float) -> None:
    """Refuse references, decisions and head starts out of range."""
    if not 0 <= reference <= GREATEST:
        raise StatisticsError(f"run length of CUSUM: reference is {reference}, must be at least 0")
    if not 0 < decision <= GREATEST:
        raise StatisticsError(f"run length of CUSUM: decision interval is {decision}, must be above 0")
    if not 0.0 <= head_start <= decision:
        raise StatisticsError(
            f"run length of CUSUM: head start is {head_start}, must lie between 0 and the decision interval"
        )


def _check_wanted(mean_run_length: float) -> None:
    """Refuse run lengths that no design reaches."""
    if not 2.0 < mean_run_length <= 1e9:
        raise StatisticsError(f"design: wanted run length is {mean_run_length}, must lie between 2 and 1e9")
