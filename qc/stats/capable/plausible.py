"""Levels, spreads and shapes that go with some readings: what is not known of a shape is folded in.

Few pieces say little of a tail, and beyond the limits there is nothing but tail. So no one shape is taken at
its word: a grid of shapes (skewness g and tail weight kappa, as `qc.stats.noise` learns them) is weighed by
what sister series and earlier pieces taught and by how likely these very readings are under each. For every
shape level and spread are fitted and drawn with the errors that so many pieces leave; each draw gives

    u = ln(1 + g (limit - level) / spread) / g,   z the normal score of Student's t with 1 / kappa df at u,

or, for figures whose long side ends sooner (a gamma's), u = ((1 + a y)^r - 1) / (a r) with a = g / (1 - r) in
place of the logarithm: both bend alike in the middle, where readings are, and nobody can tell them apart
there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from scipy import special

from qc.stats.capable.effective import PiecesWorth
from qc.stats.noise import Noise
from qc.stats.numbers import Floats

LearnedShape = Literal["auto", "normal", "positive", "any"]

SKEWS = np.linspace(-0.8, 0.8, 17)
TAILS = np.array([0.0, 1 / 30, 1 / 15, 0.1, 0.15, 0.2, 0.25, 0.35])
TAU_4 = np.array([0.1226, 0.132, 0.1425, 0.154, 0.1735, 0.194, 0.217, 0.271])
"""L-kurtosis of Student's t with 1 / TAILS degrees of freedom, on whose scale knowledge of tails is even."""

POWERS = np.array([0.0, 0.45])  # logarithm and a root
OF_POWERS = np.array([0.4, 0.6])  # by simulation: a lognormal figure leaves room, a gamma's leaves none

UNLIKE_SKEW = (
    0.12  # chosen by simulation: how far at least the skewness of a series may lie from its sisters'
)
UNLIKE_TAU_4 = 0.025  # the same for the L-kurtosis; further where its sisters are known to be unlike
ALONE_SKEW = 0.30  # how skewed bench figures are where nothing has been learned
ALONE_TAU_4 = 0.035
USUAL_TAU_4 = 0.15  # between normal tails and those of Student's t with six degrees of freedom
MARGIN = 0.15  # what `learn_noise` puts on the L-kurtosis, over the root of 60 pieces and the pool
SE_SKEW = 0.43 / 0.49  # standard error of g from a normal sample, times the root of n (Hosking 1990)
SE_TAU_4 = (0.30, 5.0)  # of the L-kurtosis, the same, and how much more where tails are heavy
NORMAL_TAILS = 1.9  # chosen by simulation: tails are quite normal more often than their place there says
PRIOR_PIECES = 60.0  # pieces that its prior counts as, there
LOGS_SKEW = 0.15  # logarithms of readings above 0: how skewed they may be themselves
LOGS_TAU_4, LOGS_TAU_4_SD = 0.13, 0.02  # and how heavy their tails
SHARE_DOUBTED = 0.1  # of the weight goes to shapes as if nothing had been learned: sisters may be unlike

DRAWS = 128  # level and spread of each shape
FIT_STEPS = 12  # as in learning: from median and spread the fit stands still to three digits
FIRST_STEPS = 3  # after which most shapes can be ruled out
RULED_OUT = 10.0  # log of how much less likely those are
STRAIGHT_FROM = 0.2  # nearer to the end of a skewed scale the logarithm goes on straight, as in the detector
LARGEST_SCORE = 12.0
LEAST_PRIOR = 1e-3  # shapes that were less likely beforehand are not tried: not even these readings tell much
LEAST_WEIGHT = 1e-4  # shapes less likely than that beside the likeliest are left out


class Shapes(NamedTuple):
    """Shapes that are weighed, each with the log of the weight that was learned; length k."""

    skew: Floats
    tails: Floats
    power: Floats
    prior: Floats


class Fits(NamedTuple):
    """Level, spread and log likelihood of some readings under each of k shapes."""

    level: Floats
    spread: Floats
    likely: Floats


@dataclass(frozen=True, slots=True)
class Draws:
    """Plausible levels, spreads and shapes of one series, and their weights; all of one length."""

    level: Floats
    spread: Floats
    skew: Floats
    tails: Floats
    power: Floats
    weight: Floats

    def scores(self, limit: float) -> Floats:
        """Give the normal score of a limit under each."""
        u = _upright((limit - self.level) / self.spread, self.skew, self.power)
        score = np.clip(u, -LARGEST_SCORE, LARGEST_SCORE)
        for tails in np.unique(self.tails[self.tails > 0.0]):
            own = self.tails == tails
            at, known = _score_table(float(tails))
            score[own] = np.copysign(np.interp(np.arcsinh(np.abs(u[own])), at, known), u[own])
        return score

    def quantiles(self, values: Floats, shares: Sequence[float]) -> Floats:
        """Weighted quantiles."""
        order = np.argsort(values)
        below = np.cumsum(self.weight[order]) - self.weight[order] / 2.0
        return np.asarray(np.interp(shares, below, values[order]))


def draws_of(readings: Floats, shapes: Shapes, worth: PiecesWorth, floor: float) -> Draws:
    """Draw levels, spreads and shapes that go with some readings; no spread is fitted below the floor."""
    middle, sd = float(np.median(readings)), float(readings.std(ddof=1))
    scale = max(sd, floor)
    away = (readings - middle) / scale
    shapes, (level, spread, likely) = _fitted(away, shapes, floor / scale)
    known = (worth.sd_df + 1.0) / readings.size  # pieces that hang together tell less of the shape, too
    errors = np.array([_errors(*map(float, one)) for one in zip(*shapes[:3], strict=True)])
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
    moved = np.sqrt(errors[:, 0:1] / worth.mean_n) * (np.sqrt(1.0 - tied**2) * first - tied * second)
    levels = level[:, None] + spreads * moved
    each = np.ones_like(spreads)
    return Draws(
        level=(middle + scale * levels).ravel(),
        spread=(scale * spreads).ravel(),
        skew=(each * shapes.skew[:, None]).ravel(),
        tails=(each * shapes.tails[:, None]).ravel(),
        power=(each * shapes.power[:, None]).ravel(),
        weight=(each * share[:, None] / DRAWS).ravel(),
    )


def shapes_of(noise: Noise, shape: LearnedShape) -> Shapes:
    """Shapes to be weighed, by what sisters and earlier pieces taught."""
    if shape == "positive":
        prior = _even(SKEWS, 0.0, LOGS_SKEW)[:, None] * _even(TAU_4, LOGS_TAU_4, LOGS_TAU_4_SD)
    else:
        prior = _even(SKEWS, 0.0, ALONE_SKEW)[:, None] * _even(TAU_4, USUAL_TAU_4, ALONE_TAU_4)
    if shape == "auto":
        prior = (1.0 - SHARE_DOUBTED) * _taught(noise) + SHARE_DOUBTED * prior
    skew, tails, power = np.meshgrid(SKEWS, TAILS, POWERS, indexing="ij")
    weight = np.where(skew == 0.0, 1.0, OF_POWERS) * prior[:, :, None]
    # without skewness both scales are one
    kept = (weight > LEAST_PRIOR * weight.max()) & ((skew != 0.0) | (power == 0.0))
    return Shapes(skew[kept], tails[kept], power[kept], np.log(weight[kept]))


def _taught(noise: Noise) -> Floats:
    """Weights of skewness and tails by what sisters taught: a series' own pieces speak by themselves."""
    taught = float(max(noise.pieces - noise.own, 0))
    trust = taught / (taught + PRIOR_PIECES)
    g_sd = math.hypot(max(UNLIKE_SKEW, noise.unlike_skew), SE_SKEW / math.sqrt(taught + 10.0))
    at = float(np.interp(noise.tails, TAILS, TAU_4)) - MARGIN / math.sqrt(PRIOR_PIECES + noise.pieces)
    se = SE_TAU_4[0] + SE_TAU_4[1] * max(at - float(TAU_4[0]), 0.0)
    tau_sd = math.hypot(max(UNLIKE_TAU_4, noise.unlike_tails), se / math.sqrt(taught + 10.0))
    skews = _even(SKEWS, trust * noise.skew, min(g_sd, ALONE_SKEW))
    tails = _even(TAU_4, trust * at + (1.0 - trust) * USUAL_TAU_4, min(tau_sd, ALONE_TAU_4))
    tails[0] *= NORMAL_TAILS
    return np.asarray(skews[:, None] * tails / tails.sum())


def _even(nodes: Floats, centre: float, sd: float) -> Floats:
    """Share of a normal that falls to each node; what lies beyond the first or last falls to it."""
    edges = np.concatenate(([-np.inf], (nodes[1:] + nodes[:-1]) / 2.0, [np.inf]))
    return np.asarray(np.diff(special.ndtr((edges - centre) / sd)))


def _fitted(away: Floats, shapes: Shapes, floor: float) -> tuple[Shapes, Fits]:
    """Fit level and spread under each shape; those that these readings rule out are left out on the way."""
    begun = Fits(*(np.zeros(shapes.skew.size), np.ones(shapes.skew.size), np.zeros(shapes.skew.size)))
    rough = _reweighted(away, shapes, begun, floor, FIRST_STEPS)
    chance = rough.likely + shapes.prior
    kept = chance > chance.max() - RULED_OUT
    shapes, rough = Shapes(*(part[kept] for part in shapes)), Fits(*(part[kept] for part in rough))
    return shapes, _reweighted(away, shapes, rough, floor, FIT_STEPS - FIRST_STEPS)


def fitted_to(readings: Floats, skew: float, tails: float, floor: float) -> tuple[float, float]:
    """Fit level and spread of some readings under one shape. [unit of the readings].

    Examples
    --------
    >>> fitted_to(np.array([1.0, 2.0, 3.0]), 0.0, 0.0, 0.0)
    (2.0, 1.0)
    """
    middle, scale = float(np.median(readings)), max(float(readings.std(ddof=1)), floor)
    shape = Shapes(np.array([skew]), np.array([tails]), np.zeros(1), np.zeros(1))
    begun = Fits(np.zeros(1), np.ones(1), np.zeros(1))
    fit = _reweighted((readings - middle) / scale, shape, begun, floor / scale, FIT_STEPS)
    return middle + scale * float(fit.level[0]), scale * float(fit.spread[0])


def _reweighted(away: Floats, shapes: Shapes, begun: Fits, floor: float, steps: int) -> Fits:
    """Fit further by the reweighting that learning uses."""
    g, kappa, power = shapes.skew[:, None], shapes.tails[:, None], shapes.power[:, None]
    n = away.size
    level, spread = begun.level[:, None], begun.spread[:, None]
    some = np.where(g == 0, 1.0, g)
    for _ in range(steps):
        u = _upright((away - level) / spread, g, power)
        square = u * u
        weight = 1.0 / (1.0 + kappa * square)
        moved = (weight * u).sum(axis=1, keepdims=True) / weight.sum(axis=1, keepdims=True)
        wide = np.sqrt((1.0 + kappa) * (weight * square).sum(axis=1, keepdims=True) / (n - 1))
        # a step on the upright scale, said on the skewed one
        grown = np.clip(some * moved, -1.0, 1.0)
        level = level + spread * np.where(g == 0, moved, np.expm1(grown) / some)
        spread = np.maximum(spread * wide * np.where(g == 0, 1.0, np.exp(grown)), max(floor, 1e-6))
    y = (away - level) / spread
    u = _upright(y, g, power)
    steep = (1.0 - power) * np.log(np.maximum(1.0 + g / (1.0 - power) * y, STRAIGHT_FROM))
    heavy = kappa > 0
    tail = np.where(heavy, kappa, 1.0)
    dense = np.where(heavy, (tail + 1.0) / (2.0 * tail) * np.log1p(kappa * u * u), u * u / 2.0)
    heights = n * (_constant(shapes.tails) - np.log(spread[:, 0]))
    return Fits(level[:, 0], spread[:, 0], heights - (dense + steep).sum(axis=1))


def _constant(tails: Floats) -> Floats:
    """Log of the height of Student's t at 0."""
    some = np.where(tails > 0, tails, 1.0)
    heights = special.gammaln((1 / some + 1) / 2) - special.gammaln(1 / some / 2) + 0.5 * np.log(some / np.pi)
    return np.where(tails > 0, heights, -0.5 * math.log(2 * math.pi))


def _upright(away: Floats, skew: Floats, power: Floats) -> Floats:
    """Take the skewness out of readings given in spreads from the level."""
    skewed = np.abs(skew) > 1e-9
    bend = np.where(skewed, skew, 1.0) / (1.0 - power)
    inner = 1.0 + bend * away
    root = np.where(power > 0.0, power, 1.0)
    ended = np.log(np.maximum(inner, STRAIGHT_FROM))
    curved = np.where(power > 0.0, np.expm1(root * ended) / root, ended)
    straight = np.minimum(inner - STRAIGHT_FROM, 0.0) * STRAIGHT_FROM ** (power - 1.0)
    return np.where(skewed, (curved + straight) / bend, away)


@lru_cache(maxsize=512)
def _errors(skew: float, tails: float, power: float) -> tuple[float, float, float]:
    """Variances of level and log spread of one fitted piece, and their correlation, under a shape.

    By the sandwich of the two estimating equations, over quantiles of the shape itself. [spreads]
    """
    if skew == 0.0 and tails == 0.0:
        return 1.0, 0.5, 0.0
    u = _of_tails(tails)
    bend = skew / (1.0 - power)
    if skew == 0.0:
        inner, y = np.ones_like(u), u
    else:
        inner = np.exp(skew * u) if power == 0.0 else np.maximum(1.0 + bend * power * u, 0.1) ** (1.0 / power)
        y = (inner - 1.0) / bend
    steep = np.maximum(inner, STRAIGHT_FROM) ** (power - 1.0)
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


@lru_cache(maxsize=32)
def _of_tails(tails: float) -> Floats:
    """Return even quantiles of Student's t, of the normal without tails; most of the time of `_errors`."""
    chance = (np.arange(500) + 0.5) / 500
    return np.asarray(special.ndtri(chance) if tails == 0.0 else special.stdtrit(1.0 / tails, chance))


@lru_cache(maxsize=32)
def _score_table(tails: float) -> tuple[Floats, Floats]:
    """Tell exact normal scores of Student's t: far out the formula of the detector is some percent short."""
    at = np.linspace(0.0, 16.0, 400)
    share = special.stdtr(1.0 / tails, -np.sinh(at))
    return at, np.minimum(-special.ndtri(share), LARGEST_SCORE)


@lru_cache(maxsize=1)
def _scattered() -> tuple[Floats, Floats]:
    """Spread pairs of normal scores evenly over the plane: no seed, so the same readings give the same."""
    place = np.arange(1, DRAWS + 1)
    golden = 1.32471795724474602596  # of two dimensions: the root of x^3 = x + 1
    # the spread counts most, so its scores are laid out evenly in order
    return special.ndtri((0.5 + place / golden) % 1.0), special.ndtri((place - 0.5) / DRAWS)
