"""One table as a file of any format, for whoever takes along what a page shows."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from qc.jobs.export.writing import WORKBOOK, ExportFormat, XlsxWriter, guarded


def table_file(frame: pl.DataFrame, form: ExportFormat, name: str, made: date) -> bytes:
    """Return a table as the bytes of a file.

    Parameters
    ----------
    frame : DataFrame
        Any columns of texts, numbers, days and truths.
    form : ExportFormat
        csv and xlsx are for a spreadsheet: no text of theirs is run as a formula.
    name : str
        Of the worksheet, where there is one; cut to what a worksheet may be called.
    made : date
        The day that a workbook bears.
    """
    if form is ExportFormat.XLSX:
        with TemporaryDirectory() as folder:
            book = XlsxWriter(Path(folder), made)
            with book:
                book.put_rows(list(frame.columns), [frame], sheet_name(name))
            return (Path(folder) / WORKBOOK).read_bytes()
    out = BytesIO()
    if form is ExportFormat.CSV:
        guarded(frame).write_csv(out)
    else:
        frame.write_parquet(out, statistics=True)
    return out.getvalue()


def sheet_name(name: str) -> str:
    """Return a name that a worksheet may bear: 31 letters, none of those that a workbook refuses.

    Examples
    --------
    >>> sheet_name("draw/tube_od/tenor")
    'draw tube_od tenor'
    """
    return "".join(" " if one in "[]:*?/\\'" else one for one in name)[:31].strip() or "table"
