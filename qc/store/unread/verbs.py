"""The verbs of a store for sheets that wait for their layout."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from qc.store.proven import ProvenStore
from qc.store.unread.kept import NewUnread, UnreadRecord, keep_unread, put_away, read_unread


class UnreadStore(ProvenStore):
    """The verbs of a store for sheets that nobody could read yet; see `qc.store.Store`."""

    def keep_unread(self, items: Sequence[NewUnread], *, who: str, when: datetime) -> list[UnreadRecord]:
        """Keep sheets that could not be read, all or none; durable on the disk when this returns.

        Returns those on record now, in the order given; one that is known already is not kept twice, and one
        that was taken in as a sheet is not among them.
        """
        with self._database.writing() as conn:
            found = keep_unread(conn, self._files, items, who, when)
        self._files.accepted(item.hash for item in items)
        return found

    def unread(self, open_only: bool = True) -> list[UnreadRecord]:
        """Return the sheets that wait for their layout, in order of entry, or all that ever did."""
        with self._database.reading() as conn:
            return read_unread(conn, open_only)

    def put_away(self, digest: str, *, who: str, when: datetime, why: str) -> None:
        """Put a sheet away that waits for its layout; it stays on record, and may still be read later.

        Raises
        ------
        StoreError
            No such sheet waits.
        """
        with self._database.writing() as conn:
            put_away(conn, digest, who, when, why)
