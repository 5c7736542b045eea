"""What was told as over stays over, whatever later pieces change; what is clearly back is told soon."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.stats import fit_kinds
from qc.watch import SignalResult
from qc.watch.changes import LevelCourse
from qc.watch.changes.judged import JudgedSeries
from qc.watch.changes.returns import back_from
from qc.watch.changes.sizing import fits_of
from qc.watch.results import Point

PLAIN = Characteristic(id="x", name="X", unit="mm", shape="normal")
RARE = 1e-5
DAY = date(2026, 3, 2)


def series(values, over=()):
    points = tuple(
        Point(n, f"S{n}", DAY + timedelta(days=n), "", float(v), float(v)) for n, v in enumerate(values, 1)
    )
    return LevelCourse(PLAIN, points, over=tuple(over))


def told(course, signal):
    """Tell a finding as a verdict does."""
    raised, first = course.points[signal.point - 1], course.points[signal.start - 1]
    return SignalResult(
        *(signal.kind, signal.side, signal.point, raised.serial, raised.day),
        *(signal.start, first.serial, first.day, signal.start_low, signal.start_high),
        *(signal.size, signal.size_low, signal.size_high, signal.size_sigma, "mm", RARE, 1),
        ended=signal.ended,
        over_since=course.over_since(signal),
    )


@pytest.fixture
def values():
    """Thirty pieces, eight that are four spreads higher, and five as before."""
    draw = np.random.default_rng(7).standard_normal(90)
    draw[30:38] += 5
    return draw


def passed(values):
    course = series(values[:43])
    (signal,) = course.changes(RARE).signals
    return course, signal


def test_five_pieces_that_are_clearly_back_end_a_change(values):
    course, signal = passed(values)
    assert (signal.start, signal.ended) == (31, 39) and course.over_since(signal) == "S39"
    assert series(values[:38]).changes(RARE).signals[0].ended is None


def test_a_later_change_is_another_one(values):
    course, signal = passed(values)
    values[60:] -= 5
    later = series(values, [told(course, signal)]).changes(RARE).signals
    assert [(s.start, s.ended, s.side) for s in later] == [(31, 39, "above"), (61, None, "below")]
    assert (later[0].size, later[0].size_low, later[0].size_high) == (
        signal.size,
        signal.size_low,
        signal.size_high,
    )
    before = np.delete(values[:60], np.s_[30:38])
    assert later[1].size == pytest.approx(values[60:].mean() - before.mean())


def test_it_stays_over_where_the_pieces_since_are_not_quite_as_before(values):
    course, signal = passed(values)
    values[38:] += 1.9  # further off than a return may be, nearer to the state before than to the change
    now = series(values[:55], [told(course, signal)]).changes(RARE).signals
    assert [(s.start, s.ended) for s in now][0] == (31, 39)
    assert not any(s.side == "below" for s in now), "that it came back is no change of its own"


@pytest.mark.parametrize("what", ["size", "end"])
def test_a_correction_takes_the_word_back(values, what):
    course, signal = passed(values)
    if what == "size":
        values[30:38] += 3
    else:
        values[38:43] += 5
    now = series(values[:60], [told(course, signal)]).changes(RARE).signals[0]
    assert (now.size, now.ended) != (signal.size, signal.ended)


def test_what_is_left_of_it_beyond_doubt_takes_the_word_back(values):
    course, signal = passed(values)
    values[43:] += 1.6  # a third of the change: too little to be told at once
    over = [told(course, signal)]
    ends = [series(values[:end], over).changes(RARE).signals[0].ended for end in range(44, 90)]
    assert ends[0] == 39 and ends[-1] is None
    turns = sum(one != other for one, other in pairwise(ends))
    assert turns <= 2, "not to and fro from one evening to the next"


def test_a_finding_of_another_piece_says_nothing(values):
    course, signal = passed(values)
    other = replace(told(course, signal), raised_serial="S20")
    values[60:] -= 5
    assert series(values, [other]).changes(RARE) == series(values).changes(RARE), (
        "it goes by the piece at which it was raised"
    )


def test_back_is_where_the_fewest_squares_are():
    old, away = np.tile([-1.0, 1.0], 5), np.full(4, 9.0) + np.array([1.0, -1.0, 1.0, -1.0])
    assert back_from(old, np.concatenate([away, [1.0, -1.0, 1.0, -1.0]]), 3) == 4
    assert back_from(old, np.concatenate([away, [1.0, -1.0, 1.0]]), 4) is None, "three are too few"
    assert back_from(old, np.concatenate([away, [5.0, 3.0, 5.0, 3.0]]), 3) is None, "that is half way"
    assert back_from(old[:3], np.concatenate([away, [1.0, -1.0, 1.0, -1.0]]), 3) is None


def test_a_step_whose_interval_holds_nought_is_none_that_lasts():
    draw = np.random.default_rng(3)
    told_so = 0
    for _ in range(40):
        values = draw.standard_normal(90)
        values[30:36] += 4
        for signal in series(values).changes(0.004).signals:
            lasts = signal.kind == "shift" and signal.ended is None and signal.point <= 80
            assert not (lasts and signal.size_low <= 0 <= signal.size_high)
            told_so += signal.ended is not None
    assert told_so >= 20


def test_pieces_of_a_change_that_is_over_cost_no_kind_anything():
    """Seven pieces were away for a while and came back; a step of 4.5 sigma later is told as a step."""
    rng = np.random.default_rng(51)
    parts = (0, 1, 100), (-1.5, 0.3, 7), (0, 1, 87), (4.5, 0.4, 10)
    values = np.concatenate([rng.normal(*part) for part in parts])
    judged, passed = JudgedSeries(values, "normal"), range(101, 108)
    whole = judged.between(1, values.size + 1, (), passed)
    fits = fits_of(whole, whole.apart)
    assert max(fits.values(), key=lambda fit: fit.support).kind == "shift" and fits["shift"].start == 195
    # as pieces that stand apart each would have its price, and less spread would win against all of them
    alone = judged.between(1, values.size + 1, passed)
    assert fits_of(alone, alone.apart)["shift"].support < fits["shift"].support - 30
    without = fit_kinds(np.delete(values, np.arange(100, 107)))
    assert {kind: fit.support for kind, fit in fits.items()} == {k: fit.support for k, fit in without.items()}
