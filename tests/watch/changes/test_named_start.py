"""A change begins with what is named for it: a lot or a tool that came in inside the set of its start."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from qc.watch.changes import FoundChange, begun_with
from qc.watch.results import Point, Suspect

DAY = date(2026, 3, 2)
STEPPED = [10.0, 10.2, 9.9, 10.1, 10.0, 9.8, 10.1, 9.7, 9.6, 9.0, 9.1, 8.9, 9.0, 9.2]


def points(values=STEPPED, left_out=()):
    return [
        Point(
            ordinal=n,
            serial=f"KH-{n}",
            day=DAY + timedelta(days=n),
            model="tenor",
            value=value,
            measured=value,
            left_out=n in left_out,
        )
        for n, value in enumerate(values, 1)
    ]


def change(kind="shift", **more):
    known = {"start": 8, "start_low": 7, "start_high": 11, "size": -1.0, "size_low": -1.4, "size_high": -0.6}
    return FoundChange(kind, "below", 12, **{**known, "size_sigma": -4.0, **more})


def suspect(serial="KH-10", kind="batch", weight=1.2):
    return Suspect(kind, "SH-5", "SH-4", serial, DAY, "a lot", weight)


@pytest.mark.parametrize(
    ("kind", "named"), [("shift", "batch"), ("shift", "tool"), ("trend", "batch")], ids=str
)
def test_it_is_told_as_a_step_from_the_first_piece_with_it(kind, named):
    found = change(kind)
    told = begun_with(found, [found], points(), [suspect(kind=named)])
    assert (told.kind, told.start, told.start_low, told.start_high) == ("shift", 10, 7, 11)
    before, since = np.array(STEPPED[:9]), np.array(STEPPED[9:])
    assert told.size == pytest.approx(since.mean() - before.mean())
    assert told.size_low < told.size < told.size_high < 0


@pytest.mark.parametrize(
    ("found", "suspects"),
    [
        pytest.param(change(), [], id="nothing named"),
        pytest.param(change(), [suspect(kind="person")], id="who takes turns began long before"),
        pytest.param(change("trend"), [suspect(kind="tool")], id="with a tool a climb may begin"),
        pytest.param(change("single"), [suspect()], id="one piece"),
        pytest.param(change("spread"), [suspect()], id="the spread"),
        pytest.param(change(), [suspect("KH-12")], id="outside the set"),
        pytest.param(change(), [suspect("KH-8")], id="there already"),
        pytest.param(change(), [suspect(), suspect("KH-9", "tool", 0.9)], id="another is as likely"),
        pytest.param(change(ended=10), [suspect()], id="over by then"),
        pytest.param(change(firm=True, ended=13), [suspect()], id="told before as over"),
    ],
)
def test_else_it_begins_where_the_readings_say(found, suspects):
    assert begun_with(found, [found], points(), suspects) is found


def test_of_two_that_began_together_and_of_one_far_less_likely():
    found = change()
    for beside in (suspect("KH-10", "tool", 1.1), suspect("KH-9", "tool", 0.1)):
        assert begun_with(found, [found], points(), [suspect(), beside]).start == 10


def test_readings_that_moved_the_other_way_are_not_overruled():
    found = replace(change(), side="above")
    assert begun_with(found, [found], points(), [suspect()]) is found


def test_what_is_left_out_or_told_apart_is_not_counted():
    values = [*STEPPED[:11], 99.0, *STEPPED[12:]]
    found = change()
    plain = begun_with(found, [found], points(values, left_out={12}), [suspect()])
    alone = change("single", start=12, start_low=12, start_high=12)
    apart = begun_with(found, [found, alone], points(values), [suspect()])
    assert plain.size == apart.size == pytest.approx(np.mean([9.0, 9.1, 9.0, 9.2]) - np.mean(STEPPED[:9]))
