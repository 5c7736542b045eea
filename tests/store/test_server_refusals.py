"""What a server answers when it does not do as it is told: a sentence with what to do, and nothing half."""

import pytest

from qc.store import StoreError, StoreUnavailable, open_store
from qc.store.postgresql import said_by_server

ON_A_SERVER = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (lambda a: a.replace("host=/", "host=/nowhere/"), "does not answer .* Does it run"),
        (lambda a: a.replace("/postgres?", "/no_such?"), "There is no database .* have it made"),
        (lambda a: a.replace("//tests@", "//stranger@"), "does not let us in"),
    ],
    ids=["no server", "no database", "no such user"],
)
def test_an_address_that_leads_nowhere_is_said(postgresql, tmp_path, changed, said):
    with pytest.raises(StoreUnavailable, match=said):
        open_store(tmp_path / "shop", url=changed(postgresql.address))


def test_no_message_names_a_password(postgresql, tmp_path):
    address = postgresql.address.replace("//tests@", "//tests:four-words@").replace("host=/", "host=/no/")
    with pytest.raises(StoreUnavailable) as told:
        open_store(tmp_path / "shop", url=address)
    assert "four-words" not in str(told.value) and "postgresql://tests:***@" in str(told.value)


def test_a_database_without_all_letters_is_refused_before_anything_is_made(postgresql, tmp_path):
    name = "qc_latin"
    postgresql.run(
        f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'LATIN1' LOCALE_PROVIDER libc LOCALE 'C'"
    )
    address = postgresql.address.replace("/postgres?", f"/{name}?")
    with pytest.raises(StoreError, match="keeps its texts as LATIN1, which lacks letters"):
        open_store(tmp_path / "shop", url=address)
    assert postgresql.run("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'", address=address) == [
        (0,)
    ]
    postgresql.drop(address)


@ON_A_SERVER
def test_a_writer_waits_for_another_only_so_long_and_a_reader_not_at_all(store, database_url, make, tmp_path):
    with open_store(tmp_path / "shop", url=database_url) as other, other.writing():
        with pytest.raises(StoreUnavailable, match="keeps .* locked. Let it finish"), store.impatient(0.1):
            store.set_state("a", 1)
        assert store.readings().is_empty()
    store.set_state("a", 1)


@ON_A_SERVER
def test_a_connection_cut_in_the_middle_keeps_nothing_half_and_the_next_one_works(store, make, postgresql):
    sheet = make.sheet(readings=make.readings(3))
    with pytest.raises(StoreUnavailable, match="was stopped|does not answer"), store.writing():
        store.add_sheets([sheet], who="AB", when=make.when)
        with store._database.writing() as conn:
            own = conn.exec_driver_sql("SELECT pg_backend_pid()").scalar()
        postgresql.run(f"SELECT pg_terminate_backend({own}, 5000)")
        store.set_state("a", 1)
    assert store.readings().is_empty() and store.entries() == []
    assert store.add_sheets([sheet], who="AB", when=make.when)[0].accepted == 3
    assert store.verify() == []


@ON_A_SERVER
def test_a_server_that_takes_nothing_new_still_answers(store, make, database_url, tmp_path):
    store.add_sheets([make.sheet(readings=make.readings(3))], who="AB", when=make.when)
    still = f"{database_url}&options=-cdefault_transaction_read_only%3Don"
    with open_store(tmp_path / "shop", url=still) as copy:
        assert copy.readings().height == 3
        with pytest.raises(StoreUnavailable, match="takes nothing that is new"):
            copy.set_state("a", 1)


@ON_A_SERVER
def test_words_are_in_order_of_their_bytes_whatever_language_the_server_speaks(store, make):
    """The server of the tests speaks English: there a comes before B, and signs count for nothing."""
    keys = ["a/x/y", "B/x/y", "a-b/x/y", "ab/x/y", "Ä/x/y", "_/x/y"]
    found = [{"key": key, "signals": [{"kind": "shift", "raised_serial": "TB-1"}]} for key in keys]
    store.save_verdicts(found, as_of=make.day)
    assert [one.series for one in store.verdicts()] == sorted(keys)
    assert [one.series for one in store.told()] == sorted(keys)
    assert [one.id for one in store.signals()] == sorted(one.id for one in store.signals())
    with store._database.reading() as conn:
        spoken = conn.exec_driver_sql("SELECT series FROM verdict ORDER BY series").scalars().all()
    assert spoken != sorted(keys)


def test_what_is_nothing_of_its_own_is_left_to_others():
    assert said_by_server("postgresql://host/shop", "22012", "division by zero") is None
    assert "does not answer (gone away)" in said_by_server("postgresql://host/shop", "08006", "gone\naway")
