"""How one kind of question reads its tables: what it takes, how much of it, and how it says what is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NoReturn

from qc.errors import QcError, UsageError
from qc.ingest.reading.files import KINDS
from qc.ingest.reading.grid import MAX_BYTES
from qc.words import told_name

Kind = Literal["csv", "xlsx", "parquet"]

MOST_CELLS = 50_000_000
"""Chosen: as numbers 0.4 GB, as text a few times that; a bench that fills a hundred lines of ten figures a
day needs a hundred years for it. [cell]"""

MOST_COLUMNS = 16_384
"""The widest table that spreadsheet programs keep."""

PROBLEMS: dict[str, str] = {
    "empty": "the file is empty",
    "locked": "it cannot be opened: {words}",
    "binary": "it holds a NUL byte and is no text",
    "quotes": "line {line}: {words}",
    "wide": "line {line} has more cells than there are names",
    "odd": "it is {words}, not a file: give the file itself",
    "large": "it has {words}, and up to {most} are taken",
    "long": "line {line} goes on for more than {most} characters without an end: it is no table of lines",
    "crowded": "it has more than {most} cells in the columns asked for: leave rows or columns out",
    "broad": "it has {words} columns, and up to {most} are taken",
}
"""What may be wrong with a file, for an asker that has no sentence of its own for it."""

MISTAKEN = frozenset({"kind", "missing", "odd", "sheetless", "no-sheet"})
"""Faults of the question and not of the data: another file was meant."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How one kind of question reads its tables.

    Attributes
    ----------
    kinds : mapping of str to str
        Suffix of a file -> what it is read as: ``csv``, ``xlsx`` or ``parquet``.
    separators : str
        What may part the cells of a csv line; the first one wins where two stand in the first line as often.
    said : mapping of str to str
        Fault -> its whole sentence. A fault without one is told by ``unreadable`` with the words of
        `PROBLEMS`.
    error, usage : type
        What is raised for a file at fault, and for a file that cannot be meant.
    most_bytes : int or None
        Largest file taken; a workbook is never taken over `MAX_BYTES`, whoever asks. [byte]
    most_cells : int
        Most cells of the columns that are kept: what bounds the memory where the size of a file does not.
    most_columns : int
        Most names in the first row.
    twice : bool
        A name may stand over two columns, as long as nobody asks for it.
    midnight : bool
        A day in a workbook is written with its midnight.
    """

    kinds: Mapping[str, Kind]
    separators: str
    said: Mapping[str, str]
    error: type[QcError]
    usage: type[UsageError]
    most_bytes: int | None = None
    most_cells: int = MOST_CELLS
    most_columns: int = MOST_COLUMNS
    twice: bool = False
    midnight: bool = False

    def kind(self, path: Path) -> Kind | None:
        """Return what a file of this name is read as; None where it is not read."""
        return self.kinds.get(path.suffix.lower())

    def refuse(self, fault: str, path: Path, cause: BaseException | None = None, **words: object) -> NoReturn:
        """Raise what an asker says of a fault."""
        sentence = self.said.get(fault)
        if sentence is None:
            sentence, words = self.said["unreadable"], {"words": PROBLEMS[fault].format(**words)}
        made = self.usage if fault in MISTAKEN else self.error
        named = {"path": told_name(str(path)), "name": told_name(path.name), "kind": self.kind(path) or ""}
        raise made(sentence.format(**named, **words)) from cause


def check_file(path: Path, manner: Manner) -> None:
    """Refuse, as `manner` says it, what is missing, no file, or too large to be taken.

    Raises
    ------
    UsageError
        There is nothing of that name, or a folder, a pipe, a socket or a device.
    QcError
        More bytes than are taken.
    OSError
        The system does not let us look, or does not take such a name.
    """
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError):  # the last for a NUL in the name
        manner.refuse("missing", path)
    odd = next((words for is_one, words, _ in KINDS if is_one(found.st_mode)), None)
    if odd is not None:
        manner.refuse("odd", path, words=odd)
    most = manner.most_bytes
    if manner.kind(path) == "xlsx":
        most = MAX_BYTES if most is None else min(most, MAX_BYTES)
    if most is not None and found.st_size > most:
        size, limit = (f"{count / 1e6:,.0f} MB" for count in (found.st_size, most))
        manner.refuse("large", path, words=size, most=limit)
