"""Which kind of change a run of readings shows best, told from all of them and not as they came.

A signal is raised on as few readings as can be, and its kind is then little more than a guess: the first wild
reading of a wider scatter looks like a piece apart, the foot of a climb like a step. The readings made since
tell them apart. A step, a climb, a change of the spread and a piece apart each need one place and one figure
more than a steady run, so their likelihoods can be compared as they are; each costs the logarithm of the
number of readings, half as much again an excursion that is over, which has an end too (Schwarz's allowance).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Literal, NamedTuple

import numpy as np

from qc.stats.change.evidence import (
    START_CONFIDENCE,
    level_reach,
    level_size,
    level_weights,
    likeliest,
    log_weights,
    span,
    spread_size,
)
from qc.stats.change.input import check_values
from qc.stats.change.scan import (
    LEVEL,
    RELATIVE_GUARD,
    SPREAD,
    SPREAD_SIDE,
    TREND,
    TREND_SIDE,
    Sums,
    level_profile,
    split_squares,
    trend_profile,
)
from qc.stats.change.whitening import Whitening, hanging
from qc.stats.errors import StatisticsError
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Integers, Interval, Values

FitKind = Literal["steady", "single", "shift", "trend", "spread", "passing"]

RULED_OUT = 0.4
"""Less probable than this, a step or a climb no longer widens the set of the start. Left in, the set holds
the start of a climb oftener, but that of a step too often and be half as wide again (simulated: a step of two
sigma after 50 pieces, ten pieces later: 8 pieces wide holds it in 0.97, 5 pieces wide in 0.93)."""

STEPS_OF_THE_MEAN = 12
"""Rounds in which the common mean of two spreads is found; each leaves a few per cent of the error."""


COSTS: dict[FitKind, float] = {"steady": 0, "single": 1, "shift": 1, "trend": 1, "passing": 1.5}
"""What each kind costs beside a steady run, in logarithms of the number of readings."""

Lots = Sequence[str | None] | None


class KindFit(NamedTuple):
    """How well one kind of change explains the readings, and where it begins.

    `support` is the largest log likelihood less its cost; `start` counts from 1 (1 for `steady`).
    """

    kind: FitKind
    start: int
    support: float


class Placed(NamedTuple):
    """A change put in its place: start and 90 % set (points from 1), size and 95 % interval, size in sd."""

    start: int
    start_set: tuple[int, int]
    size: float
    size_interval: Interval
    size_sigma: float


def fit_kinds(
    values: Values,
    *,
    apart: Collection[int] = (),
    until: int | None = None,
    floor: float = 0.0,
    noise: Noise | None = None,
    lots: Lots = None,
) -> dict[FitKind, KindFit]:
    """Say how well each kind of change explains a run of readings.

    Parameters
    ----------
    values : sequence of float, length n >= 8
        Readings in order of making, as they are judged. [unit of the characteristic, or normal scores]
    apart : collection of int
        Points (from 1) that all kinds but `spread` set aside, at their cost.
    until : int or None
        An excursion that is over began at this point at the latest and ended after it; None: it is not asked
        about.
    floor : float
        Least variance: that of the gauge's step. [square of the unit]
    noise : Noise or None
        How much pieces of one lot and neighbours hang together: each kind is then fitted to what the pieces
        add to their forecasts. None: not at all.
    lots : sequence of str or None, length n, or None
        Lot of each piece; None: a lot of its own.

    Returns
    -------
    dict of kind to KindFit
        `steady`, `single`, `shift`, `trend`, `spread` and, with `until`, `passing`.

    Raises
    ------
    StatisticsError
        Under eight readings, or one that is not finite.

    References
    ----------
    .. [1] Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978), 461-464.

    Examples
    --------
    >>> quiet, wild = [0.1, -0.2, 0.0, 0.2, -0.1, 0.1, -0.2, 0.1], [1.0, -1.2, 0.8, -0.9, 1.3, -0.7]
    >>> found = fit_kinds(quiet + wild)
    >>> best = max(found.values(), key=lambda fit: fit.support)
    >>> best.kind, best.start
    ('spread', 9)
    """
    series = _series(values)
    n, cost = series.size, float(np.log(series.size))
    # equal readings leave nothing, and the logarithm of nothing would beat every other kind
    least = max(floor, RELATIVE_GUARD * float(series.var()), np.finfo(float).tiny)
    places = [i for i in range(n) if i + 1 not in apart]
    latest = None if until is None else sum(place < until for place in places)
    whitening = hanging(noise, _of(lots, places), len(places))
    if whitening is None:
        fitted = _squares_left(series[places], latest)
    else:
        fitted = _squares_left_together(series[places], latest, whitening)
    # every piece left out is a free parameter: without its price leaving pieces out would always win
    aside = cost * (n - len(places))
    fits: dict[FitKind, KindFit] = {}
    for kind, (squares, begin) in fitted.items():
        support = -0.5 * n * float(np.log(max(squares / n, least))) - aside
        fits[kind] = KindFit(kind, places[begin] + 1, support - COSTS[kind] * cost)
    fits["steady"] = fits["steady"]._replace(start=1)
    whole = hanging(noise, lots, n)
    split, log_likelihood = _two_spreads(series if whole is None else whole.innovations(series), least)
    fits["spread"] = KindFit("spread", split + 1, log_likelihood - cost)
    return fits


def climb_or_stairs(
    values: Values,
    starts: Sequence[int],
    *,
    apart: Collection[int] = (),
    floor: float = 0.0,
    noise: Noise | None = None,
    lots: Lots = None,
) -> float:
    """By how much one climb explains a run of readings better (above 0) than the steps found in it.

    Parameters
    ----------
    values, apart, floor, noise, lots
        As for `fit_kinds`.
    starts : sequence of int
        First points (from 1) of the steps.

    Examples
    --------
    >>> climb = [0.0, 0.1, -0.1, 0.1, 0.0, -0.1, 0.4, 0.9, 1.6, 2.0, 2.4, 3.1, 3.4, 4.1]
    >>> climb_or_stairs(climb, [8, 11]) > 0
    True
    """
    series = _series(values)
    cost = float(np.log(series.size))
    kept = np.array([i not in apart for i in range(1, series.size + 1)])
    places = np.flatnonzero(kept)
    whitening = hanging(noise, _of(lots, places), places.size)
    if whitening is None:
        squares = 0.0
        edges = [0, *(start - 1 for start in starts), series.size]
        for first, end in zip(edges, edges[1:], strict=False):
            part = series[first:end][kept[first:end]]
            squares += float(((part - part.mean()) ** 2).sum()) if part.size else 0.0
    else:
        splits = [int((places < start - 1).sum()) for start in starts]
        squares = whitening.left_by_steps(series[kept], splits)
    least = max(floor, RELATIVE_GUARD * float(series.var()), np.finfo(float).tiny)
    stairs = -0.5 * series.size * float(np.log(max(squares / series.size, least)))
    stairs -= cost * (len(starts) + float((~kept).sum()))
    return fit_kinds(series, apart=apart, floor=floor, noise=noise, lots=lots)["trend"].support - stairs


def place_level(
    values: Values,
    kind: Literal["shift", "trend"],
    floor: float = 0.0,
    *,
    noise: Noise | None = None,
    lots: Lots = None,
) -> Placed:
    """Place a step or a climb in a run of readings that holds one.

    Parameters
    ----------
    values : sequence of float, length n >= 8
        Readings in order of making. [unit of the characteristic]
    kind : {"shift", "trend"}
        Whose start and size are wanted. Of a climb the size is its height at the last reading.
    floor : float
        Least variance: that of the gauge's step. [square of the unit]
    noise, lots
        As for `fit_kinds`.

    Returns
    -------
    Placed
        The set weighs steps and climbs together, since neither can be ruled out at first; the interval of the
        size allows for the doubt about the start.

    Examples
    --------
    >>> place_level([10.0, 10.2, 9.9, 10.1, 11.0, 11.2, 10.9, 11.1], "shift").start_set
    (5, 5)
    """
    series = _series(values)
    which = LEVEL if kind == "shift" else TREND
    whitening = hanging(noise, lots, series.size)
    sums = Sums.of(series[None, :])
    parts = split_squares(sums)
    least = np.array([floor])
    if whitening is not None:
        profile = whitening.share(series, floor, which)[0]
    elif which == LEVEL:
        profile = level_profile(parts, least)[0]
    else:
        profile = trend_profile(sums, parts.whole, least)[0]
    split = int(profile.argmax()) + 1
    weights = level_weights(series, floor, rule_out=RULED_OUT, whitening=whitening)
    inside = likeliest(weights, START_CONFIDENCE) + 1
    size, _, spread = level_size(series, which, split, floor, whitening)
    relative = size / spread if spread > 0 else 0.0
    first, weight = log_weights(series, floor, which, whitening)
    likely = likeliest(weight, START_CONFIDENCE) + first
    reach = level_reach(series, which, (int(likely[0]), int(likely[-1])), floor, whitening)
    return Placed(split + 1, span(inside + 1, split + 1), size, reach, relative)


def place_spread(
    values: Values,
    floor: float = 0.0,
    judged: Values | None = None,
    *,
    noise: Noise | None = None,
    lots: Lots = None,
) -> Placed:
    """Place a change of the spread in a run of readings that holds one.

    Parameters
    ----------
    values : sequence of float, length n >= 8
        Readings in order of making; the size is told in their unit. [unit of the characteristic]
    floor : float
        Least variance on the judged scale.
    judged : sequence of float or None
        The readings as they are judged, where that is not as they are (logarithms, normal scores).
    noise, lots
        As for `fit_kinds`.

    Returns
    -------
    Placed
        `size` is the change of the standard deviation.

    Examples
    --------
    >>> quiet, wild = [0.1, -0.2, 0.0, 0.2, -0.1, 0.1, -0.2, 0.1], [1.0, -1.2, 0.8, -0.9, 1.3, -0.7]
    >>> found = place_spread(quiet + wild)
    >>> found.start, round(found.size, 2)
    (9, 0.95)
    """
    series = _series(values)
    scale = series if judged is None else _series(judged)
    whitening = hanging(noise, lots, series.size)
    if whitening is not None:
        scale = whitening.innovations(scale)
    least = max(floor, RELATIVE_GUARD * float(scale.var()), np.finfo(float).tiny)
    split, _ = _two_spreads(scale, least)
    first, weight = log_weights(scale, floor, SPREAD)
    inside = likeliest(weight, START_CONFIDENCE) + first
    held = span(inside + 1, split + 1)
    return Placed(split + 1, held, *spread_size(series, split, floor if judged is None else 0.0))


def _series(values: Values) -> Floats:
    series = check_values(values, "normal")
    if series.size < 2 * SPREAD_SIDE:
        raise StatisticsError(f"{series.size} values: kinds of change are told apart from 8 readings on")
    return series


def _of(lots: Lots, places: Sequence[int] | Integers) -> Lots:
    """Take the lots of some pieces."""
    return None if lots is None else [lots[place] for place in places]


def _squares_left(kept: Floats, latest: int | None) -> dict[FitKind, tuple[float, int]]:
    """Squares that each kind leaves unexplained, and the place (from 0) where it begins."""
    sums = Sums.of(kept[None, :])
    parts = split_squares(sums)
    whole = float(parts.whole[0, 0])
    farthest = int(np.abs(kept - kept.mean()).argmax())
    alone = float((kept[farthest] - kept.mean()) ** 2) * kept.size / max(kept.size - 1, 1)
    left: dict[FitKind, tuple[float, int]] = {
        "steady": (whole, 0),
        "single": (max(whole - alone, 0.0), farthest),
    }
    if kept.size > TREND_SIDE:
        profiles: dict[FitKind, Floats] = {
            "shift": level_profile(parts, None)[0],
            "trend": trend_profile(sums, parts.whole, np.zeros(1))[0],
        }
        for kind, squared_t in profiles.items():
            best = int(squared_t.argmax())
            left[kind] = whole / (1 + float(squared_t[best]) / (kept.size - 2)), best + 1
    if latest is not None:
        left["passing"] = _excursion(kept, latest)
    return left


def _squares_left_together(
    kept: Floats, latest: int | None, whitening: Whitening
) -> dict[FitKind, tuple[float, int]]:
    """Do the same where pieces hang together."""
    own = whitening.innovations(kept)
    whole = float((own * own).sum())
    left: dict[FitKind, tuple[float, int]] = {"steady": (whole, 0)}
    kinds: tuple[FitKind, ...] = ("single", "shift", "trend") if kept.size > TREND_SIDE else ("single",)
    for kind in kinds:
        explained = whitening.profiles(kept)[kind].explained
        best = int(explained.argmax())
        left[kind] = max(whole - float(explained[best]), 0.0), best + (kind != "single")
    if latest is not None:
        explained_by, begin = whitening.passing(kept, latest)
        left["passing"] = max(whole - explained_by, 0.0), begin
    return left


def _excursion(kept: Floats, latest: int) -> tuple[float, int]:
    """Squares left by the best excursion about reading `latest` (from 1), and where it begins (from 0)."""
    n = kept.size
    sums = np.concatenate([[0.0], np.cumsum(kept - kept.mean())])
    begins, ends = np.arange(min(latest, n)), np.arange(max(latest, 1), n + 1)
    inside = ends[None, :] - begins[:, None]
    total = sums[ends][None, :] - sums[begins][:, None]
    rest = np.maximum(n - inside, 1)
    explained = np.where(inside < n, total * total * n / (inside * rest), 0.0)
    begin, _ = np.unravel_index(int(explained.argmax()), explained.shape)
    whole = float(((kept - kept.mean()) ** 2).sum())
    return max(whole - float(explained.max()), 0.0), int(begin)


def _two_spreads(series: Floats, least: float) -> tuple[int, float]:
    """Best split into two spreads about one mean, and the log likelihood there."""
    n = series.size
    split = np.arange(SPREAD_SIDE, n - SPREAD_SIDE + 1)
    centred = series - series.mean()
    total, square = np.cumsum(centred), np.cumsum(centred * centred)
    sizes = split, n - split
    means = total[split - 1] / sizes[0], (total[-1] - total[split - 1]) / sizes[1]
    squares = square[split - 1] / sizes[0], (square[-1] - square[split - 1]) / sizes[1]
    common = np.zeros(split.size)
    for _ in range(STEPS_OF_THE_MEAN):
        spreads = [
            np.maximum(q - 2 * common * m + common * common, least)
            for q, m in zip(squares, means, strict=True)
        ]
        first, second = sizes[0] * spreads[1], sizes[1] * spreads[0]
        common = (first * means[0] + second * means[1]) / (first + second)
    log_likelihood = -0.5 * sum(size * np.log(v) for size, v in zip(sizes, spreads, strict=True))
    best = int(log_likelihood.argmax())
    return int(split[best]), float(log_likelihood[best])
