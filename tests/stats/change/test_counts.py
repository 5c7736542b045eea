"""Counts and pass or fail: exact tails, published change, and a rate never above the one asked for."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from qc.stats import StatisticsError, detect_counts
from qc.stats.change.counts import ALLOWED, WINDOWS, _attained, _binomial, _hypergeometric, _Stretch

COAL = json.loads((Path(__file__).parents[2] / "published" / "changepoint_coal.json").read_text())


def test_coal_mining_disasters_became_rarer_after_1891():
    # Carlin, Gelfand & Smith 1992: the likeliest last year before the change is 1891; by all the evidence
    # that a chance of 0.001 a point asks for, since a start is told from what was there when it was raised
    found = detect_counts(COAL["counts"], false_alarm_rate=0.001 / ALLOWED)
    assert [s.side for s in found.signals] == ["below"]
    last_before = COAL["first_year"] + found.signals[0].start - 2
    assert abs(last_before - COAL["published"]["last_year_before"]) <= 1
    assert found.stretches[0].mean == pytest.approx(3.1, abs=0.1)
    assert found.stretches[1].mean == pytest.approx(0.91, abs=0.05)
    # raised sooner, the start is less sure: its set holds the published year
    (sooner,) = detect_counts(COAL["counts"]).signals
    published = COAL["published"]["last_year_before"] - COAL["first_year"] + 2
    assert sooner.point < found.signals[0].point
    assert sooner.start_set[0] <= published <= sooner.start_set[1]


@pytest.mark.parametrize("total, share", [(1, 0.5), (7, 0.2), (40, 0.01), (300, 0.3)])
def test_binomial_tails_agree_with_scipy(total, share):
    k = np.arange(total + 1)
    tail = _binomial(total, share)
    assert tail.least == pytest.approx(stats.binom.sf(k - 1, total, share), rel=1e-10, abs=1e-300)
    assert tail.most == pytest.approx(stats.binom.cdf(k, total, share), rel=1e-10)


@pytest.mark.parametrize("failed, drawn, whole", [(1, 1, 2), (5, 8, 20), (12, 3, 40), (30, 50, 400)])
def test_hypergeometric_tails_agree_with_scipy(failed, drawn, whole):
    k = np.arange(failed + 1)
    tail = _hypergeometric(failed, drawn, whole)
    assert tail.least == pytest.approx(stats.hypergeom.sf(k - 1, whole, failed, drawn), rel=1e-9, abs=1e-250)
    assert tail.most == pytest.approx(stats.hypergeom.cdf(k, whole, failed, drawn), rel=1e-9, abs=1e-250)


def test_the_strongest_evidence_is_judged_by_how_often_chance_alone_gives_as_much():
    """Given the total the points share it at random: drawn outright, as often as the exact chance says."""
    number, size = np.array([2, 1, 3, 2, 1, 2, 1, 9]), np.ones(8)
    probability, side = _Stretch(number, size, False).judge(0.02)
    windows = [w for w in WINDOWS if w < 8]

    def smallest(counts):
        inside = np.cumsum(counts[..., ::-1], axis=-1)[..., np.array(windows) - 1]
        share = np.array(windows) / 8
        return np.minimum(stats.binom.sf(inside - 1, 21, share), stats.binom.cdf(inside, 21, share)).min(
            axis=-1
        )

    drawn = smallest(np.random.default_rng(46).multinomial(21, np.full(8, 1 / 8), 200_000))
    found = np.mean(drawn <= smallest(number) * (1 + 1e-9))
    assert side == "above"
    assert probability == pytest.approx(found, abs=4 * np.sqrt(found / 200_000))


def test_attained_never_goes_above():
    assert _attained(np.array([1.0, 0.5, 0.1, 0.01]), 0.2) == 0.1
    assert _attained(np.array([1.0, 0.5]), 0.2) == 0.0


@pytest.mark.parametrize(
    "draw, options",
    [
        (lambda r, n: r.poisson(0.4, n), {}),
        (lambda r, n: r.poisson(5.0, n), {}),
        (lambda r, n: (r.random(n) < 0.1).astype(int), {"pass_fail": True}),
    ],
    ids=["rare defects", "many defects", "pass or fail"],
)
def test_false_signals_are_no_more_than_asked_for(draw, options):
    random = np.random.default_rng(41)
    rate, series, n = 0.02, 60, 80
    raised = sum(len(detect_counts(draw(random, n), None, rate, **options).signals) for _ in range(series))
    assert raised <= rate * series * n, "the bound is never exceeded, so this holds with room to spare"


def test_a_threefold_rate_is_found_with_its_start_and_size():
    random = np.random.default_rng(42)
    found_at, starts, held = [], [], 0
    for _ in range(40):
        counts = np.concatenate([random.poisson(2.0, 50), random.poisson(6.0, 40)])
        signal = next(s for s in detect_counts(counts).signals if s.point > 50)
        found_at.append(signal.point - 50)
        starts.append(abs(signal.start - 51) <= 2)
        held += signal.size_interval[0] <= 4.0 <= signal.size_interval[1]
    assert np.median(found_at) <= 6
    assert np.mean(starts) >= 0.8
    assert held >= 34


def test_unequal_sizes_are_allowed_for():
    random = np.random.default_rng(43)
    size = random.uniform(1, 10, 60)
    counts = random.poisson(0.8 * size)
    assert detect_counts(counts, size).signals == ()
    doubled = np.concatenate([size[:40], size[40:] * 4])
    assert detect_counts(random.poisson(0.8 * doubled), doubled).signals == ()
    assert detect_counts(random.poisson(0.8 * doubled)).signals != (), "without sizes it looks like a change"


def test_sizes_in_another_unit_change_nothing_but_the_rate():
    random = np.random.default_rng(44)
    size = np.full(50, 3.0)
    counts = np.concatenate([random.poisson(2, 30), random.poisson(9, 20)])
    one, other = detect_counts(counts, size).signals[0], detect_counts(counts, size * 100).signals[0]
    assert (one.point, one.start, one.start_set) == (other.point, other.start, other.start_set)
    assert other.size == pytest.approx(one.size / 100)


def test_after_a_signal_only_later_points_are_judged():
    counts = [0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 9, 8, 9, 8, 9, 9, 8]
    found = detect_counts(counts)
    assert len(found.signals) == 1
    assert found.signals[0].start == 11
    assert found.scores[found.signals[0].point] is None


@pytest.mark.parametrize("counts", [[], [3], [0] * 40, [1] * 40], ids=["empty", "one", "none", "the same"])
@pytest.mark.parametrize("pass_fail", [False, True])
def test_nothing_to_find(counts, pass_fail):
    sizes = [5] * len(counts)
    assert detect_counts(counts, sizes, pass_fail=pass_fail).signals == ()


def test_every_piece_failing_from_some_point_on():
    found = detect_counts([0] * 20 + [1] * 12, pass_fail=True)
    assert found.signals[0].start == 21
    assert found.signals[0].size == pytest.approx(1.0)


@pytest.mark.parametrize(
    "counts, sizes, options, words",
    [
        ([1, -1], None, {}, "count at point 2"),
        ([1, 1.5], None, {}, "count at point 2"),
        ([1, float("nan")], None, {}, "count at point 2"),
        ([1, 2], [1.0, 0.0], {}, "size at point 2"),
        ([1, 2], [1.0], {}, "2 counts for 1 sizes"),
        ([1, 2], [2, 1], {"pass_fail": True}, "count at point 2.*no more than"),
        ([1], [1.5], {"pass_fail": True}, "size at point 1"),
        ([1], None, {"false_alarm_rate": 0.3}, "false-alarm rate"),
    ],
)
def test_refusals_name_what_is_wrong(counts, sizes, options, words):
    with pytest.raises(StatisticsError, match=words):
        detect_counts(counts, sizes, **options)
