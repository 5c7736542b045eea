"""Decisions about held rows taken back: the rows wait again, and what came of them counts no more."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.roles import Verb, may, refuse_no_reason
from qc.jobs.rows.naming import piece_words
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject


@dataclass(frozen=True, slots=True)
class Undone:
    """A decision taken back: the row, the number under which it waits again, its piece and place."""

    row: int
    waits_as: int
    what: str

    @property
    def sentence(self) -> str:
        """Say it."""
        return f"Row {self.row} ({self.what}) waits again, as row {self.waits_as}."


@dataclass(frozen=True, slots=True)
class UndoneRows:
    """Decisions that were taken back."""

    rows: tuple[Undone, ...]

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        rows = [{"row": one.row, "waits_as": one.waits_as, "sentence": one.sentence} for one in self.rows]
        return {"undone": rows}

    def to_text(self) -> str:
        """Say it row by row."""
        return "\n".join(one.sentence for one in self.rows)


def undo_decisions(workshop: Workshop, rows: Iterable[int], *, who: str, why: str) -> UndoneRows:
    """Take back what was decided about held rows: they wait again, and what came of them counts no more.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    rows : iterable of int
        The numbers that they had while they were held.
    who, why : str
        Code of the person who takes it back, and the reason, kept with it.

    Raises
    ------
    UsageError
        Nobody is named, or no reason is given.
    StoreError
        Nothing was decided about one of them, that was taken back already, or what came of it was put right
        since; then none is taken back.
    """
    done = undo_settled(workshop, rows, who=who, why=why)
    with ending(STORED_NOT_JUDGED):
        catch_up(workshop)
    return done


def undo_settled(workshop: Workshop, rows: Iterable[int], *, who: str, why: str) -> UndoneRows:
    """Take back decisions as `undo_decisions` does, and leave judging to whoever comes next."""
    refuse_no_reason(why)
    numbers = list(dict.fromkeys(rows))
    with ending(NOTHING_STORED), workshop.store.writing():
        may(who, Verb.MEND, workshop.plan, workshop.store.people())
        known = {row.id: row for row in workshop.store.held(open_only=False, ids=numbers)}
        done = []
        for number in numbers:
            waits = workshop.store.undo_held(number, who=who, when=workshop.now, why=why)
            done.append(Undone(number, waits, piece_words(known[number].as_typed(), workshop.plan)))
    return UndoneRows(tuple(done))
