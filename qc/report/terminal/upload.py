"""The receipt of an upload: what became of each sheet, and what it raised."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

SheetLine = tuple[str, int, int, int, int, Mapping[str, int]]
"""File, rows, accepted, held, already known, and how often each reason was met."""

FEW_SHEETS = 12
"""From so many on, a sheet without rows is not told by itself."""


def receipt_text(sheets: Sequence[SheetLine], raised: Sequence[str]) -> str:
    """Say what became of each sheet and what was raised."""
    lines = [_sheet_line(sheet) for sheet in sheets if sheet[1] or len(sheets) < FEW_SHEETS]
    if len(sheets) > 1:
        counts = [sheet[1:5] for sheet in sheets]
        lines.append(total_text(len(sheets), *map(sum, zip(*counts, strict=True))))
    lines += [f"▲ {sentence}" for sentence in raised]
    if any(held for _, _, _, held, *_ in sheets):
        lines.append("See what is held: qc held list")
    return "\n".join(lines) or "Nothing was taken in."


def total_text(sheets: int, rows: int, accepted: int, held: int, already_known: int) -> str:
    """Say the sums over several sheets."""
    return f"{sheets} sheets, {rows} rows: {accepted} accepted, {held} held, {already_known} already known."


def _sheet_line(sheet: SheetLine) -> str:
    file, rows, accepted, held, already_known, reasons = sheet
    said = f"{file}: {rows} rows, {accepted} accepted"
    if held:
        said += f", {held} held ({', '.join(f'{number} {reason}' for reason, number in reasons.items())})"
    if already_known:
        said += f", {already_known} already known"
    return f"{said}."
