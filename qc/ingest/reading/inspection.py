"""Looks inside a workbook's zip before anything reads its cells: is it whole, plain, and of a sane size.

A workbook is a zip of XML parts. Everything a bench sheet may not hold is found here, part by part, with
limits on the unpacked size and an XML parser that refuses document types, so that no entity is ever expanded.
A reader of workbooks keeps room for every cell from the first to the last, empty ones too; so the place of
each cell is worked out here in every way a workbook may give it (`places`), and the area is bounded.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass, replace

from qc.ingest.errors import SheetError
from qc.ingest.reading.grid import MAX_CELLS
from qc.ingest.reading.parts import CUT_HINT, PLAIN_HINT, parse_part
from qc.ingest.reading.places import Area, CellPlaces

MAX_UNPACKED = 200_000_000
"""Largest unpacked workbook. Chosen: ten times the largest file taken. [byte]"""

MAX_RATIO = 200
"""Most a part over one megabyte may have been packed; bench sheets stay under 30."""

TIGHT_HINT = (
    "Formatted but empty rows or columns do this: copy only the filled cells into a new workbook, as values, "
    "and save that. If it did not come from your own bench, ask whoever sent it before you open it."
)

MAX_PARTS = 2_000
"""Most parts of a workbook; chosen, a bench sheet has about a dozen."""

MAX_TEXT = 100_000_000
"""Most text in all cells; chosen, fifty characters in each of the most cells. A text that is kept once and
shown in many cells counts for each of them, since each becomes a text of its own. [character]"""

COUNT = re.compile(r"[0-9]{1,9}", re.ASCII)
SHARED = "xl/sharedstrings.xml"
MACRO_PART = "vbaproject.bin"
PLAIN_PACKING = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@dataclass(frozen=True, slots=True)
class Worksheet:
    """A worksheet: its name, the zip part it lives in, whether it is shown, and cells drawn as one."""

    name: str
    part: str
    visible: bool
    boxes: tuple[tuple[int, int, int, int], ...] = ()


def inspect_workbook(data: bytes, name: str, *, card: bool = True) -> tuple[Worksheet, ...]:
    """Refuse a workbook that a bench sheet may not be; list its tabs.

    Parameters
    ----------
    data : bytes
        The file's content.
    name : str
        The file's name, for messages; empty where the asker names it.
    card : bool
        Read as a card: what a formula, an error value or a cell merged over rows and columns stands for is
        not what was measured, and a card is a narrow table. A table of a computation may hold formulas and be
        of any shape.

    Returns
    -------
    tuple of Worksheet
        In order of the workbook.

    Raises
    ------
    SheetError
        Cut short, no workbook, packed too tight, macros, a part that is no plain XML, a cell or an area
        beyond any table, more text than a sheet holds; of a card, formulas, error values or merged cells.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_sizes(archive, name)
            tabs = _tabs(archive, name)
            area = Area()
            found = []
            for tab in tabs:
                places = CellPlaces(name, tab.name, area, card=card)
                parse_part(archive, tab.part, name, places.begins, places.ends)
                found.append(replace(tab, boxes=tuple(places.boxes)))
            tabs = tuple(found)
            _check_text(archive, tabs, area, name)
            for part in archive.namelist():
                if part.endswith("styles.xml"):
                    parse_part(archive, part, name)
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError):
        problem = "the workbook is damaged or cut off"
        raise SheetError(name, problem, CUT_HINT) from None
    except (NotImplementedError, RuntimeError):  # a packing or a password that zipfile does not open
        raise SheetError(name, "the workbook is packed in an unusual way", PLAIN_HINT) from None
    return tabs


def _check_sizes(archive: zipfile.ZipFile, name: str) -> None:
    infos = archive.infolist()
    _check_packing(infos, name)
    names = {info.filename for info in infos}
    if any(part.casefold().endswith(MACRO_PART) for part in names):
        raise SheetError(name, "the workbook holds macros", "Save it as .xlsx, which cannot hold any.")
    if "xl/workbook.xml" not in names:
        if "xl/workbook.bin" in names or "content.xml" in names:
            raise SheetError(name, "this workbook is not an .xlsx file", PLAIN_HINT)
        raise SheetError(name, "this is a packed folder, not a workbook", PLAIN_HINT)
    # of two parts that a reader may take for one it would read the other, which nobody looked at
    alike = {part.casefold().replace("\\", "/") for part in names}
    if len(alike) < len(infos) or any(info.compress_type not in PLAIN_PACKING for info in infos):
        raise SheetError(name, "the workbook is packed in an unusual way", PLAIN_HINT)


def _check_packing(infos: list[zipfile.ZipInfo], name: str) -> None:
    """Refuse what is too much once unpacked: too many parts, too large, or one packed too tight."""
    anew = "Copy the table into a new workbook and save that."
    if len(infos) > MAX_PARTS:
        problem = f"the workbook is made of {len(infos):,} parts, and one may have {MAX_PARTS:,}"
        raise SheetError(name, problem, anew)
    unpacked = sum(info.file_size for info in infos)
    if unpacked > MAX_UNPACKED:
        problem = f"the workbook unpacks to {unpacked / 1e6:.0f} MB, far more than a bench sheet holds"
        raise SheetError(name, problem, anew)
    for info in infos:
        packed = max(info.compress_size, 1)
        if info.file_size > 1_000_000 and info.file_size > MAX_RATIO * packed:
            problem = (
                f"its part {info.filename} says the same over and over: {info.file_size / 1e6:.1f} MB are "
                f"packed into {packed / 1e3:.1f} kB, {info.file_size / packed:,.0f} to one, and "
                f"{MAX_RATIO} to one is the most that is unpacked"
            )
            raise SheetError(name, problem, TIGHT_HINT)


def _tabs(archive: zipfile.ZipFile, name: str) -> tuple[Worksheet, ...]:
    # the parts are found through the relations: a tab's name says nothing of the part that holds it
    targets: dict[str, str] = {}
    found: list[tuple[str, str, bool]] = []

    def relation(tag: str, attributes: dict[str, str]) -> None:
        if tag != "Relationship":
            return
        target = attributes.get("Target", "")
        path = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        targets[attributes.get("Id", "")] = path

    def sheet(tag: str, attributes: dict[str, str]) -> None:
        if tag != "sheet":
            return
        key = next((value for label, value in attributes.items() if label.endswith(":id")), "")
        visible = attributes.get("state", "visible") == "visible"
        found.append((attributes.get("name", ""), key, visible))

    parse_part(archive, "xl/_rels/workbook.xml.rels", name, relation)
    parse_part(archive, "xl/workbook.xml", name, sheet)
    tabs = tuple(Worksheet(title, targets[key], visible) for title, key, visible in found if key in targets)
    worksheets = tuple(tab for tab in tabs if "worksheet" in tab.part)
    if not worksheets:
        raise SheetError(name, "the workbook has no worksheet", PLAIN_HINT)
    return worksheets


def _check_text(archive: zipfile.ZipFile, tabs: tuple[Worksheet, ...], area: Area, name: str) -> None:
    """Refuse more text than a sheet holds, each shared text counted for every cell that shows it."""
    lengths: list[int] = []
    for part in archive.namelist():
        if part.casefold().endswith("sharedstrings.xml"):
            found = _shared_lengths(archive, part, name)
            lengths = found if part.casefold() == SHARED else lengths
    # the exact sum takes a second look at every cell, which hardly any workbook needs
    if max(lengths, default=0) * area.shared <= MAX_TEXT:
        return
    shown = [at for tab in tabs for at in _shown(archive, tab.part, name)]
    text = sum(lengths[int(at)] for at in shown if at.isdecimal() and int(at) < len(lengths))
    if text > MAX_TEXT:
        problem = f"the cells hold {text / 1e6:,.0f} million characters, far more than a bench sheet"
        raise SheetError(name, problem, "Copy the table into a new workbook, without the long texts.")


def _shown(archive: zipfile.ZipFile, part: str, name: str) -> list[str]:
    """Return what the cells of a tab point at among the shared texts, as written."""
    shown: list[str] = []
    inside = False

    def begins(tag: str, attributes: dict[str, str]) -> None:
        nonlocal inside
        if tag == "c":
            inside = attributes.get("t") == "s"
        elif tag == "v" and inside:
            shown.append("")

    def characters(data: str) -> None:
        if inside and shown:
            shown[-1] += data

    parse_part(archive, part, name, begins, characters=characters)
    return shown


def _shared_lengths(archive: zipfile.ZipFile, part: str, name: str) -> list[int]:
    """Return how long each shared text is, in the order in which cells point at them."""
    lengths: list[int] = []

    def begins(tag: str, attributes: dict[str, str]) -> None:
        if tag == "si":
            lengths.append(0)
        elif tag == "sst":
            # a reader keeps room for as many texts as are announced, whether they follow or not
            for label in ("count", "uniqueCount"):
                announced = attributes.get(label, "0")
                if not COUNT.fullmatch(announced) or int(announced) > MAX_CELLS:
                    problem = f"the workbook announces {announced[:20]!r} texts, more than a sheet holds"
                    raise SheetError(name, problem, PLAIN_HINT)

    def characters(data: str) -> None:
        if lengths:
            lengths[-1] += len(data)

    parse_part(archive, part, name, begins, characters=characters)
    return lengths
