"""Large answers as JSON: the same text as at once, and never all of it in memory."""

import json
import tracemalloc
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import plain
from qc.errors import UsageError

LEAVES = (
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
)
VALUES = st.recursive(
    LEAVES,
    lambda own: st.lists(own, max_size=9) | st.dictionaries(st.text() | st.integers(), own),
    max_leaves=30,
)


@given(VALUES)
def test_the_parts_together_are_the_text_of_the_encoder(value):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plain, "AT_ONCE", 3)
        assert "".join(plain.json_parts(value)) == json.dumps(value, ensure_ascii=False, allow_nan=False)


def test_what_is_no_number_is_refused_as_ever():
    with pytest.raises(ValueError, match="Out of range float"):
        list(plain.json_parts({"values": [1.0, float("nan")]}))


@pytest.mark.slow
def test_a_long_list_is_never_there_as_text_at_once(rng):
    value = {"values": rng.normal(size=300_000).tolist()}

    def peak(write):
        tracemalloc.start()
        try:
            write()
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    whole = peak(lambda: json.dumps(value))
    parts = peak(lambda: sum(len(part) for part in plain.json_parts(value)))
    assert parts < whole / 3  # a thirtieth of the list at once


# --- arguments as notebooks hold them


@plain.as_meant
def told(
    where: Path, day: date | None = None, *, step: float | None = None, pair: tuple[float, float] = (0, 0)
):
    return where, day, step, pair


# the annotations as modules of the program have them: text
told.__wrapped__.__annotations__ = {
    "where": "Path",
    "day": "date | None",
    "step": "float | None",
    "pair": "tuple[float, float]",
}


@pytest.mark.parametrize(
    "day", ["2026-03-30", date(2026, 3, 30), datetime(2026, 3, 30, 12), pd.Timestamp("2026-03-30 12:00")]
)
def test_a_day_may_be_text_or_a_moment(day):
    assert told("shop", day)[:2] == told(Path("shop"), day=day)[:2] == (Path("shop"), date(2026, 3, 30))


def test_a_day_of_numpy_is_one_too():
    assert told("shop", np.datetime64("2026-03-30T12"))[1] == date(2026, 3, 30)


@pytest.mark.parametrize("step", [Decimal("0.5"), Fraction(1, 2), np.float32(0.5), np.float64(0.5), 0.5])
def test_a_number_is_pythons_own_inside(step):
    got = told("shop", step=step, pair=(np.int64(1), step))
    assert got[2:] == (0.5, (1, 0.5))
    assert [type(one) for one in (got[2], *got[3])] == [float, int, float]
    json.dumps(got[2:])


def test_what_was_left_out_stays_so():
    assert told(Path("shop"), None, step=None) == (Path("shop"), None, None, (0, 0))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"day": "yesterday"}, "day 'yesterday' is not a day. Write it as"),
        ({"step": "half"}, "step is 'half'"),
    ],
)
def test_text_that_is_neither_is_refused_by_name(asked, said):
    with pytest.raises(UsageError, match=said):
        told("shop", **asked)
