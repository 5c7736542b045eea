"""Looks inside a workbook's zip before anything reads its cells: is it whole, plain, and of a sane size.

A workbook is a zip of XML parts. Everything a bench sheet may not hold is found here, part by part, with
limits on the unpacked size and an XML parser that refuses document types, so that no entity is ever expanded.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from xml.parsers import expat

from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import MAX_COLUMNS, MAX_ROWS

MAX_UNPACKED = 200_000_000
"""Largest unpacked workbook. Chosen: ten times the largest file taken, still easily held in memory. [byte]"""

MAX_RATIO = 200
"""Most a part over one megabyte may have been packed; bench sheets stay under 30."""

MAX_PARTS = 2_000
"""Most parts of a workbook; chosen, a bench sheet has about a dozen."""

CUT_HINT = "Copy the file again, or open it, save it as .xlsx and hand that in."
PLAIN_HINT = "Open it in a spreadsheet program and save it as a plain .xlsx or csv."
FORMULA_HINT = "Copy the column and paste it as values only, so that the sheet keeps what was measured."
MERGED_HINT = "Unmerge the cells and type the text into each row it is meant for."


@dataclass(frozen=True, slots=True)
class Worksheet:
    """A worksheet: its name, the zip part it lives in, and whether it is shown."""

    name: str
    part: str
    visible: bool


def inspect_workbook(data: bytes, name: str) -> tuple[Worksheet, ...]:
    """Refuse a workbook that a bench sheet may not be; list its tabs.

    Parameters
    ----------
    data : bytes
        The file's content.
    name : str
        The file's name, for messages.

    Returns
    -------
    tuple of Worksheet
        In order of the workbook.

    Raises
    ------
    SheetError
        Cut short, no workbook, packed too tight, macros, a part that is no plain XML, formulas, error values
        or merged cells.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_sizes(archive, name)
            tabs = _tabs(archive, name)
            for tab in tabs:
                _check_tab(_part(archive, tab.part, name), name, tab)
            for part in archive.namelist():
                if part.endswith(("sharedStrings.xml", "styles.xml")):
                    _parse(_part(archive, part, name), name, {})
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError):
        problem = "the workbook is damaged or cut off"
        raise SheetError(name, problem, CUT_HINT) from None
    except (NotImplementedError, RuntimeError):  # a packing or a password that zipfile does not open
        raise SheetError(name, "the workbook is packed in an unusual way", PLAIN_HINT) from None
    return tabs


def _check_sizes(archive: zipfile.ZipFile, name: str) -> None:
    infos = archive.infolist()
    unpacked = sum(info.file_size for info in infos)
    tight = any(i.file_size > 1_000_000 and i.file_size > MAX_RATIO * max(i.compress_size, 1) for i in infos)
    if len(infos) > MAX_PARTS or unpacked > MAX_UNPACKED or tight:
        problem = f"the workbook unpacks to {unpacked / 1e6:.0f} MB, far more than a bench sheet holds"
        raise SheetError(name, problem, "Copy the table into a new workbook and save that.")
    names = {info.filename for info in infos}
    if any(part.casefold().endswith("vbaproject.bin") for part in names):
        raise SheetError(name, "the workbook holds macros", "Save it as .xlsx, which cannot hold any.")
    if "xl/workbook.xml" not in names:
        if "xl/workbook.bin" in names or "content.xml" in names:
            raise SheetError(name, "this workbook is not an .xlsx file", PLAIN_HINT)
        raise SheetError(name, "this is a packed folder, not a workbook", PLAIN_HINT)


def _part(archive: zipfile.ZipFile, part: str, name: str) -> bytes:
    """Unpack one part, never more than its declared size: a false declaration is a bomb."""
    try:
        info = archive.getinfo(part)
    except KeyError:
        raise SheetError(name, "the workbook misses one of its parts", CUT_HINT) from None
    with archive.open(info) as stream:
        data = stream.read(info.file_size + 1)
    if len(data) > info.file_size:
        raise SheetError(name, "the workbook hides its true size", PLAIN_HINT)
    return data


def _tabs(archive: zipfile.ZipFile, name: str) -> tuple[Worksheet, ...]:
    # the parts are found through the relations: a tab's name says nothing of the part that holds it
    targets: dict[str, str] = {}
    found: list[tuple[str, str, bool]] = []

    def relation(attributes: dict[str, str]) -> None:
        target = attributes.get("Target", "")
        path = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        targets[attributes.get("Id", "")] = path

    def sheet(attributes: dict[str, str]) -> None:
        key = next((value for label, value in attributes.items() if label.endswith(":id")), "")
        visible = attributes.get("state", "visible") == "visible"
        found.append((attributes.get("name", ""), key, visible))

    _parse(_part(archive, "xl/_rels/workbook.xml.rels", name), name, {"Relationship": relation})
    _parse(_part(archive, "xl/workbook.xml", name), name, {"sheet": sheet})
    tabs = tuple(Worksheet(title, targets[key], visible) for title, key, visible in found if key in targets)
    worksheets = tuple(tab for tab in tabs if "worksheet" in tab.part)
    if not worksheets:
        raise SheetError(name, "the workbook has no worksheet", PLAIN_HINT)
    return worksheets


def _check_tab(data: bytes, name: str, tab: Worksheet) -> None:
    # what a formula, an error or a merged cell stood for is not what was measured, so the cell is named
    here = {"cell": ""}

    def cell(attributes: dict[str, str]) -> None:
        here["cell"] = attributes.get("r", "")
        if _far_out(here["cell"]):
            problem = "a cell stands far outside any table"
            hint = (
                f"A sheet may have {MAX_ROWS:,} rows and {MAX_COLUMNS} columns: clear that cell or split it."
            )
            raise SheetError(name, problem, hint, tab=tab.name, cell=here["cell"])
        if attributes.get("t") == "e":
            problem = "the cell holds an error value"
            raise SheetError(name, problem, "Type the figure itself.", tab=tab.name, cell=here["cell"])

    def formula(_: dict[str, str]) -> None:
        problem = "the cell holds a formula"
        raise SheetError(name, problem, FORMULA_HINT, tab=tab.name, cell=here["cell"])

    def merged(attributes: dict[str, str]) -> None:
        area = attributes.get("ref", "").replace(":", " to ")
        raise SheetError(name, "cells are merged", MERGED_HINT, tab=tab.name, cell=area)

    _parse(data, name, {"c": cell, "f": formula, "mergeCell": merged})


def _far_out(reference: str) -> bool:
    """Tell whether a cell lies beyond the limits; one such cell makes a reader reserve the whole area."""
    letters = reference.rstrip("0123456789")
    digits = reference[len(letters) :]
    if len(letters) > 3 or len(digits) > 7 or int(digits or 0) > MAX_ROWS:
        return True
    index = 0
    for letter in letters:
        index = 26 * index + ord(letter) - 64
    return index > MAX_COLUMNS


def _parse(data: bytes, name: str, handlers: Mapping[str, Callable[[dict[str, str]], None]]) -> None:
    """Run an XML part through expat, calling a handler for each element of interest."""
    parser = expat.ParserCreate()

    def refuse(*_: object) -> None:
        raise SheetError(name, "the workbook holds a document type, which no spreadsheet writes", PLAIN_HINT)

    def start(tag: str, attributes: dict[str, str]) -> None:
        handler = handlers.get(tag.rpartition(":")[2])
        if handler is not None:
            handler(attributes)

    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    if handlers:
        parser.StartElementHandler = start
    try:
        parser.Parse(data, True)
    except expat.ExpatError:
        raise SheetError(name, "a part of the workbook is damaged or cut off", CUT_HINT) from None
