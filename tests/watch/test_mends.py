"""Which closings stand as mends, and what is said of them."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from qc.sayings import Said, What
from qc.watch import Point, SignalResult, mend_words, standing_mends
from qc.watch.mends import Mend, begun_before
from qc.watch.results import Suspect

DAY = date(2026, 5, 4)
SHIFT = SignalResult(
    "shift", "above", 34, "S-034", DAY, 31, "S-031", DAY, 29, 32, 2.0, 1.0, 3.0, 2.0, "mm", 0.004, 9
)


def said(number, what, outcome=""):
    when = datetime(2026, 5, number, tzinfo=UTC)
    return Said(what, "IS", outcome=outcome, id=number, about="ab12", when=when)


@pytest.mark.parametrize(
    ("life", "stand"),
    [
        ([(What.CLOSED, "mended")], [1]),
        ([(What.CLOSED, "stays")], []),
        ([(What.CLOSED, "")], []),  # closed before anybody asked
        ([(What.CLOSED_FALSE, "")], []),
        ([(What.CLOSED, "mended"), (What.REOPENED, "")], []),
        ([(What.CLOSED, "mended"), (What.COMMENT, ""), (What.CLOSED, "mended")], [1, 3]),
        ([(What.CLOSED, "mended"), (What.CLOSED, "stays"), (What.REOPENED, "")], [1]),
    ],
)
def test_a_person_who_reopens_takes_the_last_closing_back(life, stand):
    assert [one.id for one in standing_mends([said(n, *row) for n, row in enumerate(life, 1)])] == stand


def test_it_is_said_how_far_a_mend_is_borne_out():
    points = [Point(n, f"S-{n:03d}", DAY, "", 0.0, 0.0) for n in range(1, 44)]
    mended = replace(SHIFT, mended=41, ended=41)
    assert mend_words(SHIFT, points) == ""
    assert mend_words(mended, points[:40]) == "Mended; no piece made after the mend is measured yet."
    assert mend_words(mended, points) == (
        "Mended; 3 pieces since, from S-041 on, not yet borne out: 3 of 8 that have to be as before."
    )
    more = [Point(n, f"S-{n:03d}", DAY, "", 0.0, 0.0) for n in range(1, 51)]
    assert mend_words(replace(mended, held=True), more).endswith("the mend is borne out by 10 pieces.")
    assert mend_words(mended, more).endswith("not as before either; it is not borne out.")
    assert mend_words(replace(mended, held=False), points).endswith("the mend did not hold.")


def lots_of(words):
    """Points of a series, one a lot."""
    return [Point(n, f"S-{n:03d}", DAY, "", 0.0, 0.0, batch=lot) for n, lot in enumerate(words, 1)]


def lot(name, serial, kind="batch"):
    return Suspect(kind, name, "", serial, DAY, name)


LOTS = ["L-1"] * 30 + ["L-2"] * 10 + ["L-3"] * 8
OLD, NEW = lot("L-2", "S-031"), lot("L-3", "S-041")


@pytest.mark.parametrize(
    ("at_first", "now", "start_low", "left"),
    [
        pytest.param((OLD,), (NEW,), 41, (), id="the next lot shows it as well: neither lot explains it"),
        pytest.param((OLD,), (), 41, (), id="the lot that was mended is used up, and it goes on"),
        pytest.param((lot("M-7", "S-031", "tool"),), (NEW,), 41, (lot("M-7", "S-031", "tool"),), id="a tool"),
        pytest.param((lot("W-9", "S-031"),), (NEW,), 41, (lot("W-9", "S-031"),), id="a lot of another card"),
        pytest.param((OLD,), (NEW,), 44, (NEW,), id="back after pieces that were as before"),
        pytest.param((OLD,), (OLD,), 44, (OLD,), id="back with the old lot"),
    ],
)
def test_what_began_later_or_is_used_up_explains_no_change_that_a_mend_did_not_end(
    at_first, now, start_low, left
):
    first = replace(SHIFT, suspects=at_first)
    mend = Mend(first, 7, DAY, first="S-041")
    start = {"start": 44, "start_low": start_low, "start_high": 45}
    again = replace(SHIFT, raised=46, reopens="S-034", closing=7, suspects=now, **start)
    assert begun_before(again, [mend], lots_of(LOTS)).suspects == left
