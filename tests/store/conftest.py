"""Rows for the store tests. Set QC_TEST_DATABASE to a PostgreSQL address to run them on that as well."""

import json
import os
import uuid
from datetime import UTC, date, datetime

import polars as pl
import pytest

from qc.store import NewSheet, open_store, sheet_hash

WHEN = datetime(2026, 5, 14, 16, 30, 15, 123456, tzinfo=UTC)
DAY = date(2026, 5, 14)
DATABASES = ["sqlite", *(["postgresql"] if "QC_TEST_DATABASE" in os.environ else [])]


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


@pytest.fixture(params=DATABASES)
def database_url(request):
    """None for SQLite in the folder, else a schema of its own on the server."""
    if request.param == "sqlite":
        yield None
        return
    import psycopg

    address = os.environ["QC_TEST_DATABASE"]
    schema = f"qc_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(address, autocommit=True) as conn:
        conn.execute(f"CREATE SCHEMA {schema}")
    yield f"{address}?options=-csearch_path%3D{schema}"
    with psycopg.connect(address, autocommit=True) as conn:
        conn.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture
def store(tmp_path, database_url):
    with open_store(tmp_path / "shop", url=database_url) as opened:
        yield opened
