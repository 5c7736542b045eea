"""`qc held read`: sheets that wait for their layout, read with one, or anew when the plan has changed."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest import CardMapping, SheetLayout
from qc.jobs.receipts import UploadReceipt
from qc.jobs.rows import named_sheet, waiting_sheets
from qc.jobs.upload import GivenFile, upload
from qc.jobs.workshop import Workshop


def read_waiting(
    workshop: Workshop,
    name: str = "",
    *,
    who: str = "",
    mappings: Sequence[CardMapping] = (),
    layouts: Sequence[SheetLayout] = (),
) -> UploadReceipt:
    """Read what waits for its layout, by the one way sheets come in.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    name : str
        File name of a sheet or the beginning of its hash, of one put away too; empty for all that wait.
    who : str
        Code of the person who has it read.
    mappings, layouts : sequences
        What headings mean, and layouts that were shown; remembered where a sheet is read through them.

    Returns
    -------
    UploadReceipt
        As of any upload. What still cannot be read is among the refused, and goes on waiting.

    Raises
    ------
    JobError
        No such sheet waits, or several are called so.
    """
    sheets = [named_sheet(workshop, name)] if name else waiting_sheets(workshop)
    files: list[GivenFile] = [(one.file, workshop.store.sheet_bytes(one.sheet)) for one in sheets]
    return upload(workshop, files, who=who, mappings=mappings, layouts=layouts)
