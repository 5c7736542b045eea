"""A second, independent route to the figures: a general-purpose library, a closed form, or a simulation.

The first route, a published or shared value with its source, is in the test module of each function and in
`tests/published/differences.py`. Simulations carry their seed and are held to four of their standard errors.
"""

import math

import numpy as np
import polars as pl
import pytest
from scipy import optimize, signal, stats
from scipy.spatial import distance
from statsmodels.stats.oneway import anova_oneway
from statsmodels.stats.stattools import durbin_watson

from qc import stats as qs
from qc.stats import LimitRule, Setting

V = np.random.default_rng(17).normal(50, 2, 40)


def within_errors(found, wanted, count, errors=4.0):
    """Whether a simulated share agrees with the wanted one."""
    return abs(found - wanted) < errors * math.sqrt(wanted * (1 - wanted) / count)


def test_mean_change_is_the_largest_two_sample_t():
    shifted = V + np.where(np.arange(40) >= 25, 2.0, 0.0)
    scores = [stats.ttest_ind(shifted[:k], shifted[k:]).statistic for k in range(1, 40)]
    found = qs.mean_change(shifted)
    assert found.last_before == int(np.argmax(np.abs(scores))) + 1
    assert abs(found.statistic) == pytest.approx(np.max(np.abs(scores)), rel=1e-10)


def test_mean_change_from_target_is_the_likeliest_split():
    """Log likelihood of a shift after every split, sigma known, by scipy's normal density."""
    shifted = V - 50 + np.where(np.arange(40) >= 30, 3.0, 0.0)

    def likelihood(k):
        after = shifted[k:]
        return stats.norm.logpdf(shifted[:k], 0, 2).sum() + stats.norm.logpdf(after, after.mean(), 2).sum()

    best = max(range(40), key=likelihood)
    found = qs.mean_change_from_target(shifted, 0.0, sigma=2.0)
    assert found.last_before == best
    gain = likelihood(best) - stats.norm.logpdf(shifted, 0, 2).sum()
    assert found.statistic**2 / 2 == pytest.approx(gain, rel=1e-9)


def test_t2_is_the_squared_mahalanobis_distance(rng):
    figures = rng.multivariate_normal([0, 0, 0], [[1, 0.5, 0], [0.5, 2, 0.3], [0, 0.3, 1]], 30)
    inverse = np.linalg.inv(np.cov(figures, rowvar=False))
    wanted = [distance.mahalanobis(row, figures.mean(axis=0), inverse) ** 2 for row in figures]
    np.testing.assert_allclose(qs.t2(figures).values, wanted, rtol=1e-9)


@pytest.mark.parametrize("figures, points, rate", [(2, 20, 0.01), (3, 40, 0.0027), (5, 25, 0.05)])
def test_t2_limits_are_quantiles(figures, points, rate):
    beta = stats.beta(figures / 2, (points - figures - 1) / 2).ppf(1 - rate)
    assert qs.phase_one_limit(figures, points, rate) == pytest.approx(
        (points - 1) ** 2 / points * beta, rel=1e-9
    )
    f = stats.f(figures, points - figures).ppf(1 - rate)
    scale = figures * (points + 1) * (points - 1) / (points * (points - figures))
    assert qs.phase_two_limit(figures, points, rate) == pytest.approx(scale * f, rel=1e-9)


def test_t2_of_new_pieces_keeps_its_false_alarm_rate():
    """Phase II: baselines of 15 pieces, one new piece each, simulated."""
    count, rate = 4000, 0.02
    rng = np.random.default_rng(1)
    limit, hits = qs.phase_two_limit(2, 15, rate), 0
    for base in rng.normal(size=(count, 16, 2)):
        deviation = base[15] - base[:15].mean(axis=0)
        hits += deviation @ np.linalg.solve(np.cov(base[:15], rowvar=False), deviation) > limit
    assert within_errors(hits / count, rate, count)


def test_prediction_limits_keep_their_false_alarm_rate():
    """Individuals with prediction limits from 6 pieces: the seventh is outside at the stated rate."""
    count = 20_000
    rng = np.random.default_rng(2)
    rule = LimitRule("prediction", rate=0.02)
    base = rng.normal(size=(count, 6))
    reach = rule.factor(6, 5) * base.std(axis=1, ddof=1)
    outside = np.abs(rng.normal(size=count) - base.mean(axis=1)) > reach
    assert within_errors(outside.mean(), 0.02, count)
    chart = qs.individuals(base[0], Setting(limits=rule))
    assert chart.upper - chart.center == pytest.approx(reach[0], rel=1e-9)


def test_guaranteed_limits_hold_what_they_guarantee():
    """In nine baselines of ten the true false-alarm rate is at most the nominal one."""
    count = 20_000
    rng = np.random.default_rng(3)
    rule = LimitRule("guaranteed", 0.9, 0.01)
    base = rng.normal(size=(count, 12))
    middle, reach = base.mean(axis=1), rule.factor(12, 11) * base.std(axis=1, ddof=1)
    true_rate = stats.norm.cdf(middle - reach) + stats.norm.sf(middle + reach)
    assert within_errors(np.mean(true_rate <= 0.01), 0.9, count)


def test_prediction_limits_of_times_between():
    """Exponential times: the ratio of a new one to the mean of m is F with 2 and 2 m degrees of freedom."""
    times = np.random.default_rng(4).exponential(10, 15)
    chart = qs.time_between(times, Setting(limits=LimitRule("prediction")))
    tail = qs.THREE_SIGMA_RATE / 2
    model = stats.f(2, 30)
    wanted = times.mean() * model.ppf(tail), times.mean() * model.ppf(1 - tail)
    assert (chart.lower, chart.upper) == pytest.approx(wanted, rel=1e-9)


def test_crossing_is_where_the_confidence_band_meets_the_limit():
    x = np.arange(30.0)
    y = 5 + 0.3 * x + np.random.default_rng(5).normal(0, 0.5, 30)
    line = qs.fit_trend(x, y)
    found = qs.line_crossing(line, 20.0, 0.9)
    fit = stats.linregress(x, y)
    sd = math.sqrt(np.sum((y - fit.intercept - fit.slope * x) ** 2) / 28)
    t = stats.t.ppf(0.95, 28)

    def gap(count, sign):
        band = t * sd * math.sqrt(1 / 30 + (count - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))
        return fit.intercept + fit.slope * count + sign * band - 20.0

    assert found.count == pytest.approx((20 - fit.intercept) / fit.slope, rel=1e-10)
    ends = [optimize.brentq(gap, 20, 120, args=(sign,)) for sign in (1, -1)]
    assert found.interval == pytest.approx(ends, rel=1e-8)


def test_gauge_bias_is_the_one_sample_t_interval():
    found = qs.gauge_bias(V[:9], 49.5, confidence=0.9)
    theirs = stats.ttest_1samp(V[:9], 49.5).confidence_interval(0.9)
    assert found.interval == pytest.approx((theirs.low - 49.5, theirs.high - 49.5), rel=1e-10)
    assert found.clear == (stats.ttest_1samp(V[:9], 49.5).pvalue < 0.1)


def test_linearity_is_ordinary_regression():
    rings = np.repeat([10.0, 20.0, 30.0, 40.0], 5)
    readings = rings * 1.002 + np.random.default_rng(6).normal(0, 0.02, 20)
    found, fit = qs.linearity(readings, rings), stats.linregress(rings, readings - rings)
    assert (found.line.slope, found.line.intercept) == pytest.approx((fit.slope, fit.intercept), rel=1e-8)
    errors = found.line.slope_error, found.line.intercept_error
    assert errors == pytest.approx((fit.stderr, fit.intercept_stderr), rel=1e-9)
    assert found.line.r_squared == pytest.approx(fit.rvalue**2, rel=1e-9)
    assert found.scale_off == (fit.pvalue < 0.05)


def test_proportion_is_the_exact_binomial_interval():
    for count, n in ((0, 12), (3, 20), (20, 20), (57, 300)):
        theirs = stats.binomtest(count, n).proportion_ci(0.95, method="exact")
        assert qs.proportion(count, n).interval == pytest.approx((theirs.low, theirs.high), abs=1e-10)


def test_misses_and_false_rejects_by_counting():
    rng = np.random.default_rng(7)
    truth = rng.choice(["good", "bad"], 200, p=[0.8, 0.2])
    said = np.where(rng.random(200) < 0.1, np.where(truth == "bad", "good", "bad"), truth)
    missed, rejected = qs.misses_and_false_rejects(said.tolist(), truth.tolist(), bad="bad")
    table = stats.contingency.crosstab(truth, said).count  # rows and columns: bad, good
    assert (missed.count, missed.n) == (table[0, 1], table[0].sum())
    assert (rejected.count, rejected.n) == (table[1, 0], table[1].sum())


def test_pooling_test_is_levene_about_medians_and_welch_f():
    models = np.repeat(["a", "b", "c", "d"], 10)
    groups = [V[models == name] for name in "abcd"]
    found = qs.pooling_test(V, models)
    spread, level = stats.levene(*groups, center="median"), anova_oneway(groups, use_var="unequal")
    assert (found.spread_statistic, found.spread_p) == pytest.approx(
        (spread.statistic, spread.pvalue), rel=1e-9
    )
    assert (found.level_statistic, found.level_p) == pytest.approx((level.statistic, level.pvalue), rel=1e-8)
    assert qs.bartlett(groups).p_value == pytest.approx(stats.bartlett(*groups).pvalue, rel=1e-12)


def test_family_points_and_deviations_by_hand():
    models = np.repeat(["a", "b"], 20)
    off = np.where(models == "a", V, 3 * V + 40)
    np.testing.assert_array_equal(qs.deviation_from_target(V, V.round()), V - V.round())
    wanted = np.concatenate([stats.zscore(off[:20], ddof=1), stats.zscore(off[20:], ddof=1)])
    np.testing.assert_allclose(qs.standardised_deviation(off, models), wanted, rtol=1e-10)
    np.testing.assert_allclose(qs.family_points(off, models)[0], wanted, rtol=1e-10)
    separate = np.concatenate([qs.q_statistics(off[:20]), qs.q_statistics(off[20:])])
    np.testing.assert_allclose(qs.q_over_models(off, models), separate, rtol=1e-9)


def test_lag_1_against_the_durbin_watson_ratio():
    """d = 2 (1 - r) less the two end terms, by statsmodels."""
    z = V - V.mean()
    found = qs.lag_1_autocorrelation(V).lag_1
    ends = (z[0] ** 2 + z[-1] ** 2) / np.sum(z**2)
    assert durbin_watson(z) == pytest.approx(2 * (1 - found) - ends, rel=1e-10)


@pytest.mark.parametrize("lag_1", [-0.3, 0.2, 0.5])
def test_what_dependence_does_to_limits(lag_1):
    """An AR(1) series of unit variance, simulated: moving ranges shrink, and the rate rises as stated."""
    count = 400_000
    rng = np.random.default_rng(8)
    noise = rng.normal(0, math.sqrt(1 - lag_1**2), count)
    noise[0] = rng.normal()
    z = signal.lfilter([1.0], [1.0, -lag_1], noise)
    sigma = np.mean(np.abs(np.diff(z))) / qs.d2(2)
    assert sigma == pytest.approx(math.sqrt(1 - lag_1), rel=0.01)
    assert qs.moving_range_inflation(lag_1) == pytest.approx(1 / sigma, rel=0.01)
    rate = np.mean(np.abs(z) > 3 * sigma)
    assert rate == pytest.approx(qs.false_alarm_rate(lag_1), rel=0.1, abs=2e-4)


def test_outlier_tests_keep_their_level():
    count = 3000
    rng = np.random.default_rng(9)
    samples = rng.normal(size=(count, 12))
    called = [qs.grubbs(sample).outlier for sample in samples]
    # the two-sided value is exact but for two outliers at once, far below the error of this simulation
    assert within_errors(np.mean(called), 0.05, count)
    esd = [
        any(one.outlier for one in qs.generalised_esd(sample, 2)) for sample in rng.normal(size=(1500, 30))
    ]
    assert abs(np.mean(esd) - 0.05) < 4 * math.sqrt(0.05 * 0.95 / 1500) + 0.01


def test_runs_test_against_the_exact_distribution():
    """Number of runs of 12 above and 12 below, by counting every arrangement's chance."""
    n = 12
    chance = {}
    for runs in range(2, 2 * n + 1):
        k = runs // 2
        ways = (
            2 * math.comb(n - 1, k - 1) ** 2
            if runs % 2 == 0
            else 2 * math.comb(n - 1, k) * math.comb(n - 1, k - 1)
        )
        chance[runs] = ways / math.comb(2 * n, n)
    center = sum(runs * p for runs, p in chance.items())
    spread = math.sqrt(sum((runs - center) ** 2 * p for runs, p in chance.items()))
    values = np.tile([1.0, 1.0, -1.0], 8)[:24] + np.arange(24) * 1e-3
    above = values > np.median(values)
    if above.sum() == n:
        seen = 1 + int(np.sum(above[1:] != above[:-1]))
        assert qs.runs_test(values).statistic == pytest.approx((seen - center) / spread, rel=1e-9)
    alternating = np.tile([1.0, -1.0], n)
    assert qs.runs_test(alternating).statistic == pytest.approx((2 * n - center) / spread, rel=1e-9)


def test_nested_levels_find_what_was_put_in():
    """Mean of the squared levels over many studies against the spreads they were drawn from."""
    rng = np.random.default_rng(10)
    days, runs, repeats = [], [], 4
    for _ in range(300):
        run = rng.normal(0, 0.3, (3, 2, 1))
        day = rng.normal(0, 0.5, (3, 2, 5))
        readings = run[..., None] + day[..., None] + rng.normal(0, 0.2, (3, 2, 5, repeats))
        averages, sds = readings.mean(axis=3).ravel(), readings.std(axis=3, ddof=1).ravel()
        found = qs.nested_levels(
            averages,
            sds,
            np.repeat(range(3), 10).tolist(),
            np.tile(np.repeat([1, 2], 5), 3).tolist(),
            repeats=repeats,
        )
        days.append(found.day_sd**2)
        runs.append(found.run_sd**2)
    assert np.mean(days) == pytest.approx(0.25 + 0.04 / repeats, rel=4 * math.sqrt(2 / (24 * 300)))
    assert np.mean(runs) == pytest.approx(0.09 + (0.25 + 0.01) / 5, rel=4 * math.sqrt(2 / (3 * 300)))


def test_check_standard_limit_is_a_one_sided_f_limit(rng):
    averages, sds = rng.normal(10, 0.1, 20), np.sqrt(0.01 * rng.chisquare(5, 20) / 5)
    found = qs.check_standard(averages, sds, repeat_df=5)
    pooled = math.sqrt(np.mean(sds**2))
    assert found.sd_limit == pytest.approx(pooled * math.sqrt(stats.f(5, 100).ppf(0.95)), rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("design", ["one-person", "nested"])
def test_interval_of_repeatability_covers_as_stated(design):
    """Chi-square interval of a gauge study, simulated."""
    rng = np.random.default_rng(11)
    hits, count = 0, 300
    for _ in range(count):
        if design == "nested":
            y = rng.normal(size=(2, 4, 1)) + rng.normal(0, 0.3, (2, 4, 3))
            persons, parts = np.repeat(["a", "b"], 12).tolist(), np.tile(np.repeat(range(4), 3), 2).tolist()
            found = qs.gauge_study(y.ravel(), parts, persons, nested=True)
        else:
            y = rng.normal(size=(6, 1)) + rng.normal(0, 0.3, (6, 3))
            found = qs.gauge_study(y.ravel(), np.repeat(range(6), 3).tolist())
        low, high = found.intervals["repeatability"]
        hits += low <= 0.09 <= high
    assert within_errors(hits / count, 0.95, count)


def test_bissell_bound_covers_about_as_stated():
    """Approximate by nature: held to three points of coverage at 40 pieces."""
    rng = np.random.default_rng(12)
    count, true = 4000, 1.2
    sample = rng.normal(0, 1, (count, 40))
    ppk = (3 * true - np.abs(sample.mean(axis=1))) / (3 * sample.std(axis=1, ddof=1))
    covered = np.mean(qs.two_sided_bound(ppk, 0.05, 40, 39) <= true)
    assert abs(covered - 0.95) < 0.03


def test_screening_lists_every_point_it_leaves_out():
    """A loop of charts, each without the points the last one found."""
    wild = np.concatenate([V, [90.0, 20.0], V[:10]])
    found = qs.screen(wild)
    kept = np.ones(wild.size, dtype=bool)
    for _ in range(20):
        both = kept[1:] & kept[:-1]
        sigma = np.mean(np.abs(np.diff(wild))[both]) / qs.d2(2)
        outside = kept & (np.abs(wild - wild[kept].mean()) > 3 * sigma)
        if not outside.any():
            break
        kept &= ~outside
    assert found.left_out == tuple((np.flatnonzero(~kept) + 1).tolist())
    assert found.chart.center == pytest.approx(wild[kept].mean(), rel=1e-12)


def test_flags_of_a_table_are_its_signals():
    frame = pl.DataFrame(
        {"series": np.repeat(["a", "b"], 60), "value": np.random.default_rng(13).normal(size=120)}
    )
    table = qs.individuals_table(frame, Setting(center=0.0, sigma=0.5))
    rules = qs.parse_rules("all")
    flags = qs.table_flags(table, rules)
    signals = qs.find_signals(table, rules)
    assert sum(map(len, signals.values())) == int(
        flags.select(pl.sum_horizontal(pl.all().exclude("series", "point").cast(pl.Int64))).to_series().sum()
    )


def test_steps_inside_the_limits_by_counting():
    for step in (0.2, 0.7, 1.0, 2.5):
        found = qs.gauge_resolution([0.0, step, 0.0, 3 * step], resolution=step, sigma=1.0)
        limit = qs.factors(2).D4 * qs.d2(2) * max(1.0, step / math.sqrt(12))
        assert found.steps_inside == len([k for k in range(100) if k * step <= limit])


def test_a_guard_band_proves_nothing_near_a_limit():
    band = qs.guard_band(lower=10.0, upper=20.0, gauge_sd=0.25)
    verdicts = {x: band.judge(x) for x in (9.4, 9.6, 10.4, 10.6, 19.4, 19.6, 20.4, 20.6)}
    assert list(verdicts.values()) == [
        "reject", "not proven", "not proven", "accept", "accept", "not proven", "not proven", "reject",
    ]  # fmt: skip
