"""Only Python's own sqlite3 may ever open the store.

A second copy of SQLite in one process drops the first one's file locks when it closes the file; two such
writers damaged a database in a trial, the standard driver alone kept every row. (SQLite documentation, "How
To Corrupt An SQLite Database File", section 2.2.)
"""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CARRIERS = (
    "duckdb",
    "adbc_driver_sqlite",
    "adbc_driver_manager",
    "connectorx",
    "apsw",
    "pysqlite3",
    "sqlcipher3",
    "pysqlcipher3",
    "libsql",
    "libsql_experimental",
    "turso",
    "chdb",
    "datafusion",
    "ibis",
    "arrow_odbc",
)
READERS = {
    "read_database_uri",
    "read_database",
    "write_database",
    "read_sql",
    "read_sql_query",
    "read_sql_table",
}


def breaches(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        elif isinstance(node, ast.Attribute) and node.attr in READERS:
            names = [node.attr]
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith(("import_module", "__import__")):
            names = [arg.value for arg in node.args if isinstance(arg, ast.Constant)]
        else:
            continue
        yield from (n for n in names if str(n).split(".")[0] in CARRIERS or n in READERS)


def sources():
    for package in ("qc", "dashboard", "sample_measurements"):
        yield from sorted((ROOT / package).rglob("*.py"))


def test_nothing_that_carries_its_own_sqlite_is_imported():
    found = {str(p.relative_to(ROOT)): list(breaches(ast.parse(p.read_text("utf-8")))) for p in sources()}
    assert {name: hits for name, hits in found.items() if hits} == {}


@pytest.mark.parametrize(
    "line",
    [
        "import duckdb",
        "from adbc_driver_sqlite import dbapi",
        "def f():\n    import connectorx as cx",
        "pl.read_database_uri(q, uri)",
        "importlib.import_module('apsw')",
    ],
)
def test_the_check_finds_what_it_bans(line):
    assert list(breaches(ast.parse(line)))


def test_a_process_that_reads_and_writes_holds_one_sqlite(tmp_path):
    code = """
import sys
from datetime import UTC, datetime
from pathlib import Path
import polars as pl
from qc.store import NewSheet, open_store, sheet_hash
with open_store(Path("shop")) as store:
    rows = pl.DataFrame({"serial": ["a"], "value": [1.0]})
    store.add_sheets([NewSheet("a", sheet_hash(b"a"), b"a", "c", rows)], who="AB", when=datetime.now(UTC))
    assert store.readings().height == 1
loaded = {name.split(".")[0] for name in sys.modules}
print(sorted(loaded & set(sys.argv[1:])))
maps = Path("/proc/self/maps")
lines = maps.read_text().splitlines() if maps.exists() else []
libraries = {line.split()[-1] for line in lines if "sqlite" in line}
print(len({name for name in libraries if ".so" in name and "libsqlite3" in name}))
"""
    ran = subprocess.run(
        [sys.executable, "-c", code, *CARRIERS],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(ROOT)},
    )
    modules, libraries = ran.stdout.splitlines()
    assert modules == "[]"
    assert int(libraries) <= 1
