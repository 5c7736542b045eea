"""What a gauge, tool or batch touched, for whoever has to find it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.words import count_words, day_words

Touch = tuple[str, str, date, Sequence[str], date | None, bool]
"""Serial, serial of the instrument it went into, first day, stages, day it left, told by held rows only."""


def touched_text(what: str, since: date | None, why_since: str, pieces: Sequence[Touch], as_of: date) -> str:
    """Say how many pieces it touched, how many have left, and list them."""
    left = sum(shipped is not None for *_, shipped, _ in pieces)
    doubt = sum(held for *_, held in pieces)
    when = f" since {day_words(since, as_of)}{why_since}" if since else ""
    head = f"{what} touched {count_words(len(pieces), 'piece')}{when}; {left} left the shop."
    if doubt:
        head += f" {doubt} of them stand{'s' * (doubt == 1)} only on held rows: qc held list"
    return "\n".join([head, *(f"  {_line(piece, as_of)}" for piece in pieces)])


def _line(piece: Touch, today: date) -> str:
    serial, inside, day, stages, shipped, held = piece
    part = f" in {inside}" if inside else ""
    left = f", left {day_words(shipped, today)}" if shipped else ", still here"
    doubt = " (only on a held row)" if held else ""
    return f"{serial}{part}  {day_words(day, today)}  {', '.join(stages)}{left}{doubt}"
