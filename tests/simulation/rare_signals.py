"""Stretches that are bound to signal, with the weights that make rare false signals countable.

A false signal in 10,000 or 100,000 points is too rare to be waited for. Here every drawn stretch of steady
readings exceeds a limit at one chosen split, by the exact distribution of the statistic at that split. With
splits chosen with chances p and exceeded with probabilities P, a stretch counts 1 / (sum of p / P over the
splits it exceeds), which is bounded: a few thousand draws suffice at any rate.

The estimator: Naiman & Priebe, "Computing scan statistic p values using importance sampling", Journal of
Computational and Graphical Statistics 10 (2001), 296-328; splits near the ends are chosen more often here,
because a change in the middle would mostly have signalled before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from qc.stats.change.scan import (
    LEVEL,
    SHORTEST,
    SPREAD,
    SPREAD_SIDE,
    TREND_SIDE,
    Sums,
    level_profile,
    normal_score,
    scan,
    split_squares,
    spread_profile,
    statistic_limit,
    trend_profile,
)

BLOCK = 64


@dataclass(frozen=True)
class Draws:
    """Stretches drawn for one kind: scores at the last reading, weights, whether quiet before."""

    scores: np.ndarray
    weight: np.ndarray
    quiet: np.ndarray


def draw(
    random: np.random.Generator, kind: int, n: int, score: float, earlier: dict[int, np.ndarray], draws: int
) -> Draws:
    """Draw stretches of `n` readings in which `kind` exceeds `score`, quiet by the thresholds `earlier`."""
    found = []
    limit = float(statistic_limit(np.full(3, score), n)[kind])
    limits = {m: statistic_limit(scores, m) for m, scores in earlier.items() if SHORTEST <= m < n}
    places, chances = _chances(kind, n, limit)
    favour = 1 / (n - places) + 0.2 / places
    favour = favour / favour.sum()
    for _ in range(0, draws, BLOCK):
        picked = random.choice(len(places), BLOCK, p=favour)
        if kind == SPREAD:
            values = _exceed_spread(random, n, places[picked], limit)
        else:
            values = _exceed_mean(random, kind, n, picked, chances[0])
        sums = Sums.of(values)
        # the chosen split stands just at the limit at times: rounding must not lose it
        over = profile(kind, sums) > limit * (1 - 1e-9)
        weight = 1 / np.maximum((over * (favour / chances)).sum(axis=1), 1e-300)
        quiet = np.ones(BLOCK, dtype=bool)
        for m in sorted(limits, reverse=True):
            left = np.flatnonzero(quiet)
            if left.size:
                now = scan(sums.take(left, m), np.zeros(left.size)).statistic
                quiet[left] = (now <= limits[m]).all(axis=1)
        scores = normal_score(scan(sums, np.zeros(BLOCK)).statistic, n)
        found.append((scores, np.where(over.any(axis=1), weight, 0.0), quiet))
    return Draws(*(np.concatenate([part[i] for part in found]) for i in range(3)))


def profile(kind: int, sums: Sums) -> np.ndarray:
    """The statistic at every split."""
    none = np.zeros(sums.total.shape[0])
    parts = split_squares(sums)
    if kind == LEVEL:
        return level_profile(parts, None)
    return spread_profile(parts, none) if kind == SPREAD else trend_profile(sums, parts.whole, none)


def _chances(kind: int, n: int, limit: float) -> tuple[np.ndarray, np.ndarray]:
    """Places of the splits, and the probability that each exceeds the limit."""
    if kind == SPREAD:
        places = np.arange(SPREAD_SIDE, n - SPREAD_SIDE + 1)
        return places, np.array([sum(_spread_tails(n, int(k), limit)) for k in places])
    places = np.arange(1, n if kind == LEVEL else n - TREND_SIDE + 1)
    return places, np.full(places.shape, 2 * stats.t.sf(math.sqrt(limit), n - 2))


def _exceed_mean(
    random: np.random.Generator, kind: int, n: int, picked: np.ndarray, chance: float
) -> np.ndarray:
    """Stretches whose t exceeds the limit at the picked split."""
    order = np.arange(1, n + 1)[None, :]
    place = picked[:, None] + 1
    chosen = (order > place) * 1.0 if kind == LEVEL else np.maximum(order - place, 0.0)
    chosen = chosen - chosen.mean(axis=1, keepdims=True)
    chosen /= np.linalg.norm(chosen, axis=1, keepdims=True)
    t = stats.t.isf(random.random(len(picked)) * chance / 2, n - 2) * random.choice([-1.0, 1.0], len(picked))
    rest = random.standard_normal((len(picked), n))
    rest -= rest.mean(axis=1, keepdims=True)
    rest -= (rest * chosen).sum(axis=1, keepdims=True) * chosen
    rest /= np.linalg.norm(rest, axis=1, keepdims=True)
    cosine = (t / np.sqrt(t * t + n - 2))[:, None]
    return cosine * chosen + np.sqrt(1 - cosine**2) * rest


def _exceed_spread(random: np.random.Generator, n: int, places: np.ndarray, limit: float) -> np.ndarray:
    """Stretches whose ratio of spreads exceeds the limit at the given split."""
    values = random.standard_normal((len(places), n))
    for row, k in enumerate(places.tolist()):
        above, below = _spread_tails(n, k, limit)
        at = random.random() * (above + below)
        ratio = stats.f.isf(at, n - k - 1, k - 1) if at < above else stats.f.ppf(at - above, n - k - 1, k - 1)
        part = values[row, k:]
        wanted = math.sqrt(ratio) * values[row, :k].std(ddof=1)
        values[row, k:] = part.mean() + (part - part.mean()) * wanted / part.std(ddof=1)
    return values


_TAILS: dict[tuple[int, int, float], tuple[float, float]] = {}


def _spread_tails(n: int, k: int, limit: float) -> tuple[float, float]:
    """Chances that the later spread is too large, and too small, at one split."""
    key = n, k, limit
    if key not in _TAILS:
        degrees = n - k - 1, k - 1
        above, below = (
            stats.f.sf(_ratio(n, k, limit, 1), *degrees),
            stats.f.cdf(_ratio(n, k, limit, -1), *degrees),
        )
        _TAILS[key] = float(above), float(below)
    return _TAILS[key]


def _ratio(n: int, k: int, limit: float, sign: int) -> float:
    """Ratio of variances at which the corrected likelihood ratio stands at the limit."""
    first, second = k - 1, n - k - 1
    correction = 1 + (1 / first + 1 / second - 1 / (n - 2)) / 3
    low, high = 0.0, 60.0
    for _ in range(80):
        middle = (low + high) / 2
        pooled = np.logaddexp(math.log(first), math.log(second) + sign * middle) - math.log(n - 2)
        statistic = ((n - 2) * pooled - second * sign * middle) / correction
        low, high = (middle, high) if statistic < limit else (low, middle)
    return math.exp(sign * low)
