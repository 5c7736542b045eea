"""Lots: the analysis of variance behind their share, and what they leave unexplained."""

import numpy as np
import pytest

from qc.stats import PRIOR, Settled, learn_noise, lots_margin, one_way_anova
from qc.stats.noise.laid import blom_scores, lay
from qc.stats.noise.lots import _share, _sums, covered, innovations, with_lots


def test_share_agrees_with_the_analysis_of_variance(drawn):
    random = np.random.default_rng(81)
    lots = drawn.lots(random, 40)
    laid = lay([("one", [drawn.settled(random, drawn.between_lots(random, lots, 0.3), lots)])])
    groups = [laid.values[[lot == name for lot in lots]] for name in dict.fromkeys(lots)]
    table = one_way_anova(groups)
    found = _share(_sums(laid, laid.values - laid.values.mean()))
    assert found[0] == pytest.approx(
        table.between_variance / (table.between_variance + table.within_sd**2), rel=1e-12
    )


@pytest.mark.parametrize("share", [0.0, 0.2, 0.6])
def test_innovations_of_lots_are_white(share):
    lots = list("aaabbacbbbcd")
    n = len(lots)
    laid = lay([("one", [Settled(np.arange(n, dtype=float), range(n), lots)])])
    same = np.array(lots)[:, None] == np.array(lots)
    covariance = np.where(same, share, 0.0) + (1 - share) * np.eye(n)
    whiten = np.column_stack([innovations(laid, unit, np.array([share])) for unit in np.eye(n)])
    assert whiten @ covariance @ whiten.T == pytest.approx(np.eye(n), abs=1e-12)


def test_a_lot_of_one_stretch_is_another_one_in_the_next():
    stretch = Settled([1.0, 2.0, 4.0, 3.0], "abcd", ["x", "x", None, None])
    laid = lay([("one", [stretch, stretch])])
    assert np.unique(laid.lot).size == 6
    assert covered(laid)[0] == pytest.approx(1 / 3)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.4])
def test_recorded_lots_are_recovered(drawn, share):
    random = np.random.default_rng(82)
    pools = [drawn.pool(random, lambda r: drawn.recorded(r, 40, share)) for _ in range(10)]
    found = [noise for pool in pools for noise in learn_noise(pool).values()]
    # mean of ten pools: chance 0.02; the prior of 0.1 draws, the margin of 0.04 adds
    assert np.mean([noise.lots for noise in found]) == pytest.approx(share + 0.02, abs=0.07)
    # and hardly anything is left between neighbours
    assert np.mean([noise.echo * noise.fade for noise in found]) < 0.04


@pytest.mark.parametrize(
    "lots",
    [
        pytest.param([f"lot {i}" for i in range(40)], id="a lot for every piece"),
        pytest.param(["lot"] * 40, id="one lot"),
        pytest.param([None] * 40, id="no lot was written down"),
    ],
)
def test_lots_that_explain_nothing_count_as_not_recorded(lots):
    values = np.random.default_rng(83).normal(0, 1, 40)
    with_them, without = (learn_noise({"one": [Settled(values, range(40), given)]}) for given in (lots, None))
    assert with_them == without


def test_a_new_series_goes_with_its_sisters(drawn):
    random = np.random.default_rng(84)
    lots = drawn.lots(random, 40)
    pool = {name: [drawn.settled(random, drawn.between_lots(random, lots, 0.4), lots)] for name in "abc"}
    pool |= {"plain": [drawn.settled(random, random.normal(0, 1, 40))], "new": []}
    assert list(with_lots(lay(list(pool.items())))) == [True, True, True, False, True]
    found = learn_noise(pool)
    assert found["new"].lots > 0.2 and found["plain"].lots == 0.0
    assert found["new"].echo * found["new"].fade < 0.1 < found["plain"].echo * found["plain"].fade


def test_a_change_under_way_is_no_difference_of_lots(drawn):
    random = np.random.default_rng(85)

    def draw(random):
        return drawn.settled(random, random.normal(0, 1, 40), drawn.lots(random, 40))

    away = []
    for _ in range(20):
        pool = drawn.pool(random, draw)
        (one,) = pool["sister 00"]
        values = np.array(one.values)
        values[-15:] += 3.0
        shifted = learn_noise({**pool, "sister 00": [Settled(values, one.labels, one.lots)]})
        away.append(shifted["sister 00"].lots - learn_noise(pool)["sister 00"].lots)
    assert np.abs(away).max() < 0.01


def test_nothing_known_of_lots_is_a_tenth_and_its_margin():
    found = learn_noise({"one": [Settled([1.0, 2.0, 3.0, 5.0, 4.0], "abcde", list("xxyyy"))]})["one"]
    assert found.lots == pytest.approx(0.1 + 0.45 / np.sqrt(10 + 2 / 6))
    assert found.echo < PRIOR.echo


def test_scores_are_about_zero_in_every_stretch(drawn):
    random = np.random.default_rng(86)
    laid = lay([("one", [drawn.settled(random, np.round(random.normal(0, 1, n))) for n in (7, 12, 31)])])
    assert laid.over_stretches(blom_scores(laid)) == pytest.approx(np.zeros(3), abs=1e-12)


def test_own_lots_that_differ_less_are_believed_later_than_lots_that_differ_more(drawn):
    random = np.random.default_rng(89)
    pool = drawn.pool(random, lambda r: drawn.recorded(r, 60, 0.3))

    def share_beside(own):
        return learn_noise({**pool, "x": [drawn.recorded(random, 100, own)]})["x"].lots

    common = learn_noise({**pool, "x": []})["x"].lots
    alike, apart = share_beside(0.0), share_beside(0.7)
    # by hand: twenty sisters alike place a share to about 0.08, as well as 0.2 / 0.08^2, some 30 own lots;
    # beside 13 older ones they leave 13 / 43 of what those are above, and 13 / 73 of what they are below
    assert 0.65 * common < alike < common
    assert (apart - common) / (0.7 - 0.3) > 0.1
    assert apart - common > 0.75 * (common - alike)


def test_sisters_whose_lots_are_unlike_count_as_fewer(drawn):
    random = np.random.default_rng(90)

    def own_share(shares):
        pool = {f"{i:02d}": [drawn.recorded(random, 90, share)] for i, share in enumerate(shares)}
        own = {"x": [drawn.recorded(random, 90, 0.0)], "y": [drawn.recorded(random, 90, 0.6)]}
        found = learn_noise({**pool, **own})
        return found["y"].lots - found["x"].lots

    # of the same mean: half of the sisters in lots that share nothing, half that share half
    assert own_share([0.0, 0.5] * 10) > 1.3 * own_share([0.25] * 20)


def test_the_margin_of_the_share_between_lots_falls_as_the_root_of_the_lots():
    # ten lots are taken for granted; six pieces of the pool stand for one lot more
    assert lots_margin(0) == pytest.approx(0.45 / np.sqrt(10))
    assert lots_margin(180) == pytest.approx(lots_margin(0) / 2)
