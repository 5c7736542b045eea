"""The verbs of a store about single pieces: their figures in bulk, and what was decided about them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date

import polars as pl
from sqlalchemy import func, select

from qc.store.kept_back.decided import PieceDecision, add_decisions, read_decisions
from qc.store.kept_back.figures import (
    read_bearing,
    read_counts,
    read_figures,
    read_first_days,
    read_gauged,
    read_last_seen,
    read_stage_days,
)
from qc.store.proven import ProvenStore
from qc.store.tables import event, origin


class PiecesStore(ProvenStore):
    """The verbs of a store about single pieces; see `qc.store.Store`."""

    def figures(
        self, stage: str, characteristics: Sequence[str], *, until: date, serials: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Return readings with few columns, for questions about every piece at once.

        Columns: `id`, `value`, the parts of the place, serial, model, stage, characteristic, unit, day,
        person, gauge, tool, batch, air_c and method; those that were replaced or taken back are left out.
        """
        with self._database.reading() as conn:
            return read_figures(conn, stage, characteristics, serials, until)

    def first_days(
        self, stage: str, characteristics: Sequence[str], models: Sequence[str | None], *, until: date
    ) -> pl.DataFrame:
        """Return the pieces of some models that have one of the figures by a day: serial and first day."""
        with self._database.reading() as conn:
            return read_first_days(conn, stage, characteristics, models, until)

    def gauged(self, gauge: str, first: date, last: date) -> pl.DataFrame:
        """Return what a gauge read between two days, both included: serial, stage, characteristic, day."""
        with self._database.reading() as conn:
            return read_gauged(conn, gauge, first, last)

    def last_seen(self, serials: Sequence[str], *, until: date) -> pl.DataFrame:
        """Return the newest card of each piece by a day: serial, stage, day."""
        with self._database.reading() as conn:
            return read_last_seen(conn, serials, until)

    def of_batch(self, batch: str, *, until: date) -> pl.DataFrame:
        """Return the pieces of which a reading names a batch: serial and first day."""
        return self.bearing("batch", batch, until=until)

    def bearing(self, column: str, name: str, *, until: date) -> pl.DataFrame:
        """Return the pieces of which a reading names a batch, tool, gauge or person: serial and first day."""
        with self._database.reading() as conn:
            return read_bearing(conn, column, name, until)

    def stage_days(self, stage: str, *, until: date) -> pl.DataFrame:
        """Return the pieces measured at a stage by a day: serial, first and last day there."""
        with self._database.reading() as conn:
            return read_stage_days(conn, stage, until)

    def readings_by_day(self, *, until: date | None = None) -> pl.DataFrame:
        """Return how many readings stand: stage, characteristic, model, day and readings."""
        with self._database.reading() as conn:
            return read_counts(conn, until)

    @contextmanager
    def steady(self) -> Iterator[None]:
        """Let every question of this block, in this thread, see the store as it stands now."""
        with self._database.steady():
            yield

    def newest_day(self) -> date | None:
        """Return the newest day on which anything was measured, None before any."""
        with self._database.reading() as conn:
            found = conn.execute(select(func.max(origin.c.day))).scalar()
        return None if found is None else date.fromisoformat(found)

    def oldest_day(self) -> date | None:
        """Return the first day on which anything was measured or happened, None before any."""
        with self._database.reading() as conn:
            found = [conn.execute(select(func.min(table.c.day))).scalar() for table in (origin, event)]
        return min((date.fromisoformat(day) for day in found if day), default=None)

    def decide_pieces(self, decisions: Sequence[PieceDecision]) -> None:
        """Keep what one person decides about pieces at one moment, an entry of the chain."""
        with self._database.writing() as conn:
            add_decisions(conn, decisions)

    def decided_of_pieces(self, serials: Sequence[str] | None = None) -> list[PieceDecision]:
        """Return what was decided about pieces, oldest first."""
        with self._database.reading() as conn:
            return read_decisions(conn, serials)
