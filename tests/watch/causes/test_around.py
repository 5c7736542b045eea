"""Where a suspect may begin beside the set of the start, and the scale on which its pieces are weighed."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from qc.watch import FactorLevels, Points, Question, judge
from qc.watch.causes.suspects import find_suspects

NOTHING = FactorLevels()


def shifted(n=60, at=40, size=2.0, seed=1):
    values = np.random.default_rng(seed).standard_normal(n)
    values[at:] += size
    return values


@pytest.fixture
def named(small_plan, points):
    """Return a function that names the suspects of a signal whose set of the start is given."""
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 1e-4, date(2026, 6, 1))
    found = judge(question, Points(points(shifted(size=3.0, seed=11)), centered=False), NOTHING).current

    def ask(values, circumstances, **told):
        signal = replace(found, **({"kind": "shift", "ended": None, "pieces": 20} | told))
        suspects = find_suspects(points(values, **circumstances), signal, NOTHING, small_plan, 2).suspects
        return [s.name for s in suspects]

    return ask


def test_a_tool_fitted_a_little_before_the_set_is_named_where_its_pieces_are_off(named):
    """Three pieces a day each before the set, which lie between the levels: it may have begun with them."""
    tools = {"tool": ["T-6"] * 37 + ["T-7"] * 23}
    values = shifted()
    values[37:40] = 1.5
    assert named(values, tools, start=41, start_low=41, start_high=42) == ["T-7"]


def test_a_tool_fitted_a_little_before_a_clear_start_is_innocent(named):
    """It may begin there as well, and the readings say that the change did not."""
    tools = {"tool": ["T-6"] * 37 + ["T-7"] * 23}
    assert named(shifted(), tools, start=41, start_low=41, start_high=42) == []
    assert named(shifted(), {"tool": ["T-6"] * 40 + ["T-7"] * 20}, start=41, start_low=41, start_high=42)


def test_what_began_more_than_a_few_days_before_the_set_is_not_looked_at(named):
    """The same pieces between the levels, a month apart: only the last of them is beside the set."""
    tools = {"tool": ["T-6"] * 37 + ["T-7"] * 23}
    days = {"day": [date(2021, 1, 4) + timedelta(days=30 * n) for n in range(60)]}
    values = shifted()
    values[37:40] = 1.5
    assert named(values, tools | days, start=41, start_low=41, start_high=42) == []


def test_the_next_piece_after_a_set_of_one_may_be_the_first_weeks_later(named):
    """A few pieces a month: the last one read with the old gauge was off by chance."""
    gauges = {"gauge": ["G-1"] * 41 + ["G-2"] * 19}
    days = {"day": [date(2025, 1, 6) + timedelta(days=7 * n) for n in range(60)]}
    values = shifted(at=41, size=3.0)
    values[40] = 1.5
    assert named(values, gauges | days, start=41, start_low=41, start_high=41) == ["G-2"]


def test_counts_are_weighed_by_their_square_roots(named):
    """A batch of eight with more than twice the defects: large counts scatter more, and are no wild ones."""
    rng = np.random.default_rng(3)
    counts = rng.poisson(2.3, 80).astype(float)
    counts[56:64] = rng.poisson(6.0, 8)
    batches = {"batch": [f"L-{n // 8}" for n in range(80)]}
    told = {"kind": "count", "side": "above", "start": 57, "start_low": 57, "start_high": 59}
    assert named(counts, batches, **told, ended=65, pieces=8) == ["L-7"]


def test_what_is_over_was_no_climb_and_its_start_is_not_vague(named):
    """While it lasts it may be a climb that began nearly anywhere; six pieces that are over began as one."""
    values = shifted(90, 60, 3.0, seed=9)
    values[66:] -= 3.0
    batches = {"batch": [f"W-{n // 6}" for n in range(90)]}
    told = {"start": 61, "start_low": 2, "start_high": 65, "pieces": 6}
    assert named(values[:66], {"batch": batches["batch"][:66]}, **told) == []
    assert named(values, batches, **told, ended=67) == ["W-10"]


def hand(n, at, seed, size=2.0):
    """Pieces of a hand who is new at one of them and makes two of three since, alone off."""
    rng = np.random.default_rng(seed)
    people = ["KA" if i < at or i % 3 == 2 else "NB" for i in range(n)]
    return rng.standard_normal(n) + size * (np.array(people) == "NB"), {"person": people}


def test_a_new_hand_whose_pieces_alone_are_off_is_named_though_the_start_is_vague(named):
    """The set spans most of the series; the odds are thousands to one, whatever the start."""
    values, people = hand(90, 50, seed=41)
    told = {"start": 51, "start_low": 10, "start_high": 62, "pieces": 40}
    assert named(values, people, **told) == ["NB"]
    many = {"start": 401, "start_low": 60, "start_high": 430}
    values, people = hand(600, 400, seed=41)
    assert named(values, people, **many) == []  # too many to weigh


def test_of_a_young_change_whose_start_is_vague_nobody_is_named(named):
    """Six pieces of a new hand, four standard deviations off."""
    values, people = hand(58, 50, seed=42, size=4.0)
    told = {"start": 51, "start_low": 2, "start_high": 52}
    assert named(values, people, **told, pieces=6) == []
    assert named(values, people, **(told | {"start_low": 49}), pieces=6) == ["NB"]


def test_where_the_start_is_vague_short_odds_name_nobody(named):
    """A tool fitted where the level changed by a little, and the set spans most of the series."""
    tools = {"tool": ["T-6"] * 40 + ["T-7"] * 20}
    values = shifted(size=1.5, seed=22)
    assert named(values, tools, start=41, start_low=38, start_high=42) == ["T-7"]
    assert named(values, tools, start=41, start_low=5, start_high=45) == []


def test_what_is_over_and_still_vague_has_no_suspect(named):
    """Hardly any step: it may have begun on most of the pieces."""
    values = shifted(90, 60, 0.3, seed=9)
    tools = {"tool": ["T-6"] * 60 + ["T-7"] * 30}
    told = {"start": 61, "start_low": 2, "start_high": 80, "pieces": 25}
    assert named(values, tools, **told, ended=86) == []


@pytest.mark.parametrize(("used", "suspects"), [(2, ["K-2"]), (40, [])])
def test_a_batch_that_is_used_on_long_after_explains_no_piece_or_two(named, used, suspects):
    """Two pieces stand far apart, and those of the batch after them a little: no batch is put right."""
    values = np.random.default_rng(21).standard_normal(90) * 0.3
    values[40:42] += 2.0
    values[42 : 40 + used] += 0.7
    batches = {"batch": ["K-1"] * 40 + ["K-2"] * used + ["K-3"] * (50 - used)}
    told = {"start": 41, "start_low": 41, "start_high": 41, "pieces": 2}
    assert named(values, batches, **told, ended=43) == suspects


def test_what_goes_on_explains_nothing_that_was_over_at_once(named):
    """One piece far out among forty of a batch that lie somewhat high; a batch of that piece explains it."""
    values = shifted(90, 50, 1.2, seed=9)
    values[52] += 6.0
    told = {"start": 53, "start_low": 49, "start_high": 53, "pieces": 1, "kind": "shift", "ended": 54}
    assert named(values, {"batch": ["W-1"] * 50 + ["W-2"] * 40}, **told) == []
    assert named(values, {"batch": ["W-1"] * 52 + ["W-2"] + ["W-1"] * 37}, **told) == ["W-2"]
