"""Limits of a settled state for the next piece, on the scale of the readings whatever their shape."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.capable.effective import worth_of
from qc.stats.capable.plausible import LearnedShape, fitted_to
from qc.stats.noise import Noise
from qc.stats.numbers import as_readings, guaranteed_factor


def natural_limits(
    values: ArrayLike,
    noise: Noise,
    rate: float,
    *,
    lots: Sequence[str | None] | None = None,
    shape: LearnedShape = "auto",
    confidence: float = 0.90,
    resolution: float | None = None,
) -> tuple[float, float] | None:
    """Limits that hold the false-alarm rate of single pieces with the confidence asked for.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        Readings of the settled state, in order of making. [unit of the characteristic]
    noise : Noise
        What was learned: its shape is used with `auto`, lots and neighbours with every shape.
    rate : float, 0 < rate < 1
        Chance of a false signal per piece.
    lots : sequence of str or None, optional
        The lot of each piece; left out where none are recorded.
    shape : {"auto", "normal", "positive", "any"}
        `positive`: limits of logarithms, brought back, where all readings are above 0; `any` as `auto`.
    confidence : float, 0 < confidence < 1
        Chance that the limits keep the rate, given the shape: what is not known of the shape is not in it.
    resolution : float, optional
        Step of the gauge: the spread is not taken below resolution / sqrt 12. [same unit]

    Returns
    -------
    (float, float) or None
        Lower and upper limit on the scale of the readings; None where nothing scatters.

    Raises
    ------
    StatisticsError
        Readings that are not finite numbers, a rate or confidence out of range, or not as many lots as
        readings.

    References
    ----------
    .. [1] Two-sided tolerance limits on the scale on which readings are normal, brought back; source in
       `guaranteed_factor`.

    Examples
    --------
    >>> readings = np.array([10.1, 9.8, 10.0, 10.3, 9.9, 10.2, 9.7, 10.0, 10.1, 9.9] * 3)
    >>> [round(limit, 2) for limit in natural_limits(readings, Noise(), 0.0027)]
    [9.35, 10.65]
    >>> [round(limit, 2) for limit in natural_limits(readings, Noise(skew=0.4), 0.0027)]
    [9.61, 11.54]
    """
    readings = as_readings(values, "natural limits: value", least=2)
    worth = worth_of(noise, lots, int(readings.size))
    floor = 0.0 if resolution is None else resolution / math.sqrt(12.0)
    if not max(float(np.ptp(readings)), floor) > 0.0:
        return None
    # pieces that hang together may be worth less than two
    factor = guaranteed_factor(max(worth.mean_n, 2.0), rate, confidence, df=max(worth.sd_df, 1.0))
    logs = shape == "positive" and float(readings.min()) > 0.0
    if logs:
        floor, readings = floor / float(np.median(readings)), np.log(readings)
    skew, tails = (noise.skew, noise.tails) if shape in ("auto", "any") else (0.0, 0.0)
    if skew == 0.0 and tails == 0.0:
        mean, sd = float(readings.mean()), max(float(readings.std(ddof=1)), floor) * worth.spread
        low, high = mean - factor * sd, mean + factor * sd
    else:
        level, spread = fitted_to(readings, skew, tails, floor)
        low, high = (level + spread * worth.spread * _away(z, skew, tails) for z in (-factor, factor))
    return (math.exp(low), math.exp(high)) if logs else (low, high)


def _away(score: float, skew: float, tails: float) -> float:
    """Undo the normal score: how many spreads from the level such a reading lies."""
    u = score
    if tails > 0.0:
        root = score * (8.0 + 3.0 * tails) / (8.0 + tails)
        u = math.copysign(math.sqrt(math.expm1(min(tails * root * root, 600.0)) / tails), score)
    return u if skew == 0.0 else math.expm1(min(skew * u, 600.0)) / skew
