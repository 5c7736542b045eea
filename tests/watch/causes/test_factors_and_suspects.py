from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Gauge
from qc.watch import Factor, FactorLevels, FactorTable, Points, Question, judge
from qc.watch.causes.suspects import find_suspects

RNG_SEED = 11


def shifted(n=40, at=28, size=4.0):
    values = np.random.default_rng(RNG_SEED).standard_normal(n)
    values[at:] += size
    return values


def judged(plan, series, factors):
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 1e-5, date(2026, 6, 1))
    return judge(question, Points(series, centered=False), factors)


def by_serial(series, levels):
    return {p.serial: level for p, level in zip(series, levels, strict=True)}


@pytest.fixture
def series(points):
    return points(shifted())


def test_the_tool_changed_at_the_start_is_the_first_suspect(small_plan, series):
    mandrel = Factor("tool", "mandrel")
    people = Factor("person", "tuning")
    factors = FactorLevels(
        {
            mandrel: by_serial(series, ["M-6"] * 28 + ["M-7"] * 12),
            people: by_serial(series, ["AB", "CD"] * 20),
        },
        {mandrel: 0, people: 2},
    )
    signal = judged(small_plan, series, factors).current
    assert signal.start == 29
    assert [s.name for s in signal.suspects] == ["M-7"]
    assert "fitted 20 Feb" in signal.suspects[0].sentence
    assert "person" in signal.unchanged and "tool" not in signal.unchanged
    assert "Coincides with" in signal.because


def test_people_who_take_turns_are_no_suspects(small_plan, series):
    people = Factor("person", "tuning")
    factors = FactorLevels({people: by_serial(series, ["AB", "CD"] * 20)}, {people: 2})
    signal = judged(small_plan, series, factors).current
    assert signal.suspects == ()
    assert signal.because.startswith("Nothing that is recorded changed")


def test_a_change_elsewhere_is_no_suspect(small_plan, series):
    die = Factor("tool", "die")
    factors = FactorLevels({die: by_serial(series, ["D-1"] * 10 + ["D-2"] * 30)}, {die: 0})
    assert judged(small_plan, series, factors).current.suspects == ()


def test_a_later_stage_cannot_be_a_cause(small_plan, series):
    booth = Factor("tool", "booth")
    factors = FactorLevels({booth: by_serial(series, ["B-1"] * 28 + ["B-2"] * 12)}, {booth: 3})
    assert judged(small_plan, series, factors).current.suspects == ()


def test_a_rare_change_outranks_a_frequent_one(small_plan, series):
    rare, frequent = Factor("tool", "mandrel"), Factor("batch", "wire")
    batches = [f"W-{n // 3}" for n in range(28)] + ["W-99"] * 12
    factors = FactorLevels(
        {
            frequent: by_serial(series, batches),
            rare: by_serial(series, ["M-6"] * 28 + ["M-7"] * 12),
        },
        {rare: 0, frequent: 0},
    )
    assert [s.name for s in judged(small_plan, series, factors).current.suspects][0] == "M-7"


def test_missed_morning_checks_are_named(small_plan, points, series, readings, events):
    gauge = Gauge(
        id="BG-1", name="bore gauge", gauge_class="bore gauge", resolution=0.001, unit="mm", daily_check=True
    )
    plan = small_plan.model_copy(update={"gauges": (gauge,)})
    rows = [
        {"serial": p.serial, "stage": "slide", "characteristic": "outer_bore", "gauge": "BG-1", "day": p.day}
        for p in series
    ]
    checks = [{"kind": "gauge-check", "subject": "BG-1", "day": p.day, "value": 0.0} for p in series[:28]]
    factors = FactorTable(readings(rows), plan).factors(events(checks))
    stage = plan.stage("tuning")
    question = Question(plan, stage, stage.characteristics[0], "tenor", 1e-5, date(2026, 6, 1))
    signal = judge(question, Points(series, centered=False), factors).current
    assert (signal.suspects[0].kind, signal.suspects[0].name) == ("gauge-check", "BG-1")
    assert "no morning check of bore gauge BG-1 since" in signal.suspects[0].sentence


def test_factors_follow_a_part_into_its_instrument(small_plan, readings, events):
    rows = [
        {"serial": "T-9", "stage": "draw", "characteristic": "od", "tool": "D-1", "batch": "AN-3"},
        {"serial": "S-1", "stage": "slide", "characteristic": "force", "person": "AB"},
    ]
    parts = [
        {"kind": "part", "serial": "S-1", "subject": "T-9", "code": "inner-upper", "day": date(2026, 1, 9)},
        {
            "kind": "part",
            "serial": "S-1",
            "subject": "L-4",
            "code": "leadpipe",
            "batch": "LP-1",
            "day": date(2026, 1, 9),
        },
    ]
    factors = FactorTable(readings(rows), small_plan).factors(events(parts))
    levels = {(f.kind, f.source): factors.levels[f].get("S-1") for f in factors.levels}
    assert levels["batch", "leadpipe"] == "LP-1"
    assert levels["tool", "draw of inner-upper"] == "D-1"
    assert levels["batch", "draw of inner-upper"] == "AN-3"
    assert levels["person", "slide"] == "AB"


def test_no_series_of_coin_tosses_makes_many_suspects(small_plan, points):
    """200 simulated shifts (seed 12) with an unrelated factor changing about every ninth piece.

    A window of the start's set, one or two pieces wide, holds such a change by chance in one or two cases of
    nine; a factor that changes more seldom is blamed more seldom still.
    """
    rng = np.random.default_rng(12)
    batch = Factor("batch", "wire")
    blamed = signals = 0
    for _ in range(200):
        values = rng.standard_normal(40)
        values[28:] += 4.0
        series = points(values)
        levels = np.cumsum(rng.random(40) < 1 / 9)
        factors = FactorLevels({batch: by_serial(series, [f"W-{n}" for n in levels])}, {batch: 0})
        current = judged(small_plan, series, factors).current
        if current is not None and current.start == 29:
            signals += 1
            blamed += bool(current.suspects)
    assert signals > 150
    assert blamed / signals < 0.3


def asked_of(small_plan, series, factors, **told):
    """Suspects of a signal whose start and set are given."""
    signal = judged(small_plan, series, factors).current
    plain = {"kind": "shift", "ended": None} | told
    return find_suspects(series, replace(signal, **plain), factors, small_plan, 2)[0]


def test_of_two_like_changes_the_one_nearer_the_start_comes_first(small_plan, series):
    """Both change three times in all; the set of the start holds one change of each."""
    near, far = Factor("batch", "leadpipe"), Factor("batch", "wire")
    factors = FactorLevels(
        {
            far: by_serial(series, ["W-1"] * 6 + ["W-2"] * 9 + ["W-3"] * 9 + ["W-4"] * 16),
            near: by_serial(series, ["L-1"] * 6 + ["L-2"] * 9 + ["L-3"] * 14 + ["L-4"] * 11),
        },
        {near: 0, far: 0},
    )
    found = asked_of(small_plan, series, factors, start=30, start_low=24, start_high=31)
    assert [s.name for s in found] == ["L-4", "W-4"]
    found = asked_of(small_plan, series, factors, start=25, start_low=24, start_high=31)
    assert [s.name for s in found] == ["W-4", "L-4"]


def test_one_piece_apart_is_explained_by_that_piece_alone(small_plan, points):
    values = np.random.default_rng(RNG_SEED).standard_normal(40)
    values[29] += 9.0
    series = points(values)
    tool, batch = Factor("tool", "mandrel"), Factor("batch", "wire")
    factors = FactorLevels(
        {
            tool: by_serial(series, ["M-6"] * 29 + ["M-9"] + ["M-6"] * 10),
            batch: by_serial(series, ["W-1"] * 12 + ["W-2"] * 28),
        },
        {tool: 0, batch: 0},
    )
    single = next(s for s in judged(small_plan, series, factors).signals if s.kind == "single")
    assert (single.start, single.start_low, single.start_high) == (30, 30, 30)
    assert [s.name for s in single.suspects] == ["M-9"]
