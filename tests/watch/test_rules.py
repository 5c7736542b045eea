"""Classic rules on a series of the board, against `qc study`'s own way and by hand."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from qc.jobs.board.views import Point, SeriesKey, SeriesVerdict, SignalResult, StretchResult
from qc.stats import LimitRule, Setting, find_signals, individuals, individuals_table, parse_rules
from qc.watch.rules import (
    LIMIT_METHODS,
    RULE_WORDS,
    apply_rules,
    base_of,
    known_rules,
    rule_offers,
    rules_price,
    why_none,
)


def series(values, **changes):
    points = tuple(
        Point(n, f"S-{n:03d}", date(2026, 1, 1) + timedelta(days=n), "tenor", float(v), float(v))
        for n, v in enumerate(values, start=1)
    )
    mean, sd = (float(np.mean(values)), float(np.std(values, ddof=1))) if len(values) > 1 else (0.0, None)
    verdict = SeriesVerdict(
        key=SeriesKey("slide", "force", "all"),
        stage_name="Slide",
        name="Force",
        unit="N",
        kind="measured",
        pieces=len(points),
        behaviour="steady",
        capable="proven",
        ppk=1.4,
        ppk_low=1.1,
        ppk_high=1.7,
        ppk_reason="",
        outside_share=0.0,
        outside_low=0.0,
        outside_high=0.0,
        target=None,
        lower=None,
        upper=None,
        natural_lower=None,
        natural_upper=None,
        present=tuple(range(1, len(points) + 1)),
        sd_between=None,
        sd_within=None,
        centered=False,
        points=points,
        stretches=(StretchResult(1, len(points), mean, sd, len(points), changed=False),)
        if values.size
        else (),
        signals=(),
    )
    return replace(verdict, **changes)


@pytest.fixture
def values():
    steps = np.random.default_rng(5).normal(10.0, 1.0, 120)
    steps[60:72] += 1.2  # long enough for the run rules to see something
    steps[90] += 6.0
    return steps


def test_the_offers_are_the_contracts_rules_alphabetically_each_with_its_price():
    offers = rule_offers()
    assert [str(rule) for rule in parse_rules("all")] == [
        f"{o.id}({o.length})" if o.length else o.id for o in offers
    ]
    assert [o.id for o in offers] == sorted(RULE_WORDS)
    prices = {o.id: o.price for o in offers}
    # Parameters known: 1 over 0.0026998 beyond three sigma; 2^9 - 1 for nine on one side (runs of a coin).
    assert prices["beyond-limit"] == pytest.approx(370.398, abs=0.001)
    assert prices["same-side"] == pytest.approx(2**9 - 1)


def test_the_four_classic_zone_rules_together_cost_their_published_run_length():
    # Champ and Woodall 1987: 91.75 with same-side(8); with nine in a row 109 (docs/reference/rules.md)
    chosen = ["beyond-limit", "four-of-five-middle", "same-side", "two-of-three-outer"]
    assert rules_price(chosen) == pytest.approx(109.05, abs=0.01)
    assert rules_price(chosen[::-1]) == rules_price(chosen)
    assert rules_price([]) is None and rules_price(["made-up"]) is None
    assert known_rules(["zigzag", "made-up", "beyond-limit"]) == ["beyond-limit", "zigzag"]


@pytest.mark.parametrize("method", LIMIT_METHODS)
def test_hits_are_those_of_the_study(values, method):
    setting = Setting(limits=LimitRule.parse(method))
    table = individuals_table(pl.DataFrame({"value": values}), setting)
    found = find_signals(table, parse_rules("all"))[""]
    expected = {(s.point, s.rule) for s in found}
    view = apply_rules(series(values), list(RULE_WORDS), method)
    assert {(hit.point.ordinal, rule) for hit in view.hits for rule in hit.rules} == expected and expected
    chart = individuals(values, setting)
    assert (view.center, view.lower, view.upper) == pytest.approx((chart.center, chart.lower, chart.upper))
    assert (view.first, view.last, view.n, view.judged) == (1, 120, 120, 120)


def test_a_drifting_series_is_held_against_what_was_before(values):
    shifted = np.concatenate([values[:60], values[:20] + 8.0])
    signal = SignalResult(
        "shift", "above", 64, "S-064", date(2026, 3, 1), 61, "S-061", date(2026, 3, 1), 60, 62,
        5.0, 4.0, 6.0, 5.0, "N", 0.004, 20,
    )  # fmt: skip
    stretches = (
        StretchResult(1, 60, 10.0, 1.0, 60, changed=False),
        StretchResult(61, 80, 15.0, 1.0, 20, changed=True),
    )
    verdict = series(shifted, behaviour="drifting", signals=(signal,), stretches=stretches)
    assert base_of(verdict) == (1, 60)
    assert base_of(replace(verdict, behaviour="steady")) == (61, 80)
    view = apply_rules(verdict, ["beyond-limit"])
    assert view.center == pytest.approx(values[:60].mean()) and view.judged == 80
    assert sum(hit.point.ordinal > 60 for hit in view.hits) > 15


def test_a_frozen_state_sets_centre_and_spread(values):
    verdict = series(values, baseline_first=11, baseline_last=40)
    view = apply_rules(verdict, ["same-side"])
    assert (view.first, view.last, view.n, view.judged) == (11, 40, 30, 110)
    assert view.center == pytest.approx(values[10:40].mean())


def test_pieces_left_out_set_nothing_are_not_judged_and_break_runs():
    level = np.array([1.0, -1.0] * 10 + [0.4] * 9)
    whole = series(level)
    assert [hit.point.ordinal for hit in apply_rules(whole, ["same-side"]).hits] == [29]
    apart = tuple(replace(p, left_out=p.ordinal == 25) for p in whole.points)
    view = apply_rules(replace(whole, points=apart), ["same-side", "beyond-limit"])
    assert view.hits == () and view.judged == view.n == 28


@pytest.mark.parametrize(
    "changes, said",
    [
        ({"kind": "count"}, "for measured figures"),
        ({"stretches": (StretchResult(1, 9, 1.0, 1.0, 9, False, 1.0, 2.0),)}, "wears along its tool's line"),
        ({"stretches": (StretchResult(1, 3, 1.0, 1.0, 3, False),)}, "3 of 4 pieces"),
        ({"stretches": ()}, "0 of 4 pieces"),
    ],
)
def test_where_there_are_no_rules_the_reason_is_said(values, changes, said):
    verdict = series(values, **changes)
    assert said in why_none(verdict) and said in apply_rules(verdict, ["same-side"]).reason


def test_a_series_without_any_spread_says_so():
    view = apply_rules(series(np.full(12, 3.0)), ["same-side"])
    assert view.reason and not view.hits


def test_an_unknown_kind_of_limit_falls_back_to_the_textbook(values):
    assert apply_rules(series(values), ["zigzag"], "moon").limits == "textbook"
