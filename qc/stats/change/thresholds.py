"""Thresholds of the change-point detector: which score at which length keeps the wanted false-alarm rate.

The figures are simulated (`tests/simulation/calibrate_thresholds.py`, which also says with which seeds) and
stand with their standard errors in `thresholds.csv`. Between the tabulated rates the squared score is a
straight line in the logarithm of the rate; below 1 in 10,000 the line fitted to the five lowest tabulated
rates is followed.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Literal

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats

Judged = Literal["normal", "any"]

HIGHEST_RATE = 0.02  # highest simulated rate
LOWEST_RATE = 1e-6  # the fitted tail is followed no further; simulated to 1e-4, checked at 1e-5
TAIL_RATES = 5  # tabulated rates on which the fitted tail rests
# ranks cannot tell one piece from the rest: no `single`
LEVEL_SIDE: dict[Judged, int] = {"normal": 1, "any": 2}


@dataclass(frozen=True, slots=True)
class ThresholdTable:
    """Simulated thresholds of one shape.

    `scores` and `errors` have shape (rates, lengths, 3): level, spread, trend; infinite where a kind cannot
    be judged. Rates fall, lengths rise.
    """

    rates: Floats
    lengths: Floats
    scores: Floats
    errors: Floats


def check_rate(false_alarm_rate: float) -> float:
    """Return the rate per point, or refuse one for which no threshold was simulated."""
    rate = float(false_alarm_rate)
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise StatisticsError(
            f"false-alarm rate {false_alarm_rate!r} is outside {LOWEST_RATE:g} to {HIGHEST_RATE:g} a point: "
            "give the share of points that may raise a false signal, e.g. 0.001"
        )
    return rate


@lru_cache(maxsize=8192)
def threshold_scores(false_alarm_rate: float, length: int, shape: Judged = "normal") -> Floats:
    """Scores above which a stretch signals.

    Parameters
    ----------
    false_alarm_rate : float
        Wanted share of points that raise a false signal, all kinds together, 1e-6 to 0.02.
    length : int
        Readings in the stretch, >= 4; beyond 200 the thresholds stay as they are.
    shape : {"normal", "any"}
        `normal` also serves logarithms; `any` is for normal scores of ranks.

    Returns
    -------
    ndarray, shape (3,)
        Thresholds of level, spread and trend as normal scores; infinite where a kind cannot be judged.

    Raises
    ------
    StatisticsError
        Rate out of range or fewer than four readings.

    Examples
    --------
    >>> bool(3.6 < threshold_scores(0.001, 50)[0] < 4.0)
    True
    """
    rate = check_rate(false_alarm_rate)
    if not 4 <= length < math.inf:
        raise StatisticsError(f"length {length}: a stretch is judged from its 4th reading on")
    table = threshold_table(shape)
    column = _at_length(table, float(min(length, table.lengths[-1])))
    squares = np.square(column)
    logs = np.log(table.rates)
    if rate < table.rates[-1]:
        slope = _tail_slope(logs[-TAIL_RATES:], squares[-TAIL_RATES:])
        result = squares[-1] + slope * (np.log(rate) - logs[-1])
    else:
        above = int(np.clip(np.searchsorted(-table.rates, -rate), 1, len(table.rates) - 1))
        share = (np.log(rate) - logs[above - 1]) / (logs[above] - logs[above - 1])
        result = np.where(
            np.isfinite(squares[above]), _blend(squares[above - 1], squares[above], share), np.inf
        )
    scores = np.sqrt(result)
    scores.setflags(write=False)
    return np.asarray(scores)


@lru_cache(maxsize=2)
def threshold_table(shape: Judged) -> ThresholdTable:
    """Read the simulated table of one shape.

    Examples
    --------
    >>> threshold_table("normal").lengths[[0, -1]].tolist()
    [4.0, 200.0]
    """
    if shape not in LEVEL_SIDE:
        raise StatisticsError(f"no thresholds for the shape {shape!r}: `normal` and `any` have them")
    text = (resources.files("qc.stats.change") / "thresholds.csv").read_text(encoding="ascii")
    rows = [row for row in csv.DictReader(text.splitlines()) if row["shape"] == shape]
    rates = sorted({float(row["rate"]) for row in rows}, reverse=True)
    lengths = sorted({float(row["length"]) for row in rows})
    figures = np.full((2, len(rates), len(lengths), 3), np.inf)
    for row in rows:
        cell = rates.index(float(row["rate"])), lengths.index(float(row["length"]))
        for j, kind in enumerate(("level", "spread", "trend")):
            if row[kind]:
                figures[0][cell][j] = float(row[kind])
                figures[1][cell][j] = float(row[f"se_{kind}"])
    figures.setflags(write=False)
    return ThresholdTable(np.array(rates), np.array(lengths), figures[0], figures[1])


def _at_length(table: ThresholdTable, length: float) -> Floats:
    """Thresholds at every rate, straight between tabulated lengths in the logarithm of the length."""
    right = int(np.searchsorted(table.lengths, length))
    if table.lengths[right] == length:
        return table.scores[:, right]
    low, high = np.log(table.lengths[right - 1]), np.log(table.lengths[right])
    share = (np.log(length) - low) / (high - low)
    return _blend(table.scores[:, right - 1], table.scores[:, right], float(share))


def _blend(left: Floats, right: Floats, share: float) -> Floats:
    """Point between two arrays of which both or none are infinite at a place."""
    finite = np.isfinite(left) & np.isfinite(right)
    out = np.full(left.shape, np.inf)
    out[finite] = left[finite] + share * (right[finite] - left[finite])
    return out


def _tail_slope(logs: Floats, squares: Floats) -> Floats:
    """Slope of the squared score on the logarithm of the rate; 0 for a kind that is not judged."""
    centred = logs - logs.mean()
    finite = np.isfinite(squares).all(axis=0)
    slope = np.zeros(squares.shape[1])
    slope[finite] = centred @ squares[:, finite] / (centred @ centred)
    return slope
