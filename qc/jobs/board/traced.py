"""What a suspect touched, as the pages of signals and gauges show it."""

from __future__ import annotations

from qc.errors import QcError
from qc.jobs.also import Kind, also
from qc.jobs.board.gauge_views import TouchedView
from qc.jobs.workshop import Workshop
from qc.report.terminal import again_words
from qc.words import dated_words


def traced(workshop: Workshop, kind: Kind, name: str, since: str) -> TouchedView | None:
    """Return the pieces that bear a gauge, tool, batch or person, and where each is; None where none does."""
    try:
        found = also(workshop, kind, name, since=since)
    except QcError:
        return None  # a suspect by a name that no reading bears: nothing to follow
    stages = {stage.id: stage.name for stage in workshop.plan.stages}
    rows = []
    listed = {piece.serial for piece in found.pieces}
    off = [piece for own in found.in_doubt for piece in own if piece.serial not in listed]
    for piece in sorted((*found.pieces, *off), key=lambda piece: (piece.day, piece.serial)):
        left = f"left {dated_words(piece.shipped)}" if piece.shipped else "still here"
        if piece.returned:
            left += f", came back {dated_words(piece.returned)}"
        inside = f" in {piece.inside}" if piece.inside else ""
        where = ", ".join(stages.get(stage, stage) for stage in piece.stages)
        held = ", only on a held row" if piece.held else ""
        again = again_words(piece.again, workshop.today)
        rows.append((piece.serial, piece.day, where, left + inside + again + held))
    return TouchedView(found.to_text().partition("\n")[0], tuple(rows))
