"""What became of a series since a day: every pair of states, and each finding once."""

from dataclasses import replace
from datetime import date

import pytest

from qc.watch import SeriesKey, SeriesVerdict, SignalResult, change_since

DAY = date(2026, 5, 4)


def signal(start=20, **own):
    place = {"raised": start + 4, "raised_serial": f"T{start + 4}", "raised_day": DAY}
    begun = {"start": start, "start_serial": f"T{start}", "start_day": DAY}
    around = {"start_low": start - 1, "start_high": start + 1}
    size = {"size": 4.0, "size_low": 3.0, "size_high": 5.0, "size_sigma": 3.0}
    given = {"kind": "shift", "side": "above", "unit": "mm", "rate": 0.001, "pieces": 5}
    return SignalResult(**{**given, **place, **begun, **around, **size, **own})


@pytest.fixture
def verdict(points):
    def make(*signals, **own):
        blank = dict.fromkeys(
            name for name in SeriesVerdict.__slots__ if name not in {"key", "points", "signals"}
        )
        texts = {"stage_name": "Bow", "name": "Rise", "unit": "mm", "kind": "measure", "ppk_reason": ""}
        plain = {"notes": (), "present": (), "stretches": (), "worst": 0.0, "before": 0, "centered": False}
        state = {"behaviour": "steady", "capable": "proven", "pieces": 40}
        own = {"told_by": signals[-1].raised if signals else None, **own}
        key = SeriesKey("bow", "rise", "all")
        made = points([50.0] * 40, serial=[f"T{n}" for n in range(1, 41)])
        return SeriesVerdict(
            **{**blank, **texts, **plain, **state, **own}, key=key, points=made, signals=tuple(signals)
        )

    return make


def test_a_finding_is_new_then_the_same_then_gone(verdict):
    quiet, moved = verdict(), verdict(signal(), behaviour="drifting")
    assert change_since(quiet, moved) == "new"
    assert change_since(None, moved) == "new"
    assert change_since(moved, moved) == "same"
    assert change_since(moved, quiet) == "gone"
    assert change_since(moved, verdict(signal(ended=30), told_by=None)) == "gone"
    assert change_since(None, quiet) == change_since(quiet, quiet) == "same"


def test_another_change_after_the_first_is_new(verdict):
    moved = verdict(signal(), behaviour="drifting")
    assert change_since(moved, verdict(signal(), signal(32), behaviour="drifting")) == "new"


def test_a_single_piece_apart_is_new_once(verdict):
    single = verdict(signal(kind="single"), told_by=None)
    assert change_since(verdict(), single) == "new"
    assert change_since(single, single) == "same"


def test_the_same_change_raised_at_another_piece_is_not_new(verdict):
    moved = verdict(signal(), behaviour="drifting")
    later = verdict(signal(raised=26, raised_serial="T26"), behaviour="drifting")
    assert change_since(moved, later) == "same"


def test_one_that_drifted_and_settled_is_better_and_back_again_worse(verdict):
    moved = verdict(signal(), behaviour="drifting")
    settled = verdict(signal(), behaviour="steady", settled_since=DAY)
    assert change_since(moved, settled) == "better"
    assert change_since(settled, moved) == "worse"


@pytest.mark.parametrize(
    "was, became, told",
    [("proven", "no", "worse"), ("no", "unproven", "better"), ("unproven", "proven", "better")],
)
def test_the_answer_about_the_limits_counts(verdict, was, became, told):
    assert change_since(verdict(capable=was), verdict(capable=became)) == told


def test_a_size_counts_once_it_leaves_the_interval_it_was_given(verdict):
    moved = verdict(signal(), behaviour="drifting")
    assert change_since(moved, verdict(signal(size=4.9), behaviour="drifting")) == "same"
    assert change_since(moved, verdict(signal(size=5.2), behaviour="drifting")) == "worse"
    assert change_since(moved, verdict(signal(size=2.8), behaviour="drifting")) == "better"


def test_a_series_that_learns_is_neither_better_nor_worse(verdict):
    learning = verdict(behaviour="learning", capable="unproven")
    assert change_since(learning, verdict(capable="proven")) == "same"
    assert change_since(verdict(), replace(learning)) == "same"
