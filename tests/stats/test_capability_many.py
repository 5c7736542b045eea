"""Many series at once against the same series one at a time, and means and spreads against plain numpy."""

import math

import numpy as np
import polars as pl
import pytest

from qc.stats.capable.basis import Basis, means_and_sds
from qc.stats.capable.columns import capability_columns
from qc.stats.capable.figures import capability, capability_many
from qc.stats.errors import StatisticsError, StatisticsUsageError

FIGURES = ("cp", "cpk", "cpm", "pp", "ppk", "outside_ppm")
INTERVALS = ("cp_interval", "cpk_interval", "cpm_interval", "pp_interval", "ppk_interval", "ppk_bounds")
LIMITS = [
    {"lower": 8.0, "upper": 12.5, "target": 10.0},
    {"lower": 8.0, "upper": 12.5},
    {"upper": 12.0},
    {"lower": 8.5},
]


def ragged(rng, count=60):
    """Series from 2 to 90 pieces: few, constant, far outside and hardly varying ones among them."""
    series = []
    for _ in range(count):
        level, sd, size = rng.normal(10, 0.6), 10 ** rng.uniform(-1.5, 0.3), rng.integers(2, 90)
        series.append(rng.normal(level, sd, size))
    series[3] = np.full(40, 10.0)
    series[4] = np.full(12, 10.1)
    series[5] = 60.0 + rng.standard_normal(35)
    return series


def bases_of(series):
    """Own sigma for some, another for others, every seventh unstable."""
    return [
        Basis(
            sigma=None if i % 3 == 0 else float(np.std(one, ddof=1)) * 0.9 + 0.01,
            sigma_df=None if i % 2 else 17.5,
            stable=i % 7 != 0,
            unstable_because="a shift at piece 12",
        )
        for i, one in enumerate(series)
    ]


@pytest.mark.parametrize("limits", LIMITS)
@pytest.mark.parametrize("resolution", [None, 0.2])
def test_many_are_what_one_at_a_time_gives(limits, resolution):
    series = ragged(np.random.default_rng(11))
    bases = bases_of(series)
    together = capability_many(series, bases, wanted=1.1, resolution=resolution, gauge_sd=0.1, **limits)
    assert len(together) == len(series)
    assert {one.capable for one in together} >= {"no", "unproven"}
    for one, readings, basis in zip(together, series, bases, strict=True):
        alone = capability(
            readings,
            sigma=basis.sigma,
            sigma_df=basis.sigma_df,
            stable=basis.stable,
            unstable_because=basis.unstable_because,
            wanted=1.1,
            resolution=resolution,
            gauge_sd=0.1,
            **limits,
        )
        for name in ("n", "reason", "capable", "method", "pieces_to_settle", "confidence", "wanted"):
            assert getattr(one, name) == getattr(alone, name)
        for name in FIGURES:
            expected = getattr(alone, name)
            assert getattr(one, name) == (
                None if expected is None else pytest.approx(expected, rel=1e-9, abs=1e-9)
            )
        for name in (*INTERVALS, "outside_interval"):
            expected = getattr(alone, name)
            assert getattr(one, name) == (
                None if expected is None else pytest.approx(expected, rel=1e-9, abs=1e-9)
            )
        assert one.gauge.sentence == alone.gauge.sentence


@pytest.mark.parametrize("limits", LIMITS)
def test_columns_give_what_the_answers_hold(limits):
    series = ragged(np.random.default_rng(12))
    bases = bases_of(series)
    together = capability_many(series, bases, **limits)
    table = capability_columns(
        pl.DataFrame(
            {
                "n": [one.size for one in series],
                "mean": [one.mean() for one in series],
                "sd": [0.0 if np.ptp(one) == 0 else one.std(ddof=1) for one in series],
                "sigma": [
                    one.std(ddof=1) if basis.sigma is None else basis.sigma
                    for one, basis in zip(series, bases, strict=True)
                ],
                "sigma_df": [
                    one.size - 1.0 if basis.sigma_df is None else basis.sigma_df
                    for one, basis in zip(series, bases, strict=True)
                ],
                "stable": [basis.stable for basis in bases],
            }
        ),
        **limits,
    )
    for one, row in zip(together, table.iter_rows(named=True), strict=True):
        assert row["capable"] == one.capable
        assert row["pieces_to_settle"] == one.pieces_to_settle
        for name in FIGURES:
            value = getattr(one, name)
            assert row[name] == (None if value is None else pytest.approx(value, rel=1e-9, abs=1e-9))
        for name in ("cp", "cpk", "cpm", "pp", "ppk"):
            low, high = getattr(one, f"{name}_interval") or (None, None)
            found = row[f"{name}_low"], row[f"{name}_high"]
            assert found == ((low, high) if low is None else pytest.approx((low, high), rel=1e-9))
        low, high = one.outside_interval or (None, None)
        found = row["outside_low_ppm"], row["outside_high_ppm"]
        assert found == ((low, high) if low is None else pytest.approx((low, high), rel=1e-9, abs=1e-9))


def test_one_series_that_the_shape_cannot_have_is_withheld_among_many():
    rng = np.random.default_rng(5)
    good, bad = rng.lognormal(0.0, 0.3, 40), np.concatenate([[-1.0], rng.lognormal(0.0, 0.3, 39)])
    found = capability_many([good, bad], [Basis(), Basis()], upper=5.0, shape="weibull", gauge_sd=0.01)
    assert found[0].ppk is not None and "needs readings above 0" in found[1].reason
    assert "the least is -1" in found[1].sentence and found[1].gauge.share_of_variance is None
    with pytest.raises(StatisticsError, match="needs readings above 0"):
        capability(bad, upper=5.0, shape="weibull")


def test_means_and_spreads_keep_their_digits_on_a_large_offset():
    rng = np.random.default_rng(6)
    sizes = rng.integers(2, 50, 200)
    values = rng.standard_normal(sizes.sum())
    here = means_and_sds(values, sizes)
    there = means_and_sds(values + 2.0**30, sizes)
    starts = np.cumsum(sizes) - sizes
    for row, (start, size) in enumerate(zip(starts, sizes, strict=True)):
        part = values[start : start + size]
        assert (here[0][row], here[1][row]) == pytest.approx((part.mean(), part.std(ddof=1)), rel=1e-12)
    assert there[1] == pytest.approx(here[1], rel=1e-5)
    assert means_and_sds(np.array([0.1, 0.1, 0.1]), np.array([3]))[1][0] == 0.0


@pytest.mark.parametrize(
    "bases, options, error, said",
    [
        ([], {}, StatisticsError, "1 series, 0 bases"),
        ([Basis(sigma=-1.0)], {}, StatisticsError, "sigma is -1.0"),
        ([Basis(sigma_df=0.0)], {}, StatisticsError, "degrees of freedom of sigma is 0.0"),
        ([Basis()], {"gauge_sd": math.nan}, StatisticsError, "gauge sd is nan"),
        ([Basis()], {"shape": "square"}, StatisticsUsageError, "'square' is not known"),
    ],
)
def test_bad_questions_are_named(bases, options, error, said):
    with pytest.raises(error, match=said):
        capability_many([np.arange(30.0)], bases, upper=50.0, **options)
