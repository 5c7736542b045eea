"""The verbs of a store for what is put right later."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime

import polars as pl

from qc.store.corrected.corrections import replace_reading, undo_decision, withdraw_reading
from qc.store.corrected.history import read_decided, read_history, read_put_right_since, read_waited
from qc.store.corrected.settled import Settlement, keep_asked, read_asked, settle_each
from qc.store.proven import ProvenStore
from qc.store.queries import read_held, read_open
from qc.store.records import HeldRecord, HeldState, WaitedRecord


class CorrectedStore(ProvenStore):
    """The verbs of a store that put right what was held or accepted; see `qc.store.Store`."""

    def held(self, open_only: bool = True, *, ids: Sequence[int] | None = None) -> list[HeldRecord]:
        """Return held rows in order of entry: those that still wait, or all."""
        with self._database.reading() as conn:
            return read_held(conn, open_only, ids)

    def held_open(self) -> frozenset[str]:
        """Return the numbers of the held rows that still wait, as text; nothing of them is read."""
        with self._database.reading() as conn:
            return frozenset(str(number) for number in read_open(conn))

    def settle_held(
        self,
        held_ids: Sequence[int],
        state: HeldState,
        *,
        who: str,
        when: datetime,
        readings: pl.DataFrame | None = None,
        events: pl.DataFrame | None = None,
        replaces: int | None = None,
        note: str = "",
    ) -> list[int]:
        """Close open held rows for good; returns the ids of the new readings.

        `state` is ``accepted``, with the rows as mended and checked in `readings` or `events` (those already
        known are not stored again) and the reading in `replaces` that they correct, or ``dropped``. `note`
        says why, in words.
        """
        empty = pl.DataFrame()
        rows = (empty if readings is None else readings, empty if events is None else events)
        return self.settle_each(
            [Settlement(tuple(held_ids), state, *rows, replaces, note)], who=who, when=when
        )[0]

    def settle_each(self, settlements: Sequence[Settlement], *, who: str, when: datetime) -> list[list[int]]:
        """Close held rows by several decisions at once, all or none; returns the new readings' ids of each.

        Each is an entry of its own, as if `settle_held` had been asked for one after the other.
        """
        if not settlements:
            return []
        with self._database.writing() as conn:
            return settle_each(conn, settlements, who, when)

    def keep_asked(
        self, asked: Sequence[tuple[int, str, Collection[str]]], *, who: str, when: datetime
    ) -> None:
        """Keep which doubts were asked about what was typed for held rows: row, what was typed, doubts."""
        if asked:
            with self._database.writing() as conn:
                keep_asked(conn, asked, who, when)

    def asked(self, row: int, typed: str) -> frozenset[str]:
        """Return the doubts that were asked about what was typed for a held row; empty where it never was."""
        with self._database.reading() as conn:
            return read_asked(conn, row, typed)

    def replace_reading(
        self, old_id: int, row: pl.DataFrame, *, who: str, when: datetime, why: str = ""
    ) -> int:
        """Put a corrected reading in the place of an old one, which stays on record; returns the new id."""
        with self._database.writing() as conn:
            return replace_reading(conn, old_id, row, who, when, why)

    def withdraw_reading(self, reading_id: int, *, who: str, when: datetime, why: str = "") -> None:
        """Take back an accepted reading: it stays on record, and no question is answered with it any more."""
        with self._database.writing() as conn:
            withdraw_reading(conn, reading_id, who, when, why)

    def undo_held(self, held_id: int, *, who: str, when: datetime, why: str = "") -> int:
        """Take back what was decided about a held row; returns the number under which it waits again.

        Raises
        ------
        StoreError
            Nothing was decided about it, that was taken back already, or what came of it was put right since.
        """
        with self._database.writing() as conn:
            return undo_decision(conn, held_id, who, when, why)

    def decided(self, most: int) -> list[tuple[int, datetime, str]]:
        """Return the held rows decided about last and not undone: number, moment, who; newest first."""
        with self._database.reading() as conn:
            return read_decided(conn, most)

    def waited(self, ids: Sequence[int], *, events: bool = False) -> dict[int, WaitedRecord]:
        """Return how accepted readings, or events, had waited as held rows; those that had not are left out.

        Their own moment (`entered_at`) is that of the answer, the one here that of their sheet.
        """
        with self._database.reading() as conn:
            return read_waited(conn, ids, events=events)

    def put_right_since(self, number: int, until: date) -> list[int]:
        """Return the readings, by id, known to entry `number` that were replaced or taken back after it.

        Only those measured up to the day `until`; `history` says what became of each.
        """
        with self._database.reading() as conn:
            return read_put_right_since(conn, number, until)

    def history(
        self, *, serials: Sequence[str] | None = None, ids: Sequence[int] | None = None
    ) -> pl.DataFrame:
        """Return all readings of some pieces, or those with some ids, and how each of them stands.

        The columns of `qc.plan.READING`, `id`, and `state` (stands, corrected, taken back), `by` (id of the
        reading in its place), `changed_by`, `changed_at` (UTC) and `why`, null where it stands.
        """
        with self._database.reading() as conn:
            return read_history(conn, serials, ids)
