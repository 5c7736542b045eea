import numpy as np
import pytest

from qc.watch.sizing import Finding, begin_of, measured_anew


def found(point, start, kind="shift", ended=None):
    return Finding(kind, "above", point, start, start, start, 1.0, 0.5, 1.5, 1.0, ended)


def steps(*parts, seed=3):
    rng = np.random.default_rng(seed)
    return np.concatenate([level + rng.standard_normal(n) for n, level in parts])


def test_pieces_since_place_a_start_that_was_told_early():
    values = steps((30, 0.0), (20, 4.0))
    told = found(33, 27)
    now = measured_anew(told, [told], values, "normal")
    assert (now.start, now.point, now.side) == (31, 33, "above")
    assert now.start_low <= 31 <= now.start_high
    assert now.size == pytest.approx(values[30:].mean() - values[:30].mean())
    assert now.size_low < 4.0 < now.size_high


def test_too_few_pieces_since_leave_the_start():
    values = steps((30, 0.0), (5, 4.0))
    told = found(33, 32)
    assert measured_anew(told, [told], values, "normal").start == 32


def test_a_signal_on_the_eve_of_a_change_is_told_with_the_side_of_the_change():
    values = steps((30, 0.0), (15, -6.0))
    told = found(30, 28)
    now = measured_anew(told, [told], values, "normal")
    assert (now.start, now.side) == (31, "below") and now.size < 0


def test_a_change_long_after_the_signal_is_another_one():
    values = steps((30, 0.0), (10, 1.0), (15, 9.0))
    told = found(31, 29)
    assert measured_anew(told, [told], values, "normal").start == 29


def test_a_climb_that_stood_still_since_was_a_step():
    values = steps((30, 0.0), (15, 6.0))
    told = found(32, 28, "trend")
    assert (measured_anew(told, [told], values, "normal").kind, told.start) == ("shift", 28)
    climbing = steps((30, 0.0), (15, 0.0)) + np.concatenate([np.zeros(30), 0.8 * np.arange(1, 16)])
    assert measured_anew(told, [told], climbing, "normal") == told


def test_ranks_place_nothing_anew():
    values = steps((30, 0.0), (20, 4.0))
    told = found(33, 27)
    assert measured_anew(told, [told], values, "any").start == 27


def test_other_kinds_come_back_as_they_are():
    values = steps((30, 0.0), (20, 4.0))
    for kind in ("single", "spread", "count"):
        told = found(33, 31, kind)
        assert measured_anew(told, [told], values, "normal") is told


def test_the_old_state_begins_with_the_last_change_that_lasts():
    first, over, single = found(10, 8), found(20, 18, ended=25), found(30, 30, "single")
    assert begin_of([first, over, single], found(40, 38)) == 8
    assert begin_of([], found(40, 38)) == 1
