"""The versions of the plan and of what headings mean: every text that was met, kept as it stood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, exists, insert, select

from qc.store.chain import EntryKind, append_entry, moment_of, next_entry
from qc.store.errors import StoreError
from qc.store.proven import ProvenStore
from qc.store.rows import next_id
from qc.store.sheetfiles import sheet_hash
from qc.store.tables import entry, mapping_version, plan_version, sheet

WHY = ": "
"""What stands between the number of a version and the reason in the note of its entry."""


@dataclass(frozen=True, slots=True)
class PlanVersion:
    """One text of the plan, as it was met.

    `used` says whether a sheet was taken in under it; a version that was corrected before any sheet came
    never judged anything. `why` is the reason of who saved it on the board; empty of one met in the file.
    """

    version: int
    who: str
    when: datetime
    hash: str
    used: bool
    why: str = ""

    def to_dict(self) -> dict[str, object]:
        """Return plain values, the moment as ISO text."""
        return {**asdict(self), "when": self.when.isoformat()}


@dataclass(frozen=True, slots=True)
class MappingVersion:
    """One text of ``mappings.yaml``; the newest before a sheet's entry is what the sheet was read with."""

    version: int
    who: str
    when: datetime
    entry: int
    hash: str
    text: str


class VersionedStore(ProvenStore):
    """The verbs of a store that keep texts as versions; see `qc.store.Store`."""

    def record_plan(
        self,
        text: str,
        *,
        who: str,
        when: datetime,
        why: str = "",
        again: Callable[[], str] | None = None,
    ) -> int:
        """Keep a text of the plan as a new version unless it is the newest already; returns its number.

        With `again` the text is asked for once more when nobody else can write: a plan that was saved between
        reading its file and writing here would be followed by the one of before.
        """
        with self._database.reading() as conn:
            known = _newest_is(conn, plan_version, text)
        if known is not None:
            return known
        with self._database.writing() as conn:
            return record_text(conn, plan_version, again() if again else text, who, when, why)

    def plan_versions(self) -> list[PlanVersion]:
        """Return the versions of the plan, oldest first."""
        with self._database.reading() as conn:
            return _read_versions(conn)

    def plan_text(self, version: int | None = None) -> str:
        """Return a text of the plan, the newest where no version is named."""
        with self._database.reading() as conn:
            return _read_text(conn, version)

    def record_mappings(self, text: str, *, who: str, when: datetime) -> int:
        """Keep a text of what headings mean unless it is the newest already; returns its version."""
        with self._database.reading() as conn:
            known = _newest_is(conn, mapping_version, text)
        if known is not None:
            return known
        with self._database.writing() as conn:
            return record_text(conn, mapping_version, text, who, when)

    def mapping_versions(self) -> list[MappingVersion]:
        """Return the versions of what headings mean, oldest first."""
        statement = (
            select(mapping_version, entry.c.who, entry.c.at)
            .join(entry, entry.c.id == mapping_version.c.entry)
            .order_by(mapping_version.c.id)
        )
        with self._database.reading() as conn:
            rows = conn.execute(statement).all()
        return [MappingVersion(r.id, r.who, moment_of(r.at), r.entry, r.hash, r.text) for r in rows]


def _newest_is(conn: Connection, versions: Table, text: str) -> int | None:
    """Return the number of the newest version where it is this text, else None."""
    newest = select(versions.c.id, versions.c.hash).order_by(versions.c.id.desc()).limit(1)
    found = conn.execute(newest).first()
    same = found is not None and found.hash == sheet_hash(text.encode("utf-8"))
    return int(found.id) if found is not None and same else None


def record_text(conn: Connection, versions: Table, text: str, who: str, when: datetime, why: str = "") -> int:
    """Keep a text as a new version unless it is the newest already; returns its number."""
    known = _newest_is(conn, versions, text)
    if known is not None:
        return known
    version = next_id(conn, versions)
    number = next_entry(conn)
    row = {"id": version, "entry": number, "hash": sheet_hash(text.encode("utf-8")), "text": text}
    conn.execute(insert(versions), row)
    kind: EntryKind = "plan" if versions is plan_version else "mapping"
    note = f"version {version}{WHY}{why}" if why else f"version {version}"
    append_entry(conn, kind, who, when, note, [versions.name])
    return version


def _read_versions(conn: Connection) -> list[PlanVersion]:
    """Return the versions of the plan, oldest first."""
    named = plan_version.c.id, plan_version.c.hash, entry.c.who, entry.c.at, entry.c.note
    statement = select(*named, entry.c.id.label("entry")).join(entry, entry.c.id == plan_version.c.entry)
    rows = conn.execute(statement.order_by(plan_version.c.id)).all()
    ends = [*(row.entry for row in rows[1:]), next_entry(conn)][: len(rows)]
    used = [
        conn.execute(select(exists().where(sheet.c.entry.between(row.entry, end - 1)))).scalar()
        for row, end in zip(rows, ends, strict=True)
    ]
    return [
        PlanVersion(row.id, row.who, moment_of(row.at), row.hash, bool(one), row.note.partition(WHY)[2])
        for row, one in zip(rows, used, strict=True)
    ]


def _read_text(conn: Connection, version: int | None = None) -> str:
    """Return a text of the plan, the newest where no version is named."""
    statement = select(plan_version.c.text).order_by(plan_version.c.id.desc()).limit(1)
    if version is not None:
        statement = statement.where(plan_version.c.id == version)
    text = conn.execute(statement).scalar()
    if text is None:
        known = "none yet" if version is None else f"no version {version}"
        raise StoreError(f"The store has {known} of the plan.")
    return str(text)
