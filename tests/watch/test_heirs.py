"""The same change raised at another piece: what was said of it goes along."""

from dataclasses import replace
from datetime import date

import pytest

from qc.watch import SignalResult, heirs_of, is_same

DAY = date(2026, 5, 4)
SHIFT = SignalResult(
    "shift", "above", 34, "S-034", DAY, 31, "S-031", DAY, 29, 32, 2.0, 1.0, 3.0, 2.0, "um", 0.004, 9
)
ORDINALS = {f"S-{n:03d}": n for n in range(1, 80)}


def again(raised, start, **other):
    low, high = other.pop("span", (start - 1, start + 1))
    place = {"raised": raised, "raised_serial": f"S-{raised:03d}", "start": start, "start_low": low}
    return replace(SHIFT, **place, start_high=high, start_serial=f"S-{start:03d}", **other)


def test_a_signal_is_its_own_heir_before_any_that_overlaps():
    assert heirs_of([SHIFT], [again(33, 31), replace(SHIFT, kind="single")], ORDINALS) == [1]
    assert is_same(SHIFT, replace(SHIFT, kind="trend")) and not is_same(SHIFT, replace(SHIFT, kind="spread"))


@pytest.mark.parametrize(
    ("now", "heir"),
    [
        (again(36, 33), 0),  # 32 to 34 beside 29 to 32
        (again(36, 35), None),  # 34 to 36
        (again(36, 33, side="below"), None),
        (again(36, 33, kind="spread"), None),
        (again(36, 24, kind="trend"), 0),  # a climb from 23 on that was told as a step at 31
    ],
)
def test_it_is_of_the_same_kind_and_way_and_its_set_of_the_start_overlaps(now, heir):
    assert heirs_of([SHIFT], [now], ORDINALS) == [heir]


def test_the_nearest_of_several_takes_over_and_places_are_those_of_today():
    assert heirs_of([SHIFT], [again(36, 33), again(37, 32)], ORDINALS) == [1]
    moved = {serial: place - 20 for serial, place in ORDINALS.items()}
    assert heirs_of([SHIFT], [again(16, 13)], moved) == [0], "twenty pieces left the window"
    assert heirs_of([SHIFT], [again(36, 33)], {}) == [None], "its first piece is no longer read"
