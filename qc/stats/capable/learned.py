"""Capability of readings whose shape is learned, with what is not known of the shape folded into the interval.

Few pieces say little of a tail, and beyond the limits there is nothing but tail. So no one shape is taken at
its word: a grid of shapes (skewness g and tail weight kappa, as `qc.stats.noise` learns them) is weighed by
what sister series and earlier pieces taught and by how likely these very readings are under each. For every
shape level and spread are fitted and drawn with the errors that so many pieces leave; each draw gives

    u = ln(1 + g (limit - level) / spread) / g,   z the normal score of Student's t with 1 / kappa df at u,

and Ppk = z / 3, of the worse side where there are two limits: the index at which a normal figure would have
that share outside. The interval is the middle of all draws. With one shape, the normal one, it is the exact
interval of the noncentral t.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.stats.capable.effective import Worth, worth_of
from qc.stats.capable.gate import LEAST_PIECES
from qc.stats.capable.normal import PPM
from qc.stats.capable.pieces import more_by_width
from qc.stats.capable.result import Capability, Limits, verdict, withheld
from qc.stats.errors import StatisticsError
from qc.stats.noise import Noise, score_of_t
from qc.stats.numbers import Floats, as_readings

SKEWS = np.linspace(-0.8, 0.8, 17)
TAILS = np.array([0.0, 1 / 30, 1 / 15, 0.1, 1 / 6, 0.25, 0.35])
TAU_4 = np.array([0.1226, 0.132, 0.1425, 0.154, 0.180, 0.217, 0.271])
"""L-kurtosis of Student's t with 1 / TAILS degrees of freedom, on whose scale knowledge of tails is even."""

UNLIKE_SKEW = 0.12  # chosen by simulation: how far the skewness of a series may lie from its sisters'
UNLIKE_TAU_4 = 0.015  # the same for the L-kurtosis
ALONE_SKEW = 0.30  # how skewed bench figures are where nothing has been learned
ALONE_TAU_4 = 0.035
USUAL_TAU_4 = 0.15  # between normal tails and those of Student's t with six degrees of freedom
MARGIN = 0.225  # what `learn_noise` puts on the L-kurtosis, over the root of 60 pieces and the pool
SE_SKEW = 0.43 / 0.49  # standard error of g from a normal sample, times the root of n (Hosking 1990)
SE_TAU_4 = 0.30  # of the L-kurtosis, the same
SHARE_DOUBTED = 0.1  # of the weight goes to shapes as if nothing had been learned: sisters may be unlike

DRAWS = 128  # level and spread of each shape
FIT_STEPS = 12  # as in learning: from median and spread the fit stands still to three digits
STRAIGHT_FROM = 0.2  # nearer to the end of a skewed scale the logarithm goes on straight, as in the detector
LARGEST_SCORE = 12.0
LEAST_WEIGHT = 1e-4  # shapes less likely than that beside the likeliest are left out


class Shapes(NamedTuple):
    """Shapes that are weighed, each with the log of the weight that was learned; length k."""

    skew: Floats
    tails: Floats
    prior: Floats


@dataclass(frozen=True, slots=True)
class Draws:
    """Plausible levels, spreads and shapes of one series, and their weights; all of one length."""

    level: Floats
    spread: Floats
    skew: Floats
    tails: Floats
    weight: Floats

    def scores(self, limit: float) -> Floats:
        """Normal score of a limit under each."""
        u = _upright((limit - self.level) / self.spread, self.skew)
        return np.clip(score_of_t(u, self.tails), -LARGEST_SCORE, LARGEST_SCORE)

    def quantiles(self, values: Floats, shares: Sequence[float]) -> Floats:
        """Weighted quantiles."""
        order = np.argsort(values)
        below = np.cumsum(self.weight[order]) - self.weight[order] / 2.0
        return np.asarray(np.interp(shares, below, values[order]))


def learned_capability(
    values: Floats,
    limits: Limits,
    noise: Noise,
    *,
    lots: Sequence[str | None] | None = None,
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
    wanted, confidence : float
        Wanted Ppk; confidence of the intervals. [1]
    resolution : float, optional
        Step of the gauge: the spread is not taken below resolution / sqrt 12. [same unit]

    Returns
    -------
    Capability
        Ppk with its interval, share outside with its own, verdict. The verdict rests on the interval that is
        shown: `proven` when its lower end reaches `wanted`, `no` when its upper end is below. Withheld below
        20 pieces, except for a `no`, and where all readings are equal and no step is given. The other
        figures are left empty: a learned shape has no agreed spread.

    Raises
    ------
    StatisticsError
        Readings that are not finite numbers, or not as many lots as readings.

    References
    ----------
    .. [1] Ppk of a figure that is not normal as a third of the normal score of the share outside: pattern of
       ISO 22514-2 (from memory).
    .. [2] Weights of what is learned by simulation, `tests/simulation/board_capability.py`.

    Examples
    --------
    >>> readings = [10.1, 9.8, 10.0, 10.3, 9.9, 10.2, 9.7, 10.0, 10.1, 9.9] * 4
    >>> found = learned_capability(np.array(readings), Limits(None, 11.5), Noise(pieces=800))
    >>> found.capable, round(found.ppk, 1)
    ('proven', 2.4)
    """
    readings = as_readings(values, "capability: value", least=2)
    n = int(readings.size)
    worth = worth_of(noise, lots, n)
    draws = draws_of(readings, noise, worth, resolution)
    if draws is None:
        reason = "all readings are equal, so the spread is unknown: give the resolution of the gauge"
        return withheld(n, reason, wanted, confidence, None)
    half = (1.0 - confidence) / 2.0
    worse, outside = figures_of(draws, limits)
    low, ppk, high = (float(x) for x in draws.quantiles(worse, (half, 0.5, 1.0 - half)))
    least, share, most = (float(x) for x in draws.quantiles(outside, (half, 0.5, 1.0 - half)))
    capable, more = verdict((low, high), wanted), more_by_width(ppk, (low, high), n, wanted)
    if n < LEAST_PIECES and capable != "no":
        few = f"{n} pieces are too few: at least {LEAST_PIECES} are needed"
        return withheld(n, few, wanted, confidence, None if more is None else max(more, LEAST_PIECES - n))
    return Capability(
        n=n,
        ppk=ppk,
        ppk_interval=(low, high),
        ppk_bounds=(low, high),
        confidence=confidence,
        outside_ppm=share * PPM,
        outside_interval=(least * PPM, most * PPM),
        method="learned shape: what is not known of it is part of the interval; the verdict rests on it",
        capable=capable,
        wanted=wanted,
        pieces_to_settle=more,
    )


def figures_of(draws: Draws, limits: Limits) -> tuple[Floats, Floats]:
    """Ppk and share outside of every draw."""
    above = draws.scores(limits.upper) if limits.upper is not None else None
    below = -draws.scores(limits.lower) if limits.lower is not None else None
    sides = [side for side in (above, below) if side is not None]
    outside = sum((special.ndtr(-side) for side in sides), np.zeros_like(sides[0]))
    return np.minimum.reduce(sides) / 3.0, outside


def draws_of(readings: Floats, noise: Noise, worth: Worth, resolution: float | None) -> Draws | None:
    """Draw levels, spreads and shapes that go with some readings; None where nothing scatters."""
    floor = 0.0 if resolution is None else resolution / math.sqrt(12.0)
    middle, sd = float(np.median(readings)), float(readings.std(ddof=1))
    if not max(sd, floor) > 0.0:
        return None
    scale = max(sd, floor)
    away = (readings - middle) / scale
    shapes = shapes_of(noise)
    level, spread, likely = _fitted(away, shapes, floor / scale)
    known = (worth.sd_df + 1.0) / readings.size  # pieces that hang together tell less of the shape, too
    errors = np.array([_errors(float(g), float(k)) for g, k in zip(shapes.skew, shapes.tails, strict=True)])
    volume = np.log(spread) + 0.5 * np.log(errors[:, 0] * errors[:, 1])
    weight = shapes.prior + likely * known + volume
    kept = weight > weight.max() + math.log(LEAST_WEIGHT)
    shapes = Shapes(*(part[kept] for part in shapes))
    level, spread, errors, weight = level[kept], spread[kept] * worth.spread, errors[kept], weight[kept]
    share = np.exp(weight - weight.max())
    share /= share.sum()
    first, second = _scattered()
    # of a normal figure exact: chi-square for the spread, normal for the level given the spread
    freedom = np.maximum(worth.sd_df / (2.0 * errors[:, 1:2]), 0.5)
    ratio = np.maximum(1.0 - 2.0 / (9.0 * freedom) + second * np.sqrt(2.0 / (9.0 * freedom)), 0.05) ** 3
    spreads = spread[:, None] / np.sqrt(ratio)
    # a wide draw of the spread is a small chi-square, so the errors go together the other way round
    tied = errors[:, 2:3]
    moved = np.sqrt(errors[:, 0:1] / worth.mean_n) * (
        np.sqrt(1.0 - tied**2) * first - tied * second
    )
    levels = level[:, None] + spreads * moved
    each = np.ones_like(spreads)
    return Draws(
        level=(middle + scale * levels).ravel(),
        spread=(scale * spreads).ravel(),
        skew=(each * shapes.skew[:, None]).ravel(),
        tails=(each * shapes.tails[:, None]).ravel(),
        weight=(each * share[:, None] / DRAWS).ravel(),
    )


def shapes_of(noise: Noise) -> Shapes:
    """Shapes to be weighed, by what sisters and earlier pieces taught."""
    if noise.pieces == 0 and noise.skew == 0.0 and noise.tails == 0.0:
        return Shapes(np.zeros(1), np.zeros(1), np.zeros(1))
    skew, tails = (part.ravel() for part in np.meshgrid(SKEWS, TAILS, indexing="ij"))
    # own pieces are seen again in the readings; only what sisters taught is known before
    taught = float(max(noise.pieces - noise.own, 0))
    trust = taught / (taught + 60.0)
    g_sd = math.hypot(UNLIKE_SKEW, SE_SKEW / math.sqrt(taught + 10.0))
    at = float(np.interp(noise.tails, TAILS, TAU_4)) - MARGIN / math.sqrt(60.0 + noise.pieces)
    tau_sd = math.hypot(UNLIKE_TAU_4, SE_TAU_4 / math.sqrt(taught + 10.0))
    learned = _even(SKEWS, trust * noise.skew, min(g_sd, ALONE_SKEW))[:, None] * _even(
        TAU_4, trust * at + (1.0 - trust) * USUAL_TAU_4, min(tau_sd, ALONE_TAU_4)
    )
    alone = _even(SKEWS, 0.0, ALONE_SKEW)[:, None] * _even(TAU_4, USUAL_TAU_4, ALONE_TAU_4)
    prior = (1.0 - SHARE_DOUBTED) * learned + SHARE_DOUBTED * alone
    return Shapes(skew, tails, np.log(np.maximum(prior.ravel(), 1e-300)))


def _even(nodes: Floats, centre: float, sd: float) -> Floats:
    """Share of a normal that falls to each node; what lies beyond the first or last falls to it."""
    edges = np.concatenate(([-np.inf], (nodes[1:] + nodes[:-1]) / 2.0, [np.inf]))
    return np.diff(special.ndtr((edges - centre) / sd))


def _fitted(away: Floats, shapes: Shapes, floor: float) -> tuple[Floats, Floats, Floats]:
    """Level, spread and log likelihood under each shape, by the reweighting that learning uses."""
    g, kappa = shapes.skew[:, None], shapes.tails[:, None]
    n = away.size
    level, spread = np.zeros_like(g), np.ones_like(g)
    some = np.where(g == 0, 1.0, g)
    for _ in range(FIT_STEPS):
        u = _upright((away - level) / spread, g)
        weight = 1.0 / (1.0 + kappa * u * u)
        moved = (weight * u).sum(axis=1, keepdims=True) / weight.sum(axis=1, keepdims=True)
        wide = np.sqrt((1.0 + kappa) * (weight * u * u).sum(axis=1, keepdims=True) / (n - 1))
        # a step on the upright scale, said on the skewed one
        grown = np.clip(some * moved, -1.0, 1.0)
        level = level + spread * np.where(g == 0, moved, np.expm1(grown) / some)
        spread = np.maximum(spread * wide * np.where(g == 0, 1.0, np.exp(grown)), max(floor, 1e-6))
    u = _upright((away - level) / spread, g)
    steep = np.log(np.maximum(1.0 + g * (away - level) / spread, STRAIGHT_FROM))
    heavy = kappa > 0
    some = np.where(heavy, kappa, 1.0)
    dense = np.where(heavy, (some + 1.0) / (2.0 * some) * np.log1p(kappa * u * u), u * u / 2.0)
    likely = n * (_constant(shapes.tails)[:, None] - np.log(spread)) - (dense + steep).sum(axis=1, keepdims=True)
    return level[:, 0], spread[:, 0], likely[:, 0]


def _constant(tails: Floats) -> Floats:
    """Log of the height of Student's t at 0."""
    some = np.where(tails > 0, tails, 1.0)
    heights = special.gammaln((1 / some + 1) / 2) - special.gammaln(1 / some / 2) + 0.5 * np.log(some / np.pi)
    return np.where(tails > 0, heights, -0.5 * math.log(2 * math.pi))


def _upright(away: Floats, skew: Floats) -> Floats:
    """Take the skewness out of readings given in spreads from the level."""
    skewed = np.abs(skew) > 1e-9
    g = np.where(skewed, skew, 1.0)
    inner = 1.0 + g * away
    beyond = np.minimum(inner - STRAIGHT_FROM, 0.0) / STRAIGHT_FROM
    return np.where(skewed, (np.log(np.maximum(inner, STRAIGHT_FROM)) + beyond) / g, away)


@lru_cache(maxsize=256)
def _errors(skew: float, tails: float) -> tuple[float, float, float]:
    """Variances of level and log spread of one fitted piece, and their correlation, under a shape.

    By the sandwich of the two estimating equations, over quantiles of the shape itself. [spreads]
    """
    if skew == 0.0 and tails == 0.0:
        return 1.0, 0.5, 0.0
    chance = (np.arange(500) + 0.5) / 500
    u = special.ndtri(chance) if tails == 0.0 else special.stdtrit(1.0 / tails, chance)
    steep = np.exp(-skew * u)
    y = u if skew == 0.0 else np.expm1(skew * u) / skew
    w = (1 + tails) / (1 + tails * u * u)
    slope_w = -2 * tails * u * w / (1 + tails * u * u)
    first, second = w * u, w * u * u - 1
    d_first, d_second = (slope_w * u + w) * steep, (slope_w * u * u + 2 * w * u) * steep
    bread = -np.array([[d_first.mean(), (d_first * y).mean()], [d_second.mean(), (d_second * y).mean()]])
    meat = np.cov(first, second, bias=True)
    inverse = np.linalg.inv(bread)
    found = inverse @ meat @ inverse.T
    level, spread = float(found[0, 0]), float(found[1, 1])
    return level, spread, float(found[0, 1]) / math.sqrt(level * spread)


@lru_cache(maxsize=1)
def _scattered() -> tuple[Floats, Floats]:
    """Pairs of normal scores spread evenly over the plane: no seed, the same readings give the same answer."""
    place = np.arange(1, DRAWS + 1)
    golden = 1.32471795724474602596  # of two dimensions: the root of x^3 = x + 1
    return special.ndtri((place - 0.5) / DRAWS), special.ndtri((0.5 + place / golden) % 1.0)
