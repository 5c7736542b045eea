from itertools import permutations

import numpy as np
import pytest

from qc import trade
from qc.trade import TradeError, Tube


def rack(means, prefix, legs=("",), rng=None, stations=("a", "b")):
    tubes = []
    for index, mean in enumerate(means):
        readings = {
            leg: {
                s: [mean + (0 if rng is None else rng.normal(0, 0.002)) for _ in range(2)] for s in stations
            }
            for leg in legs
        }
        tubes.append(Tube(f"{prefix}{index}", readings))
    return tubes


def brute_force(inners, outers, target, cost):
    """Try every way of giving each tube of the smaller side a mate."""

    def price(inner, outer):
        fits = [trade.leg_clearance(outer.readings[leg], inner.readings[leg]) for leg in inner.readings]
        mean = sum(fit.mean_um for fit in fits) / len(fits)
        if cost == "mean-squares":
            return (mean - target) ** 2
        if cost == "mean-absolute":
            return abs(mean - target)
        total = 0.0
        for fit in fits:
            if cost == "leg-squares":
                total += (fit.mean_um - target) ** 2
            elif cost == "least-squares":
                total += (fit.least_um - target) ** 2
            else:
                total += sum((um - target) ** 2 for _, um in fit.stations)
        return total

    small, large = (inners, outers) if len(inners) <= len(outers) else (outers, inners)
    best = np.inf
    for choice in permutations(large, len(small)):
        pairs = zip(small, choice, strict=True)
        pairs = pairs if small is inners else ((i, o) for o, i in pairs)
        best = min(best, sum(price(i, o) for i, o in pairs))
    return best


@pytest.mark.parametrize("cost", trade.COSTS)
@pytest.mark.parametrize(("n", "m", "legs"), [(4, 6, ("",)), (5, 4, ("upper", "lower")), (5, 5, ("",))])
def test_assignment_is_as_good_as_brute_force(cost, n, m, legs):
    rng = np.random.default_rng(n * 10 + m)
    inners = rack(rng.normal(13.90, 0.01, n), "i", legs, rng)
    outers = rack(rng.normal(14.05, 0.01, m), "o", legs, rng, ("mouth", "middle", "crook"))
    pairing = trade.pair_tubes(inners, outers, 150, 100, 200, cost)
    assert pairing.cost == pytest.approx(brute_force(inners, outers, 150, cost), rel=1e-9)
    assert len(pairing.pairs) == min(n, m)
    assert len(pairing.left_inner) == max(0, n - m)
    assert len(pairing.left_outer) == max(0, m - n)


def test_one_station_equal_numbers_is_sorting():
    rng = np.random.default_rng(7)
    inner, outer = rng.normal(13.90, 0.01, 30), rng.normal(14.05, 0.01, 30)
    pairing = trade.pair_tubes(
        rack(inner, "i", stations=("a",)), rack(outer, "o", stations=("a",)), 150, 100, 200
    )
    rank = {f"i{k}": int(r) for k, r in enumerate(inner.argsort().argsort())}
    rank |= {f"o{k}": int(r) for k, r in enumerate(outer.argsort().argsort())}
    assert all(rank[pair.inner] == rank[pair.outer] for pair in pairing.pairs)
    expected = ((1000 * (np.sort(outer) - np.sort(inner)) - 150) ** 2).sum()
    assert pairing.cost == pytest.approx(expected)


def test_squares_also_reach_the_least_plain_sum_of_the_trade_note():
    inners = rack([13.846, 13.861, 13.852, 13.855], "i", stations=("a",))
    outers = rack([14.013, 14.000, 14.004, 14.010, 14.030], "o", stations=("a",))
    squares = trade.pair_tubes(inners, outers, 150, 100, 200)
    plain = sum(abs(pair.mean_um - 150) for pair in squares.pairs)
    assert plain == pytest.approx(13.0, abs=0.1)


def test_limits_are_kept_on_least_and_greatest_not_on_the_mean():
    inner = [Tube("i", {"": {"a": [13.90, 13.92]}})]
    outer = [Tube("o", {"": {"a": [14.06, 14.06]}})]
    pair = trade.pair_tubes(inner, outer, 150, 145, 165).pairs[0]
    assert pair.mean_um == pytest.approx(150.0)
    assert (pair.least_um, pair.greatest_um) == (pytest.approx(140.0), pytest.approx(160.0))
    assert not pair.inside
    assert trade.pair_tubes(inner, outer, 150, 140, 160).pairs[0].inside, "a figure on the limit is inside"


def test_worst_leg_counts():
    inner = [Tube("i", {"upper": {"a": [13.90]}, "lower": {"a": [13.95]}})]
    outer = [Tube("o", {"upper": {"a": [14.05]}, "lower": {"a": [14.05]}})]
    pair = trade.pair_tubes(inner, outer, 150, 120, 180).pairs[0]
    assert (pair.least_um, pair.greatest_um) == (pytest.approx(100.0), pytest.approx(150.0))
    assert not pair.inside


def test_a_pair_that_does_not_go_in_is_never_proposed():
    pairing = trade.pair_tubes(rack([13.90, 14.06], "i"), rack([14.05, 14.05], "o"), 150, 100, 200)
    assert [pair.inner for pair in pairing.pairs] == ["i0"]
    left = pairing.left_inner[0]
    assert left.name == "i1" and left.wanted_mm == pytest.approx(14.21) and left.nearest_off_um < 0
    assert pairing.to_dict()["left"]["inner"] == ["i1"]


def test_yields_of_the_trade_note():
    """Both sd 10 um, +-15 um: 71 % and 98 %; means 8 um apart: 64 % and 89 % (trade note 2, simulated)."""
    assert trade.random_pairing_yield(10, 10, 15) == pytest.approx(0.711, abs=0.001)
    assert trade.random_pairing_yield(10, 10, 15, 8) == pytest.approx(0.64, abs=0.005)
    assert trade.best_pairing_yield(10, 10, 15, 12, 8)[0] == pytest.approx(0.89, abs=0.01)
    share, error = trade.best_pairing_yield(10, 10, 15, 12, lots=300, seed=5)
    assert 0 < error < 0.01 and share > trade.random_pairing_yield(10, 10, 15)


@pytest.mark.parametrize(("inner", "outer", "limits", "words"), [
    ([], [14.05], (150, 100, 200), "no inner"),
    ([13.9], [], (150, 100, 200), "no outer"),
    ([13.9], [14.05], (75, 100, 200), "not within"),
    ([0.5532], [14.05], (150, 100, 200), "no slide tube's diameter"),
    ([13.9], [14052.0], (150, 100, 200), "no slide tube's diameter"),
])  # fmt: skip
def test_racks_that_are_refused(inner, outer, limits, words):
    with pytest.raises(TradeError, match=words):
        trade.pair_tubes(rack(inner, "i"), rack(outer, "o"), *limits)


def test_other_refusals():
    with pytest.raises(TradeError, match="cost"):
        trade.pair_tubes(rack([13.9], "i"), rack([14.05], "o"), 150, 100, 200, "cheapest")
    with pytest.raises(TradeError, match="no leg in common"):
        trade.pair_tubes(rack([13.9], "i", ("upper",)), rack([14.05], "o", ("lower",)), 150, 100, 200)
    with pytest.raises(TradeError, match="no readings"):
        trade.mean_mm(Tube("x", {}))


def test_body_read_for_stocking_is_suspected_and_a_sound_tube_is_not():
    outers = rack([14.05, 14.06], "o")
    assert trade.body_suspects(rack([13.90, 13.80, 13.88], "i"), outers, 150) == ("i1",)


@pytest.mark.parametrize("cost", ["mean-squares", "mean-absolute"])
def test_the_cost_can_be_worked_out_from_the_pairs_shown(cost):
    rng = np.random.default_rng(11)
    legs = ("upper", "lower")
    inners = rack(rng.normal(13.90, 0.01, 5), "i", legs, rng)
    outers = rack(rng.normal(14.05, 0.01, 6), "o", legs, rng)
    pairing = trade.pair_tubes(inners, outers, 150, 100, 200, cost)
    off = [pair.mean_um - 150 for pair in pairing.pairs]
    expected = sum(o * o for o in off) if cost == "mean-squares" else sum(abs(o) for o in off)
    assert pairing.cost == pytest.approx(expected, rel=1e-9)
