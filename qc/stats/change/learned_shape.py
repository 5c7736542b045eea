"""Readings of a learned shape put on the scale on which the detector judges: there they scatter normally.

A workshop's readings are rarely normal: some lean to one side, some have a few far from the rest. The shape
is learned from settled pieces (`qc.stats.noise`) as a lean g and a tail weight kappa. Level m and spread s of
the stretch are fitted under that shape, and each reading becomes its normal score z:

    u = ln(1 + g (x - m) / s) / g    takes the lean out (a shifted log-normal); u = (x - m) / s without one
    z = sign(u) (8 + kappa) / (8 + 3 kappa) sqrt(ln(1 + kappa u^2) / kappa)

The second line is about the normal score of Student's t with 1 / kappa degrees of freedom. Without lean and
tails z is the reading itself in standard deviations. m and s make the sums of w u and of w (u^2 - 1) vanish,
where w = (1 + kappa) / (1 + kappa u^2): the likeliest level and spread of a t, found by repeated weighting.

References
----------
.. [1] Wallace, "Bounds on normal approximations to Student's and the chi-square distributions", Annals of
   Mathematical Statistics 30 (1959), 1121-1130: the normal score of t (from memory; the tests compare it with
   the exact one).
.. [2] Lange, Little & Taylor, "Robust statistical modeling using the t distribution", Journal of the American
   Statistical Association 84 (1989), 881-896: the repeated weighting (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Integers, Values, as_readings

# chosen by trial: one piece more moves a fit little, and after three steps the scores stand
FIT_STEPS = 3
WHOLE_STEPS = 30  # for a finished run of readings, which has no lengths before
COLD_STEPS = 8  # where there is no last length to begin from
# chosen by trial: nearer to the end of a leaning scale the logarithm goes on straight, or a fit would swing
# to and fro for ever
STRAIGHT_FROM = 0.2
LEAST_SPREAD = 1e-7  # share of the readings' own spread below which that of a fit is rounding
LEAST_LEAN = 1e-9  # a lean or a tail weight below it changes nothing but the last digits
LARGEST_EXPONENT = 600.0  # keeps an exponential finite


class Lean(NamedTuple):
    """Lean g and tail weight kappa of each row, shape (rows, 1)."""

    skew: Floats
    tails: Floats

    @classmethod
    def of(cls, noises: list[Noise]) -> Lean:
        """Take them from what was learned of each row."""
        skew = np.array([[noise.skew] for noise in noises])
        tails = np.array([[noise.tails] for noise in noises])
        return cls(np.where(np.abs(skew) < LEAST_LEAN, 0.0, skew), np.where(tails < LEAST_LEAN, 0.0, tails))

    def of_rows(self, rows: Integers) -> Lean:
        """Take some rows."""
        return Lean(self.skew[rows], self.tails[rows])


class Back(NamedTuple):
    """The way back from normal scores to readings: first reading of the stretch, fit and learned shape."""

    first: float
    fit: Floats
    lean: Lean

    def readings(self, scores: Sequence[float]) -> list[float]:
        """Give the readings of some scores."""
        away = readings_of(np.array([scores]), self.fit, self.lean)[0]
        return [self.first + float(reading) for reading in away]


class Scored(NamedTuple):
    """Readings on the scale on which a learned shape is judged.

    `scores` has shape (n,), `floor` is the variance that the gauge's step hides on that scale, `back` leads
    to readings again.
    """

    scores: Floats
    floor: float
    back: Back


def learned_scores(values: Values, noise: Noise, *, resolution: float | None = None) -> Scored:
    """Put finished readings on the scale on which they scatter normally under a learned shape.

    Parameters
    ----------
    values : sequence of float, length n >= 2
        Readings in any order. [unit of the characteristic]
    noise : Noise
        What was learned of the series.
    resolution : float or None
        Step of the gauge. [unit of the characteristic]

    Returns
    -------
    Scored
        `back.readings` gives scores in the unit again.

    Raises
    ------
    StatisticsError
        Fewer than two readings, or one that is not finite.

    Examples
    --------
    >>> scored = learned_scores([4.9, 5.0, 5.1, 5.0, 4.8, 5.2], Noise(tails=0.2))
    >>> [round(float(score), 2) for score in scored.scores[:3]]
    [-0.79, 0.0, 0.79]
    >>> [round(reading, 2) for reading in scored.back.readings([-0.79, 0.0])]
    [4.9, 5.0]
    """
    series = as_readings(values, "values")
    lean, step = Lean.of([noise]), resolution or 0.0
    centred = (series - series[0])[None, :]
    fit = np.zeros((1, 2))
    for _ in range(WHOLE_STEPS // FIT_STEPS):
        fit = fit_further(centred, fit, lean, np.array([step * step / 12]))
    spread = float(fit[0, 1])
    width = step * float(slope_of(lean)[0, 0]) / spread if spread > 0 else 0.0
    return Scored(scores_of(centred, fit, lean)[0], width * width / 12, Back(float(series[0]), fit, lean))


def fit_further(centred: Floats, last: Floats, lean: Lean, floor: Floats) -> Floats:
    """Fit level and spread of stretches one reading longer than those of `last`.

    Parameters
    ----------
    centred : ndarray, shape (rows, n), n >= 2
        Readings measured from the first of their stretch. [unit of the characteristic]
    last : ndarray, shape (rows, 2)
        Fit without the newest reading; a spread of 0 begins anew.
    lean : Lean
        Learned shape.
    floor : ndarray, shape (rows,)
        Least variance: that of the gauge's step. [square of the unit]

    Returns
    -------
    ndarray, shape (rows, 2)
        Level, measured from the first reading, and spread; 0 where all readings are equal. [unit]
    """
    n = centred.shape[1]
    mean = centred.sum(axis=1, keepdims=True) / n
    away = centred - mean
    own = np.sqrt((away * away).sum(axis=1, keepdims=True) / n)
    least = np.maximum(np.maximum(np.sqrt(floor)[:, None], own * LEAST_SPREAD), np.finfo(float).tiny)
    level, spread = last[:, :1], last[:, 1:]
    cold = ~(spread > 0)
    if cold.any():
        rows = np.flatnonzero(cold[:, 0])
        begun = mean[rows], np.maximum(own[rows], least[rows])
        for _ in range(COLD_STEPS):
            begun = _step(centred[rows], *begun, lean.of_rows(rows), least[rows])
        level, spread = level.copy(), spread.copy()
        level[rows], spread[rows] = begun
    spread = np.maximum(spread, least)
    for _ in range(FIT_STEPS):
        level, spread = _step(centred, level, spread, lean, least)
    return np.concatenate([level, np.where(own > 0, spread, 0.0)], axis=1)


def scores_of(centred: Floats, fit: Floats, lean: Lean) -> Floats:
    """Give each reading its normal score under the fitted shape, shape (rows, n); 0 where all are equal."""
    spread = fit[:, 1:]
    u = _upright((centred - fit[:, :1]) / np.where(spread > 0, spread, 1.0), lean.skew)
    return _scored(u, lean.tails)


def readings_of(scores: Floats, fit: Floats, lean: Lean) -> Floats:
    """Undo `scores_of`: scores, shape (rows, n), as readings measured from the first of the stretch."""
    skew, tails = lean
    some = np.where(tails > 0, tails, 1.0)
    root = scores * (8 + 3 * tails) / (8 + tails)
    grown = np.sqrt(np.expm1(np.minimum(some * root * root, LARGEST_EXPONENT)) / some)
    u = np.where(tails > 0, np.sign(scores) * grown, scores)
    lean_of = np.where(skew == 0, 1.0, skew)
    inner = np.exp(np.minimum(lean_of * u, LARGEST_EXPONENT))
    straight = STRAIGHT_FROM * (1 + lean_of * u - np.log(STRAIGHT_FROM))
    away = np.where(skew == 0, u, (np.where(inner > STRAIGHT_FROM, inner, straight) - 1) / lean_of)
    return np.asarray(fit[:, :1] + fit[:, 1:] * away)


def slope_of(lean: Lean) -> Floats:
    """How much a score moves at the level for a reading that moves by one spread, shape (rows, 1)."""
    return np.asarray((8 + lean.tails) / (8 + 3 * lean.tails))


def _step(centred: Floats, level: Floats, spread: Floats, lean: Lean, least: Floats) -> tuple[Floats, Floats]:
    """One step of the repeated weighting."""
    skew, tails = lean
    n = centred.shape[1]
    u = _upright((centred - level) / spread, skew)
    square = u * u
    weight = 1.0 / (1.0 + tails * square)
    total = weight.sum(axis=1, keepdims=True)
    away = (weight * u).sum(axis=1, keepdims=True) / total
    wider = np.sqrt((weight * square).sum(axis=1, keepdims=True) * (1 + tails) / n)
    # a step of `away` on the upright scale, said on the leaning one
    moved = away
    if skew.any():
        some = np.where(skew == 0, 1.0, skew)
        grown = np.clip(some * away, -1.0, 1.0)
        moved = np.where(skew == 0, away, np.expm1(grown) / some)
        wider = np.where(skew == 0, wider, wider * np.exp(grown))
    return level + spread * moved, np.maximum(spread * wider, least)


def _upright(away: Floats, skew: Floats) -> Floats:
    """Take the lean out of readings given in spreads from the level."""
    rows = np.flatnonzero(skew[:, 0])
    if not rows.size:
        return away
    whole = rows.size == away.shape[0]
    lean = skew if whole else skew[rows]
    inner = 1.0 + lean * (away if whole else away[rows])
    beyond = np.minimum(inner - STRAIGHT_FROM, 0.0) / STRAIGHT_FROM
    upright = (np.log(np.maximum(inner, STRAIGHT_FROM)) + beyond) / lean
    if whole:
        return np.asarray(upright)
    away[rows] = upright
    return away


def _scored(u: Floats, tails: Floats) -> Floats:
    """Give the normal scores of figures that follow Student's t."""
    rows = np.flatnonzero(tails[:, 0])
    if not rows.size:
        return u
    whole = rows.size == u.shape[0]
    kappa, own = (tails, u) if whole else (tails[rows], u[rows])
    factor = (8 + kappa) / (8 + 3 * kappa) / np.sqrt(kappa)
    scored = np.copysign(np.sqrt(np.log1p(kappa * (own * own))) * factor, own)
    if whole:
        return np.asarray(scored)
    u[rows] = scored
    return u
