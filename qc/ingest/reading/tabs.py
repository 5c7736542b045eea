"""The tabs of a workbook for a table: inspected as a card is, read by the process that reads sheets."""

from __future__ import annotations

from qc.ingest.reading.inspection import inspect_workbook
from qc.ingest.reading.reader import batch_reader


def tab_names(data: bytes) -> list[str]:
    """Return the names of a workbook's tabs, in their order.

    Raises
    ------
    SheetError
        What `inspect_workbook` refuses of any workbook; it does not name the file.
    """
    return [tab.name for tab in inspect_workbook(data, "", card=False)]


def tab_rows(data: bytes, tab: str, *, midnight: bool = False) -> list[list[str]]:
    """Return the cells of one tab as `workbooks.read_tab` does, within the limits of `SheetReader`."""
    with batch_reader() as reader:
        return reader.rows(data, tab, midnight=midnight)
