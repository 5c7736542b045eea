"""Capability of readings whose shape is learned; the verdict rests on the interval that is shown.

Ppk is a third of the normal score of the share outside, of the worse side where there are two limits: the
index at which a normal figure would have that share outside. Plausible levels, spreads and shapes
(`qc.stats.capable.plausible`) give as many figures, and the interval is the middle of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from qc.stats.capable.basis import Samples, means_and_sds
from qc.stats.capable.effective import PiecesWorth, worth_of
from qc.stats.capable.gate import LEAST_PIECES
from qc.stats.capable.normal import PPM, normal_figures, pieces_of
from qc.stats.capable.pieces import more_by_width
from qc.stats.capable.plausible import Draws, LearnedShape, draws_of, shapes_of
from qc.stats.capable.result import Capability, Limits, verdict, withheld
from qc.stats.noise import Noise
from qc.stats.numbers import GREATEST, Floats, as_readings

LEAST_FOR_NO = 5  # from so few pieces on a `no` is told, with its interval (house rule)


def learned_capability(
    values: ArrayLike,
    limits: Limits,
    noise: Noise,
    *,
    lots: Sequence[str | None] | None = None,
    shape: LearnedShape = "auto",
    wanted: float = 1.0,
    confidence: float = 0.95,
    resolution: float | None = None,
) -> Capability:
    """Capability of single readings whose shape was learned from earlier pieces and from sister series.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        One reading per piece, in order of making. [unit of the characteristic]
    limits : Limits
        Specification limits. [same unit]
    noise : Noise
        What was learned: skewness, tails, and how pieces of a lot and neighbours hang together. From no
        piece at all the shape rests on these readings and on what bench figures usually are.
    lots : sequence of str or None, optional
        The lot of each piece; left out where none are recorded.
    shape : {"auto", "normal", "positive", "any"}
        `auto`: as learned. `normal`: the exact or Bissell's interval, as `capability`. `positive`: logarithms
        that may be a little skewed themselves, of readings above 0; others are taken as `any`. `any`: as if
        nothing had been learned, the readings alone speak.
    wanted, confidence : float
        Wanted Ppk; confidence of the intervals. [1]
    resolution : float, optional
        Step of the gauge: the spread is not taken below resolution / sqrt 12. [same unit]

    Returns
    -------
    Capability
        Ppk, share outside, intervals, verdict: `proven` when the lower end shown reaches `wanted`, `no` when
        the upper one is below. Withheld below 20 pieces, except for a `no` from five on, and where nothing
        scatters and no step is given. A learned shape has no agreed spread: the other figures are empty.

    Raises
    ------
    StatisticsError
        Readings that are not finite numbers, or not as many lots as readings.

    References
    ----------
    .. [1] Ppk of a figure that is not normal by its share outside: pattern of ISO 22514-2 (from memory).
    .. [2] Weights of what is learned by simulation, `tests/simulation/board_capability.py`.

    Examples
    --------
    >>> readings = [10.1, 9.8, 10.0, 10.3, 9.9, 10.2, 9.7, 10.0, 10.1, 9.9] * 4
    >>> found = learned_capability(np.array(readings), Limits(None, 11.5), Noise(pieces=800))
    >>> found.capable, round(found.ppk, 1)
    ('proven', 2.6)
    """
    readings = as_readings(values, "capability: value", least=2)
    n = int(readings.size)
    worth = worth_of(noise, lots, n)
    if (
        shape == "positive"
        and readings.min() > 0.0
        and not (limits.upper is not None and limits.upper <= 0.0)
    ):
        # a step is a different share of each reading: that of the middle one stands for all
        step = None if resolution is None else resolution / float(np.median(readings))
        readings, limits, resolution = np.log(readings), _logged(limits), step
    elif shape == "positive":
        shape = "any"
    floor = 0.0 if resolution is None else resolution / math.sqrt(12.0)
    if not max(float(np.ptp(readings)), floor) > 0.0:
        reason = "all readings are equal, so the spread is unknown: give the resolution of the gauge"
        return withheld(n, reason, wanted, confidence, None)
    if shape == "normal":
        return _of_normal(readings, limits, worth, floor, wanted, confidence)
    return _of_draws(draws_of(readings, shapes_of(noise, shape), worth, floor), limits, n, wanted, confidence)


def _of_draws(draws: Draws, limits: Limits, n: int, wanted: float, confidence: float) -> Capability:
    """Take figures and intervals from the middle of what is plausible."""
    shares = ((1.0 - confidence) / 2.0, 0.5, (1.0 + confidence) / 2.0)
    sides = sides_of(draws, limits)
    each = np.array([draws.quantiles(side, shares) for side in sides])
    # of a figure between two limits every doubt about its shape or level counts against the worse side, so
    # the truth is the most that the worse side can be: its upper end is that of the side which reaches less
    low = float(draws.quantiles(np.minimum.reduce(sides), shares)[0])
    ppk, high = (float(part) for part in each[:, 1:].min(axis=0))
    least = float(special.ndtr(-each[:, 2]).max())
    most = float(draws.quantiles(sum(special.ndtr(-side) for side in sides), shares)[2])
    share = min(float(special.ndtr(-each[:, 1]).sum()), most)
    return _told(
        n,
        (ppk / 3.0, low / 3.0, high / 3.0),
        (share * PPM, least * PPM, most * PPM),
        "learned shape: what is not known of it is part of the interval; the verdict rests on that",
        wanted=wanted,
        confidence=confidence,
        more=more_by_width(ppk / 3.0, (low / 3.0, high / 3.0), n, wanted),
    )


def _of_normal(
    readings: Floats, limits: Limits, worth: PiecesWorth, floor: float, wanted: float, confidence: float
) -> Capability:
    """Figures of normal readings, their verdict resting on the interval that is shown."""
    n = int(readings.size)
    mean, own = (float(part[0]) for part in means_and_sds(readings, np.array([n])))
    sd = max(own, floor) * worth.spread
    parts = (n, mean, sd, sd, worth.sd_df, worth.mean_n, worth.sd_df)
    samples = Samples(*(np.array([float(part)]) for part in parts))
    figures = normal_figures(samples, limits, wanted=wanted, confidence=confidence)
    at = {name: float(part[0]) for name, part in figures.items()}
    more = float(pieces_of(samples, limits, wanted=wanted, confidence=(1.0 + confidence) / 2.0)[0])
    return _told(
        n,
        (at["ppk"], at["ppk_low"], at["ppk_high"]),
        (at["outside_ppm"], at["outside_low_ppm"], at["outside_high_ppm"]),
        "normal readings; the verdict rests on the interval",
        wanted=wanted,
        confidence=confidence,
        more=None if math.isnan(more) else int(more),
    )


def _told(
    n: int,
    ppk: tuple[float, float, float],
    outside: tuple[float, float, float],
    method: str,
    *,
    wanted: float,
    confidence: float,
    more: int | None,
) -> Capability:
    """Turn figures and their intervals into the answer; of few pieces only a `no` and the share outside."""
    interval = (ppk[1], ppk[2])
    capable = verdict(interval, wanted)
    if n < LEAST_PIECES and not (capable == "no" and n >= LEAST_FOR_NO):
        few = f"{n} pieces are too few: at least {LEAST_PIECES} are needed"
        least = None if more is None else max(more, LEAST_PIECES - n)
        return replace(
            withheld(n, few, wanted, confidence, least),
            outside_ppm=outside[0],
            outside_interval=(outside[1], outside[2]),
        )
    return Capability(
        n=n,
        ppk=ppk[0],
        ppk_interval=interval,
        ppk_bounds=interval,
        confidence=confidence,
        outside_ppm=outside[0],
        outside_interval=(outside[1], outside[2]),
        method=method,
        capable=capable,
        wanted=wanted,
        pieces_to_settle=more if capable == "unproven" else 0,
    )


def sides_of(draws: Draws, limits: Limits) -> list[Floats]:
    """Give the normal score of each limit under every draw, above 0 where the level keeps it."""
    above = draws.scores(limits.upper) if limits.upper is not None else None
    below = -draws.scores(limits.lower) if limits.lower is not None else None
    return [side for side in (above, below) if side is not None]


def _logged(limits: Limits) -> Limits:
    """Limits of logarithms; one that is not above 0 is kept by every reading that has one."""
    lower = math.log(limits.lower) if limits.lower is not None and limits.lower > 0.0 else None
    upper = math.log(limits.upper) if limits.upper is not None else None
    return Limits(-GREATEST if lower is None and upper is None else lower, upper)
