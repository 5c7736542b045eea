"""What the fuzzers found once stays found: each case goes through its target again and must be answered.

`found` holds a folder for each target, of `fault_targets.TARGETS`, and in it the bytes as they were found.
"""

import sqlite3
from pathlib import Path

import pytest
from fault_kills import TRACEBACK
from fault_server import copied
from fault_targets import TARGETS

FOUND = sorted(path for path in (Path(__file__).parent / "found").glob("*/*"))


@pytest.mark.slow
@pytest.mark.parametrize("case", FOUND, ids=lambda path: f"{path.parent.name}, {path.name}")
def test_a_case_once_found(killing, case, tmp_path):
    shop = copied(killing.shop, tmp_path / "shop")
    words = TARGETS[case.parent.name].words(tmp_path, shop, case.read_bytes())
    run = killing.driver.run(*words)
    assert run.code in (0, 1, 2)
    assert "fault of this program" not in run.err
    assert TRACEBACK not in run.err


@pytest.mark.slow
@pytest.mark.parametrize("number", ["#", "0000", b"\x00\x07"])
def test_a_store_that_does_not_know_how_its_tables_are_made(killing, tmp_path, number):
    """Verify was fuzzed with bytes of the file changed; these name a migration that never was."""
    shop = copied(killing.shop, tmp_path / "shop")
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute("UPDATE alembic_version SET version_num = ?", (number,))
    conn.close()
    for words in (["verify"], ["status"]):
        run = killing.driver.run(*words, "--workshop", str(shop))
        assert run.code == 1
        assert "is damaged" in run.err and "backup" in run.err


@pytest.mark.slow
@pytest.mark.parametrize("statement", ["DELETE FROM alembic_version", "DROP TABLE alembic_version"])
def test_a_store_whose_tables_have_lost_their_number(killing, tmp_path, statement):
    """Every row of a store was taken away in turn: this one was told as a fault of the machine."""
    shop = copied(killing.shop, tmp_path / "shop")
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute(statement)
    conn.close()
    for words in (["verify"], ["status"]):
        run = killing.driver.run(*words, "--workshop", str(shop))
        assert run.code == 1
        assert "is damaged" in run.err and "backup" in run.err


@pytest.mark.slow
def test_a_store_whose_own_description_is_no_text(killing, tmp_path):
    """Verify was fuzzed with bytes of the file changed; these name a column in what is no UTF-8."""
    shop = copied(killing.shop, tmp_path / "shop")
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    conn.close()
    data = (shop / "qc.db").read_bytes()
    at = data.index(b"CREATE TABLE entry (")
    (shop / "qc.db").write_bytes(data[: at + 7] + b"\xaa" + data[at + 8 :])
    for words in (["verify"], ["status"]):
        run = killing.driver.run(*words, "--workshop", str(shop))
        assert run.code == 1
        assert "is damaged" in run.err and "backup" in run.err
