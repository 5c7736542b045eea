"""A part built into a second instrument while it is in the first, or into itself by whatever detour."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow

TAKEN_OUT = (
    "Check the serial of the part. If it was taken out of {other} and built in here, confirm that it is so: "
    "from that day on it is in {piece}."
)
ITSELF = "Check both serials: a piece cannot be in what is built into it."


def find_used_twice(facts: Facts, doubted: Doubts) -> Doubted:
    """Find parts that are in two places, on record or on the cards that come in."""
    rows = facts.events.filter(
        (pl.col("kind") == "part") & (pl.col("serial") != "") & (pl.col("subject") != "")
    )
    stays = {part: list(own) for part, own in facts.known.stays.items()}
    home = {part: own[-1][0] for part, own in stays.items() if own}
    found = []
    for row in rows.sort("day", INDEX, nulls_last=True).to_dicts():
        part, piece = row["subject"], row["serial"]
        if (piece, row["day"]) in stays.get(part, ()):
            continue  # it is on record just so; what came later is on record too
        other = home.get(part)
        if part == piece or part in _up(piece, home):
            problem = f"{piece} is, or is in, {part}, which is built into it here"
            found.append(Finding(row[INDEX], Reason.PART_USED_TWICE, problem, ITSELF))
        elif other is not None and other != piece:
            found.append(_second(row, other, stays.get(part, [])))
        else:
            home[part] = piece
            stays.setdefault(part, []).append((piece, row["day"]))
    return Doubted(events=found)


def _second(row: FrameRow, other: str, stays: Sequence[tuple[str, date | None]]) -> Finding:
    since = next((day for piece, day in reversed(stays) if piece == other), None)
    when = f" since {since}" if since else ""
    problem = f"{row['subject']} is in {other} already{when}, and this card builds it into {row['serial']}"
    mend = TAKEN_OUT.format(other=other, piece=row["serial"])
    return Finding(row[INDEX], Reason.PART_USED_TWICE, problem, mend)


def _up(piece: str, home: dict[str, str]) -> list[str]:
    """Return the pieces above a piece; what is on record may be old, so a circle ends the walk."""
    found: list[str] = []
    while piece in home and home[piece] not in found:
        piece = home[piece]
        found.append(piece)
    return found
