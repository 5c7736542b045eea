"""What a reading that was put right means for its piece: outside a limit, to be held, out already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from qc.jobs.pieces.hold import hold_list
from qc.jobs.pieces.left import LeftPiece
from qc.jobs.pieces.rows import HoldRow, why_words
from qc.jobs.rows import Corrected, CorrectedTogether
from qc.jobs.workshop import Workshop

Done = TypeVar("Done", Corrected, CorrectedTogether)


def with_hold(workshop: Workshop, done: Done) -> Done:
    """Add to what became of readings which pieces are outside a limit by their figures now, in sentences.

    Parameters
    ----------
    workshop : Workshop
        An open workshop in which the readings have been put right, and what they touched judged.
    done : Corrected or CorrectedTogether
        What became of them.

    Returns
    -------
    Corrected or CorrectedTogether
        The same with `hold`: empty where nothing of these figures is outside a limit.
    """
    own = done.readings if isinstance(done, CorrectedTogether) else (done,)
    touched = {place for one in own for place in one.places}
    found = hold_list(workshop, serials={serial for serial, _, _ in touched}, judge=False)
    rows = [row for row in found.rows if row.why == "limit" and row.waits and _is_of(row, touched, workshop)]
    return replace(done, hold=tuple(_sentence(row) for row in rows))


def _is_of(row: HoldRow, touched: set[tuple[str, str, str]], workshop: Workshop) -> bool:
    figure = workshop.plan.characteristic(row.stage, row.characteristic)
    sources: Sequence[str] = figure.sources if figure is not None else ()
    return any((row.serial, row.stage, source) in touched for source in sources)


def _sentence(row: HoldRow) -> str:
    """Say that a piece is outside a limit and what to do, first where it has left already."""
    left = row.whereabouts.shipped
    if left is not None:
        gone = LeftPiece(row.whereabouts.whole or row.serial, left, (row,), late=True)
        return f"{gone.told_by('put right')} {gone.next_step}"
    return f"To hold: {row.serial}, {row.name}: {why_words(row).rstrip('.')}. {row.next_step}"
