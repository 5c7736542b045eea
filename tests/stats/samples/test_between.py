"""Groups side by side: published figures, the exact case, a witness, and what is claimed counted."""

import math

import numpy as np
import pytest
from scipy import optimize, stats
from statsmodels.stats.meta_analysis import combine_effects

from qc.stats import StatisticsError, between_groups

TRIALS = np.array(  # ill and well, with and without: the thirteen trials that textbooks of the method go by
    [
        (4, 119, 11, 128),
        (6, 300, 29, 274),
        (3, 228, 11, 209),
        (62, 13536, 248, 12619),
        (33, 5036, 47, 5761),
        (180, 1361, 372, 1079),
        (8, 2537, 10, 619),
        (505, 87886, 499, 87892),
        (29, 7470, 45, 7232),
        (17, 1699, 65, 1600),
        (186, 50448, 141, 27197),
        (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
).T


def trials():
    ill, well, ill_else, well_else = TRIALS
    here, there = ill + well, ill_else + well_else
    return np.log(ill / here * there / ill_else), np.sqrt(1 / ill - 1 / here + 1 / ill_else - 1 / there)


def test_the_published_trials_come_out():
    """Table 1 of Colditz et al., JAMA 271 (1994) 698; the figures as textbooks print them, from memory."""
    found = between_groups(*trials())
    assert found.between**2 == pytest.approx(0.3181, abs=5e-5)
    assert [edge**2 for edge in found.between_interval] == pytest.approx([0.1197, 1.1115], abs=5e-5)
    assert found.p_value == pytest.approx(stats.chi2.sf(152.2330, 12), rel=1e-3)


def test_mean_and_scatter_are_those_of_a_witness(rng):
    """Statsmodels, iterated after Paule and Mandel, with Hartung and Knapp's t; their equation by scipy.

    The witness gives up and answers 0 where the last bits of a processor keep it from its tolerance: there
    the equation alone, sum of weighted squares about the weighted mean = groups less one, is the witness.
    """

    def excess(square, means, errors):
        weights = 1 / (errors**2 + square)
        return float(weights @ (means - weights @ means / weights.sum()) ** 2) - (means.size - 1)

    settled = 0
    for count in (3, 5, 12, 8, 20):
        means, errors = rng.normal(10.0, 3.0, count), rng.uniform(0.3, 1.5, count)
        found = between_groups(means, errors)
        root = optimize.brentq(excess, 0.0, 1e3, args=(means, errors), xtol=1e-13)
        assert found.between**2 == pytest.approx(root, rel=1e-9)
        other = combine_effects(means, errors**2, method_re="iterated", use_t=True, atol=1e-13)
        if other.tau2 > 0:
            settled += 1
            assert found.between**2 == pytest.approx(other.tau2, rel=1e-6)
            assert found.mean == pytest.approx(other.mean_effect_re, rel=1e-9)
            assert found.interval == pytest.approx(other.conf_int()[1], rel=1e-6)
    assert settled >= 2


def test_equal_errors_have_an_answer_in_closed_form():
    """One-way analysis of variance: the mean square between is (between squared + error squared)."""
    means, error = np.array([150.0, 153.0, 158.0, 171.0]), 2.0
    found = between_groups(means, [error] * 4, confidence=0.9)
    square = means.var(ddof=1)
    assert found.between == pytest.approx(math.sqrt(square - error**2), rel=1e-9)
    edges = [math.sqrt(3 * square / stats.chi2.ppf(share, 3) - error**2) for share in (0.95, 0.05)]
    assert found.between_interval == pytest.approx(edges, rel=1e-9)
    reach = stats.t.ppf(0.95, 3) * math.sqrt(square / 4)
    assert found.interval == pytest.approx((means.mean() - reach, means.mean() + reach), rel=1e-9)


def test_groups_as_alike_as_their_errors_have_no_scatter_and_are_drawn_together():
    found = between_groups([150.0, 151.0, 149.5], [2.0, 2.5, 2.0])
    assert found.between == found.between_interval[0] == 0.0
    weights = np.array([1 / 4, 1 / 6.25, 1 / 4])
    assert found.mean == pytest.approx(np.average([150.0, 151.0, 149.5], weights=weights))
    reach = stats.t.ppf(0.975, 2) / math.sqrt(weights.sum())
    assert found.interval == pytest.approx((found.mean - reach, found.mean + reach))
    measured = np.array([150.0, 151.0, 149.5]) - np.mean([150.0, 151.0, 149.5])
    for one, off in zip(found.groups, measured, strict=True):
        assert abs(one.deviation) < 0.7 * abs(off) + 0.2 and one.kept < 0.7
        assert not one.differs and one.interval[0] < 0.0 < one.interval[1]


def test_the_deviations_of_two_stand_as_they_were_measured():
    found = between_groups([150.0, 158.0], [2.0, 1.0])
    reach = stats.norm.ppf(0.975) * math.sqrt(4 + 1) / 2
    assert [one.deviation for one in found.groups] == [-4.0, 4.0]
    assert found.groups[1].interval == pytest.approx((4.0 - reach, 4.0 + reach), rel=1e-9)


def test_the_deviations_are_those_of_drawing_the_scatter_and_the_levels(rng):
    """By a second route: scatters drawn by their likelihood on a grid, then mean and levels."""
    means, errors = np.array([10.0, 11.0, 14.0, 10.5]), np.array([0.8, 1.2, 1.0, 0.5])
    found = between_groups(means, errors)
    grid = np.linspace(0.0, 60.0, 1201)
    cover = stats.multivariate_normal  # marginal likelihood of the contrasts, free of the mean
    contrast = np.eye(4)[1:] - np.eye(4)[0]
    fits = [
        cover.pdf(contrast @ means, np.zeros(3), contrast @ np.diag(errors**2 + t * t) @ contrast.T)
        for t in grid
    ]
    scatter = rng.choice(grid, 20_000, p=np.array(fits) / np.sum(fits))[:, None]
    weights = 1.0 / (errors**2 + scatter**2)
    middle = (weights @ means) / weights.sum(axis=1) + rng.normal(size=20_000) / weights.sum(axis=1) ** 0.5
    kept = scatter**2 * weights
    level = middle[:, None] + kept * (means - middle[:, None])
    level = level + np.sqrt(scatter**2 * (1.0 - kept)) * rng.normal(size=(20_000, 4))
    apart = level - level.mean(axis=1, keepdims=True)
    for i, one in enumerate(found.groups):
        assert one.deviation == pytest.approx(apart[:, i].mean(), abs=0.06)
        assert one.interval == pytest.approx(np.quantile(apart[:, i], [0.025, 0.975]), abs=0.12)


def test_a_group_far_from_the_others_differs_and_scale_and_origin_change_nothing():
    means, errors = np.array([150.0, 152.0, 171.0]), np.array([2.0, 1.0, 3.0])
    found, other = between_groups(means, errors), between_groups(means * 1e-3 - 7.0, errors * 1e-3)
    assert found.groups[2].differs and found.groups[2].interval[0] > 5.0
    assert other.between * 1e3 == pytest.approx(found.between, rel=1e-9)
    assert (other.mean + 7.0) * 1e3 == pytest.approx(found.mean, rel=1e-9)
    for one, two in zip(found.groups, other.groups, strict=True):
        assert two.deviation * 1e3 == pytest.approx(one.deviation, rel=1e-6)
        assert [edge * 1e3 for edge in two.interval] == pytest.approx(one.interval, rel=1e-6)
    assert sum(one.deviation for one in found.groups) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("scatter", [0.0, 1.0, 3.0])
@pytest.mark.parametrize("count", [2, 4])
def test_every_interval_holds_what_it_promises(count, scatter, rng, at_least):
    """Groups drawn anew 200 times, with errors of their own size between 0.5 and 1.5."""
    mean, spread, apart = [], [], []
    for _ in range(200):
        errors, true = rng.uniform(0.5, 1.5, count), rng.normal(0.0, scatter, count)
        found = between_groups(true + errors * rng.normal(size=count), errors)
        mean.append(found.interval[0] <= 0.0 <= found.interval[1])
        spread.append(found.between_interval[0] <= scatter <= found.between_interval[1])
        own = zip(found.groups, true - true.mean(), strict=True)
        apart.append(np.mean([one.interval[0] <= off <= one.interval[1] for one, off in own]))
    assert at_least(0.95, mean) and at_least(0.95, spread) and at_least(0.95, apart)


@pytest.mark.parametrize(
    "means, errors, said",
    [
        ([1.0], [1.0], "at least 2"),
        ([1.0, 2.0], [1.0, 1.0, 1.0], "each group needs both"),
        ([1.0, 2.0], [1.0, 0.0], "above 0"),
        ([1.0, 2.0], [1.0, 1e-9], "give them in one unit"),
        ([1.0, math.nan], [1.0, 1.0], "between groups"),
    ],
)
def test_what_cannot_be_compared_is_refused(means, errors, said):
    with pytest.raises(StatisticsError, match=said):
        between_groups(means, errors)


def test_a_confidence_is_a_share():
    with pytest.raises(StatisticsError, match="confidence"):
        between_groups([1.0, 2.0], [1.0, 1.0], confidence=95.0)
