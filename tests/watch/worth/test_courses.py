"""Simulated courses scatter and hang together as the settled figures do, and are told as fresh draws are."""

import numpy as np
import pytest
from scipy import stats

from qc.stats import Noise, detect_many
from qc.watch import Scatter, SeriesKey
from qc.watch.worth.courses import (
    COUNTED_COURSES,
    COURSES,
    LENGTH,
    JudgedBy,
    counted_told,
    courses_of,
    delay_of,
    told_courses,
)

KEY = SeriesKey("slide", "force", "tenor")
RATE = 0.002


def judged(shape="normal", **noise):
    return JudgedBy.of(Scatter(shape, Noise(**noise).to_dict(), None, "", True, None, None, ""), RATE)


@pytest.mark.slow
@pytest.mark.parametrize("size", [1.0, 2.0])
def test_courses_from_settled_figures_are_told_as_soon_as_fresh_ones(rng, points, size):
    """Fresh normal figures, the whole series judged: without resampling, smoothing or a silent front."""
    settled = points(stats.norm.ppf((np.arange(200) + 0.5) / 200)[rng.permutation(200)])
    courses = courses_of(KEY, settled, judged())
    found = delay_of(courses.told(size), LENGTH)
    fresh = rng.normal(size=(COURSES, 110))
    fresh[:, 50:] += size
    after = []
    for one in detect_many(list(fresh), false_alarm_rate=RATE):
        if (
            not one.signals or one.signals[0].point > 50
        ):  # a false signal before the change says nothing of it
            after.append(one.signals[0].point - 50 if one.signals else 61)
    assert found.pieces == pytest.approx(np.median(after), abs=0.5 + 0.15 * np.median(after))


def test_courses_keep_level_spread_and_what_hangs_together(rng, points):
    noise = rng.normal(size=300)
    for place in range(1, 300):
        noise[place] += 0.7 * noise[place - 1]
    courses = courses_of(KEY, points(50 + noise), judged())
    assert courses.front.mean() == pytest.approx(50 + noise.mean(), abs=0.15)
    assert courses.front.std() == pytest.approx(noise.std(), rel=0.05)
    # neighbours within one run: moved a little each, so somewhat less than in the figures themselves
    pairs = courses.front[:, :10] - courses.front.mean()
    lag = (pairs[:, 1:] * pairs[:, :-1]).mean() / courses.front.var()
    own = np.corrcoef(noise[1:], noise[:-1])[0, 1]
    assert 0.75 * own < lag < own + 0.05


def test_a_lot_drawn_twice_is_two_lots(rng, points):
    lots = [f"B{n // 5}" for n in range(40)]
    courses = courses_of(KEY, points(rng.normal(size=40), lot=lots), judged(lots=0.3, pieces=200))
    front = courses.front_lots[0]
    assert len(set(front[:10])) <= 3 and not set(front[:10]) & set(front[10:20])


def test_positive_figures_stay_positive(rng, points):
    courses = courses_of(KEY, points(rng.lognormal(size=60)), judged("positive"))
    assert courses.front.min() > 0
    assert courses.told(3.0).max() > 0


def test_less_scatter_is_the_same_as_a_larger_change(rng, points):
    courses = courses_of(KEY, points(rng.normal(size=80)), judged())
    np.testing.assert_array_equal(courses.told(1.0, scatter=0.5), courses.told(2.0))


def test_each_series_has_courses_of_its_own_and_always_the_same(rng, points):
    settled = points(rng.normal(size=30))
    again = courses_of(KEY, settled, judged()).after
    np.testing.assert_array_equal(courses_of(KEY, settled, judged()).after, again)
    other = courses_of(SeriesKey("slide", "force", "bass"), settled, judged()).after
    assert not np.array_equal(other, again)


def test_the_least_change_seen_is_the_one_that_half_the_courses_tell(rng, points):
    courses = courses_of(KEY, points(rng.normal(size=80)), judged())
    least = courses.least_seen(1.0, 5)
    assert 1.0 < least < 3.0
    assert (
        (courses.told(least, within=5) > 0).mean() >= 0.5 > (courses.told(least - 0.05, within=5) > 0).mean()
    )


@pytest.mark.slow
def test_the_error_of_the_least_change_is_that_of_so_many_courses(rng, points):
    """At its ends the share of courses that tell lies two standard errors of a coin from one half."""
    courses = courses_of(KEY, points(rng.normal(size=80)), judged())
    low, high = courses.least_seen_between(1.0, 5)
    assert low < courses.least_seen(1.0, 5) < high
    reach = stats.norm.ppf(0.975) * 0.5 / len(courses.after) ** 0.5
    for change, share in ((low, 0.5 - reach), (high, 0.5 + reach)):
        told, before = ((courses.told(at, within=5) > 0).mean() for at in (change, change - 0.05))
        assert told >= share > before


def test_a_change_no_one_could_see_so_soon_has_no_least(rng, points):
    courses = courses_of(KEY, points(rng.normal(size=80)), judged("any"))
    assert courses.least_seen(1.0, 1) is None  # ranks tell no single piece


def test_the_interval_of_a_median_holds_what_it_promises(rng, at_least):
    truth = stats.geom(0.08).median()
    held = []
    for _ in range(300):
        found = delay_of(rng.geometric(0.08, 400), 10_000)
        held.append(found.low <= truth <= found.high)
    assert at_least(0.95, held)


def test_every_second_piece_takes_about_twice_as_many(rng):
    told = rng.geometric(0.2, 400)
    now, second = delay_of(told, 60), delay_of(told, 60, every=2)
    assert second.pieces in (2 * now.pieces - 1, 2 * now.pieces) and second.length == 120


def test_courses_that_end_untold_are_no_number():
    found = delay_of(np.array([0, 0, 0, 5] * 50), 60)
    assert (found.pieces, found.low, found.high) == (None, None, None)


def test_counts_are_drawn_at_both_rates(points):
    settled = points([0, 1, 0, 0, 2, 0, 1, 0] * 6)
    told = counted_told(KEY, "count", settled, RATE, 0.5, 6.0)
    assert told.size == COUNTED_COURSES and (told > 0).all() and np.median(told) <= 2


def test_what_was_simulated_once_is_given_again(rng, points):
    settled = points(rng.normal(size=40))
    first = told_courses(KEY, settled, judged(), 2.0, (1.0, 0.8))
    assert told_courses(KEY, settled, judged(), 2.0, (1.0, 0.8)) is first
    assert np.median(first[1]) <= np.median(first[0])
