"""Spread within, between and in all: components, what nested readings are worth, coverage."""

import json
import math

import numpy as np
import pytest
from scipy import stats

from qc.stats.capable.figures import capability
from qc.stats.capable.nest import Nest, nest_of, worth
from qc.stats.capable.nested import nested_capability
from qc.stats.errors import StatisticsError
from qc.stats.samples.anova import one_way_anova


def nested(rng, pieces, size, within, between):
    """Readings of a one-way random model, with their pieces."""
    means = rng.normal(0.0, math.sqrt(between), pieces)
    readings = means[:, None] + rng.normal(0.0, math.sqrt(within), (pieces, size))
    return readings.ravel(), np.repeat(np.arange(pieces), size)


def test_components_are_those_of_the_table_of_variance():
    rng = np.random.default_rng(3)
    sizes = rng.integers(1, 6, 30)
    piece = np.repeat(np.arange(30), sizes)
    readings = 1e6 + rng.normal(0.0, 2.0, 30)[piece] + rng.standard_normal(piece.size)
    nest = nest_of(readings, piece)
    table = one_way_anova([readings[piece == one] for one in range(30)])
    within, between = nest.variances
    assert within == pytest.approx(table.within_sd**2, rel=1e-9)
    assert between == pytest.approx(table.between_variance, rel=1e-9)
    assert (nest.pieces, nest.readings) == (30, piece.size)


def test_order_and_names_of_the_pieces_do_not_matter():
    rng = np.random.default_rng(4)
    readings, piece = nested(rng, 25, 4, 1.0, 2.0)
    plain = nested_capability(readings, piece, lower=-7.0, upper=7.0)
    order = rng.permutation(readings.size)
    names = np.array([f"tube {one}" for one in piece], dtype=object)
    mixed = nested_capability(readings[order], names[order], lower=-7.0, upper=7.0)
    for name in ("within", "between", "total"):
        assert getattr(mixed.spread, name) == pytest.approx(getattr(plain.spread, name), rel=1e-12)
    assert mixed.ppk_interval == pytest.approx(plain.ppk_interval, rel=1e-12)


def test_pieces_are_counted_not_readings():
    readings, piece = nested(np.random.default_rng(5), 12, 4, 1.0, 1.0)
    found = nested_capability(readings, piece, lower=-9.0, upper=9.0)
    assert found.n == 12 and found.reason == "12 pieces are too few: at least 20 are needed"
    assert capability(readings, lower=-9.0, upper=9.0).reason is None
    assert found.spread.within is not None and set(found.spread.cpk.values()) == {None}


def test_figures_by_each_spread():
    readings, piece = nested(np.random.default_rng(6), 40, 3, 1.0, 4.0)
    found = nested_capability(readings, piece, lower=-10.0, upper=10.0)
    mean = readings.mean()
    for name in ("within", "between", "total"):
        sd = getattr(found.spread, name)
        assert found.spread.cp[name] == pytest.approx(20.0 / (6.0 * sd))
        assert found.spread.cpk[name] == pytest.approx((10.0 - abs(mean)) / (3.0 * sd))
    assert found.spread.total == pytest.approx(math.hypot(found.spread.within, found.spread.between))
    assert found.cpk == pytest.approx(found.spread.cpk["total"])
    assert found.ppk == pytest.approx((10.0 - abs(mean)) / (3.0 * readings.std(ddof=1)))
    plain = found.to_dict()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert set(plain["spread"]) == {"within", "between", "total", "cp", "cpk"}
    one_sided = nested_capability(readings, piece, upper=10.0).spread
    assert set(one_sided.cp.values()) == {None} and one_sided.cpk["total"] is not None


@pytest.mark.slow
@pytest.mark.parametrize("within, between", [(1.0, 1.0), (0.2, 1.0), (1.0, 0.1), (1.0, 0.0)])
def test_intervals_cover_in_simulation(within, between):
    """400 samples of 25 pieces with 4 readings: 95 % less 3 standard errors (0.033) at least.

    Cpk is allowed 2 points more: where pieces do not differ the floor at 0 makes its total a little large.
    """
    rng = np.random.default_rng(9)
    total = math.sqrt(within + between)
    outside = 2.0 * stats.norm.cdf(-4.0) * 1e6
    hits, naive = np.zeros(3), 0
    for _ in range(400):
        readings, piece = nested(rng, 25, 4, within, between)
        found = nested_capability(readings, piece, lower=-4.0 * total, upper=4.0 * total)
        for row, (interval, truth) in enumerate(
            [(found.ppk_interval, 4 / 3), (found.cpk_interval, 4 / 3), (found.outside_interval, outside)]
        ):
            hits[row] += interval[0] <= truth <= interval[1]
        low, high = capability(readings, lower=-4.0 * total, upper=4.0 * total).ppk_interval
        naive += low <= 4 / 3 <= high
    assert np.all(hits / 400 >= np.array([0.917, 0.897, 0.917]))
    if between > within:  # a hundred readings taken for a hundred pieces promise far too much
        assert naive / 400 < 0.85


def test_worth_of_the_mean_and_the_spread_in_simulation():
    """20,000 samples: variance of the mean and of the sample variance within 5 %."""
    rng = np.random.default_rng(10)
    means = rng.normal(0.0, 1.0, (20_000, 20))
    readings = means[:, :, None] + rng.normal(0.0, 1.0, (20_000, 20, 3))
    flat = readings.reshape(20_000, 60)
    nest = nest_of(flat[0], np.repeat(np.arange(20), 3))
    seen = float(flat.var(axis=1, ddof=1).mean())
    found = worth(nest, 1.0, 1.0, seen)
    assert seen / found.mean_n == pytest.approx(flat.mean(axis=1).var(), rel=0.05)
    assert 2.0 * seen**2 / found.sd_df == pytest.approx(flat.var(axis=1, ddof=1).var(), rel=0.08)


def test_single_readings_are_single_readings():
    readings = np.random.default_rng(7).standard_normal(30)
    found = nested_capability(readings, np.arange(30), lower=-4.0, upper=4.0)
    alone = capability(readings, lower=-4.0, upper=4.0)
    assert found.ppk_interval == alone.ppk_interval and found.n == 30
    assert found.spread.within is None and "two readings of one are needed" in found.spread.sentence
    nest = Nest(25, 25, 1.0, 0.04, 2.0, math.nan)
    assert worth(nest, 0.0, 2.0, 2.0).sd_df == pytest.approx(24.0)


def test_pieces_to_settle_counts_pieces(rng):
    settled = 0
    for _ in range(20):
        readings, piece = nested(rng, 30, 4, 1.0, 1.0)
        reach = 3.5 * readings.std(ddof=1)
        limits = {"lower": -reach, "upper": reach + 2 * readings.mean()}
        first = nested_capability(readings, piece, **limits)
        if first.capable == "proven" or first.ppk < 1.05:
            continue  # nothing to settle, or too near to the wanted 1.0 for any number of pieces
        settled += 1
        more = first.pieces_to_settle
        assert f"about {more} more pieces" in first.sentence
        times = -(-(30 + more) // 30)
        after = nested_capability(np.tile(readings, times), np.repeat(np.arange(30 * times), 4), **limits)
        assert after.capable == "proven"
    assert settled > 5


def test_the_gauge_is_held_against_the_spread_within():
    readings, piece = nested(np.random.default_rng(13), 30, 4, 1.0, 1.0)
    fine = nested_capability(readings, piece, lower=-9.0, upper=9.0, gauge_sd=0.5)
    assert fine.gauge.share_of_within == pytest.approx((0.5 / fine.spread.within) ** 2)
    assert "share_of_within" in fine.to_dict()["gauge"] and "larger than" not in fine.gauge.sentence
    coarse = nested_capability(readings, piece, lower=-9.0, upper=9.0, gauge_sd=1.3)
    assert "larger than all spread within pieces" in coarse.gauge.sentence
    barely = nested_capability(readings, piece, lower=-9.0, upper=9.0, gauge_sd=1.02 * fine.spread.within)
    assert barely.gauge.share_of_within > 1.0 and "larger than" not in barely.gauge.sentence
    assert len(coarse.sentences) == 3


def test_sentence_says_who_owns_the_spread():
    readings, piece = nested(np.random.default_rng(14), 40, 4, 0.25, 4.0)
    said = nested_capability(readings, piece, lower=-9.0, upper=9.0).spread.sentence
    assert "% of the variance lies between pieces" in said and "had the same mean, Cpk would be" in said


@pytest.mark.parametrize(
    "values, piece, said",
    [
        ([1.0, 2.0, 3.0], [1, 1], "each reading needs its piece"),
        ([1.0, 2.0, 3.0], [1, 1, 1], "at least 2 are needed to tell their spread"),
        ([1.0, math.nan], [1, 2], "capability: value"),
    ],
)
def test_bad_questions_are_named(values, piece, said):
    with pytest.raises(StatisticsError, match=said):
        nested_capability(values, piece, upper=9.0)


def test_equal_readings_are_withheld():
    found = nested_capability([5.0] * 40, np.repeat(np.arange(20), 2), upper=9.0)
    assert "all readings are equal" in found.reason and found.spread.total == 0.0
    assert "no spread to tell apart" in found.spread.sentence


SHAPED = [
    ("positive", stats.lognorm(0.4)),
    ("weibull", stats.weibull_min(2.0)),
    ("half-normal", stats.halfnorm()),
]


@pytest.mark.parametrize(("shape", "distribution"), SHAPED, ids=[shape for shape, _ in SHAPED])
def test_a_fitted_shape_counts_pieces(shape, distribution):
    """Pieces all alike inside are worth their number: the interval is that of one reading each."""
    rng = np.random.default_rng(21)
    once = distribution.rvs(30, random_state=rng)
    limits = {"upper": float(3 * distribution.ppf(0.99)), "shape": shape}
    alone = capability(once, **limits)
    copies = nested_capability(np.repeat(once, 5), np.repeat(np.arange(30), 5), **limits)
    assert copies.n == 30 and copies.ppk == pytest.approx(alone.ppk, rel=0.03)
    width = np.ptp(copies.ppk_interval) / np.ptp(alone.ppk_interval)
    assert width == pytest.approx(1.0, abs=0.05)
    naive = capability(np.repeat(once, 5), **limits)
    assert np.ptp(naive.ppk_interval) < 0.6 * np.ptp(copies.ppk_interval)
    single = nested_capability(once, np.arange(30), **limits)
    assert single.ppk_interval == alone.ppk_interval


def test_observed_percentiles_are_resampled_by_whole_pieces():
    rng = np.random.default_rng(22)
    once = rng.lognormal(0.0, 0.3, 800)
    piece = np.repeat(np.arange(800), 3)
    copies = nested_capability(np.repeat(once, 3), piece, upper=4.0, shape="any")
    alone = capability(once, upper=4.0, shape="any")
    assert copies.n == 800 and "resampling whole pieces" in copies.method
    assert copies.outside_interval == pytest.approx(alone.outside_interval, rel=1e-9)
    assert np.ptp(copies.ppk_interval) == pytest.approx(np.ptp(alone.ppk_interval), rel=0.35)
    few = nested_capability(np.repeat(once[:300], 3), piece[:900], upper=4.0, shape="any")
    assert few.reason.startswith("300 pieces are too few")


@pytest.mark.slow
@pytest.mark.parametrize(("shape", "distribution"), SHAPED, ids=[shape for shape, _ in SHAPED])
def test_intervals_of_a_fitted_shape_cover_in_simulation(shape, distribution):
    """300 samples of 25 pieces with 4 readings: 95 % less 3 standard errors (0.038) at least."""
    rng = np.random.default_rng(23)
    middle, high = distribution.ppf([0.5, 0.99865])
    piece = np.repeat(np.arange(25), 4)
    hits = np.zeros(2)
    for _ in range(300):
        scores, _ = nested(rng, 25, 4, 0.4, 0.6)
        readings = distribution.ppf(stats.norm.cdf(scores))
        found = nested_capability(readings, piece, upper=float(middle + 4 / 3 * (high - middle)), shape=shape)
        naive = capability(readings, upper=float(middle + 4 / 3 * (high - middle)), shape=shape)
        hits += [one.ppk_interval[0] <= 4 / 3 <= one.ppk_interval[1] for one in (found, naive)]
    assert hits[0] / 300 >= 0.912 and hits[1] / 300 < 0.88
