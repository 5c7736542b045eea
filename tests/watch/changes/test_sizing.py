from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from qc.watch.changes import FoundChange
from qc.watch.changes.sizing import all_measured_anew, begin_of, measured_anew


def found(point, start, kind="shift", ended=None):
    return FoundChange(kind, "above", point, start, start, start, 1.0, 0.5, 1.5, 1.0, ended)


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


def climbing(n=30, height=12.0):
    return steps((30, 0.0), (n, 0.0)) + np.concatenate([np.zeros(30), np.linspace(height / n, height, n)])


def test_a_climb_stays_one_and_is_measured_up_to_the_newest_piece():
    told = found(36, 33, "trend")
    now = measured_anew(told, [told], climbing(), "normal")
    assert now.kind == "trend" and now.start_low <= 31 <= now.start_high
    assert now.size_low < 12.0 < now.size_high


def test_a_climb_of_logarithms_is_told_in_the_unit_of_the_values():
    values = np.exp(0.05 * climbing() + 2)
    told = found(36, 33, "trend")
    now = measured_anew(told, [told], values, "positive")
    assert now.kind == "trend"
    assert now.size_low < np.exp(2 + 0.05 * 12) - np.exp(2) < now.size_high


def test_a_step_that_went_on_climbing_was_a_climb():
    told = found(36, 34)
    now = measured_anew(told, [told], climbing(), "normal")
    assert now.kind == "trend" and now.start_low <= 31 <= now.start_high


def test_steps_that_lead_on_one_way_are_one_climb_and_a_stair_stays_a_stair():
    first, second = found(38, 36), found(48, 45)
    told = all_measured_anew([first, second], climbing(), "normal")
    assert told[0].kind == "trend" and told[0].start_low <= 31 <= told[0].start_high
    stair = steps((30, 0.0), (15, 4.0), (15, 8.0))
    first, second = found(32, 31), found(48, 46)
    assert [s.kind for s in all_measured_anew([first, second], stair, "normal")] == ["shift", "shift"]


def test_while_a_step_and_a_climb_fit_about_as_well_the_set_allows_for_both():
    rng = np.random.default_rng(9)
    wide, sharp = [], []
    for _ in range(60):
        values = rng.standard_normal(70)
        values[50:] += 0.15 * np.arange(1, 21)
        told = found(65, 62)
        wide.append(measured_anew(told, [told], values, "normal").start_low <= 51)
        values = rng.standard_normal(70)
        values[50:] += 3
        told = found(53, 51)
        now = measured_anew(told, [told], values, "normal")
        sharp.append(now.start_high - now.start_low <= 4)
    assert np.mean(wide) > 0.6, "the foot of a climb belongs to the set"
    assert np.mean(sharp) > 0.85, "a clear step is not blurred by it"


def wider(seed=4, n=25):
    return np.random.default_rng(seed).standard_normal(40 + n) * np.repeat([1.0, 3.0], [40, n])


@pytest.mark.parametrize("kind, ended", [("shift", None), ("shift", 46), ("single", None), ("trend", None)])
def test_a_level_that_is_back_with_more_scatter_is_told_as_scatter(kind, ended):
    told = found(45, 45 if kind == "single" else 44, kind, ended)
    now = measured_anew(told, [told], wider(), "normal")
    assert (now.kind, now.side, now.point, now.ended) == ("spread", "both", 45, None)
    assert now.start_low <= 41 <= now.start_high
    assert now.size_low < 2.0 < now.size_high


def test_scatter_of_logarithms_is_told_in_the_unit_of_the_values():
    values = np.exp(0.1 * wider() + 2)
    told = found(45, 44)
    now = measured_anew(told, [told], values, "positive")
    assert now.kind == "spread"
    assert now.size == pytest.approx(
        values[now.start - 1 :].std(ddof=1) - values[: now.start - 1].std(ddof=1), rel=1e-9
    )


def test_a_spread_that_was_a_step_or_one_wild_piece_is_told_so():
    values = steps((30, 0.0), (20, 4.0))
    told = found(33, 29, "spread")
    assert (measured_anew(told, [told], values, "normal").kind) == "shift"
    wild = steps((40, 0.0))
    wild[12] = 6.0
    told = found(15, 12, "spread")
    now = measured_anew(told, [told], wild, "normal")
    assert (now.kind, now.side, now.start, now.start_low, now.start_high) == ("single", "above", 13, 13, 13)
    assert now.size_low < 6.0 < now.size_high


def test_an_excursion_that_is_over_is_not_told_as_scatter():
    rng = np.random.default_rng(12)
    kinds = []
    for _ in range(40):
        values = rng.standard_normal(60)
        values[30:38] += 3
        told = found(34, 31, ended=rng.choice([None, 39]))
        kinds.append(measured_anew(told, [told], values, "normal").kind)
    assert kinds.count("spread") <= 1


def test_steady_shifts_and_singles_are_hardly_ever_told_as_scatter():
    rng = np.random.default_rng(13)
    wrong = []
    for _ in range(150):
        values = rng.standard_normal(60)
        values[40:] += 2
        told = found(45, 41)
        wrong.append(measured_anew(told, [told], values, "normal").kind == "spread")
        values = rng.standard_normal(60)
        values[40] += 6
        told = found(41, 41, "single")
        wrong.append(measured_anew(told, [told], values, "normal").kind != "single")
    assert np.mean(wrong) < 0.02


def test_first_pieces_of_a_change_that_were_set_aside_are_put_back():
    values = steps((40, 0.0), (12, 5.0))
    values[41] = values[42] = 2.8  # two between the levels delay it
    singles = [found(41, 41, "single"), found(44, 44, "single")]
    told = found(46, 45)
    now = all_measured_anew([*singles, told], values, "normal")
    assert [s.kind for s in now] == ["single", "single", "shift"]
    assert now[2].start == 41
    apart = steps((40, 0.0), (12, 5.0))
    apart[20] = 9.0
    singles, told = [found(21, 21, "single")], found(43, 41)
    assert all_measured_anew([*singles, told], apart, "normal")[1].start == 41


def test_equal_readings_of_a_coarse_gauge_are_no_spread():
    values = np.concatenate([np.zeros(12), np.tile([0.0, 0.0, 1.0], 7), np.tile([3.0, 2.0, 3.0], 5)])
    told = found(35, 33)
    now = measured_anew(told, [told], values, "normal")
    assert (now.kind, now.start) == ("shift", 34)
    assert np.isfinite([now.size, now.size_low, now.size_high]).all()


def test_ranks_place_nothing_anew():
    values = steps((30, 0.0), (20, 4.0))
    told = found(33, 27)
    assert measured_anew(told, [told], values, "any").start == 27


def test_a_count_comes_back_as_it_is():
    told = found(33, 31, "count")
    assert measured_anew(told, [told], steps((30, 0.0), (20, 4.0)), "normal") is told


def test_a_clear_single_is_measured_against_the_rest_of_its_state():
    values = steps((40, 0.0))
    values[30] = 7.0
    told = replace(found(31, 31, "single"), start_low=2)
    alone = measured_anew(told, [told], values, "normal")
    rest = np.delete(values, 30)
    assert (alone.kind, alone.start, alone.start_low, alone.start_high) == ("single", 31, 31, 31)
    assert alone.size == pytest.approx(7.0 - rest.mean())
    # prediction interval of one more piece, by scipy's t
    half = stats.t(38).ppf(0.975) * rest.std(ddof=1) * (1 + 1 / 39) ** 0.5
    assert (alone.size_low, alone.size_high) == pytest.approx((alone.size - half, alone.size + half))


def test_the_old_state_begins_with_the_last_change_that_lasts():
    first, over, single = found(10, 8), found(20, 18, ended=25), found(30, 30, "single")
    assert begin_of([first, over, single], found(40, 38)) == 8
    assert begin_of([], found(40, 38)) == 1
