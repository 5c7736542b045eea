"""Workbooks as text: each cell becomes the text a person would type, and no date is guessed into a number."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import MAX_CELL, MAX_COLUMNS, MAX_ROWS, Grid
from qc.ingest.reading.inspection import inspect_workbook
from qc.ingest.reading.parts import CUT_HINT


def read_xlsx(data: bytes, name: str, sheet: str) -> list[Grid]:
    """Read every tab of a workbook that holds anything.

    Parameters
    ----------
    data : bytes
        The file's content.
    name, sheet : str
        Its name and its SHA-256.

    Returns
    -------
    list of Grid
        In order of the tabs. A number is written with a decimal point and no more digits than it has; a
        date cell as ``2026-05-14``, whatever column it stands in. Tabs of words without any figure are passed
        over beside one with figures; the first grid names them.

    Raises
    ------
    SheetError
        What `inspect_workbook` refuses; a hidden tab with something in it; no tab with anything; a table
        over the limits.
    """
    tabs = inspect_workbook(data, name)
    tables = _tables(data, [tab.name for tab in tabs], name)
    grids = []
    for tab in tabs:
        grid = replace(_grid(tables[tab.name], name, tab.name, sheet), boxes=tab.boxes)
        if not any(grid.rows):
            continue
        if not tab.visible:
            hint = "Show the tab so that it can be checked, or delete it."
            raise SheetError(name, "a hidden tab holds cells", hint, tab=tab.name)
        grids.append(grid)
    words = [grid.tab for grid in grids if _is_words(grid)]
    if words and len(words) < len(grids):
        kept = [grid for grid in grids if grid.tab not in words]
        return [replace(kept[0], passed_over=tuple(words)), *kept[1:]]
    if not grids:
        raise SheetError(name, "the workbook is empty", "Save the filled-in sheet and hand that file in.")
    return grids


def _is_words(grid: Grid) -> bool:
    """Tell whether a tab holds words only: no digit at all, or one text a line and no figure."""
    cells = [[text for text in row if text.strip()] for row in grid.rows]
    if not any(sign.isdigit() for row in cells for text in row for sign in text):
        return True
    alone = all(len(row) < 2 for row in cells)
    return alone and not any(
        len(text.split()) < 2 and text.strip()[0].isdigit() for row in cells for text in row
    )


def cell_text(value: object) -> str:
    """Return the text a person would type for a cell's value.

    Examples
    --------
    >>> cell_text(14.05), cell_text(5.0), cell_text(date(2026, 5, 14)), cell_text(" 14,05 ")
    ('14.05', '5', '2026-05-14', ' 14,05 ')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # 15 significant digits are what a spreadsheet itself shows; more is binary dust (14.050000000000001).
        return f"{value:.15g}"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return str(value)
    return str(value)


def read_tab(data: bytes, tab: str, *, midnight: bool = False) -> list[list[str]]:
    """Return the cells of one tab from its first cell on, each number with all digits it was stored with.

    Parameters
    ----------
    data : bytes
        The workbook.
    tab : str
        Name of the tab.
    midnight : bool
        Write a day as ``2026-05-14 00:00:00``, so that it stands among times as they do.

    Raises
    ------
    SheetError
        What `inspect_workbook` refuses of any workbook; it does not name the file.
    """
    inspect_workbook(data, "", card=False)
    table = _tables(data, [tab], "")[tab]
    return [[exact_text(cell, midnight=midnight) for cell in row] for row in table]


def exact_text(value: object, *, midnight: bool = False) -> str:
    """Return a cell's value as text that reads back to the very same value.

    A card shows what a person typed (`cell_text`); a table of a computation may hold more digits than a
    spreadsheet shows, and every one of them counts.

    Examples
    --------
    >>> exact_text(1 / 3), exact_text(5.0), exact_text(True), exact_text(None)
    ('0.3333333333333333', '5', 'true', '')
    >>> exact_text(date(2026, 5, 14)), exact_text(date(2026, 5, 14), midnight=True)
    ('2026-05-14', '2026-05-14 00:00:00')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, date) and midnight:
        return f"{value.isoformat()} 00:00:00"
    return str(value)


def _tables(data: bytes, tabs: Sequence[str], name: str) -> dict[str, list[list[object]]]:
    """Return the values of each tab from its first cell on; the workbook has been inspected."""
    import python_calamine

    damaged = SheetError(name, "the workbook is damaged or cut off", CUT_HINT)
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        return {tab: book.get_sheet_by_name(tab).to_python(skip_empty_area=False) for tab in tabs}
    except (python_calamine.CalamineError, OSError, ValueError):
        raise damaged from None
    except BaseException as fault:
        # where the library breaks down inside, it raises what is no Exception, of a class it does not offer
        if type(fault).__name__ == "PanicException":
            raise damaged from None
        raise


def _grid(table: list[list[object]], name: str, tab: str, sheet: str) -> Grid:
    # limits and damaged text are looked for here, since the reader of workbooks knows no limits
    if len(table) > MAX_ROWS or max(map(len, table), default=0) > MAX_COLUMNS:
        hint = f"A sheet may have {MAX_ROWS:,} rows and {MAX_COLUMNS} columns: split it."
        raise SheetError(name, "the table is too large", hint, tab=tab)
    rows = []
    for cells in table:
        end = len(cells)
        while end and not str(cells[end - 1] if cells[end - 1] is not None else "").strip():
            end -= 1
        rows.append(tuple(cell_text(cell) for cell in cells[:end]))
    grid = Grid(name, tab, "xlsx", sheet, tuple(rows), tuple(range(1, len(rows) + 1)))
    for index, row in enumerate(rows):
        for column, text in enumerate(row):
            if len(text) > MAX_CELL or "\x00" in text or "\ufffd" in text:
                hint = f"A cell may hold {MAX_CELL:,} plain characters: type it again."
                raise SheetError(
                    name,
                    "the cell's text is too long or damaged",
                    hint,
                    tab=tab,
                    cell=grid.cell(index, column),
                )
    return grid
