"""Many rows at once from a server: as Arrow they are what they are one by one, of the very same state."""

import sys
from contextlib import ExitStack

import pytest
from polars.testing import assert_frame_equal

from qc.store import StoreUnavailable, open_store
from qc.store.postgresql import bulk
from qc.store.tables import state

ODD = "50% 'mid' \"x\" :name %s %(y)s \\ ü"


@pytest.fixture
def asked(monkeypatch):
    """Count the questions that are answered as Arrow; every one may be, however few rows it has."""
    found, plain = [], bulk.fetch_as_arrow
    monkeypatch.setattr(bulk, "MANY", 0)

    def counted(*given):
        found.append(plain(*given))
        return found[-1]

    monkeypatch.setattr("qc.store.postgresql.fetch_as_arrow", counted, raising=False)
    return found


@pytest.fixture
def filled(store, make):
    sheet = make.sheet(readings=make.readings(9, stage=ODD, note=None), events=make.events(2))
    other = make.sheet("b.csv", readings=make.readings(9, first=40, text="", air_c=None, tool_count=3))
    store.add_sheets([sheet, other], who="AB", when=make.when)
    return store


BOTH = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)


@BOTH
def test_arrow_gives_what_single_rows_give(filled, make, asked, monkeypatch):
    questions = {
        "all": lambda: filled.readings(),
        "stage": lambda: filled.readings(stage=ODD, since=make.day),
        "figures": lambda: filled.figures("slide", ["inner_od"], until=make.day),
        "none": lambda: filled.readings(stage="no such stage"),
        "news": lambda: filled.news().readings.sort("serial"),
    }
    by_arrow = {name: question() for name, question in questions.items()}
    assert len(asked) == 9 and all(one is not None for one in asked)
    monkeypatch.setattr(bulk, "MANY", 10**9)
    for name, question in questions.items():
        assert_frame_equal(question(), by_arrow[name])
    assert by_arrow["all"].height == 18 and by_arrow["stage"].height == 9 and by_arrow["none"].is_empty()
    monkeypatch.setattr(bulk, "MANY", 0)
    monkeypatch.setitem(sys.modules, "adbc_driver_postgresql", None)
    assert_frame_equal(filled.readings(), by_arrow["all"])
    assert asked[-1] is None


@BOTH
def test_the_second_connection_sees_the_state_of_the_first(filled, make, asked, database_url, tmp_path):
    with ExitStack() as block:
        block.enter_context(filled._database.steady())
        assert filled.readings().height == 18
        with open_store(tmp_path / "shop", url=database_url) as other:
            late = make.sheet("c.csv", readings=make.readings(3, first=90))
            other.add_sheets([late], who="CD", when=make.when)
        assert filled.readings().height == 18 and asked[-1] is not None
    assert filled.readings().height == 21


@BOTH
def test_what_is_being_written_is_read_by_who_writes_it(filled, make, asked):
    with filled.writing():
        filled.add_sheets(
            [make.sheet("c.csv", readings=make.readings(3, first=90))], who="CD", when=make.when
        )
        assert filled.readings().height == 21
        assert asked[-1] is None


@BOTH
def test_a_refused_row_is_told_in_the_server_s_words(filled):
    with pytest.raises(StoreUnavailable, match="answered: .*null value in column"):
        with filled._database.writing() as conn:
            bulk.put_rows(conn, state, [("a", None)])
