"""Blank cards that were written: which, with room for how much, and what to do with them."""

from __future__ import annotations

from collections.abc import Sequence

from qc.words import count_words, listed

CardLine = tuple[str, int, bool, Sequence[str]]
"""Title, room, whether each row is a piece or an event of its own, names of its files."""


def blank_cards_text(cards: Sequence[CardLine], folder: str) -> str:
    """Say which cards were written where.

    Examples
    --------
    >>> print(blank_cards_text([("Bell card", 12, False, ["bell.pdf", "bell.xlsx"])], "out"))
    1 blank card written to out.
      Bell card: 12 figures of one piece (bell.pdf and bell.xlsx)
    Print the pdf and write on it; type it into the xlsx in the same order and hand that in: qc upload FILE
    """
    lines = [f"{count_words(len(cards), 'blank card')} written to {folder}."]
    for title, room, rows, files in cards:
        held = count_words(room, "row") if rows else f"{count_words(room, 'figure')} of one piece"
        lines.append(f"  {title}: {held} ({listed(list(files))})")
    last = "Print the pdf and write on it; type it into the xlsx in the same order and hand that in:"
    return "\n".join([*lines, f"{last} qc upload FILE"])
