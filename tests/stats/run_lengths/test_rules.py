"""Exact run lengths of rules against Champ and Woodall, an independent chain and simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.rules import Rule, parse_rules
from qc.stats.run_lengths.chain import shewhart_run_length
from qc.stats.run_lengths.rules import ZoneRule, rule_run_length

PUBLISHED = Path(__file__).parents[2] / "published"
C2 = json.loads((PUBLISHED / "runlength_shewhart.json").read_text("utf-8"))["C2"]
C10 = json.loads((PUBLISHED / "runlength_memory.json").read_text("utf-8"))["C10"]["recomputed"]


def both_sides(hits, span, edge):
    return (
        ZoneRule(hits, span, ((edge, math.inf),)),
        ZoneRule(hits, span, ((-math.inf, -edge),)),
    )


CHAMP_WOODALL = {  # their numbering; 5 and 9 as the shared table defines them
    "1": both_sides(1, 1, 3.0),
    "2": both_sides(2, 3, 2.0),
    "3": both_sides(4, 5, 1.0),
    "4": both_sides(8, 8, 0.0),
    "5": both_sides(2, 2, 2.0),
    "9": both_sides(9, 9, 0.0),
}


@pytest.mark.parametrize("name, shift, mean, sd, states", C2["recomputed"]["rows"])
def test_combinations_agree_with_an_independent_chain(name, shift, mean, sd, states):
    rules = [rule for part in str(name).removesuffix(".0").split("+") for rule in CHAMP_WOODALL[part]]
    found = rule_run_length(rules, shift)
    assert found.mean == pytest.approx(mean, rel=1e-6)
    assert found.sd == pytest.approx(sd, rel=1e-6)
    assert found.states == states


@pytest.mark.parametrize(
    "rules, name",
    [
        ("beyond-limit", "1"),
        ("beyond-limit,two-of-three-outer", "1+2"),
        ("beyond-limit,same-side(8)", "1+4"),
        ("beyond-limit,two-of-three-outer,four-of-five-middle,same-side(8)", "1+2+3+4"),
    ],
)
def test_named_rules_agree_with_champ_and_woodall(rules, name):
    """Technometrics 29, 1987, table 1 (in-control values from memory); T103: 91.8."""
    assert rule_run_length(rules).mean == pytest.approx(C2["published"][name], abs=0.0051)


EVERY_RULE = (
    "avoiding-center",
    "beyond-limit",
    "four-of-five-middle",
    "hugging-center",
    "same-side",
    "steady-climb",
    "two-of-three-outer",
    "zigzag",
)


@pytest.mark.parametrize("rules", [*EVERY_RULE, "same-side(14)", "zigzag(20)", "beyond-limit,hugging-center"])
@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_the_survival_of_a_rule_adds_up_to_its_mean_and_sd(rules, shift):
    """For any wait, S_0 + S_1 + ... is the mean and 2 (0 S_0 + 1 S_1 + ...) + mean - mean^2 the variance."""
    found = rule_run_length(rules, shift)
    listed, ratio = found.survival, found.ratio
    last, places = listed.size - 1, np.arange(listed.size)
    tail = listed[-1] * ratio / (1.0 - ratio)
    weighted = places @ listed + tail * (last + 1.0 / (1.0 - ratio))
    assert listed.sum() + tail == pytest.approx(found.mean, rel=1e-9)
    assert 2.0 * weighted + found.mean - found.mean**2 == pytest.approx(found.sd**2, rel=1e-6)
    middle = found.quantile(0.5)
    assert found.chance_beyond(middle) <= 0.5 < found.chance_beyond(middle - 1)


@pytest.mark.parametrize(
    "rules, length, inside",
    [("hugging-center", 15, 0.6826894921370859), ("avoiding-center", 8, 0.31731050786291415)],
)
def test_survival_of_a_run_agrees_with_its_recursion(rules, length, inside):
    """A run of k: the last point outside it lies 0 .. k - 1 points back (Feller, from memory)."""
    survival = [1.0] * length
    while len(survival) < 3000:
        back = range(length)
        survival.append(sum(inside**i * (1.0 - inside) * survival[-1 - i] for i in back))
    found = rule_run_length(rules)
    at = [length - 1, length, 100, 1000, 2999]
    assert [found.chance_beyond(n) for n in at] == pytest.approx([survival[n] for n in at], rel=1e-9)
    assert found.quantile(0.05) == int(np.argmax(np.array(survival) <= 0.95))


@pytest.mark.parametrize("length, zigzag_number", [(5, 16), (9, 7_936), (14, 199_360_981)])
def test_first_chance_of_a_zigzag_agrees_with_the_count_of_alternating_orders(length, zigzag_number):
    """Of n! orders of n values twice the n-th zigzag number alternate (sequence A000111, from memory)."""
    found = rule_run_length(f"zigzag({length})")
    assert found.chance_beyond(length - 1) == pytest.approx(1.0, abs=1e-12)
    alternating = 2.0 * zigzag_number / math.factorial(length)
    assert 1.0 - found.chance_beyond(length) == pytest.approx(alternating, rel=1e-7)


@pytest.mark.parametrize(
    "rules, shift, name",
    [
        ("steady-climb", 0, "3 shift 0.0"),
        ("steady-climb(7)", 0, "3b shift 0.0"),
        ("zigzag", 0, "4 shift 0.0"),
        ("hugging-center", 0, "7 shift 0.0"),
        ("avoiding-center", 1, "8 shift 1.0"),
        ("four-of-five-middle", 1, "6 shift 1.0"),
        ("same-side", 1, "2 shift 1.0"),
        ("two-of-three-outer", 1, "5 shift 1.0"),
        ("beyond-limit,same-side,two-of-three-outer,four-of-five-middle", 1, "1+2+5+6 shift 1.0"),
    ],
)
def test_single_rules_agree_with_the_shared_simulation(rules, shift, name):
    simulated = C10[f"ARL Nelson rules {name}"]
    assert rule_run_length(rules, shift).mean == pytest.approx(simulated["estimate"], abs=3 * simulated["se"])


@pytest.mark.slow
def test_all_eight_together_agree_with_the_shared_simulation():
    simulated = C10["ARL Nelson rules 1+2+3+4+5+6+7+8 shift 1.0"]
    assert rule_run_length("all", 1.0).mean == pytest.approx(simulated["estimate"], abs=3 * simulated["se"])


def test_alone_each_rule_has_its_closed_form():
    """A run of r in a zone of chance p waits (1 - p^r) / ((1 - p) p^r); one point waits 1 / p."""
    for rules, p, r in (
        ("hugging-center", 0.682689492137086, 15),
        ("avoiding-center(5)", 0.317310507862914, 5),
    ):
        assert rule_run_length(rules).mean == pytest.approx((1 - p**r) / ((1 - p) * p**r), rel=1e-11)
    assert rule_run_length("beyond-limit").mean == pytest.approx(shewhart_run_length().mean, rel=1e-12)


def play_ordered(rng, climb, zigzag, limit, runs=40_000, most=6000):
    """Wait for a climb or fall of `climb` points, a zigzag of `zigzag`, or a point beyond `limit`."""
    last = rng.standard_normal(runs)
    length, alive = np.full(runs, most), np.abs(last) <= limit
    length[~alive] = 1
    way, up, saw = np.zeros(runs), np.ones(runs), np.ones(runs)
    for t in range(2, most):
        x = rng.standard_normal(runs)
        new = np.sign(x - last)
        up, saw = np.where(new == way, up + 1, 2), np.where(new == -way, saw + 1, 2)
        out = alive & ((up >= climb) | (saw >= zigzag) | (np.abs(x) > limit))
        length[out], alive = t, alive & ~out
        last, way = x, new
        if not alive.any():
            break
    return length


def test_neighbour_rules_with_a_limit_agree_with_play():
    """Second route for the nodes within zones: three rules, short so that play is cheap."""
    length = play_ordered(np.random.default_rng(7), 4, 7, 2.0)
    zones = [ZoneRule(1, 1, ((-math.inf, -2.0), (2.0, math.inf)))]
    found = rule_run_length([Rule("steady-climb", 4), Rule("zigzag", 7), *zones])
    assert length.mean() == pytest.approx(found.mean, abs=4 * found.sd / math.sqrt(length.size))
    assert length.std() == pytest.approx(found.sd, rel=0.03)
    assert np.mean(length > 5) == pytest.approx(found.chance_beyond(5), abs=4 * math.sqrt(0.25 / length.size))


def test_climb_of_three_by_counting():
    """Three points in a row up or down: the chance that n points hold none is E_n-like; first values by hand.

    No climb or fall of 3 among 3 points: 4 of the 6 orders; among 4 points: 10 of 24 (up-down numbers 2, 5).
    """
    found = rule_run_length("steady-climb(3)")
    assert found.chance_beyond(2) == pytest.approx(1.0)
    assert found.chance_beyond(3) == pytest.approx(4 / 6, abs=1e-10)
    assert found.chance_beyond(4) == pytest.approx(10 / 24, abs=1e-10)
    assert found.chance_beyond(5) == pytest.approx(32 / 120, abs=1e-10)


@settings(max_examples=25, deadline=None)
@given(st.floats(-2.0, 2.0), st.floats(0.7, 1.5))
def test_order_rules_do_not_feel_shift_or_spread(shift, ratio):
    assert rule_run_length("steady-climb", shift, sd_ratio=ratio).mean == pytest.approx(
        421.5986260314738, rel=1e-9
    )


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 2.0), st.floats(0.8, 1.3))
def test_mirror_and_more_rules(shift, ratio):
    few = rule_run_length("beyond-limit,same-side", shift, sd_ratio=ratio).mean
    assert rule_run_length("beyond-limit,same-side", -shift, sd_ratio=ratio).mean == pytest.approx(
        few, rel=1e-9
    )
    more = rule_run_length("beyond-limit,same-side,two-of-three-outer", shift, sd_ratio=ratio).mean
    assert more < few


def test_spread_ratio_rescales_the_zones():
    wide = rule_run_length([ZoneRule(1, 1, ((-math.inf, -2.0), (2.0, math.inf)))])
    assert rule_run_length("beyond-limit", sd_ratio=1.5).mean == pytest.approx(wide.mean, rel=1e-12)


def test_every_rule_of_the_contract_has_a_run_length():
    for rule in parse_rules("all"):
        assert rule_run_length([rule]).mean > 20


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: rule_run_length("none"), StatisticsError, "no rule given"),
        (lambda: rule_run_length("nonsense"), StatisticsUsageError, "nonsense"),
        (lambda: rule_run_length([Rule("square")]), StatisticsUsageError, "'square' is not known"),
        (lambda: rule_run_length("beyond-limit", math.inf), StatisticsError, "shift is inf"),
        (lambda: ZoneRule(3, 2, ((0.0, 1.0),)), StatisticsError, "3 of 2"),
        (lambda: ZoneRule(1, 1, ((1.0, 1.0),)), StatisticsError, "rising"),
        (
            lambda: rule_run_length([ZoneRule(9, 30, ((1.0, math.inf),)), ZoneRule(9, 30, ((-1.0, 1.0),))]),
            StatisticsError,
            "too many states",
        ),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()
