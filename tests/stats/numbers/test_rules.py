"""The eight rules against a plain loop, hand-made series and independently simulated run lengths."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.charts.measured import individuals_table
from qc.stats.charts.rule_signals import find_signals
from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers.rules import DEFAULTS, Rule, parse_rules, rule_flags
from qc.stats.numbers.setting import Setting

RUN_LENGTHS = json.loads((Path(__file__).parents[2] / "published" / "charts_rules.json").read_text("utf-8"))[
    "C10"
]["recomputed"]
KNOWN = Setting(center=0.0, sigma=1.0)


def plain_rules(z, lower=-3.0, upper=3.0, lengths=DEFAULTS):
    """Every rule by a loop over points, straight from its wording; points count from 1."""
    found = set()

    def last(i, k):
        return z[i - k + 1 : i + 1] if i >= k - 1 else None

    for i, value in enumerate(z):
        if value > upper:
            found.add((i + 1, "beyond-limit", "above"))
        if value < lower:
            found.add((i + 1, "beyond-limit", "below"))
        for side, sign in (("above", 1), ("below", -1)):
            part = last(i, lengths["same-side"])
            if part is not None and all(sign * x > 0 for x in part):
                found.add((i + 1, "same-side", side))
            part = last(i, lengths["steady-climb"])
            if part is not None and all(sign * (b - a) > 0 for a, b in zip(part, part[1:], strict=False)):
                found.add((i + 1, "steady-climb", side))
            for name, line, wanted, window in (
                ("two-of-three-outer", 2, 2, 3),
                ("four-of-five-middle", 1, 4, 5),
            ):
                part = z[max(0, i - window + 1) : i + 1]
                if sign * value > line and sum(sign * x > line for x in part) >= wanted:
                    found.add((i + 1, name, side))
        part = last(i, lengths["zigzag"])
        if part is not None:
            steps = [b - a for a, b in zip(part, part[1:], strict=False)]
            if all(a * b < 0 for a, b in zip(steps, steps[1:], strict=False)):
                found.add((i + 1, "zigzag", "both"))
        part = last(i, lengths["hugging-center"])
        if part is not None and all(abs(x) <= 1 for x in part):
            found.add((i + 1, "hugging-center", "both"))
        part = last(i, lengths["avoiding-center"])
        if part is not None and all(abs(x) > 1 for x in part):
            found.add((i + 1, "avoiding-center", "both"))
    return found


def signals_of(*series, rules="all"):
    names = [str(i) for i, part in enumerate(series) for _ in part]
    frame = pl.DataFrame({"series": names, "value": np.concatenate([np.asarray(p, float) for p in series])})
    return find_signals(individuals_table(frame, KNOWN), parse_rules(rules))


def short(signals):
    return [(s.point, s.rule, s.side, s.start) for s in signals]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 60), min_size=1, max_size=6), st.integers(0, 10**6), st.sampled_from([0, 1, 3])
)
def test_all_rules_over_many_series_against_the_loop(lengths, seed, digits):
    rng = np.random.default_rng(seed)
    # few digits make ties and points on the lines; a slow wave makes long runs
    series = [np.round(rng.normal(0, 1.2, n) + np.sin(np.arange(n) / 9), digits) + 0.0 for n in lengths]
    found = signals_of(*series)
    for i, part in enumerate(series):
        ours = {(s.point, s.rule, s.side) for s in found.get(str(i), ())}
        assert ours == plain_rules(part.tolist())


@pytest.mark.parametrize("rule", [rule for rule in DEFAULTS if rule != "beyond-limit"])
def test_every_rule_is_seen_in_a_long_series(rule):
    rng = np.random.default_rng(8)
    z = rng.normal(0, 0.8 if rule == "hugging-center" else 1.6, size=6000)
    expected = {point for point, name, _ in plain_rules(z.tolist()) if name == rule}
    found = {s.point for s in signals_of(z, rules=rule)["0"]}
    assert found == expected and expected


def test_changed_lengths():
    z = np.random.default_rng(9).normal(size=3000).round(1)
    lengths = {**DEFAULTS, "same-side": 5, "steady-climb": 4, "zigzag": 6, "hugging-center": 4}
    lengths["avoiding-center"] = 3
    text = "same-side(5),steady-climb(4),zigzag(6),hugging-center(4),avoiding-center(3)"
    found = {(s.point, s.rule, s.side) for s in signals_of(z, rules=text)["0"]}
    wanted = {hit for hit in plain_rules(z.tolist(), lengths=lengths) if hit[1] in text}
    assert found == wanted


def test_on_the_limit_is_inside():
    assert signals_of([3.0, -3.0, 0.0]) == {}
    assert short(signals_of([3.0 + 1e-6, 0, -3.1])["0"]) == [
        (1, "beyond-limit", "above", 1),
        (3, "beyond-limit", "below", 3),
    ]


def test_runs_are_broken_by_ties_and_by_the_centre():
    assert signals_of([0.5] * 8 + [0.0] + [0.5] * 8, rules="same-side") == {}
    assert short(signals_of([0.5] * 10, rules="same-side")["0"]) == [
        (9, "same-side", "above", 1),
        (10, "same-side", "above", 1),
    ]
    climb = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    assert short(signals_of(climb, rules="steady-climb")["0"]) == [(6, "steady-climb", "above", 1)]
    assert signals_of([0.1, 0.2, 0.3, 0.3, 0.4, 0.5, 0.6], rules="steady-climb") == {}
    fall = [0.9, *climb[::-1]]
    assert short(signals_of(fall, rules="steady-climb")["0"])[0] == (6, "steady-climb", "below", 1)


def test_starts_of_patterns():
    saw = [0.0, -0.2, 0.1, *[(-1) ** k * 0.3 for k in range(14)]]
    (first, *_) = signals_of(saw, rules="zigzag")["0"]
    assert first.point == 16 and first.start == 3  # 0.1 up to 0.3 is no turn
    (pair,) = signals_of([2.5, 0.0, 2.5, 0.0], rules="two-of-three-outer")["0"]
    assert (pair.point, pair.start, pair.size) == (3, 1, pytest.approx(5 / 3))
    hits = signals_of([-0.5, 1.5, 0.2, 1.2, 1.3, 1.4], rules="four-of-five-middle")["0"]
    assert short(hits) == [(6, "four-of-five-middle", "above", 2)]
    (hug, *_) = signals_of([2.0, *[0.2, -0.3] * 8], rules="hugging-center")["0"]
    assert (hug.point, hug.start, hug.side) == (16, 2, "both")
    (avoid,) = signals_of([0.0, *[1.5, -1.5] * 4], rules="avoiding-center")["0"]
    assert (avoid.point, avoid.start, avoid.size) == (9, 2, pytest.approx(0.0))


def test_size_is_the_mean_deviation_since_the_start():
    (signal,) = signals_of([-0.1, *[0.4, 0.6, 0.5] * 3], rules="same-side")["0"]
    assert signal.start == 2 and signal.size == pytest.approx(0.5)
    assert signal.size_sigma == pytest.approx(0.5) and signal.series == "0"


def test_series_do_not_reach_into_one_another():
    assert signals_of([0.5] * 8, [0.5] * 8, rules="all") == {}
    assert signals_of([2.5, 0.0], [2.5, 0.0], rules="all") == {}
    assert signals_of([0.1, 0.2, 0.3], [0.4, 0.5, 0.6], rules="all") == {}


def test_no_rules_no_signals():
    assert signals_of([9.0, 9.0], rules="none") == {}


def test_signals_come_by_point_and_then_by_name():
    hits = short(signals_of([4.0] * 9)["0"])
    assert hits == sorted(hits)
    assert {hit[1] for hit in hits if hit[0] == 9} == {
        "avoiding-center", "beyond-limit", "four-of-five-middle", "same-side", "two-of-three-outer",
    }  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.1, 30), st.floats(-100, 100))
def test_shift_scale_and_mirror(seed, scale, shift):
    z = np.random.default_rng(seed).normal(size=150).round(2)
    plain = signals_of(z).get("0", ())
    frame = pl.DataFrame({"value": z * scale + shift})
    moved = find_signals(
        individuals_table(frame, Setting(center=shift, sigma=scale)), parse_rules("all")
    ).get("", ())
    assert short(moved) == short(plain)
    swap = {"above": "below", "below": "above", "both": "both"}
    mirrored = signals_of(-z).get("0", ())
    assert {(s.point, s.rule, swap[s.side], s.start) for s in mirrored} == set(short(plain))


@pytest.mark.parametrize("item", RUN_LENGTHS, ids=lambda item: "+".join(item["rules"]))
def test_run_lengths_agree_with_an_independent_simulation(item):
    """Mean number of points to a signal, from 20 series that restart after each signal."""
    rules = [Rule(name, DEFAULTS[name]) for name in item["rules"]]
    wanted = 500 if item["estimate"] > 100 else 3000
    runs = _run_lengths(rules, item["shift"], wanted, int(item["estimate"] * 14) + 60)
    error = math.hypot(np.std(runs, ddof=1) / math.sqrt(len(runs)), item["se"])
    assert abs(np.mean(runs) - item["estimate"]) < 4 * error


def _run_lengths(rules, shift, count, longest):
    """First signal of `count` series; `longest` is so long that cutting off there does not matter."""
    rng = np.random.default_rng(20240501 + len(rules))
    first = np.full(count, longest, dtype=float)
    for begin in range(0, count, 100):
        block = min(100, count - begin)
        rows = pl.DataFrame(
            {
                "z": rng.normal(shift, 1, size=block * longest),
                "z_lower": [-3.0] * (block * longest),
                "z_upper": [3.0] * (block * longest),
                "point": np.tile(np.arange(1, longest + 1), block),
            }
        )
        hit = rule_flags(rows, rules).select(pl.any_horizontal(pl.all())).to_series()
        table = hit.to_numpy().reshape(block, longest)
        seen = table.any(axis=1)
        first[begin : begin + block][seen] = table.argmax(axis=1)[seen] + 1
    return first


def test_missing_points_break_runs_and_never_offend():
    rows = pl.DataFrame(
        {
            "z": [0.5] * 8 + [None] + [0.5] * 8,
            "z_lower": [-3.0] * 17,
            "z_upper": [3.0] * 17,
            "point": range(1, 18),
        }
    )
    assert not rule_flags(rows, parse_rules("all")).select(pl.any_horizontal(pl.all())).to_series().any()


@pytest.mark.parametrize(
    "text, names",
    [
        ("none", []),
        ("limit", ["beyond-limit"]),
        ("same-side, beyond-limit,same-side", ["beyond-limit", "same-side(9)"]),
        ("zigzag(10)", ["zigzag(10)"]),
        ("all", sorted(str(Rule(name, length)) for name, length in DEFAULTS.items())),
    ],
)
def test_reading_rule_names(text, names):
    assert [str(rule) for rule in parse_rules(text)] == names


@pytest.mark.parametrize(
    "text", ["", "rule-1", "same-side(1)", "beyond-limit(3)", "same-side(x)", "limit,zigzag", "zigzag(3)"]
)
def test_rule_names_that_are_not_known(text):
    with pytest.raises(StatisticsUsageError, match="rule"):
        parse_rules(text)


def test_flags_of_a_table_do_not_depend_on_where_blocks_are_cut(monkeypatch):
    """Series that straddle the cut keep their patterns: many small blocks give what one block gives."""
    import qc.stats.charts.rule_signals as rule_signals
    import qc.stats.numbers.rules as rules_module
    from qc.stats.charts.measured import individuals_table

    rng = np.random.default_rng(4)
    frame = pl.DataFrame({"series": np.repeat(np.arange(7), 60), "value": rng.normal(0, 1, 420).cumsum()})
    table, rules = individuals_table(frame), parse_rules("all")
    whole = rule_signals.table_flags(table, rules)
    monkeypatch.setattr(rules_module, "BLOCK", 50)
    assert whole.sum().sum_horizontal()[0] > 20
    assert rule_signals.table_flags(table, rules).equals(whole)
