"""The grids of whatever a table is in: a file, read as every sheet is, or a frame."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from qc.ingest.reading.files import read_file
from qc.ingest.reading.grid import MAX_CELLS, Grid
from qc.ingest.reading.reader import batch_reader
from qc.ingest.reading.tables import TableSource, columns_of
from qc.ingest.reading.workbooks import exact_text
from qc.words import told_name

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

_NO_NAME = re.compile(r"^(?:\d+|column_\d+|Unnamed: \d+)$")
"""What polars and pandas call a column that has no name."""


def source_grids(source: TableSource, name: str, sheet: str | None = None) -> list[Grid]:
    """Read a file or a frame as sheets are read at an upload.

    Parameters
    ----------
    source : path, polars DataFrame or pandas DataFrame
        A csv or xlsx file, read by a process of its own and within its limits; or a frame.
    name : str
        What a frame is called in messages.
    sheet : str, optional
        Tab of a workbook; all of them when left out.

    Raises
    ------
    SheetError
        The file cannot be read as a sheet.
    """
    if isinstance(source, str | Path):
        path = Path(source)
        data = read_file(path)
        with batch_reader() as reader:
            grids = reader.read(told_name(path.name), data)
        return [grid for grid in grids if sheet is None or grid.tab == sheet]
    return _of_frame(source, name)


def _of_frame(frame: pl.DataFrame | pd.DataFrame, name: str) -> list[Grid]:
    names, columns = columns_of(frame)
    headings = tuple("" if _NO_NAME.match(text) else text for text in names)
    if sum(len(column) for column in columns) > MAX_CELLS:
        return []
    texts = [[exact_text(cell).strip() for cell in column.to_list()] for column in columns]
    body = list(zip(*texts, strict=True))
    rows = ([headings] if any(headings) else []) + body
    first = 0 if any(headings) else 1
    lines = tuple(range(first, first + len(rows)))
    return [Grid(name, "", "csv", "", tuple(rows), lines, ";")]
