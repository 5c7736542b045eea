"""Bounds of capability figures against published values, scipy and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special, stats

from qc.stats.capable.bounds import cp_bound, cpm_bound, one_sided_bound, two_sided_bound
from qc.stats.errors import StatisticsError

PUBLISHED = json.loads((Path(__file__).parents[2] / "published/capability_indices.json").read_text("utf-8"))
TWO = np.array([0.025, 0.975])


@pytest.mark.parametrize("n, index, cp95, cpu95, cpk95, cpu90", PUBLISHED["D7"]["recomputed"]["rows"])
def test_lower_bounds_agree_with_the_table(n, index, cp95, cpu95, cpk95, cpu90):
    """Chou, Owen and Borrego 1990 (method); values computed independently."""
    assert cp_bound(index, 0.05, n - 1) == pytest.approx(cp95, abs=1e-9)
    assert one_sided_bound(index, [0.05, 0.10], n, n - 1) == pytest.approx([cpu95, cpu90], abs=1e-9)
    assert two_sided_bound(index, 0.05, n, n - 1) == pytest.approx(cpk95, abs=1e-9)


def test_cp_interval_of_the_textbook():
    """D1, Montgomery example 8.4 (from memory): limits 38 and 62, sd 1.75, 20 pieces."""
    found = cp_bound(24 / (6 * 1.75), TWO, 19)
    assert found == pytest.approx(PUBLISHED["D1"]["published"]["CI95"], abs=0.006)
    assert found == pytest.approx(PUBLISHED["D1"]["recomputed"]["CI95"], abs=1e-9)


def test_cpk_interval_of_bissell():
    """D2, and 1.15 from 45 pieces: 0.89 to 1.41 (read in a quality trade column; T110, T111)."""
    assert two_sided_bound(1.33, TWO, 20, 19) == pytest.approx(
        PUBLISHED["D2"]["recomputed"]["CI95_Bissell"], abs=1e-9
    )
    assert two_sided_bound(1.15, TWO, 45, 44) == pytest.approx([0.891, 1.409], abs=5e-4)


@pytest.mark.parametrize(
    "given, expected", list(zip(PUBLISHED["D8"]["inputs"], PUBLISHED["D8"]["recomputed"], strict=True))
)
def test_cpm_bound_of_boyles(given, expected):
    assert cpm_bound(given["Cpm"], 0.05, given["n"], given["xi"]) == pytest.approx(
        expected["lower95"], abs=1e-8
    )


@pytest.mark.parametrize("index", [-1.5, 0.0, 1e-6, 0.4, 1.33, 4.0])
@pytest.mark.parametrize("n", [2, 5, 20, 400])
def test_one_sided_bound_solves_the_noncentral_t(index, n):
    """Second route: the distribution function as an integral over the sample sd."""
    root, df = math.sqrt(n), n - 1
    for level in (0.05, 0.5, 0.975):
        bound = float(one_sided_bound(index, level, n, df))

        def below(s, bound=bound):
            density = 2 * df * s * stats.chi2.pdf(df * s * s, df)
            return density * stats.norm.cdf(3 * root * (index * s - bound))

        chance, _ = integrate.quad(below, 0, 6, points=[0.5, 1.0, 1.5], epsabs=1e-11, limit=300)
        assert chance == pytest.approx(1 - level, abs=1e-8)


def test_known_sigma_leaves_only_the_error_of_the_mean():
    expected = 1.2 + stats.norm.ppf(TWO) / (3 * math.sqrt(25))
    assert one_sided_bound(1.2, TWO, 25, math.inf) == pytest.approx(expected, abs=1e-12)
    assert two_sided_bound(1.2, TWO, 25, math.inf) == pytest.approx(expected, abs=1e-12)
    assert cp_bound(1.2, TWO, math.inf) == pytest.approx([1.2, 1.2])
    assert one_sided_bound(1.2, TWO, 25, 5e6) == pytest.approx(one_sided_bound(1.2, TWO, 25, 9e5), abs=1e-4)


@pytest.mark.slow
def test_bounds_cover_in_simulation():
    """Exact bounds cover 95 % to within 4 standard errors; Bissell's to within a point at 30 pieces."""
    rng = np.random.default_rng(5)
    draws, n, true = 40_000, 30, 1.2
    mean, sd = rng.standard_normal(draws) / math.sqrt(n), np.sqrt(rng.chisquare(n - 1, draws) / (n - 1))
    error = 4 * math.sqrt(0.95 * 0.05 / draws)
    low = one_sided_bound((3 * true - mean) / (3 * sd), 0.05, n, n - 1)
    assert np.mean(low <= true) == pytest.approx(0.95, abs=error)
    assert np.mean(cp_bound(true / sd, 0.05, n - 1) <= true) == pytest.approx(0.95, abs=error)
    nearest = np.minimum(3 * true - mean, 3.6 * true + mean) / (3 * sd)
    assert np.mean(two_sided_bound(nearest, 0.05, n, n - 1) <= true) == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize(
    "off, lower, upper",
    [(0.0, 0.977, 0.919), (0.15, 0.956, 0.949), (1.0, 0.948, 0.952)],
    ids=["midway between the limits", "0.15 sd off", "one sd off"],
)
@pytest.mark.parametrize("n", [20, 60])
def test_bissell_on_the_centre_is_cautious_below_and_rash_above(rng, n, off, lower, upper):
    """The lesser of two sides comes out low (capability.md); the two-sided interval holds all the same."""
    draws = 20_000
    mean, sd = rng.standard_normal(draws) / math.sqrt(n), np.sqrt(rng.chisquare(n - 1, draws) / (n - 1))
    seen = np.minimum(3.0 - mean, 3.0 + 2 * off + mean) / (3 * sd)  # the true figure is 1.00

    def covered(level, sign):
        return np.mean(sign * (two_sided_bound(seen, level, n, n - 1) - 1.0) <= 0)

    assert covered(0.05, 1) == pytest.approx(lower, abs=0.012)
    assert covered(0.95, -1) == pytest.approx(upper, abs=0.012)
    assert covered(0.025, 1) + covered(0.975, -1) - 1.0 == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: cp_bound(1.0, 1.0, 5), "level is 1.0"),
        (lambda: one_sided_bound(1.0, 0.05, 5, 0), "degrees of freedom are 0"),
        (lambda: two_sided_bound(1.0, math.nan, 5, 4), "level is nan"),
        (lambda: cpm_bound(1.0, 0.05, 0, 0.2), "must be above 0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()


@pytest.mark.slow
def test_many_one_sided_bounds_at_once_all_arrive(rng):
    """4,000 mixed samples in one call, from 2 pieces to 3,000, zero and negative figures among them."""
    n, index = rng.integers(2, 3000, 4000).astype(float), rng.normal(1.0, 1.5, 4000)
    index[:50], n[:30] = 0.0, 2.0
    for level in (1e-4, 0.025, 0.5, 0.975, 0.9999):
        bound = one_sided_bound(index, level, n, n - 1)
        chance = special.nctdtr(n - 1, 3 * np.sqrt(n) * bound, 3 * np.sqrt(n) * index)
        off = np.abs(chance - (1 - level))
        assert off[n > 2].max() < 1e-11 and off.max() < 1e-9  # the library has fewer digits for two pieces


@pytest.mark.parametrize("statistic", [990.0, 1001.0, 1e5, 1e9])
@pytest.mark.parametrize("df", [4.0, 19.0, 250.0, 5000.0])
@pytest.mark.parametrize("level", [0.025, 0.5, 0.975])
def test_a_bound_far_out_is_exact_and_comes_back_at_once(statistic, df, level):
    """Scipy's search is 6 per mille off at 1e5, and never ends at 1e9; the reference is a plain integral."""
    n = 20.0
    scale = 3.0 * np.sqrt(n)
    bound = float(one_sided_bound(statistic / scale, level, n, df))
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    ratio = (nodes + bound * scale) / statistic
    chance = (weights / weights.sum()) @ np.where(ratio > 0, stats.chi2.sf(df * ratio**2, df), 1.0)
    assert chance == pytest.approx(1.0 - level, abs=2e-8)
    assert float(one_sided_bound(-statistic / scale, 1.0 - level, n, df)) == pytest.approx(-bound, rel=1e-7)


def test_the_interval_of_a_far_ppk_holds_it():
    far = 3e8
    low, high = one_sided_bound(far, [0.025, 0.975], 20, 19)
    assert low < far < high
