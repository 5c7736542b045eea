"""Pairing against exhaustive search, a linear programme and simulation; a leg by its extremes."""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from qc import trade
from qc.trade import TradeError, Tube

TABLES = json.loads((Path(__file__).parents[2] / "published" / "trade_tables.json").read_text("utf-8"))
few = settings(max_examples=40, deadline=None)
inside = st.floats(13.80, 13.95)
outside = st.floats(13.98, 14.12)
LEGS = ("upper", "lower")


def tube(name, *diameters, leg=""):
    return Tube(name, {leg: {"mid": list(diameters)}})


def rack(means, prefix):
    return [tube(f"{prefix}{index}", mean) for index, mean in enumerate(means)]


@st.composite
def racks(draw, most=4):
    """Inners and outers with two legs, two stations and two directions each; numbers may differ."""

    def one(name, sizes):
        return Tube(
            name,
            {leg: {s: draw(st.lists(sizes, min_size=2, max_size=2)) for s in ("a", "b")} for leg in LEGS},
        )

    inners = [one(f"i{k}", inside) for k in range(draw(st.integers(1, most)))]
    outers = [one(f"o{k}", outside) for k in range(draw(st.integers(1, most)))]
    return inners, outers


def price(inner, outer, target, cost):
    """Cost of one pair, worked out from the readings anew; None where the stocking does not go in."""
    means, squares, stations, least = [], 0.0, 0.0, []
    for leg in inner.readings:
        bores = [v for values in outer.readings[leg].values() for v in values]
        stockings = [v for values in inner.readings[leg].values() for v in values]
        means.append(1000 * (np.mean(bores) - np.mean(stockings)))
        least.append(1000 * (min(bores) - max(stockings)))
        squares += (means[-1] - target) ** 2
        for station, values in outer.readings[leg].items():
            mate = inner.readings[leg][station]
            stations += (1000 * (np.mean(values) - np.mean(mate)) - target) ** 2
    if min(least) <= 0:
        return None
    off = np.mean(means) - target
    return {
        "mean-squares": off**2,
        "mean-absolute": abs(off),
        "leg-squares": squares,
        "station-squares": stations,
        "least-squares": sum((um - target) ** 2 for um in least),
    }[cost]


def cheapest(inners, outers, target, cost):
    """Try every way to mate the smaller side: most pairs that go in first, then the least cost."""
    small, large = sorted((inners, outers), key=len)
    best = (0, 0.0)
    for mates in itertools.permutations(large, len(small)):
        pairs = [(a, b) if small is inners else (b, a) for a, b in zip(small, mates, strict=True)]
        prices = [p for i, o in pairs if (p := price(i, o, target, cost)) is not None]
        best = max(best, (len(prices), -sum(prices)))
    return best[0], -best[1]


@few
@given(racks(), st.sampled_from(trade.COSTS), st.floats(120.0, 180.0))
def test_no_other_pairing_is_cheaper(both, cost, target):
    inners, outers = both
    pairing = trade.pair_tubes(inners, outers, target, 50.0, 300.0, cost)
    number, least = cheapest(inners, outers, target, cost)
    assert len(pairing.pairs) == number
    assert pairing.cost == pytest.approx(least, rel=1e-9, abs=1e-6)


@few
@given(racks(), st.randoms(use_true_random=False), st.floats(-0.02, 0.02))
def test_order_on_the_rack_and_a_zero_error_of_the_gauge_do_not_matter(both, order, zero):
    inners, outers = both
    plain = trade.pair_tubes(inners, outers, 150.0, 50.0, 300.0)
    mixed = [list(inners), list(outers)]
    order.shuffle(mixed[0])
    order.shuffle(mixed[1])

    def moved(tubes):
        return [
            Tube(
                t.name,
                {leg: {s: [v + zero for v in vs] for s, vs in at.items()} for leg, at in t.readings.items()},
            )
            for t in tubes
        ]

    again = trade.pair_tubes(moved(mixed[0]), moved(mixed[1]), 150.0, 50.0, 300.0)
    assert again.cost == pytest.approx(plain.cost, abs=1e-5)
    assert len(again.pairs) == len(plain.pairs)
    names = {pair.inner for pair in plain.pairs} | {tube.name for tube in plain.left_inner}
    assert names == {t.name for t in inners}, "every tube is in a pair or left, none twice"
    assert len(plain.pairs) + len(plain.left_outer) == len(outers)


@pytest.mark.parametrize(("n", "m"), [(12, 12), (9, 14), (14, 9)])
def test_a_linear_programme_certifies_the_optimum(n, m):
    """Second route for racks too large to search: the dual of the assignment as a linear programme."""
    rng = np.random.default_rng(10 * n + m)
    inner, outer = rng.normal(13.90, 0.01, n), rng.normal(14.05, 0.01, m)
    pairing = trade.pair_tubes(rack(inner, "i"), rack(outer, "o"), 150.0, 50.0, 300.0)
    costs = (1000 * (outer[None, :] - inner[:, None]) - 150.0) ** 2
    costs = costs if n <= m else costs.T
    few_, many_ = costs.shape
    rows = np.zeros((few_ * many_, few_ + many_))
    for i, j in itertools.product(range(few_), range(many_)):
        rows[i * many_ + j, [i, few_ + j]] = 1.0
    bounds = [(None, None)] * few_ + [(None, 0.0)] * many_
    dual = optimize.linprog(-np.ones(few_ + many_), A_ub=rows, b_ub=costs.ravel(), bounds=bounds)
    assert pairing.cost == pytest.approx(-dual.fun, rel=1e-6)


def test_sorting_serves_one_station_and_the_plain_sum_has_many_optima():
    """Trade note 2: sorting both lists is optimal for squares and for the plain sum, squares the evener."""
    rng = np.random.default_rng(70)
    for _ in range(20):
        inner, outer = rng.normal(13.90, 0.008, 7), rng.normal(14.05, 0.008, 7)
        sorted_off = 1000 * (np.sort(outer) - np.sort(inner)) - 150.0
        squares = trade.pair_tubes(rack(inner, "i"), rack(outer, "o"), 150.0, 50.0, 300.0)
        plain = trade.pair_tubes(rack(inner, "i"), rack(outer, "o"), 150.0, 50.0, 300.0, "mean-absolute")
        assert squares.cost == pytest.approx((sorted_off**2).sum())
        assert plain.cost == pytest.approx(np.abs(sorted_off).sum())
        worst = max(abs(pair.mean_um - 150.0) for pair in squares.pairs)
        assert worst <= max(abs(pair.mean_um - 150.0) for pair in plain.pairs) + 1e-6


@few
@given(inside, st.lists(outside, min_size=2, max_size=5), st.floats(100.0, 200.0))
def test_a_tube_that_is_left_names_what_would_suit_it(own, others, target):
    """One inner, several outers: those left say which inner they want, and the nearest of the rack."""
    assume(all(1000 * (other - own) > 1.0 for other in others))
    pairing = trade.pair_tubes([tube("i", own)], rack(others, "o"), target, 0.0, 500.0)
    assert len(pairing.left_outer) == len(others) - 1 and not pairing.left_inner
    best = min(others, key=lambda other: abs(1000 * (other - own) - target))
    assert pairing.pairs[0].mean_um == pytest.approx(1000 * (best - own))
    for left in pairing.left_outer:
        assert 1000 * (left.mean_mm - left.wanted_mm) == pytest.approx(target)
        assert left.nearest == "i" and left.side == "outer"
        assert left.nearest_off_um == pytest.approx(1000 * (left.mean_mm - own) - target)


def test_a_left_inner_wants_a_larger_outer():
    pairing = trade.pair_tubes(rack([13.90, 13.97], "i"), [tube("o", 14.05)], 150.0, 100.0, 200.0)
    (left,) = pairing.left_inner
    assert (left.name, left.side, left.nearest) == ("i1", "inner", "o")
    assert left.wanted_mm == pytest.approx(14.12) and left.nearest_off_um == pytest.approx(-70.0)


@pytest.mark.parametrize(("sd", "other", "band", "apart"), [
    (10, 10, 15, 0), (10, 10, 15, 8), (6, 12, 20, -10), (3, 0, 4, 1),
])  # fmt: skip
def test_yield_at_random_by_simulation(sd, other, band, apart):
    """100,000 pairs each: one standard error is at most 0.0016."""
    rng = np.random.default_rng(sd + other + band)
    off = rng.normal(apart, other, 100_000) - rng.normal(0.0, sd, 100_000)
    seen = np.mean(np.abs(off) <= band)
    assert trade.random_pairing_yield(sd, other, band, apart) == pytest.approx(seen, abs=0.005)
    exact = stats.norm(apart, math.hypot(sd, other))
    assert trade.random_pairing_yield(sd, other, band, apart) == pytest.approx(
        exact.cdf(band) - exact.cdf(-band)
    )


def test_yield_of_paired_lots_by_the_pairing_itself():
    """Lots of 6, 150 of them, paired by `pair_tubes`: the share inside is that of sorting."""
    rng = np.random.default_rng(71)
    share = []
    for _ in range(150):
        inner, outer = 13.90 + rng.normal(0, 0.01, 6), 14.05 + rng.normal(0, 0.01, 6)
        share.append(trade.pair_tubes(rack(inner, "i"), rack(outer, "o"), 150.0, 135.0, 165.0).inside / 6)
    found, error = trade.best_pairing_yield(10.0, 10.0, 15.0, lot=6)
    spread = math.hypot(np.std(share) / math.sqrt(150), error)
    assert np.mean(share) == pytest.approx(found, abs=3 * spread)


def test_lots_of_one_are_random_and_larger_lots_do_better():
    one, error = trade.best_pairing_yield(10.0, 10.0, 15.0, lot=1, lots=20_000)
    assert one == pytest.approx(trade.random_pairing_yield(10.0, 10.0, 15.0), abs=4 * error)
    shares = [trade.best_pairing_yield(10.0, 10.0, 15.0, lot=lot, lots=1000)[0] for lot in (1, 3, 6, 12, 24)]
    assert shares == sorted(shares)
    assert trade.best_pairing_yield(10.0, 10.0, 15.0, 12, seed=8) == trade.best_pairing_yield(
        10.0, 10.0, 15.0, 12, seed=8
    )


@few
@given(st.floats(13.4, 13.95))
def test_a_body_is_suspected_in_its_band_only(diameter):
    """60 to 200 um too loose in the smallest outer: the stocking stands about 0.1 mm over the body."""
    outers = rack([14.05, 14.06], "o")
    extra = 1000 * (14.05 - diameter) - 150.0
    low, high = trade.BODY_EXTRA_UM
    assume(min(abs(extra - low), abs(extra - high)) > 1e-6)
    assert trade.body_suspects([tube("i", diameter)], outers, 150.0) == (("i",) if low < extra < high else ())


@few
@given(st.lists(outside, min_size=1, max_size=6), st.lists(inside, min_size=1, max_size=6))
def test_extremes_of_a_leg_are_those_of_all_its_pairs_of_readings(bores, stockings):
    fit = trade.leg_clearance({"x": bores}, {"y": stockings})
    every = [1000 * (bore - stocking) for bore in bores for stocking in stockings]
    assert (fit.least_um, fit.greatest_um) == (pytest.approx(min(every)), pytest.approx(max(every)))
    assert fit.mean_um == pytest.approx(np.mean(every))
    assert dict(fit.stations) == {"x": pytest.approx(fit.mean_um)}


@few
@given(st.floats(10.0, 18.0), st.floats(-15.0, 40.0))
def test_a_warm_tube_read_by_a_gauge_as_warm_and_of_the_same_metal_needs_no_correction(mm, part_c):
    same = trade.diameter_at_20c(mm, part_c, trade.BRASS_EXPANSION_PER_K)
    assert same == mm
    cold = trade.diameter_at_20c(mm, part_c)
    assert (cold < mm) == (part_c > 20.0) or cold == mm
    grown = cold * (1 + trade.BRASS_EXPANSION_PER_K * (part_c - 20.0))
    assert grown == pytest.approx(mm, rel=2e-6), "and back again, to second order in the expansion"


@few
@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=6), st.lists(st.floats(-20.0, 20.0), max_size=3))
def test_stacks_lie_between_the_largest_and_the_plain_sum(tolerances, shifts):
    worst, statistical = trade.stack_worst_case(tolerances), trade.stack_root_sum_square(tolerances)
    assert max(tolerances) <= statistical + 1e-9 <= worst + 2e-9
    assert trade.stack_root_sum_square(tolerances, shifts) == pytest.approx(
        statistical + trade.stack_worst_case(shifts)
    )


def test_a_statistical_stack_holds_as_many_as_its_parts_by_simulation():
    """Two diameters of +-20 um at three sigma: 99.73 % of clearances lie within +-28.3 um (200,000 draws)."""
    rng = np.random.default_rng(72)
    off = rng.normal(0, 20 / 3, 200_000) - rng.normal(0, 20 / 3, 200_000)
    assert np.mean(np.abs(off) <= trade.stack_root_sum_square([20.0, 20.0])) == pytest.approx(
        0.9973, abs=5e-4
    )


def test_textbook_fits_of_iso_286_are_ten_times_too_tight_for_a_slide():
    """Grades of the table from ISO's own factor i, and the H7/g6 fit a slide must not be made to."""
    iso = TABLES["iso_286_um"]
    size = math.sqrt(10.0 * 18.0)
    i = 0.45 * size ** (1 / 3) + 0.001 * size
    for grade, factor in iso["factor_of_i"].items():
        assert iso["it"][grade] == pytest.approx(factor * i, rel=0.06), "the table is rounded"
    hole, shaft = iso["it"]["7"], iso["it"]["6"]
    fit = trade.leg_clearance(
        {"bore": [14.0, 14.0 + hole / 1000]},
        {"shaft": [14.0 + iso["g"] / 1000, 14.0 + (iso["g"] - shaft) / 1000]},
    )
    assert (fit.least_um, fit.greatest_um) == (pytest.approx(6.0), pytest.approx(35.0))
    assert 0.006 * trade.INCH_MM * 1000 > 4 * fit.greatest_um, "the trade's 0.006 inch"


def paired(inner, outer, lower, upper):
    return trade.pair_tubes(rack([inner], "i"), rack([outer], "o"), 150, lower, upper)


@pytest.mark.parametrize(("call", "problem", "mend"), [
    (lambda: trade.leg_clearance({"a": []}, {"b": [13.9]}), "no bore readings", "leave the tube out"),
    (lambda: trade.leg_clearance({"a": [14.0]}, {}), "no stocking readings", "Measure it"),
    (lambda: trade.clearance_um(14.05, 0.0), "0.0 mm is not a diameter", "in millimetres"),
    (lambda: trade.ovality_um([14.05]), "one direction shows no ovality", "at 90 degrees"),
    (lambda: trade.taper_um([]), "one station shows no taper", "at both ends"),
    (lambda: trade.mean_mm(Tube("T-9", {"": {"mid": []}})), "tube T-9 has no readings", "leave it out"),
    (lambda: paired(13.9, 14.05, 150, 150), "150 um is not within 150 to 150", "lower < target < upper"),
    (lambda: paired(13.9, math.nan, 100, 200), "tube o0: nan mm", "Give millimetres"),
    (lambda: paired(4.9, 14.05, 100, 200), "tube i0: 4.9 mm", "0.5532 in is 14.051 mm"),
])  # fmt: skip
def test_what_cannot_be_measured_or_paired_says_what_and_what_to_do(call, problem, mend):
    with pytest.raises(TradeError, match=problem) as caught:
        call()
    assert mend in caught.value.hint
