"""Months that were closed: which files were told as their report, each by its hash."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, insert, select

from qc.store.chain import append_entry, moment_of, next_entry
from qc.store.errors import StoreError
from qc.store.rows import next_id
from qc.store.sheetfiles import sheet_hash
from qc.store.tables import entry, month_file


@dataclass(frozen=True, slots=True)
class ClosedMonth:
    """A month whose report stands for good.

    Attributes
    ----------
    month : str
        ``YYYY-MM``.
    who, when, entry
        Code of the person who closed it, the moment (UTC), the number of the entry.
    files : mapping of str to str
        Name of each file of the report -> its SHA-256.
    """

    month: str
    who: str
    when: datetime
    entry: int
    files: Mapping[str, str]


def close_month(conn: Connection, month: str, files: Mapping[str, str], who: str, when: datetime) -> int:
    """Keep which files are the report of a month from now on; returns the number of the entry.

    Raises
    ------
    StoreError
        The month is closed already, or no file is named.
    """
    if not files:
        raise StoreError(f"{month}: no file is named, so there is nothing to close.")
    if conn.execute(select(month_file.c.id).where(month_file.c.month == month).limit(1)).first():
        raise StoreError(f"{month} is closed already; its report stays as it is.")
    number, first = next_entry(conn), next_id(conn, month_file)
    rows = [
        {"id": first + place, "entry": number, "month": month, "file": name, "hash": files[name]}
        for place, name in enumerate(sorted(files))
    ]
    conn.execute(insert(month_file), rows)
    append_entry(conn, "month", who, when, f"closed {month}", [month_file.name])
    return number


def read_closed_months(conn: Connection) -> list[ClosedMonth]:
    """Return the months that were closed, in the order in which that was done."""
    statement = (
        select(month_file, entry.c.who, entry.c.at)
        .join(entry, entry.c.id == month_file.c.entry)
        .order_by(month_file.c.id)
    )
    found: dict[str, ClosedMonth] = {}
    for row in conn.execute(statement):
        before = found[row.month].files if row.month in found else {}
        files = {**before, row.file: row.hash}
        found[row.month] = ClosedMonth(row.month, row.who, moment_of(row.at), row.entry, files)
    return list(found.values())


def faults_of_reports(conn: Connection, reports: Path) -> Iterator[str]:
    """Yield a sentence for each file of a closed month that is not as it was when the month was closed."""
    for month in read_closed_months(conn):
        for name, digest in month.files.items():
            lying = f"reports/{month.month}/{name}"
            try:
                data = (reports / month.month / name).read_bytes()
            except FileNotFoundError:
                yield f"{lying} of the closed month is missing. Put it back from the last backup."
            except OSError as error:
                yield f"{lying} of the closed month cannot be read ({error.strerror}). Mend its permissions."
            else:
                if sheet_hash(data) != digest:
                    yield (
                        f"{lying} was altered since {month.who} closed the month. Put it back from the last "
                        "backup."
                    )
