from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from qc.stats import Noise
from qc.watch.changes import FoundChange
from qc.watch.changes.joining import all_measured_anew
from qc.watch.changes.judged import JudgedSeries
from qc.watch.changes.sizing import begin_of, measured_anew


def found(point, start, kind="shift", ended=None):
    return FoundChange(kind, "above", point, start, start, start, 1.0, 0.5, 1.5, 1.0, ended)


def steps(rng, *parts):
    return np.concatenate([level + rng.standard_normal(n) for n, level in parts])


DRAWS = 300


def holds_start(now, start):
    return now.start_low <= start <= now.start_high


def holds_size(now, size):
    return now.size_low < size < now.size_high


@pytest.mark.slow
def test_pieces_since_place_a_start_that_was_told_early(rng, at_least):
    told, starts, sizes, near = found(33, 27), [], [], 0
    for _ in range(DRAWS):
        values = steps(rng, (30, 0.0), (20, 4.0))
        now = measured_anew(told, [told], JudgedSeries(values, "normal"))
        assert (now.point, now.side) == (33, "above")
        if now.kind == "shift":
            old = now.start - 1
            assert now.size == pytest.approx(values[old:].mean() - values[:old].mean())
            near += abs(now.start - 31) <= 1
        starts.append(holds_start(now, 31))
        sizes.append(holds_size(now, 4.0))
    assert at_least(0.90, starts) and at_least(0.95, sizes)
    assert near > 0.98 * DRAWS, "four standard deviations leave little doubt of the place"


def test_too_few_pieces_since_leave_the_start(rng):
    values = steps(rng, (30, 0.0), (5, 4.0))
    told = found(33, 32)
    assert measured_anew(told, [told], JudgedSeries(values, "normal")).start == 32


def test_a_signal_on_the_eve_of_a_change_is_told_with_the_side_of_the_change(rng):
    values = steps(rng, (30, 0.0), (15, -9.0))
    told = found(30, 28)
    now = measured_anew(told, [told], JudgedSeries(values, "normal"))
    assert (now.start, now.side) == (31, "below") and now.size < 0


def test_a_change_long_after_the_signal_is_another_one(rng):
    values = steps(rng, (30, 0.0), (10, 1.0), (15, 9.0))
    told = found(31, 29)
    assert measured_anew(told, [told], JudgedSeries(values, "normal")).start == 29


def test_a_climb_that_stood_still_since_was_a_step(rng):
    values = steps(rng, (30, 0.0), (15, 6.0))
    told = found(32, 28, "trend")
    assert (measured_anew(told, [told], JudgedSeries(values, "normal")).kind, told.start) == ("shift", 28)


def climbing(rng, n=30, height=12.0):
    ramp = np.linspace(height / n, height, n)
    return steps(rng, (30, 0.0), (n, 0.0)) + np.concatenate([np.zeros(30), ramp])


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["normal", "positive"])
def test_a_climb_stays_one_and_is_measured_up_to_the_newest_piece_in_the_unit_of_the_values(
    shape, rng, at_least
):
    told, starts, sizes = found(36, 33, "trend"), [], []
    top = 12.0 if shape == "normal" else np.exp(2 + 0.05 * 12) - np.exp(2)
    for _ in range(DRAWS):
        values = climbing(rng)
        values = values if shape == "normal" else np.exp(0.05 * values + 2)
        now = measured_anew(told, [told], JudgedSeries(values, shape))
        assert now.kind == "trend"
        starts.append(holds_start(now, 31))
        sizes.append(holds_size(now, top))
    assert at_least(0.90, starts) and at_least(0.95, sizes)


@pytest.mark.slow
def test_a_step_that_went_on_climbing_was_a_climb(rng, at_least):
    told, starts = found(36, 34), []
    for _ in range(DRAWS):
        now = measured_anew(told, [told], JudgedSeries(climbing(rng), "normal"))
        assert now.kind == "trend"
        starts.append(holds_start(now, 31))
    assert at_least(0.90, starts)


@pytest.mark.slow
def test_steps_that_lead_on_one_way_are_one_climb(rng, at_least):
    first, second, starts = found(38, 36), found(48, 45), []
    for _ in range(DRAWS):
        told = all_measured_anew([first, second], JudgedSeries(climbing(rng), "normal"))
        assert [s.kind for s in told] == ["trend"] and told[0].point == first.point
        starts.append(holds_start(told[0], 31))
    assert at_least(0.90, starts)


def test_a_stair_stays_a_stair(rng):
    stair = steps(rng, (30, 0.0), (15, 6.0), (15, 12.0))
    first, second = found(32, 31), found(48, 46)
    assert [s.kind for s in all_measured_anew([first, second], JudgedSeries(stair, "normal"))] == [
        "shift",
        "shift",
    ]


@pytest.mark.slow
def test_while_a_step_and_a_climb_fit_about_as_well_the_set_allows_for_both(rng):
    wide, sharp = [], []
    for _ in range(DRAWS):
        values = rng.standard_normal(70)
        values[50:] += 0.15 * np.arange(1, 21)
        told = found(65, 62)
        wide.append(measured_anew(told, [told], JudgedSeries(values, "normal")).start_low <= 51)
        values = rng.standard_normal(70)
        values[50:] += 3
        told = found(53, 51)
        now = measured_anew(told, [told], JudgedSeries(values, "normal"))
        sharp.append(now.start_high - now.start_low <= 4)
    assert np.mean(wide) > 0.6, "the foot of a climb belongs to the set"
    assert np.mean(sharp) > 0.85, "a clear step is not blurred by it"


def wider(rng, n=25):
    return rng.standard_normal(40 + n) * np.repeat([1.0, 3.0], [40, n])


@pytest.mark.slow
@pytest.mark.parametrize("kind, ended", [("shift", None), ("shift", 46), ("single", None), ("trend", None)])
def test_a_level_that_is_back_with_more_scatter_is_told_as_scatter(kind, ended, rng, at_least):
    told, starts, sizes = found(45, 45 if kind == "single" else 44, kind, ended), [], []
    for _ in range(DRAWS):
        now = measured_anew(told, [told], JudgedSeries(wider(rng), "normal"))
        if now.kind == "spread":
            assert (now.side, now.point, now.ended) == ("both", 45, None)
            starts.append(holds_start(now, 41))
            sizes.append(holds_size(now, 2.0))
    assert len(sizes) > 0.88 * DRAWS
    assert at_least(0.90, starts) and at_least(0.95, sizes)


def test_scatter_of_logarithms_is_told_in_the_unit_of_the_values(rng):
    told, spreads = found(45, 44), 0
    for _ in range(20):
        values = np.exp(0.1 * wider(rng) + 2)
        now = measured_anew(told, [told], JudgedSeries(values, "positive"))
        if now.kind == "spread":
            spreads += 1
            after, before = values[now.start - 1 :].std(ddof=1), values[: now.start - 1].std(ddof=1)
            assert now.size == pytest.approx(after - before, rel=1e-9)
    assert spreads >= 15


def test_a_spread_that_was_a_step_or_one_wild_piece_is_told_so(rng):
    values = steps(rng, (30, 0.0), (20, 6.0))
    told = found(33, 29, "spread")
    assert (measured_anew(told, [told], JudgedSeries(values, "normal")).kind) == "shift"
    wild = steps(rng, (40, 0.0))
    wild[12] = 6.0
    told = found(15, 12, "spread")
    now = measured_anew(told, [told], JudgedSeries(wild, "normal"))
    assert (now.kind, now.side, now.start, now.start_low, now.start_high) == ("single", "above", 13, 13, 13)
    half = now.size_high - now.size  # of a prediction interval about the rest
    assert now.size - now.size_low == pytest.approx(half) and abs(now.size - 6.0) < half


def test_an_excursion_that_is_over_is_not_told_as_scatter(rng):
    kinds = []
    for _ in range(40):
        values = rng.standard_normal(60)
        values[30:38] += 3
        told = found(34, 31, ended=rng.choice([None, 39]))
        kinds.append(measured_anew(told, [told], JudgedSeries(values, "normal")).kind)
    assert kinds.count("spread") <= 1


def test_an_excursion_that_has_passed_ends_where_the_pieces_came_back(rng, at_least):
    ends = []
    for _ in range(60):
        values = rng.standard_normal(60)
        values[30:38] += 4
        told = found(32, 31)
        ends.append(measured_anew(told, [told], JudgedSeries(values, "normal")).ended)
    passed = [end for end in ends if end is not None]
    assert len(passed) > 40
    assert at_least(0.9, [abs(end - 39) <= 1 for end in passed])


def test_steady_shifts_and_singles_are_hardly_ever_told_as_scatter(rng):
    wrong = []
    for _ in range(150):
        values = rng.standard_normal(60)
        values[40:] += 2
        told = found(45, 41)
        wrong.append(measured_anew(told, [told], JudgedSeries(values, "normal")).kind == "spread")
        values = rng.standard_normal(60)
        values[40] += 6
        told = found(41, 41, "single")
        wrong.append(measured_anew(told, [told], JudgedSeries(values, "normal")).kind != "single")
    assert np.mean(wrong) < 0.02


def test_first_pieces_of_a_change_that_were_set_aside_are_put_back(rng):
    values = steps(rng, (40, 0.0), (12, 9.0))
    values[41] = values[42] = 5.0  # two between the levels delay it
    singles = [found(41, 41, "single"), found(44, 44, "single")]
    told = found(46, 45)
    now = all_measured_anew([*singles, told], JudgedSeries(values, "normal"))
    assert [s.kind for s in now] == ["single", "single", "shift"]
    assert now[2].start == 41
    apart = steps(rng, (40, 0.0), (12, 9.0))
    apart[20] = 12.0
    singles, told = [found(21, 21, "single")], found(43, 41)
    assert all_measured_anew([*singles, told], JudgedSeries(apart, "normal"))[1].start == 41


def test_equal_readings_of_a_coarse_gauge_are_no_spread():
    values = np.concatenate([np.zeros(12), np.tile([0.0, 0.0, 1.0], 7), np.tile([3.0, 2.0, 3.0], 5)])
    told = found(35, 33)
    now = measured_anew(told, [told], JudgedSeries(values, "normal"))
    assert (now.kind, now.start) == ("shift", 34)
    assert np.isfinite([now.size, now.size_low, now.size_high]).all()


def test_ranks_place_nothing_anew(rng):
    values = steps(rng, (30, 0.0), (20, 4.0))
    told = found(33, 27)
    assert measured_anew(told, [told], JudgedSeries(values, "any")).start == 27


def test_a_count_comes_back_as_it_is(rng):
    told = found(33, 31, "count")
    assert measured_anew(told, [told], JudgedSeries(steps(rng, (30, 0.0), (20, 4.0)), "normal")) is told


def test_a_clear_single_is_measured_against_the_rest_of_its_state(rng):
    values = steps(rng, (40, 0.0))
    values[30] = 7.0
    told = replace(found(31, 31, "single"), start_low=2)
    alone = measured_anew(told, [told], JudgedSeries(values, "normal"))
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


def test_under_a_learned_shape_a_start_is_placed_as_it_was_judged(rng):
    narrow, wide, held = 0, 0, 0
    for _ in range(40):
        values = rng.standard_t(3, 70) / np.sqrt(3)
        values[40:] += 2.0
        told = found(44, 41)
        by_scores = measured_anew(told, [told], JudgedSeries(values, "auto", Noise(tails=1 / 3)))
        as_read = measured_anew(told, [told], JudgedSeries(values, "normal"))
        narrow += by_scores.start_high - by_scores.start_low
        wide += as_read.start_high - as_read.start_low
        held += by_scores.start_low <= 41 <= by_scores.start_high
        old, new = np.split(values, [by_scores.start - 1])
        assert by_scores.size == pytest.approx(new.mean() - old.mean()), "sizes stay in the unit"
    assert narrow < 0.9 * wide, "wild pieces blur a step no more"
    assert held >= 34


def test_the_height_of_a_climb_is_told_in_the_unit_also_where_the_shape_is_learned(rng):
    values = 50.0 + 3.0 * rng.standard_t(5, 90)
    values[40:] += 0.4 * np.arange(1, 51)
    told = found(60, 41, kind="trend")
    now = measured_anew(told, [told], JudgedSeries(values, "auto", Noise(tails=0.2)))
    assert now.kind == "trend"
    assert now.size_low < 20.0 < now.size_high
    assert 10.0 < now.size_low
