"""What goes from one verdict to the next: the pieces that a finding holds, and what stands in what."""

from dataclasses import replace
from datetime import date, timedelta

from qc.watch import Point, SeriesKey, SignalResult, kept_pieces, stands_in, way_back_of
from qc.watch.carried import holds, told_suspects, with_kept
from qc.watch.results import SeriesVerdict, Suspect

DAY = date(2026, 5, 4)
POINTS = tuple(
    Point(n, f"S{n}", DAY + timedelta(days=n), "", 50.0 + 3 * (n > 20), 50.0 + 3 * (n > 20))
    for n in range(1, 41)
)
SHIFT = SignalResult(
    "shift", "above", 24, "S24", DAY, 21, "S21", DAY, 20, 22, 3.0, 2.0, 4.0, 3.0, "mm", 0.004, 20
)
SPREAD = replace(SHIFT, kind="spread", side="both", start=15, start_serial="S15", start_low=12, start_high=18)


def verdict(*signals, told_by=24, behaviour="drifting"):
    blank = dict.fromkeys(SeriesVerdict.__slots__)
    given = {"key": SeriesKey("bow", "rise", "all"), "kind": "measured", "points": POINTS, "present": ()}
    limits = {"target": 50.0, "lower": 46.0, "upper": 54.0, "unit": "mm", "stretches": (), "notes": ()}
    state = {"behaviour": behaviour, "told_by": told_by, "signals": signals, "pieces": 40, "before": 0}
    return SeriesVerdict(**{**blank, **given, **limits, **state})


def test_the_finding_that_a_series_drifts_by_holds_its_pieces():
    (signal,) = with_kept(verdict(SHIFT), ()).signals
    assert signal.kept == ("S21", "S40")
    assert holds(verdict(SHIFT), SHIFT) and not holds(verdict(SHIFT, behaviour="steady"), SHIFT)


def test_what_it_held_before_stays_whatever_is_found_now():
    before = replace(SHIFT, kept=("S15", "S30"))
    over = replace(SHIFT, ended=31, over_since="S31")
    settled = verdict(over, told_by=None, behaviour="steady")
    assert with_kept(settled, [before]).signals[0].kept == ("S15", "S30")
    assert with_kept(settled, [replace(before, kept=None)]).signals[0].kept == ()
    now = with_kept(verdict(SHIFT), [before])
    assert now.signals[0].kept == ("S15", "S40")
    assert [p.serial for p in kept_pieces(now, now.signals[0])] == [f"S{n}" for n in range(15, 41)]
    gone = replace(SHIFT, kept=("S0", "S22"))  # its first piece is not read any more
    assert [p.serial for p in kept_pieces(now, gone)] == [f"S{n}" for n in range(1, 23)]


def test_one_that_is_shown_no_more_stands_in_one_of_its_pieces():
    told = replace(SHIFT, kept=("S21", "S30"))
    other = replace(SPREAD, raised=28, raised_serial="S28")
    late = replace(SHIFT, raised=39, raised_serial="S39", start=36, start_serial="S36", start_low=35)
    assert stands_in(told, [late, SPREAD], verdict()) == 1, "raised at the same piece"
    assert stands_in(told, [late, other], verdict()) == 1, "about the same pieces"
    assert stands_in(told, [late], verdict()) is None
    assert stands_in(told, [replace(other, ended=30)], verdict()) is None, "that one is over"
    assert stands_in(replace(told, start_serial="A", kept=(), raised_serial="B"), [other], verdict()) is None


def test_a_change_the_other_way_that_is_shown_no_more_was_the_end_of_another():
    over = replace(SHIFT, ended=31, over_since="S31")
    back = replace(SHIFT, side="below", raised=33, raised_serial="S33", start=31, start_serial="S31")
    back = replace(back, start_low=30, start_high=32)
    assert way_back_of(back, [SPREAD, over], verdict()) == 1
    assert (
        way_back_of(
            replace(back, start_serial="S30", start=30, start_low=29, start_high=31), [over], verdict()
        )
        == 0
    )
    late = replace(back, start_serial="S35", start=35, start_low=34, start_high=36)
    assert way_back_of(late, [over], verdict()) is None, "it began when that one was over already"
    assert way_back_of(replace(back, side="above"), [over], verdict()) is None, "the same way is no way back"
    assert way_back_of(replace(back, kind="spread"), [over], verdict()) is None
    assert way_back_of(back, [SHIFT], verdict()) is None, "that one lasts"


def test_what_a_finding_coincided_with_is_kept_by_the_piece_that_raised_it():
    batch = Suspect("batch", "K-7", "", "S21", DAY, "batch K-7")
    assert told_suspects(SHIFT, [replace(SHIFT, suspects=(batch,))]) == (batch,)
    assert told_suspects(SHIFT, [replace(SPREAD, suspects=(batch,))]) == ()


def test_judged_once_more_a_signal_that_opened_again_holds_what_it_held():
    mended = replace(SHIFT, ended=29, mended=29, held=False)
    again = replace(SHIFT, raised=30, raised_serial="S30", start=29, start_serial="S29", reopens="S24")
    now = verdict(mended, again, told_by=30)
    told = replace(SHIFT, kept=("S21", "S28"))
    for _ in range(2):
        first, newest = with_kept(now, [told]).signals
        assert (first.kept, newest.kept) == ((), ("S21", "S40"))
        told = newest  # both have one id: the newest is what is told of it
