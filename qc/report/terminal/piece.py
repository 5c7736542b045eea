"""All that is known of one piece in words: the judgement, its figures, its parts, its life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.report.terminal.columns import Row, block, table

FIGURE_HEAD = ("Figure", "This piece", "Worst place", "Limits", "", "Among its like")
CARD_HEAD = ("Card", "Day", "By", "Gauge", "Batch", "Tool")
PART_HEAD = ("Part", "Serial", "Of", "Built in")


@dataclass(frozen=True, slots=True)
class PieceLines:
    """A piece in words: title, judgement, rows of figures, cards and parts, and titled lists of sentences."""

    title: str
    judgement: tuple[str, ...]
    figures: tuple[Row, ...]
    cards: tuple[Row, ...]
    parts: tuple[Row, ...]
    sections: tuple[tuple[str, tuple[str, ...]], ...]


def piece_text(piece: PieceLines) -> str:
    """Set a piece in lines, the judgement first."""
    lines = [piece.title, *piece.judgement]
    if piece.figures:
        lines += ["", *table([FIGURE_HEAD, *piece.figures], "<", indent="")]
    if piece.cards:
        lines += ["", *table([CARD_HEAD, *piece.cards], "<", indent="")]
    if piece.parts:
        lines += ["", *table([PART_HEAD, *piece.parts], "<", indent="")]
    for title, sentences in piece.sections:
        lines += block(title, sentences)
    return "\n".join(lines)


def passport_text(serial: str, judgement: Sequence[str], file: str) -> str:
    """Say what a passport says first, and where it lies."""
    return "\n".join([*judgement, f"The passport of {serial} is written to {file}."])
