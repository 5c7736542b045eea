"""Rows for the store tests, which run on both databases."""

import json
import re
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime

import polars as pl
import pytest

from qc.store import NewSheet, open_store, sheet_hash
from qc.store.tables import metadata

WHEN = datetime(2026, 5, 14, 16, 30, 15, 123456, tzinfo=UTC)
DAY = date(2026, 5, 14)


def as_column(value):
    """Let a test give a plain value, or an expression where the type matters."""
    if isinstance(value, pl.Expr):
        return value
    return pl.lit(value, pl.Int64 if type(value) is int else None)


class Make:
    """Builds frames and sheets as ingest hands them over."""

    when = WHEN
    day = DAY

    @staticmethod
    def readings(n=6, first=0, **columns):
        numbers = range(first, first + n)
        return pl.DataFrame(
            {
                "measured_at": [datetime(2026, 5, 14, tzinfo=UTC)] * n,
                "offset_min": [120] * n,
                "has_time": [False] * n,
                "day": [DAY] * n,
                "serial": [f"TB-{i // 6:04d}" for i in numbers],
                "model": ["tenor"] * n,
                "stage": ["slide"] * n,
                "characteristic": ["inner_od"] * n,
                "leg": [("upper", "lower")[i % 2] for i in numbers],
                "station": [("mouth", "middle", "crook")[i % 3] for i in numbers],
                "direction": ["90"] * n,
                "repeat": [1] * n,
                "value": [13.9 + i * 1e-6 for i in numbers],
                "unit": ["mm"] * n,
                "text": [f"{13.9 + i * 1e-6:.6f}" for i in numbers],
                "person": ["AB"] * n,
                "gauge": ["MIC-1"] * n,
                "air_c": [21.5] * n,
                "row": [i + 8 for i in numbers],
                "column": ["D"] * n,
            }
        ).with_columns(**{name: as_column(value) for name, value in columns.items()})

    @staticmethod
    def events(n=1, kind="shipped", **columns):
        frame = pl.DataFrame(
            {
                "kind": [kind] * n,
                "day": [DAY] * n,
                "serial": [f"TB-{i:04d}" for i in range(n)],
                "model": ["tenor"] * n,
                "row": list(range(2, n + 2)),
            }
        )
        return frame.with_columns(**{name: as_column(value) for name, value in columns.items()})

    @staticmethod
    def held(n=1, reason="not-a-number", table="reading", text="13,9x", first=0):
        why = json.dumps(
            [{"id": reason, "sentence": "No number.", "mend": "Type it anew.", "proposal": None}]
        )
        typed = [
            json.dumps({"serial": f"TB-{i:04d}", "text": text, "day": "2026-05-14", "row": i})
            for i in range(first, first + n)
        ]
        return pl.DataFrame(
            {
                "tab": [""] * n,
                "row": [100 + i for i in range(first, first + n)],
                "column": ["D"] * n,
                "cell": [f"D{100 + i}" for i in range(first, first + n)],
                "table": [table] * n,
                "text": [text] * n,
                "reasons": [why] * n,
                "proposal": [""] * n,
                "typed": typed,
            }
        )

    @staticmethod
    def sheet(name="slide.csv", data=None, card="slide-card", **frames):
        data = name.encode() if data is None else data
        return NewSheet(name, sheet_hash(data), data, card, **frames)


@pytest.fixture(scope="session")
def make():
    return Make


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request):
    """None for SQLite in the folder, else the address of a database with nothing in it."""
    if request.param == "sqlite":
        yield None
        return
    address = request.getfixturevalue("own_database")
    yield address
    emptied = "; ".join(f'DELETE FROM "{name}"' for name in metadata.tables)
    guards_off = "SET lock_timeout = '10s'; SET session_replication_role = replica"
    request.getfixturevalue("postgresql").run(f"{guards_off}; {emptied}", address=address)


@pytest.fixture(scope="session")
def own_database(postgresql, migrated):
    """Return the address of this process's database, emptied after each test: making one takes longer."""
    return postgresql.make(migrated)


@pytest.fixture(params=["sqlite", "postgresql"])
def new_database_url(request):
    """As `database_url`, before the first migration."""
    yield None if request.param == "sqlite" else request.getfixturevalue("empty_database")


def forge(store, *statements):
    """Change kept rows behind the program's back, on either database: guards taken away and put back."""
    if not store._database.sqlite:
        with store._database.writing() as conn:
            conn.exec_driver_sql("SET LOCAL session_replication_role = replica")  # no trigger fires
            for statement in statements:
                conn.exec_driver_sql(re.sub(r"x'(\w+)'", r"'\\x\1'::bytea", statement))
        return
    with closing(sqlite3.connect(store.folder / "qc.db", isolation_level=None)) as conn:
        guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for statement in [*(f"DROP TRIGGER {name}" for name, _ in guards), *statements]:
            conn.execute(statement)
        for _, guard in guards:
            conn.execute(guard)


@pytest.fixture(name="forge", scope="session")
def forging():
    return forge


@pytest.fixture
def store(tmp_path, database_url):
    with open_store(tmp_path / "shop", url=database_url) as opened:
        yield opened
