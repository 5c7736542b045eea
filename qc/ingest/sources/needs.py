"""What adaptors ask of a sheet before they read it, with the sentence for each thing that is missing."""

from __future__ import annotations

from qc.ingest.cards import CardSheet, Column
from qc.ingest.cells import FACTORS, WEIGHED
from qc.ingest.errors import SheetError
from qc.plan import Characteristic


def require_columns(sheet: CardSheet, wanted: dict[str, str]) -> None:
    """Raise SheetError where the table misses a column; `wanted` is our name -> what to write over it."""
    missing = [label for field, label in wanted.items() if field not in sheet.columns]
    if missing:
        listed = ", ".join(missing)
        problem = f"{sheet.card.title} misses the heading{'s' * (len(missing) > 1)} {listed}"
        raise refusal(sheet, problem, f"Add the column{'s' * (len(missing) > 1)} {listed} to the table.")


def require_given(sheet: CardSheet, wanted: dict[str, str]) -> None:
    """Raise SheetError where neither head nor table has a cell; `wanted` is our name -> its label."""
    missing = [
        label for field, label in wanted.items() if field not in sheet.columns and field not in sheet.head
    ]
    if missing:
        listed = ", ".join(missing)
        problem = f"{sheet.card.title} does not say {listed}"
        raise refusal(sheet, problem, f"Write {listed} above the table or as a column of it.")


def require_unit(sheet: CardSheet, column: Column, characteristic: Characteristic) -> None:
    """Raise SheetError where a heading names a unit that cannot be turned into the plan's."""
    written = column.heading.unit
    known = written == characteristic.unit or (written, characteristic.unit) in {**FACTORS, **WEIGHED}
    if written and not known:
        grid = sheet.parts.grid
        problem = (
            f"{column.label} is in {written}, but {characteristic.name} is kept in {characteristic.unit}"
        )
        hint = f"Type the figures in {characteristic.unit} and say so in the heading."
        cell = grid.cell(sheet.parts.header_row, column.index, column.label)
        raise SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)


def refusal(sheet: CardSheet, problem: str, hint: str) -> SheetError:
    """Return a SheetError at the headings of a sheet."""
    grid = sheet.parts.grid
    first = sheet.parts.columns[0]
    cell = grid.cell(sheet.parts.header_row, first.index, first.label)
    return SheetError(grid.file, problem, hint, tab=grid.tab, cell=cell)
