"""Bytes of an uploaded file into grids of text: the content decides what it is, never the file's name."""

from __future__ import annotations

import hashlib

from qc.ingest.errors import SheetError
from qc.ingest.reading.delimited import read_csv
from qc.ingest.reading.grid import MAX_BYTES, Grid
from qc.ingest.reading.workbooks import read_xlsx

FOREIGN = (  # leading bytes of files that are often handed in by mistake; registered signatures
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf", "a compressed file"),
    (b"SQLite format 3", "a database"),
    (b"{\\rtf", "a text document with layout"),
)
RECORDING_HINT = (
    "Hear it with `qc tune CARD --wav RECORDING` beside the card of its notes, or list what was held with "
    "`qc tune --wav RECORDING`; write the cents on a tuning card and hand that in."
)
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # compound file: an .xls, or an .xlsx under a password
SOUNDS = (
    (b"RIFF", b"WAVE"),
    (b"RIFX", b"WAVE"),
    (b"RF64", b"WAVE"),
    (b"FORM", b"AIFF"),
)  # first and third word
# a tag of compressed sound, two lossless containers: known by their first bytes alone
PLAIN_SOUNDS = (b"ID3", b"OggS", b"fLaC")
# a packed folder, and an empty one: what every .xlsx is
ZIP = (b"PK\x03\x04", b"PK\x05\x06")


def check_size(head: bytes, size: int, name: str) -> None:
    """Refuse what is too large for a sheet, a recording with a word of its own.

    Parameters
    ----------
    head : bytes
        The first bytes of the file, a dozen at least, so that it need not be read for this.
    size : int
        Its length. [byte]
    name : str
        Its name, for messages.

    Raises
    ------
    SheetError
        It is a recording, of whatever size, or larger than `MAX_BYTES`.
    """
    if (head[:4], head[8:12]) in SOUNDS or head.startswith(PLAIN_SOUNDS):
        raise SheetError(name, "this is a recording, not a sheet", RECORDING_HINT)
    if size > MAX_BYTES:
        hint = f"A sheet may have up to {MAX_BYTES // 1_000_000} MB: split it, or remove pictures."
        raise SheetError(name, f"the file has {size / 1e6:.1f} MB", hint)


def read_sheet(data: bytes, name: str) -> list[Grid]:
    """Read one uploaded file as text cells.

    Parameters
    ----------
    data : bytes
        The file's content.
    name : str
        Its name, used in messages only.

    Returns
    -------
    list of Grid
        One for csv; one for each tab of a workbook that holds anything.

    Raises
    ------
    SheetError
        The file is empty, too large, no sheet, cut short, in an unknown encoding, or a workbook with
        formulas, merged cells, macros or hidden tabs.
    """
    if not data.strip(b"\x00\t\r\n \xef\xbb\xbf\xff\xfe"):
        raise SheetError(name, "the file is empty", "Save the sheet again and hand that file in.")
    check_size(data, len(data), name)
    sheet = hashlib.sha256(data).hexdigest()
    if data.startswith(ZIP):
        return read_xlsx(data, name, sheet)
    if data.startswith(OLD_WORKBOOK):
        hint = "Open it, take the password off if it has one, and save it as .xlsx or csv."
        raise SheetError(name, "this is an old .xls workbook or one under a password", hint)
    for mark, what in FOREIGN:
        if data.startswith(mark):
            raise SheetError(name, f"this is {what}, not a sheet", "Hand in the csv or xlsx file.")
    return [read_csv(data, name, sheet)]
