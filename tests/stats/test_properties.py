"""What must not change, or must change with the readings: shift, scale, order, duplicates, subgroup order.

Powers of two as scales and whole numbers as readings keep every step exact, so a difference is a fault and
no rounding; where a formula rounds, the tolerance stands at the assertion.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc import stats as qs

V = np.random.default_rng(11).integers(900, 1100, 36).astype(float)
MATRIX = np.random.default_rng(12).integers(900, 1100, (36, 3)).astype(float)
TRAY = np.repeat(np.arange(12), 3)
SPOT = ["near", "middle", "far"] * 12
PART, WHO = np.repeat(np.arange(6), 6).tolist(), ["a", "b", "c"] * 12
RINGS = np.repeat([900.0, 1000.0, 1100.0], 12)
SHIFTS, SCALES = (-64.0, 4096.0), (0.25, 32.0)


def charted(chart):
    """Level, spread and points of a chart."""
    values = (
        chart.values if isinstance(chart.values, np.ndarray) else np.concatenate(list(chart.values.values()))
    )
    return chart.center, chart.sigma, values, [signal.point for signal in chart.signals]


# readings shifted by b and scaled by a move a level to a level + b and a spread to a spread; what has no unit
# stays
LEVEL_CHARTS = {
    "individuals": lambda x: qs.individuals(x),
    "mean_range": lambda x: qs.mean_range(x, TRAY),
    "mean_sd": lambda x: qs.mean_sd(x, TRAY),
    "three_way": lambda x: qs.three_way(x, TRAY, SPOT),
    "ewma": lambda x: qs.ewma(x),
    "screen": lambda x: qs.screen(x).chart,
}
SAME = {
    "anderson_darling": lambda x: qs.anderson_darling(x).statistic,
    "cusum": lambda x: np.concatenate(list(qs.cusum(x).values.values())),
    "self_starting": lambda x: qs.self_starting(x).values[2:],
    "q_statistics": lambda x: qs.q_statistics(x)[2:],
    "runs_test": lambda x: qs.runs_test(x).statistic,
    "lag_1_autocorrelation": lambda x: qs.lag_1_autocorrelation(x).lag_1,
    "pooled_autocorrelation": lambda x: qs.pooled_autocorrelation([x[:20], x[20:]]).lag_1,
    "grubbs": lambda x: qs.grubbs(x).statistic,
    "generalised_esd": lambda x: [one.statistic for one in qs.generalised_esd(x, 3)],
    "bartlett": lambda x: qs.bartlett([x[:12], x[12:]]).statistic,
    "equal_spreads": lambda x: qs.equal_spreads([x[:12], x[12:]]).statistic,
    "one_way_anova": lambda x: qs.one_way_anova(x.reshape(12, 3)).rows[0].f,
    "mean_change": lambda x: [qs.mean_change(x).last_before, qs.mean_change(x).statistic],
    "detect": lambda x: (
        qs.detect(np.where(np.arange(36) > 20, x + 800 * np.ptp(x) / 200, x)).signals[0].start
    ),
    "standardised_deviation": lambda x: qs.standardised_deviation(x, TRAY),
    "pooling_test": lambda x: [qs.pooling_test(x, TRAY).spread_statistic, qs.pooling_test(x, TRAY).level_p],
    "q_over_models": lambda x: qs.q_over_models(x, np.repeat([0, 1], 18))[6:],
    "gauge_study": lambda x: [
        qs.gauge_study(x, PART, WHO).share_of_variation,
        *qs.gauge_study(x, PART, WHO).intervals["share_of_variation"],
    ],
    "average_range": lambda x: list(qs.average_range(x.reshape(6, 3, 2)).shares.values()),
    "t2": lambda x: qs.t2(np.column_stack([x, MATRIX[:, 1:]])).values,
    "mewma": lambda x: qs.mewma(np.column_stack([x, MATRIX[:, 1:]])).values,
}


@pytest.mark.parametrize("shift", SHIFTS)
@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("name", LEVEL_CHARTS)
def test_charts_move_with_their_readings(name, shift, scale):
    plain, moved = LEVEL_CHARTS[name](V), LEVEL_CHARTS[name](scale * V + shift)
    center, sigma, values, signals = charted(plain)
    assert moved.center == pytest.approx(scale * center + shift, rel=1e-12)
    assert moved.sigma == pytest.approx(scale * sigma, rel=1e-10)
    np.testing.assert_allclose(moved.values, scale * values + shift, rtol=1e-11)
    assert [signal.point for signal in moved.signals] == signals
    assert (
        moved.companion.upper == pytest.approx(scale * plain.companion.upper, rel=1e-10)
        if plain.companion
        else True
    )


@pytest.mark.parametrize("shift", SHIFTS)
@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("name", SAME)
def test_figures_without_a_unit_stay(name, shift, scale):
    np.testing.assert_allclose(SAME[name](scale * V + shift), SAME[name](V), rtol=1e-8, atol=1e-8)


MIRRORED = [
    "anderson_darling", "lag_1_autocorrelation", "grubbs", "bartlett", "equal_spreads", "one_way_anova",
    "gauge_study", "average_range", "t2", "mewma", "generalised_esd",
]  # fmt: skip


@pytest.mark.parametrize("name", MIRRORED)
def test_up_and_down_are_alike(name):
    np.testing.assert_allclose(SAME[name](-V), SAME[name](V), rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("name", ["q_statistics", "cusum", "self_starting"])
def test_scores_of_mirrored_readings_are_mirrored(name):
    plain, mirrored = SAME[name](V), SAME[name](-V)
    if name == "cusum":
        plain = np.concatenate(np.split(plain, 2)[::-1])
        np.testing.assert_allclose(mirrored, plain, rtol=1e-9, atol=1e-9)
    else:
        np.testing.assert_allclose(mirrored, -plain, rtol=1e-9, atol=1e-9)


ORDERLESS = {
    "anderson_darling": SAME["anderson_darling"],
    "grubbs": SAME["grubbs"],
    "generalised_esd": SAME["generalised_esd"],
    "capability": lambda x: qs.capability(x, lower=600.0, upper=1400.0).ppk,
    "capability positive": lambda x: qs.capability(x, lower=600.0, upper=1400.0, shape="positive").ppk,
    "capability any": lambda x: qs.capability(np.tile(x, 30), lower=600.0, upper=1400.0, shape="any").ppk,
    "gauge_bias": lambda x: qs.gauge_bias(x, 1000.0).interval,
    "sd of individuals under guaranteed limits": lambda x: (
        qs.individuals(x, qs.Setting(limits=qs.LimitRule("guaranteed"))).upper
    ),
    "defects": lambda x: [qs.count_chart(x).upper, qs.count_chart(x).center],
    "time_between": lambda x: [qs.time_between(x).lower, qs.time_between(x).upper],
}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", ORDERLESS)
def test_the_order_of_readings_does_not_matter_where_none_is_asked(name, seed):
    shuffled = np.random.default_rng(seed).permutation(V)
    np.testing.assert_allclose(ORDERLESS[name](shuffled), ORDERLESS[name](V), rtol=1e-9)


def test_the_order_of_readings_matters_where_it_should():
    still = np.sort(V)
    for name in ("runs_test", "lag_1_autocorrelation", "cusum", "q_statistics", "mean_change"):
        assert not np.allclose(SAME[name](still), SAME[name](V))
    assert qs.individuals(still).sigma < 0.2 * qs.individuals(V).sigma


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", ["mean_range", "mean_sd", "three_way"])
def test_the_order_within_a_subgroup_does_not_matter(name, seed):
    rng = np.random.default_rng(seed)
    order = np.concatenate([rng.permutation(np.flatnonzero(TRAY == tray)) for tray in range(12)])
    chart = {"mean_range": qs.mean_range, "mean_sd": qs.mean_sd}.get(name)
    if chart is None:
        plain = qs.three_way(V, TRAY, SPOT)
        moved = qs.three_way(V[order], TRAY[order], [SPOT[i] for i in order])
    else:
        plain, moved = chart(V, TRAY), chart(V[order], TRAY[order])
    np.testing.assert_allclose(moved.values, plain.values, rtol=1e-13)
    assert (moved.center, moved.sigma) == pytest.approx((plain.center, plain.sigma), rel=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_subgroups_moves_points_but_not_the_limits_within(seed):
    order = np.random.default_rng(seed).permutation(12)
    rows = V.reshape(12, 3)
    for chart in (qs.mean_range, qs.mean_sd):
        plain, moved = chart(V, TRAY), chart(rows[order].ravel(), TRAY)
        np.testing.assert_allclose(moved.values, plain.values[order], rtol=1e-13)
        assert (moved.lower, moved.upper, moved.sigma) == pytest.approx(
            (plain.lower, plain.upper, plain.sigma)
        )
    # between pieces the moving range knows the order, so that limit may move; the spread within may not
    plain, moved = qs.three_way(V, TRAY), qs.three_way(rows[order].ravel(), TRAY)
    assert moved.extras["sd"]["within"] == pytest.approx(plain.extras["sd"]["within"], rel=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_names_of_labels_do_not_matter(seed):
    """Trays, parts, people and models may be renamed or shuffled row by row."""
    rng = np.random.default_rng(seed)
    renamed = [f"tray {97 - tray}" for tray in TRAY]
    assert qs.mean_sd(V, renamed).upper == qs.mean_sd(V, TRAY).upper
    rows = rng.permutation(36)
    plain = qs.gauge_study(V, PART, WHO)
    moved = qs.gauge_study(V[rows], [f"p{PART[i]}" for i in rows], [f"w{WHO[i]}" for i in rows])
    for component, value in plain.components.items():
        assert moved.components[component] == pytest.approx(value, rel=1e-9, abs=1e-9)
    pooled = qs.pooling_test(V, TRAY)
    assert qs.pooling_test(V[rows], [renamed[i] for i in rows]).level_p == pytest.approx(
        pooled.level_p, rel=1e-9
    )
    words = ["ok", "bad", "ok", "ok", "bad", "ok"] * 6
    others = rng.permutation(words).tolist()
    swap = {"ok": "bad", "bad": "ok"}
    kappa = qs.cohen_kappa(words, others)
    assert qs.cohen_kappa(others, words).kappa == pytest.approx(kappa.kappa, rel=1e-12)
    assert qs.cohen_kappa([swap[w] for w in words], [swap[w] for w in others]).kappa == pytest.approx(
        kappa.kappa
    )


def test_every_reading_twice():
    """Averages, ranges and places stay; what grows with the number of readings grows by its formula."""
    twice = np.repeat(V, 2)
    one, two = qs.individuals(V), qs.individuals(twice)
    assert two.center == pytest.approx(one.center)
    assert two.companion.center == pytest.approx(one.companion.center * 35 / 71)
    trays_one, trays_two = qs.mean_range(V, TRAY), qs.mean_range(twice, np.repeat(TRAY, 2))
    np.testing.assert_allclose(trays_two.values, trays_one.values)
    assert trays_two.companion.values.tolist() == trays_one.companion.values.tolist()
    counts, sizes = V % 7 + 1, np.full(36, 20.0)
    share, doubled = (
        qs.count_chart(*both, kind="proportion") for both in ((counts, sizes), (counts * 2, sizes * 2))
    )
    assert doubled.center == pytest.approx(share.center)
    assert (doubled.upper - doubled.center) * np.sqrt(2) == pytest.approx(share.upper - share.center)
    assert qs.fit_trend(np.repeat(RINGS, 2), twice).slope == pytest.approx(qs.fit_trend(RINGS, V).slope)
    narrow, wide = qs.proportion(40, 100).interval, qs.proportion(20, 50).interval
    assert wide[0] < narrow[0] < 0.4 < narrow[1] < wide[1]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.5, 2.0, 1024.0]), st.integers(-500, 500))
def test_lines_move_with_their_axes(seed, scale, shift):
    rng = np.random.default_rng(seed)
    x, y = rng.integers(0, 100, 20).astype(float), rng.integers(0, 1000, 20).astype(float)
    if np.ptp(x) == 0:
        return
    plain = qs.fit_trend(x, y)
    up = qs.fit_trend(x, scale * y + shift)
    assert (up.slope, up.sd) == pytest.approx((scale * plain.slope, scale * plain.sd), rel=1e-9, abs=1e-9)
    across = qs.fit_trend(scale * x + shift, y)
    assert across.slope == pytest.approx(plain.slope / scale, rel=1e-9, abs=1e-9)
    assert across.sd == pytest.approx(plain.sd, rel=1e-9)
    bias = qs.linearity(y, x)
    assert bias.line.slope == pytest.approx(plain.slope - 1, rel=1e-9, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 3), st.integers(5, 200), st.floats(0.55, 0.99))
def test_bounds_rise_with_the_level_and_close_in_with_more_pieces(index, n, level):
    for bound in (qs.one_sided_bound, qs.two_sided_bound):
        low, high = (float(bound(index, one, n, n - 1)) for one in (1 - level, level))
        assert low < high
        tighter = [float(bound(index, one, 4 * n, 4 * n - 1)) for one in (1 - level, level)]
        assert tighter[1] - tighter[0] < high - low
    assert float(qs.cp_bound(index, 1 - level, n)) < float(qs.cp_bound(index, level, n))


@settings(max_examples=30, deadline=None)
@given(st.integers(3, 60), st.floats(0.8, 0.999), st.floats(0.5, 0.99))
def test_limit_factors_fall_with_more_readings_and_rise_with_what_is_promised(n, content, confidence):
    here = qs.tolerance_factor(n, content, confidence)
    assert qs.tolerance_factor(n + 10, content, confidence) < here or confidence < 0.5
    assert qs.tolerance_factor(n, content, (1 + confidence) / 2) > here
    assert qs.tolerance_factor(n, (1 + content) / 2, confidence) > here
    assert qs.tolerance_factor(n, content, confidence, sides=1) < here
    assert qs.prediction_factor(n + 10, content) < qs.prediction_factor(n, content)
    assert qs.tolerance_confidence(n, here, content) == pytest.approx(confidence, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 1), st.floats(0, 3))
def test_a_shift_never_lengthens_a_run(weight, shift):
    width = qs.ewma_width(weight, 200.0)
    mean = qs.ewma_run_length(weight, width, shift).mean
    assert mean <= 200.0 * (1 + 1e-6)
    assert qs.ewma_run_length(weight, width, -shift).mean == pytest.approx(mean, rel=1e-6)
    assert qs.ewma_run_length(weight, width, shift + 0.5).mean < mean
    assert qs.shewhart_run_length(3.0, shift + 0.1).mean < qs.shewhart_run_length(3.0, shift).mean


def test_readings_handed_in_are_left_as_they_are():
    kept = V.copy()
    for ask in [*LEVEL_CHARTS.values(), *SAME.values(), *ORDERLESS.values()]:
        ask(V)
    np.testing.assert_array_equal(V, kept)
