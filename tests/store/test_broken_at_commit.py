"""A line that breaks just while a server makes something durable: the server is asked what became of it."""

import psycopg
import pytest
from sqlalchemy import create_engine

from qc.jobs.judging import NOTHING_STORED, ending
from qc.store import StoreInDoubt, StoreUnavailable
from qc.store.postgresql import durable

pytestmark = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
BROKEN = "server closed the connection unexpectedly"


@pytest.fixture
def breaks(monkeypatch):
    """Let the next commit's line break: after the server did it, or before it heard of it."""

    def once(*, heard, away=False, left_open=False):
        commit = psycopg.Connection.commit

        def broken(self):
            monkeypatch.setattr(psycopg.Connection, "commit", commit)
            if heard:
                commit(self)
            if left_open:  # the server has not noticed yet that nobody is there
                other = psycopg.connect(self.info.dsn)
                other.pgconn, self.pgconn = self.pgconn, other.pgconn
                lost.append(other)
            self.close()
            if away:
                monkeypatch.setattr(psycopg, "connect", refused)
            raise psycopg.OperationalError(BROKEN)

        monkeypatch.setattr(psycopg.Connection, "commit", broken)

    def refused(*_, **__):
        raise psycopg.OperationalError("connection refused")

    lost = []
    monkeypatch.setattr(durable, "LISTENS_S", 0.3)
    yield once
    for one in lost:
        one.close()


def test_what_the_server_had_made_durable_counts_as_stored(store, make, breaks):
    breaks(heard=True)
    assert (
        store.add_sheets([make.sheet(readings=make.readings(3))], who="AB", when=make.when)[0].accepted == 3
    )
    assert store.readings().height == 3
    assert store.verify() == []


@pytest.mark.parametrize("left_open", [False, True], ids=["noticed", "not noticed yet"])
def test_what_it_never_heard_of_is_not_stored_and_that_is_said(store, make, breaks, left_open):
    breaks(heard=False, left_open=left_open)
    sheet = make.sheet(readings=make.readings(3))
    with pytest.raises(StoreUnavailable, match="does not answer") as told, ending(NOTHING_STORED):
        store.add_sheets([sheet], who="AB", when=make.when)
    assert str(told.value).endswith(NOTHING_STORED)
    assert store.readings().is_empty() and store.entries() == []
    assert store.add_sheets([sheet], who="AB", when=make.when)[0].accepted == 3


@pytest.mark.parametrize("heard", [True, False])
def test_where_it_stays_away_nobody_claims_to_know(store, make, breaks, monkeypatch, heard):
    sheet = make.sheet(readings=make.readings(3))
    with monkeypatch.context(), pytest.raises(StoreInDoubt) as told, ending(NOTHING_STORED):
        breaks(heard=heard, away=True)
        store.add_sheets([sheet], who="AB", when=make.when)
    assert "cannot be told" in str(told.value) and NOTHING_STORED not in str(told.value)


def test_done_once_more_it_comes_in_once(store, make, breaks, monkeypatch):
    sheet = make.sheet(readings=make.readings(3))
    connect = psycopg.connect
    breaks(heard=True, away=True)
    with pytest.raises(StoreInDoubt):
        store.add_sheets([sheet], who="AB", when=make.when)
    monkeypatch.setattr(psycopg, "connect", connect)
    assert store.add_sheets([sheet], who="AB", when=make.when)[0].accepted == 0
    assert store.readings().height == 3


def test_a_transaction_is_asked_for_by_its_own_number(database_url):
    engine = create_engine(database_url.replace("postgresql:", "postgresql+psycopg:"))
    ended = {}
    for how in ("commit", "rollback"):
        with engine.connect() as conn:
            number = conn.exec_driver_sql("SELECT pg_current_xact_id()::text").scalar_one()
            getattr(conn, how)()
        ended[how] = durable._ended(engine, number)
    engine.dispose()
    assert ended == {"commit": "committed", "rollback": "aborted"}
