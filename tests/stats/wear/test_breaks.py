"""One break of a line of wear: against plain least squares at every place and an outside optimiser."""

import numpy as np
import pytest
from scipy import optimize, stats

from qc.stats import StatisticsError, wear_break
from qc.stats.wear.breaks import JUMP_LIMIT, LEAST_AFTER, LEAST_BEFORE, PRICE

COUNT = np.cumsum(np.random.default_rng(61).integers(1, 3, 60)).astype(float)
STRAIGHT = 14.9 + 0.0004 * COUNT


def squares(columns, value):
    design = np.stack([np.ones(COUNT.size), COUNT, *columns], axis=1)
    return float(np.linalg.lstsq(design, value, rcond=None)[1][0])


def by_hand(value):
    """Return place (0-based) and form of the best penalised fit, refitting everything at every place."""
    n = COUNT.size
    best = (np.inf, 0, "")
    for place in range(LEAST_BEFORE, n):
        since = (np.arange(n) >= place).astype(float)
        tried = []
        if n - place >= LEAST_AFTER[0]:
            tried.append(("jump", squares([since], value), PRICE[0]))
        if n - place >= LEAST_AFTER[1]:
            for at in np.linspace(COUNT[place - 1], COUNT[place], 60, endpoint=False):
                tried.append(("bend", squares([np.maximum(COUNT - at, 0)], value), PRICE[1]))
        if n - place >= LEAST_AFTER[2]:
            tried.append(("jump and bend", squares([since, since * COUNT], value), PRICE[2]))
        for form, left, price in tried:
            merit = n * np.log(left) + price * np.log(n)
            if merit < best[0] - 1e-12:
                best = (merit, place, form)
    return best[1:]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(
    "off",
    [
        np.where(np.arange(60) >= 40, 0.012, 0.0),
        0.0012 * np.maximum(COUNT - COUNT[36], 0),
        np.where(np.arange(60) >= 35, 0.02, 0.0) + 0.002 * np.maximum(COUNT - COUNT[35], 0),
    ],
    ids=["jump", "bend", "both"],
)
def test_agrees_with_refitting_everything_at_every_place(off, seed):
    value = STRAIGHT + off + np.random.default_rng(seed).normal(0, 0.004, 60)
    found = wear_break(COUNT, value)
    assert (found.start - 1, found.form) == by_hand(value)


def test_bend_is_the_optimum_of_a_general_optimiser():
    value = STRAIGHT + 0.0015 * np.maximum(COUNT - COUNT[36] - 0.4, 0)
    value = value + np.random.default_rng(5).normal(0, 0.002, 60)
    found = wear_break(COUNT, value)
    assert found.form == "bend"

    def left(at):
        return squares([np.maximum(COUNT - at, 0)], value)

    low, high = COUNT[found.start - 2], COUNT[found.start - 1]
    best = optimize.minimize_scalar(left, bounds=(low, high), method="bounded", options={"xatol": 1e-10})
    whole = float(np.polyfit(COUNT, value, 1, full=True)[1][0])
    assert found.likelihood_ratio == pytest.approx(60 * np.log(whole / best.fun), rel=1e-6)
    fitted = np.linalg.lstsq(
        np.stack([np.ones(60), COUNT, np.maximum(COUNT - best.x, 0)], axis=1), value, rcond=None
    )[0]
    assert found.slope_before == pytest.approx(fitted[1], rel=1e-5)
    assert found.slope_after == pytest.approx(fitted[1] + fitted[2], rel=1e-5)
    assert found.size == pytest.approx(fitted[2] * (COUNT[-1] - best.x), rel=1e-5)


def test_a_jump_is_measured_by_ordinary_regression():
    value = STRAIGHT + np.where(np.arange(60) >= 40, 0.03, 0.0)
    value = value + np.random.default_rng(6).normal(0, 0.002, 60)
    found = wear_break(COUNT, value)
    assert (found.form, found.start) == ("jump", 41)
    assert found.jump == pytest.approx(found.size)
    assert found.slope_after == found.slope_before
    assert found.size_sigma == pytest.approx(found.size / found.sd)


def test_the_limit_of_a_jump_is_the_published_one():
    # Hansen, Econometrica 68 (2000), table I, 90 %: 5.94, quoted from memory; the law itself is the check
    assert pytest.approx(5.94, abs=0.005) == JUMP_LIMIT
    assert (1 - np.exp(-JUMP_LIMIT / 2)) ** 2 == pytest.approx(0.9)


@pytest.mark.parametrize(
    "off, form",
    [(0.0012 * np.maximum(COUNT - COUNT[39], 0), "bend"), (0.01 * (np.arange(60) >= 40), "jump")],
    ids=["bend", "jump"],
)
def test_the_set_of_the_start_holds_it_about_nine_times_in_ten(off, form):
    random = np.random.default_rng(62)
    held = within = right = 0
    for _ in range(300):
        found = wear_break(COUNT, STRAIGHT + off + random.normal(0, 0.0025, 60))
        held += found.start_set[0] <= 41 <= found.start_set[1]
        within += abs(found.start - 41) <= 2
        right += found.form == form
    # 300 draws at 0.9 have a standard error of 0.017
    assert 0.86 * 300 < held <= 300
    assert within > 0.9 * 300
    assert right > 0.9 * 300


def test_interval_of_the_size_holds_it():
    random = np.random.default_rng(63)
    held = 0
    for _ in range(300):
        found = wear_break(COUNT, STRAIGHT + 0.02 * (np.arange(60) >= 40) + random.normal(0, 0.0025, 60))
        held += found.size_interval[0] <= 0.02 <= found.size_interval[1]
    assert held > 300 * (0.95 - 3 * (0.95 * 0.05 / 300) ** 0.5)


def test_a_step_of_the_gauge_keeps_the_spread_from_vanishing():
    value = np.round(STRAIGHT + 0.03 * (np.arange(60) >= 40), 2)
    free, floored = wear_break(COUNT, value), wear_break(COUNT, value, resolution=0.01)
    assert floored.sd >= free.sd
    assert floored.sd == pytest.approx(0.01 / 12**0.5, rel=0.2)


def test_a_perfect_line_and_equal_counts_are_borne(rng):
    found = wear_break(np.repeat(np.arange(10.0), 3), np.repeat(np.arange(10.0), 3) * 0.01)
    assert abs(found.size) < 1e-9
    twice = np.repeat(COUNT, 2)
    value = 0.01 * twice + np.where(np.arange(120) >= 80, 0.5, 0.0) + rng.normal(0, 0.01, 120)
    assert wear_break(twice, value).start == 81


def test_size_of_a_break_is_told_far_from_the_origin_too():
    value = STRAIGHT + 0.03 * (np.arange(60) >= 40) + np.random.default_rng(7).normal(0, 0.002, 60)
    near, far = wear_break(COUNT, value), wear_break(COUNT + 1e6, value + 1e3)
    assert (far.form, far.start, far.start_set) == (near.form, near.start, near.start_set)
    assert far.size == pytest.approx(near.size, rel=1e-4)


def test_plain_values():
    record = wear_break(COUNT, STRAIGHT + 0.03 * (np.arange(60) >= 40)).to_dict()
    assert record["start_set"] == [41, 41] and record["form"] == "jump"
    assert set(record) >= {"size", "size_interval", "size_sigma", "sd", "slope_before", "slope_after"}


@pytest.mark.parametrize(
    "count, value, words",
    [
        (range(5), range(5), "too few"),
        ([1, 1, 1, 1, 2, 2, 2], range(7), "too few"),
        ([1, 2, 3, 2, 5, 6, 7], range(7), "falls at point 4"),
        (range(6), range(7), "6 counts for 7 values"),
        (range(6), [0, 1, 2, float("nan"), 4, 5], "point 4"),
    ],
)
def test_refusals_name_what_is_wrong(count, value, words):
    with pytest.raises(StatisticsError, match=words):
        wear_break(list(map(float, count)), list(map(float, value)))


def test_no_break_is_found_where_there_is_none_more_often_than_its_price_allows():
    """The gain of the best break of a straight line is the largest of many; its law is not chi-square."""
    random = np.random.default_rng(64)
    gains = [wear_break(COUNT, STRAIGHT + random.normal(0, 0.003, 60)).likelihood_ratio for _ in range(200)]
    assert np.mean(gains) > stats.chi2.mean(1)
    assert np.mean(gains) < 15
