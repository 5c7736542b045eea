"""What became of sheets and rows that were handed in: the receipt of an upload, held rows, their mends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from qc.words import count_words

SheetLine = tuple[str, int, int, int, int, Mapping[str, int]]
"""File, rows, accepted, held, already known, and how often each reason was met."""

FEW_SHEETS = 12
"""From so many on, a sheet without rows is not told by itself."""


def receipt_text(
    sheets: Sequence[SheetLine], raised: Sequence[str], late: Sequence[str] = (), hold: str = ""
) -> str:
    """Say what became of each sheet, what was raised, and what sheets from before had brought unjudged.

    `hold` says which of their pieces are to be held, in short.
    """
    lines = [_sheet_line(sheet) for sheet in sheets if sheet[1] or len(sheets) < FEW_SHEETS]
    if len(sheets) > 1:
        counts = [sheet[1:5] for sheet in sheets]
        lines.append(total_text(len(sheets), *map(sum, zip(*counts, strict=True))))
    lines += [f"▲ {sentence}" for sentence in raised]
    if late:
        lines.append("From sheets handed in before, judged now:")
        lines += [f"▲ {sentence}" for sentence in late]
    lines += [hold] if hold else []
    if any(held for _, _, _, held, *_ in sheets):
        lines.append("See what is held: qc held list")
    return "\n".join(lines) or "Nothing was taken in."


def total_text(sheets: int, rows: int, accepted: int, held: int, already_known: int) -> str:
    """Say the sums over several sheets."""
    brought = f"{count_words(sheets, 'sheet')}, {count_words(rows, 'row')}"
    return f"{brought}: {accepted} accepted, {held} held, {already_known} already known."


def _sheet_line(sheet: SheetLine) -> str:
    file, rows, accepted, held, already_known, reasons = sheet
    said = f"{file}: {count_words(rows, 'row')}, {accepted} accepted"
    if held:
        said += f", {held} held ({', '.join(f'{number} {reason}' for reason, number in reasons.items())})"
    if already_known:
        said += f", {already_known} already known"
    return f"{said}."


def held_row_text(
    number: int, serial: str, typed: str, reasons: Sequence[tuple[str, str]], proposal: Mapping[str, Any]
) -> str:
    """Say where a row stands, why it is held (sentence and mend), and what would put it right."""
    lines = [f"{number}  {serial or '(no serial)'}  typed '{typed}'"]
    lines += [f"     {sentence} {mend}" for sentence, mend in reasons]
    if proposal:
        said = ", ".join(f"{name} = {value}" for name, value in proposal.items())
        lines.append(f"     Proposed: {said}   (qc held mend {number} --accept)")
    return "\n".join(lines)


def held_text(runs: Sequence[tuple[str, Sequence[int]]]) -> str:
    """List held rows: of those held alike the first in words, and the numbers of all."""
    number = sum(len(numbers) for _, numbers in runs)
    if not number:
        return "Nothing is held."
    lines = [f"{number} row{'s are' if number != 1 else ' is'} held."]
    for first, (_, *others) in runs:
        lines.append(first)
        if others:
            numbers = f"{others[0]}-{others[-1]}" if len(others) > 1 else str(others[0])
            lines.append(f"     So {'are' if len(others) > 1 else 'is'} {len(others)} more: {numbers}")
    return "\n".join(lines)


def mended_text(sentence: str, reasons: Sequence[str]) -> str:
    """Say what became of a row, and why where it is still held."""
    return "\n".join([sentence, *(f"  {reason}" for reason in reasons)])


def exported_text(rows: int, file: Path) -> str:
    """Say what was written for the person who typed the rows."""
    return f"{count_words(rows, 'held row')} written to {file}."
