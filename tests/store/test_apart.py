"""Workshops in one database are kept apart: what the how-to says is typed, and then everything is tried."""

import re
from pathlib import Path

import psycopg
import pytest

from qc.store import StoreUnavailable, open_store

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "put-workshops-on-postgresql.md"


@pytest.fixture(scope="module")
def group(postgresql, tmp_path_factory, make):
    """Two workshops in a database laid out by the very lines of the how-to; returns their addresses."""
    database, rooms = re.findall(r"```sql\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    postgresql.run("DROP DATABASE IF EXISTS workshops WITH (FORCE)")
    before, after = database.split("\\connect workshops\n")
    postgresql.run(*statements(before))
    inside = postgresql.address.replace("/postgres?", "/workshops?")
    postgresql.run(*statements(after), address=inside)
    addresses = {}
    for name in ("sedge_mill", "alder_forge"):
        postgresql.run(f"DROP ROLE IF EXISTS {name}")
        postgresql.run(*statements(rooms.replace("sedge_mill", name)), address=inside)
        addresses[name] = inside.replace("//tests@", f"//{name}@")
        with open_store(tmp_path_factory.mktemp(name) / "shop", url=addresses[name]) as store:
            sheet = make.sheet(f"{name}.csv", readings=make.readings(3, person=name))
            store.add_sheets([sheet], who=name, when=make.when)
    yield addresses
    postgresql.run("DROP DATABASE workshops WITH (FORCE)", "DROP ROLE sedge_mill", "DROP ROLE alder_forge")


def statements(text):
    return [one.strip() for one in text.split(";\n") if one.strip()]


def test_each_sees_its_own_rows_and_its_own_chain(group, tmp_path):
    for name, address in group.items():
        with open_store(tmp_path / name, url=address) as store:
            assert store.readings()["person"].unique().to_list() == [name]
            assert [entry.id for entry in store.entries()] == [1]
            assert [sentence for sentence in store.verify() if "sheet" not in sentence] == []


OTHERS = [
    "SELECT * FROM alder_forge.reading",
    "SELECT count(*) FROM alder_forge.all_readings",
    "SELECT name, pin FROM alder_forge.person",
    "COPY alder_forge.origin TO STDOUT",
    "SET ROLE alder_forge",
    "SET SESSION AUTHORIZATION alder_forge",
    "INSERT INTO alder_forge.state (key, value) VALUES ('judged up to', '{}')",
    "UPDATE alder_forge.verdict SET as_of = '2026-01-01'",
    "DELETE FROM alder_forge.signal",
    "TRUNCATE alder_forge.state",
    "LOCK TABLE alder_forge.entry IN ACCESS EXCLUSIVE MODE",
    "CREATE TRIGGER mine BEFORE INSERT ON alder_forge.reading FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "ALTER TABLE alder_forge.reading DISABLE TRIGGER ALL",
    "CREATE RULE mine AS ON INSERT TO alder_forge.reading DO INSTEAD NOTHING",
    "CREATE TABLE alder_forge.mine (x int)",
    "CREATE VIEW mine AS SELECT * FROM alder_forge.reading; SELECT * FROM mine",
    "CREATE TABLE mine (x bigint REFERENCES alder_forge.reading (id))",
    "DROP SCHEMA alder_forge CASCADE",
    "ALTER SCHEMA alder_forge OWNER TO sedge_mill",
    "GRANT USAGE ON SCHEMA alder_forge TO sedge_mill",
    "ALTER ROLE sedge_mill SUPERUSER",
    "ALTER ROLE alder_forge PASSWORD 'mine'",
    "CREATE TABLE public.reading (x int)",
    "SELECT pg_read_file('PG_VERSION')",
    "COPY (SELECT 1) TO PROGRAM 'id'",
    "CREATE EXTENSION dblink",
    "SET session_replication_role = replica",
]
"""What a workshop's role might try at its neighbour, or to become more than it is."""


@pytest.mark.parametrize("tried", OTHERS)
def test_a_workshop_neither_reads_nor_writes_another(group, tried):
    with psycopg.connect(group["sedge_mill"]) as conn:
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            for statement in tried.split("; "):
                conn.execute(statement)
        conn.rollback()


def test_nothing_of_another_shows_in_what_the_server_tells_of_itself(group):
    with psycopg.connect(group["sedge_mill"]) as conn:
        told = conn.execute("SELECT count(*) FROM pg_stats WHERE schemaname = 'alder_forge'").fetchone()
        columns = "SELECT count(*) FROM information_schema.columns WHERE table_schema = 'alder_forge'"
        assert told == conn.execute(columns).fetchone() == (0,)
        conn.execute("SET search_path = alder_forge")
        with pytest.raises(psycopg.errors.UndefinedTable):
            conn.execute("SELECT * FROM reading")
        conn.rollback()


def test_an_address_with_the_schema_of_another_is_refused_in_words(group, tmp_path):
    crossed = f"{group['sedge_mill']}&options=-csearch_path%3Dalder_forge"
    with pytest.raises(StoreUnavailable, match=r"lacks a right|has no schema"):
        open_store(tmp_path / "shop", url=crossed)


def test_writers_of_two_workshops_do_not_wait_for_each_other(group, tmp_path, make):
    with open_store(tmp_path / "a", url=group["sedge_mill"]) as one:
        with open_store(tmp_path / "b", url=group["alder_forge"]) as other, one.writing():
            with other.impatient(0.2):
                other.set_state("mine", 1)
        assert one.state("mine") is None
