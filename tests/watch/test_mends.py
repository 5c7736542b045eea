"""Which closings stand as mends, and what is said of them."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from qc.sayings import Said, What
from qc.watch import Point, SignalResult, mend_words, standing_mends

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


def reopened(points, first, again):
    """Return the finding that two pieces after a failed mend raised, beside that of the ten before it."""
    from qc.watch.mends import Mend, begun_before

    series = points([0.0] * 30 + [2.0] * 12)
    told = replace(SHIFT, **dict(zip(("size", "size_low", "size_high"), first, strict=True)))
    mend = Mend(told, 7, series[39].day, first="S-041")
    raised = {"raised": 42, "raised_serial": "S-042", "start": 41, "start_serial": "S-041"}
    sizes = dict(zip(("size", "size_low", "size_high"), again, strict=True))
    back = replace(
        SHIFT, **raised, start_low=41, start_high=41, reopens="S-034", closing=7, pieces=2, **sizes
    )
    return begun_before(back, [mend], series)


def test_a_change_that_a_mend_did_not_end_is_measured_by_its_pieces_before_and_after(points):
    told = reopened(points, (0.090, 0.075, 0.105), (0.121, 0.001, 1.015))
    assert (told.pieces, told.since_serial) == (12, "S-031")
    # two estimates of halves 0.015 and 0.507: weights 4444 and 3.89, by hand
    assert told.size == pytest.approx(0.09003, abs=1e-5)
    assert (told.size_low, told.size_high) == pytest.approx((0.07503, 0.10502), abs=1e-5)


def test_where_the_two_do_not_overlap_the_newer_stands(points):
    told = reopened(points, (2.0, 1.5, 2.5), (4.0, 3.0, 5.0))
    assert (told.size, told.size_low, told.size_high) == (4.0, 3.0, 5.0)
