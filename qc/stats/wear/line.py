"""One line of wear judged piece by piece, until it is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.stats.change import LOWEST_RATE, SAME_STEP, Detection, DetectorSignal, detect
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Values
from qc.stats.wear.bends import bend_scores, bend_threshold
from qc.stats.wear.breaks import WearBreak, check_pairs, wear_break

# more than one together, since the two questions overlap: simulated, both raise the rate asked for or less
# (`tests/simulation/wear_rates.py`)
DETECTOR_SHARE, BEND_SHARE = 0.25, 0.9
"""Shares of the false-alarm rate: the detector on recursive residuals, and the bend of the line itself."""


@dataclass(frozen=True, slots=True)
class ToolLine:
    """What was found about one line; points count from 1 among its pieces.

    Attributes
    ----------
    residuals : ndarray
        Recursive residuals, 0 for the pieces that first make the line. [unit of the values]
    evidence : list of tuple
        Score and threshold of each piece, of the question nearest to its threshold; None while too short.
    signals : list of DetectorSignal
        Up to the one that left the line.
    left : int or None
        Piece up to which the line was judged before it was left; None if it holds to the end.
    """

    residuals: Floats
    evidence: list[tuple[float | None, float | None]]
    signals: list[DetectorSignal]
    left: int | None


def recursive_residuals(count: Values, value: Values) -> Floats:
    """Standardised errors of forecasting each reading from the line through the readings before it.

    Parameters
    ----------
    count : sequence of float, length n
        Pieces drawn or made since the tool was fitted. [pieces]
    value : sequence of float, length n
        Readings in order of making. [unit of the characteristic]

    Returns
    -------
    ndarray
        Residuals of the last points of the series: all but the first two, or all but the first few where
        the count stood still at first. For a straight line with normal scatter they are independent normal
        values of one spread, which ordinary residuals are not. [unit of `value`]

    Raises
    ------
    StatisticsError
        Different lengths, or an entry that is not finite.

    References
    ----------
    .. [1] Brown, Durbin & Evans, "Techniques for testing the constancy of regression relationships
       over time", Journal of the Royal Statistical Society B 37 (1975), 149-192.

    Examples
    --------
    >>> recursive_residuals([0, 1, 2, 3], [5.0, 5.1, 5.2, 5.5]).round(4).tolist()
    [0.0, 0.1095]
    """
    x, y = check_pairs(count, value)
    moved = np.flatnonzero(x != x[0]) if x.size else np.zeros(0, dtype=np.int64)
    if not moved.size or moved[0] + 1 >= x.size:
        return np.zeros(0)
    used = int(moved[0]) + 1
    # measured from the first reading, so that sums of squares lose no digits to a far origin
    x, y = x - x[0], y - y[0]
    k = np.arange(1.0, x.size)
    sum_x, sum_y = np.cumsum(x)[:-1], np.cumsum(y)[:-1]
    square = np.cumsum(x * x)[:-1] - sum_x * sum_x / k
    product = np.cumsum(x * y)[:-1] - sum_x * sum_y / k
    late = slice(used - 1, None)
    square, product, k = square[late], product[late], k[late]
    away = x[used:] - sum_x[late] / k
    error = y[used:] - sum_y[late] / k - product / square * away
    return np.asarray(error / np.sqrt(1 + 1 / k + away * away / square))


def judge_line(x: Floats, y: Floats, rates: Floats, step: float | None) -> ToolLine:
    """Judge the pieces of one line, each at its own rate, until the line is left.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Counts and readings, in order. [pieces, unit of the characteristic]
    rates : ndarray, shape (n,)
        False-alarm rate of each piece.
    step : float or None
        Step of the gauge.

    Returns
    -------
    ToolLine
        Its last signal is the one that left the line, if one did.
    """
    residuals = recursive_residuals(x, y)
    skipped = x.size - residuals.size
    shared = np.maximum(rates * DETECTOR_SHARE, LOWEST_RATE)
    found = detect(residuals, false_alarm_rate=shared[skipped:], resolution=step)
    scores = bend_scores(x, y[None, :], (step or 0.0) ** 2 / 12)[0]
    limits = np.array([bend_threshold(float(rate) * BEND_SHARE) for rate in rates])
    raised = [named(signal, range(skipped, x.size)) for signal in found.signals]
    signals, left = _up_to_leaving(x, y, step, raised, scores, limits)
    evidence = _evidence(found, skipped, scores, limits)
    # the pieces that first make the line have no forecast to err from
    return ToolLine(np.concatenate([np.zeros(skipped), residuals]), evidence, signals, left)


def named(signal: DetectorSignal, places: Sequence[int]) -> DetectorSignal:
    """Turn points among some pieces into points of their series, given the pieces' places (from 0) there."""
    low, high = signal.start_set
    return replace(
        signal,
        point=places[signal.point - 1] + 1,
        start=places[signal.start - 1] + 1,
        start_set=(places[low - 1] + 1, places[high - 1] + 1),
        confirmed=None if signal.confirmed is None else places[signal.confirmed - 1] + 1,
    )


def step_of(y: Floats) -> float | None:
    """Step of the readings where they show one; their residuals no longer do."""
    distinct = np.unique(y)
    gaps = np.diff(distinct)
    if not gaps.size:
        return None
    least = float(gaps.min())
    recurs = distinct.size < y.size or int((gaps <= least * (1 + SAME_STEP)).sum()) > 1
    return least if recurs else None


def placed(signal: DetectorSignal, found: WearBreak) -> DetectorSignal:
    """Give a signal the start, kind and size that the break of the line shows."""
    return replace(
        signal,
        kind="shift" if found.form == "jump" else "trend",
        side="above" if found.size > 0 else "below",
        start=found.start,
        start_set=found.start_set,
        size=found.size,
        size_interval=found.size_interval,
        size_sigma=found.size_sigma,
    )


def _up_to_leaving(
    x: Floats,
    y: Floats,
    step: float | None,
    raised: Sequence[DetectorSignal],
    scores: Floats,
    limits: Floats,
) -> tuple[list[DetectorSignal], int | None]:
    """Return the signals up to the one that leaves the line, and the piece at which that was certain."""
    leaving = next((s for s in raised if s.kind in {"shift", "trend"} or s.confirmed is not None), None)
    end = x.size + 1 if leaving is None else leaving.confirmed or leaving.point
    bent = int(np.argmax(scores > limits)) + 1 if bool((scores > limits).any()) else x.size + 1
    if bent < end:
        score, limit = float(scores[bent - 1]), float(limits[bent - 1])
        leaving = DetectorSignal(
            "trend", bent, bent, (bent, bent), "above", 0.0, (0.0, 0.0), 0.0, score, limit
        )
        end = bent
    if leaving is None:
        return list(raised), None
    try:
        leaving = placed(leaving, wear_break(x[:end], y[:end], resolution=step))
    except StatisticsError:  # too few counts to lay a second line: the residuals have the word
        pass
    # what was raised after the line was left is measured from a line that no longer holds
    earlier = [s for s in raised if s.point < end and s is not leaving and s.confirmed is None]
    first = next((s for s in earlier if _begins(s, leaving)), None)
    if first is not None:
        leaving = replace(leaving, point=first.point, confirmed=end)
    return [s for s in earlier if not _begins(s, leaving)] + [leaving], end


def _begins(single: DetectorSignal, leaving: DetectorSignal) -> bool:
    """Say whether a piece that seemed to stand alone was the first sign that the line had been left."""
    return single.kind == "single" and single.side == leaving.side and single.point >= leaving.start - 1


def _evidence(
    found: Detection, skipped: int, scores: Floats, limits: Floats
) -> list[tuple[float | None, float | None]]:
    """Pair score and threshold of each piece, of the question that came nearer to a signal."""
    pairs: list[tuple[float | None, float | None]] = [(None, None)] * skipped
    for score, threshold, bend, limit in zip(
        found.scores, found.thresholds, scores[skipped:], limits[skipped:], strict=True
    ):
        bent = bend > 0 and (score is None or threshold is None or bend - limit > score - threshold)
        pairs.append((float(bend), float(limit)) if bent else (score, threshold))
    return pairs
