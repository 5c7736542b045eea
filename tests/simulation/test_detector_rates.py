"""Rate and delay of the detector by another way of computing, and other draws than the thresholds rest on.

The long version, which publishes the tables of the documents, is `tests/simulation/detector_rates.py`.
"""

import numpy as np
import pytest
from scipy import stats

from qc.stats import detect_many, threshold_scores

pytestmark = pytest.mark.slow
SEED = 20261


def first_signals(values, rate):
    """Point of each row's first signal (0: none), by projections on contrasts instead of running sums."""
    rows, length = values.shape
    first = np.zeros(rows, dtype=int)
    for n in range(4, length + 1):
        todo = np.flatnonzero(first == 0)
        x = values[todo, :n] - values[todo, :n].mean(axis=1, keepdims=True)
        order = np.arange(1, n + 1)
        limits = threshold_scores(rate, n)
        whole = (x * x).sum(axis=1)
        scores = [_largest_t(x, whole, [(order > k) * 1.0 for k in range(1, n)], n)]
        scores.append(_largest_spread(x, n))
        climbs = [np.maximum(order - k, 0.0) for k in range(1, n - 4)]
        scores.append(_largest_t(x, whole, climbs, n) if climbs else np.zeros(len(todo)))
        over = np.any([score > limit for score, limit in zip(scores, limits, strict=True)], axis=0)
        first[todo[over]] = n
    return first


def _largest_t(x, whole, shapes, n):
    along = np.array(shapes)
    along -= along.mean(axis=1, keepdims=True)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    share = ((x @ along.T) ** 2).max(axis=1) / whole
    t = np.sqrt((n - 2) * share / (1 - share))
    return stats.norm.isf(stats.t.sf(t, n - 2))


def _largest_spread(x, n):
    best = np.zeros(len(x))
    for k in range(4, n - 3):
        before, after = x[:, :k].var(axis=1, ddof=1), x[:, k:].var(axis=1, ddof=1)
        pooled = ((k - 1) * before + (n - k - 1) * after) / (n - 2)
        ratio = (n - 2) * np.log(pooled) - (k - 1) * np.log(before) - (n - k - 1) * np.log(after)
        correction = 1 + (1 / (k - 1) + 1 / (n - k - 1) - 1 / (n - 2)) / 3
        best = np.maximum(best, ratio / correction)
    return np.sqrt(best)


def hazard(first, length):
    """First signals a point at risk, counted from the 4th point, with the standard error."""
    signals = int((first > 0).sum())
    at_risk = int(np.where(first > 0, first, length).sum() - 3 * first.size)
    return signals / at_risk, np.sqrt(signals) / at_risk


@pytest.mark.parametrize("rate, series, length", [(0.01, 3000, 40), (0.001, 8000, 40)])
def test_the_rate_is_the_one_asked_for_by_an_independent_way(rate, series, length):
    values = np.random.default_rng([SEED, length]).standard_normal((series, length))
    first = first_signals(values, rate)
    found, error = hazard(first, length)
    assert abs(found - rate) < 0.05 * rate + 3 * error
    ours = detect_many(list(values), false_alarm_rate=rate)
    theirs = np.array([one.signals[0].point if one.signals else 0 for one in ours])
    assert (theirs == first).mean() > 0.9999, "the two ways must see the same signals"


@pytest.mark.parametrize(
    "shape, draw, options, highest",
    [
        ("normal", lambda r, n, m: r.standard_normal((n, m)), {}, 1.2),
        ("normal", lambda r, n, m: np.round(r.standard_normal((n, m)) + r.random((n, 1))), {}, 1.3),
        ("normal", lambda r, n, m: np.round(r.standard_normal((n, m))), {"resolution": 1.0}, 1.3),
        ("positive", lambda r, n, m: np.exp(0.4 * r.standard_normal((n, m))), {}, 1.3),
        ("any", lambda r, n, m: r.standard_t(2, (n, m)), {}, 1.3),
        ("any", lambda r, n, m: np.round(r.standard_exponential((n, m))), {}, 1.3),
    ],
    ids=[
        "normal",
        "step of sigma seen",
        "step of sigma given",
        "log-normal",
        "heavy tails",
        "skewed and coarse",
    ],
)
def test_long_run_rate_keeps_its_promise(shape, draw, options, highest):
    rate, series, length = 0.005, 700, 150
    values = draw(np.random.default_rng([SEED, 2]), series, length)
    counts = np.array(
        [len(one.signals) for one in detect_many(list(values), false_alarm_rate=rate, shape=shape, **options)]
    )
    found = counts.mean() / (length * rate)
    error = counts.std() / np.sqrt(series) / (length * rate)
    assert found - 2 * error < highest
    assert found + 2 * error > 0.5


@pytest.mark.parametrize(
    "size, after, longest",
    [(1.0, 50, 18), (1.5, 50, 8), (2.0, 50, 5), (3.0, 20, 4)],
)
def test_median_delay_and_start_keep_their_promise(size, after, longest):
    values = np.random.default_rng([SEED, 3, int(10 * size)]).standard_normal((1000, after + 60))
    values[:, after:] += size
    found = [
        one.signals[0] for one in detect_many(list(values)) if one.signals and one.signals[0].point > after
    ]
    assert np.median([signal.point - after for signal in found]) <= longest
    held = np.mean([signal.start_set[0] <= after + 1 <= signal.start_set[1] for signal in found])
    assert held > 0.87
    if size == 2.0:
        assert np.mean([abs(signal.start - after - 1) <= 2 for signal in found]) >= 0.85


def test_a_slow_climb_is_found_in_time():
    values = np.random.default_rng([SEED, 4]).standard_normal((1000, 110))
    values[:, 50:] += 0.08 * np.arange(1, 61)
    found = [one.signals[0] for one in detect_many(list(values)) if one.signals and one.signals[0].point > 50]
    assert np.median([signal.point - 50 for signal in found]) <= 22
