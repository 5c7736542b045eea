import json

import polars as pl
import pytest

from qc.plan import EVENT, READING
from qc.store.fingerprint import EVENT_MEANING, READING_MEANING, fingerprints, held_fingerprints
from qc.store.frames import stored, tidy


def marks(frame):
    return fingerprints(stored(tidy(frame, READING), READING), READING_MEANING)


def test_meaning_is_made_of_known_columns():
    assert set(READING_MEANING) <= set(READING)
    assert set(EVENT_MEANING) <= set(EVENT)
    left_out = set(READING) - set(READING_MEANING)
    assert left_out == {
        *("offset_min", "entered_at", "model", "text", "air_c", "note", "sheet", "tab", "row", "column")
    }


def test_sixteen_bytes_that_begin_with_the_day(make):
    (mark,) = marks(make.readings(1))
    assert len(mark) == 16
    assert int.from_bytes(mark[:3], "big") == make.day.toordinal()
    assert marks(make.readings(1, day=pl.lit(None, pl.Date)))[0][:3] == b"\0\0\0"


def test_rows_of_one_meaning_are_one(make):
    one = make.readings(4)
    assert marks(one) == marks(one.with_columns(text=pl.lit("x"), row=pl.lit(1), model=pl.lit("bass")))
    assert len(set(marks(make.readings(5000)))) == 5000


def test_zero_has_no_sign(make):
    assert marks(make.readings(1, value=0.0)) == marks(make.readings(1, value=-0.0))


def test_neighbouring_texts_do_not_run_together(make):
    assert marks(make.readings(1, gauge="ab", tool="c")) != marks(make.readings(1, gauge="a", tool="bc"))


def test_empty_and_missing_are_the_same(make):
    assert marks(make.readings(1, tool="")) == marks(make.readings(1))


def test_a_fingerprint_does_not_change_from_release_to_release(make):
    """Fingerprints are stored: a change here would take every known row for a new one."""
    assert marks(make.readings(1))[0].hex() == "0b49a6f4806aa73d8a9ffb2299745ba5"


@pytest.mark.parametrize(
    "other, same",
    [
        ({"serial": "K1", "text": "13,9x", "row": 9, "sheet": "bb", "tab": "2", "cell": "D9"}, True),
        ({"text": "13,9x", "serial": "K1", "tool": "", "batch": None}, True),
        ({"serial": "K2", "text": "13,9x"}, False),
        ({"serial": "K1", "text": "13,9y"}, False),
    ],
)
def test_held_rows_are_compared_as_typed(other, same):
    first = held_fingerprints(["reading"], [json.dumps({"serial": "K1", "text": "13,9x", "row": 5})])
    assert (held_fingerprints(["reading"], [json.dumps(other)]) == first) is same


def test_held_rows_of_two_tables_differ_and_the_day_stands_in_front(make):
    typed = json.dumps({"day": "2026-05-14", "text": "x"})
    one, two = held_fingerprints(["reading", "event"], [typed, typed])
    assert one != two
    assert int.from_bytes(one[:3], "big") == make.day.toordinal()
    assert held_fingerprints([None], [""])[0][:3] == b"\0\0\0"
