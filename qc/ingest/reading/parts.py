"""One part of a workbook's zip through the XML parser, piece by piece, whatever its size."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from xml.parsers import expat

from qc.ingest.errors import SheetError

CHUNK = 1 << 16
"""How much of a part is unpacked at a time, so that looking at it takes no memory. [byte]"""

CUT_HINT = "Copy the file again, or open it, save it as .xlsx and hand that in."
PLAIN_HINT = "Open it in a spreadsheet program and save it as a plain .xlsx or csv."


def parse_part(
    archive: zipfile.ZipFile,
    part: str,
    name: str,
    begins: Callable[[str, dict[str, str]], None] | None = None,
    ends: Callable[[str], None] | None = None,
    characters: Callable[[str], None] | None = None,
) -> None:
    """Run a part of a workbook through an XML parser.

    Parameters
    ----------
    archive : ZipFile
        The opened workbook.
    part, name : str
        Name of the part; name of the file, for messages.
    begins, ends : callable, optional
        Told of every element that begins (its tag without a prefix, its attributes) and that ends.
    characters : callable, optional
        Told of text between the elements.

    Raises
    ------
    SheetError
        The part is missing, no XML, in an encoding that does not exist, or brings a document type.
    """
    parser = expat.ParserCreate()

    def refuse(*_: object) -> None:
        raise SheetError(name, "the workbook holds a document type, which no spreadsheet writes", PLAIN_HINT)

    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    if begins is not None:
        parser.StartElementHandler = lambda tag, attributes: begins(tag.rpartition(":")[2], attributes)
    if ends is not None:
        parser.EndElementHandler = lambda tag: ends(tag.rpartition(":")[2])
    parser.CharacterDataHandler = characters
    encoding = ""

    def declared(_version: str, named: str | None, _standalone: int) -> None:
        nonlocal encoding
        encoding = named or ""

    parser.XmlDeclHandler = declared
    try:
        info = archive.getinfo(part)
    except KeyError:
        raise SheetError(name, "the workbook misses one of its parts", CUT_HINT) from None
    with archive.open(info) as stream:
        try:
            while chunk := stream.read(CHUNK):
                parser.Parse(chunk, False)
            parser.Parse(b"", True)
        except expat.ExpatError:
            raise SheetError(name, "a part of the workbook is damaged or cut off", CUT_HINT) from None
        except (LookupError, ValueError):  # the parser asks Python for an encoding it does not know itself
            problem = f"the workbook names the encoding {encoding[:40]!r}, in which it cannot be read"
            raise SheetError(name, problem, PLAIN_HINT) from None
