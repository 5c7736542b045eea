"""Two boards over one workshop on a server: what one takes in the other shows at once, and nothing twice."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, date, datetime

import polars as pl
import pytest

from qc.jobs.board.data import StoreBoardData
from qc.jobs.workshop import keep_address, open_workshop
from qc.store import NewSheet, sheet_hash

WHEN = datetime(2026, 5, 14, 9, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path, empty_database):
    """A new workshop whose rows are on the server."""
    (tmp_path / "shop").mkdir()
    keep_address(tmp_path / "shop", empty_database)
    open_workshop(tmp_path / "shop", create=True).store.close()
    return tmp_path / "shop"


def card(name, entered_as=""):
    rows = pl.DataFrame(
        {"serial": [name], "day": [date(2026, 5, 14)], "stage": ["slide"], "value": [1.0], "unit": ["N"]}
    )
    return NewSheet(f"{name}.csv", sheet_hash(name.encode()), name.encode(), "c", rows, entered_as=entered_as)


def test_what_one_board_takes_in_the_other_shows_at_once(shop):
    one, other = StoreBoardData(shop), StoreBoardData(shop)
    with closing(one._workshop.store), closing(other._workshop.store):
        assert one.sheets() == other.sheets() == ()
        one._workshop.store.add_sheets([card("TB-1")], who="AB", when=WHEN)
        assert [sheet.file for sheet in other.sheets()] == ["TB-1.csv"] == [s.file for s in one.sheets()]
        other._workshop.store.add_session("digest", "AB", "pin", when=WHEN)
        assert one._workshop.store.session("digest").code == "AB"


def test_a_card_sent_to_two_boards_at_once_is_stored_once(shop):
    with closing(open_workshop(shop).store) as one, closing(open_workshop(shop).store) as other:

        def enter(store, name):
            return store.add_sheets([card(name, entered_as="tablet-7")], who="AB", when=WHEN)

        with ThreadPoolExecutor(2) as both:
            list(both.map(enter, (one, other), ("TB-1", "TB-1 again")))
        assert len(one.sheets()) == 1 and one.readings().height == 1
        assert one.verify() == []
