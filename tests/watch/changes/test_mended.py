"""A series split by a mend: compared with the state before, opened anew where the pieces give it the lie."""

from datetime import date, timedelta

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.watch import Mend, SignalResult
from qc.watch.changes import LevelCourse, course_of, kept_states_from, plain_kept_states
from qc.watch.results import Point

RATE = 0.002
FIRST = date(2026, 1, 1)
LEVEL = Characteristic(id="bow", name="Bow", unit="mm")
FLAWS = Characteristic(id="flaws", name="Flaws", unit="count", kind="count")
WORN = Characteristic(id="od", name="Diameter", unit="mm", wears_with="die")
BEFORE, AWAY = 40, 10
MENDED = BEFORE + AWAY
"""Pieces made up to the mend."""


def points(values, **more):
    return tuple(
        Point(
            n,
            f"S{n:03d}",
            FIRST + timedelta(days=n),
            "",
            float(v),
            float(v),
            **{k: f(n) for k, f in more.items()},
        )
        for n, v in enumerate(values, 1)
    )


def noise(number, seed=0):
    return np.random.default_rng([1309, seed]).standard_normal(number)


def changed(after, size=4.0, seed=0):
    values = noise(MENDED + len(after), seed)
    values[BEFORE:MENDED] += size
    values[MENDED:] += after
    return values


def told(signal, made):
    """The signal as a verdict tells it."""
    raised, first = made[signal.point - 1], made[signal.start - 1]
    return SignalResult(
        *(signal.kind, signal.side, signal.point, raised.serial, raised.day),
        *(signal.start, first.serial, first.day, signal.start_low, signal.start_high),
        *(signal.size, signal.size_low, signal.size_high, signal.size_sigma, "mm", RATE, 1),
        reopens=signal.reopens,
    )


def last_mend(made, *mends, number=1, first="", figure=LEVEL):
    """The mend of the newest signal of a series, closed on the day of its last piece."""
    signal = LevelCourse(figure, made, mends=mends).changes(RATE).signals[-1]
    return Mend(told(signal, made), number, made[-1].day, first, frozenset({made[-1].serial}))


@pytest.fixture(scope="module")
def mend():
    return last_mend(points(changed([]))[:MENDED])


def course(values, *mends):
    return LevelCourse(LEVEL, points(values), mends=mends)


def test_a_mended_change_ends_at_the_first_piece_after_the_mend(mend):
    for after in (0, 1, 3):
        (signal,) = course(changed([0.0] * after), mend).changes(RATE).signals
        assert (signal.kind, signal.start, signal.ended, signal.mended) == ("shift", 41, 51, 51)
        assert (signal.held, signal.reopens) == (None, "")


def test_enough_good_pieces_bear_a_mend_out_and_nothing_is_told_of_them(mend):
    assert [s.held for s in course(changed([0.0] * 7), mend).changes(RATE).signals] == [None]
    for after in (8, 30):
        assert [s.held for s in course(changed([0.0] * after), mend).changes(RATE).signals] == [True]


def test_pieces_still_bad_open_the_same_signal_anew(mend):
    first, again = course(changed([4.0] * 6), mend).changes(RATE).signals
    assert (first.held, first.ended, first.closing) == (False, 51, None)
    assert (again.reopens, again.closing) == (mend.told.raised_serial, mend.number)
    assert again.start == 51 and again.point <= 53 and again.ended is None


def half(signal):
    return (signal.size_high - signal.size_low) / 2


def test_a_change_that_a_mend_did_not_end_is_measured_by_its_pieces_before_and_after(mend):
    values = changed([4.0] * 3)
    first, again = course(values, mend).changes(RATE).signals
    away = np.concatenate([values[BEFORE:MENDED], values[MENDED:]]) - values[:BEFORE].mean()
    assert half(again) < half(first), "three pieces alone say less than these three and the ten before"
    assert again.size == pytest.approx(away.mean(), abs=0.15) and again.size_low < 4.0 < again.size_high
    values = changed([0.0] * 6 + [4.0] * 4)
    later = course(values, mend).changes(RATE).signals[-1]
    assert later.reopens != "" and later.start_low > MENDED + 1
    size = values[later.start - 1 :].mean() - values[:BEFORE].mean()
    assert later.size == pytest.approx(size, abs=0.2), "it came back: only what is new is measured"


def test_bad_pieces_after_a_mend_that_was_borne_out_are_a_signal_of_their_own(mend):
    after = [0.0] * 12 + [4.0] * 6
    first, later = course(changed(after), mend).changes(RATE).signals
    assert first.held is True and later.reopens == "" and later.start in {62, 63, 64}
    other = course(changed([-4.0] * 6), mend).changes(RATE).signals[-1]
    assert (other.side, other.reopens) == ("below", ""), "the other way it is no failed mend"


def test_pieces_in_work_neither_open_it_anew_nor_enter_the_reference():
    made = points(changed([]))[:MENDED]
    named = last_mend(made, first=f"S{MENDED + 6:03d}")
    still_bad, good = [4.0] * 5, [0.0] * 10
    (signal,) = course(changed(still_bad), named).changes(RATE).signals
    assert (signal.mended, signal.ended) == (MENDED + 6, MENDED + 6), "none after the mend yet"
    (signal,) = course(changed(still_bad + good), named).changes(RATE).signals
    assert (signal.mended, signal.held) == (MENDED + 6, True)
    unnamed = last_mend(made)
    assert course(changed(still_bad + good), unnamed).changes(RATE).signals[-1].reopens != ""


def test_the_first_measured_after_closing_comes_where_none_is_named():
    made = points(changed([0.0] * 5))
    closed = made[MENDED - 1].day
    one = last_mend(made[:MENDED])
    assert one.place_among(made) == MENDED
    known = frozenset({made[MENDED - 1].serial})
    same_day = [
        *made[:MENDED],
        *(Point(p.ordinal, p.serial, closed, "", p.value, p.value) for p in made[MENDED:]),
    ]
    assert Mend(one.told, 1, closed, known=known).place_among(same_day) == MENDED
    late = Point(1, "S-LATE", closed - timedelta(days=9), "", 4.0, 4.0)  # its card came after the closing
    assert Mend(one.told, 1, closed, known=known).place_among([late, *same_day]) == MENDED + 1


def test_a_second_mend_follows_on_the_first_that_did_not_hold(mend):
    bad = changed([4.0] * 6)
    second = last_mend(points(bad), mend, number=2)
    assert second.root == mend.root
    values = np.concatenate([bad, noise(12, 5)])
    first, again = course(values, mend, second).changes(RATE).signals
    assert (first.held, again.ended, again.held) == (False, 57, True)
    *_, third = course(np.concatenate([bad, 4.0 + noise(6, 5)]), mend, second).changes(RATE).signals
    assert (third.reopens, third.closing) == (mend.root, 2)


@pytest.mark.parametrize("after", [[], [0.0] * 25, [4.0] * 9])
def test_going_on_says_what_judging_from_nothing_says(mend, after):
    values = changed(after)
    kept = {}
    for until in range(MENDED, len(values) + 1):
        found = course(values[:until], mend).changes(RATE, kept_states_from(plain_kept_states(kept)))
        kept = found.kept
        whole = course(values[:until], mend).changes(RATE)
        assert found == whole


def test_a_mend_is_no_part_of_a_settled_stretch_and_what_opened_anew_cuts_it(mend):
    def stretches(values):
        own = course(values, mend)
        return [(s[0], s[-1]) for s in own.settled(own.followed(RATE, {})) if s]

    assert stretches(changed([0.0] * 12)) == [(0, 39), (50, 61)]
    cut = stretches(changed([0.0] * 5 + [4.0] * 8))
    assert cut[0] == (0, 39) and cut[-1][1] == 62 and len(cut) == 3
    unmended = LevelCourse(LEVEL, points(changed([0.0] * 12)), mends=(mend,)).until(MENDED)
    assert unmended.mends == (), "what was mended later had not been mended then"


def test_without_a_state_before_the_pieces_after_the_mend_are_learned_anew():
    values = np.concatenate([noise(2), 5.0 + noise(8, 1), noise(12, 2)])
    made = points(values)
    early = SignalResult(
        *("shift", "above", 6, "S006", made[5].day, 3, "S003", made[2].day, 3, 3),
        *(5.0, 4.0, 6.0, 5.0, "mm", RATE, 3),
    )
    found = course(values, Mend(early, 1, made[9].day)).changes(RATE).signals
    assert not any(s.reopens for s in found)


def test_a_mend_that_names_a_piece_before_the_change_is_passed_over(mend):
    early = Mend(mend.told, 1, mend.day, "S010")
    values = changed([0.0] * 3)
    assert course(values, early).changes(RATE).signals == course(values).changes(RATE).signals


def test_counts_are_compared_with_the_rate_before_as_well():
    random = np.random.default_rng(1310)
    values = np.concatenate([random.poisson(0.5, 40), random.poisson(5.0, 8)])
    made = points(values, size=lambda n: 1.0)
    signal = LevelCourse(FLAWS, made).changes(RATE).signals[-1]
    one = Mend(told(signal, made), 1, made[-1].day, known=frozenset({made[-1].serial}))

    def after(rate):
        more = points(np.concatenate([values, random.poisson(rate, 10)]), size=lambda n: 1.0)
        return LevelCourse(FLAWS, more, mends=(one,)).changes(RATE).signals

    assert [s.reopens for s in after(0.5)] == [""] * len(after(0.5))
    assert after(5.0)[-1].reopens == one.root


RISING = """1 0 0 2 0 0 0 1 1 0 1 0 1 1 1 0 1 1 2 1 0 2 0 0 1 3 2 1 1 0 0 0 1 0 0 1 2 3 1 3 0 4 7 2 0
    3 5 2 2 1 3 3 3 3"""
"""Flaws a piece: more from the 37th on, told from the 42nd; a mend before the 46th changed nothing."""


def test_what_began_before_it_was_told_is_still_there_after_a_mend_that_failed():
    values = [float(text) for text in RISING.split()]
    until = points(values[:45], size=lambda n: 1.0)
    signal = LevelCourse(FLAWS, until).changes(RATE).signals[-1]
    one = Mend(told(signal, until), 1, until[-1].day, known=frozenset({"S045"}))
    first, again = LevelCourse(FLAWS, points(values, size=lambda n: 1.0), mends=(one,)).changes(RATE).signals
    assert (first.mended, first.held) == (46, False)
    assert (again.reopens, again.closing, again.start) == (one.root, 1, 46)


def test_a_tool_mended_in_place_goes_on_from_its_line_of_before():
    draws = np.arange(1, 66)
    values = 0.02 * draws + 0.1 * noise(65, 9)
    values[40:50] += 2.0
    tool = {"tool": lambda n: "D-1", "tool_count": lambda n: n}

    def worn(made, *mends):
        return course_of(WORN, made, mends=mends)

    until = points(values[:50], **tool)
    signal = worn(until).changes(RATE).signals[-1]
    one = Mend(told(signal, until), 1, until[-1].day, known=frozenset({"S050"}))
    held = worn(points(values, **tool), one).changes(RATE).signals
    assert [(s.start, s.ended, s.held) for s in held] == [(41, 51, True)]
    values[50:] += 2.0
    again = worn(points(values, **tool), one).changes(RATE).signals[-1]
    assert (again.reopens, again.start) == (one.root, 51)
