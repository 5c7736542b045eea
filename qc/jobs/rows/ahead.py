"""Held rows checked before anybody decides about them, so that who works down a list does not wait for it."""

from __future__ import annotations

from datetime import date

from qc.ingest import Checked
from qc.jobs.workshop import Workshop


class CheckedAhead:
    """What held rows would come to; true as long as nothing comes in and the day is the same."""

    def __init__(self) -> None:
        self._at: tuple[int, date] | None = None
        self._found: dict[tuple[int, str], Checked] = {}

    def keep(self, row: int, decision: str, checked: Checked, at: tuple[int, date]) -> None:
        """Keep what a row would come to by a decision, as it was found when the store stood `at`."""
        if at != self._at:
            self._found.clear()
            self._at = at
        self._found[row, decision] = checked

    def of(self, workshop: Workshop, row: int, decision: str) -> Checked | None:
        """Return what a row comes to, None where it was not checked or something came in since.

        Asked inside the transaction that settles the row: then nothing can come in after it was asked.
        """
        found = self._found.get((row, decision))
        return found if found is not None and self._at == standing_at(workshop) else None


def standing_at(workshop: Workshop) -> tuple[int, date]:
    """Return what a check rests on: the number of the newest entry (of the plan, too), and the day."""
    return workshop.store.pulse()[0], workshop.today
