"""Csv files of any size: read in pieces, of which only the columns asked for are kept.

Plain text goes through the fast reader piece by piece. A file with quotation marks, bare carriage returns or
a row wider than its names is read again from its beginning, row by row: slower, and exact about its lines.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TextIO, TypeAlias

import polars as pl

from qc.ingest.reading.delimited import BrokenRowError, split_rows
from qc.ingest.reading.encodings import likely_encoding
from qc.ingest.reading.manner import Manner

PIECE = 8_000_000
"""How much of a file is held at a time, and the longest line taken. Chosen: large enough that the fast reader
is busy, small beside what a computation needs. [character]"""

HEAD_BYTES = 4_096

FILLED_LINE = re.compile(r"^.*\S.*$", re.MULTILINE)

Narrow: TypeAlias = "Callable[[pl.Series], pl.Series | None]"
"""Brings a column of text into something smaller that says as much; None where that cannot be done."""

Asked: TypeAlias = "Mapping[str, Narrow | None]"
"""Columns asked for by name, each with what may be made of its text; None where the text itself is wanted."""


@dataclass(frozen=True, slots=True)
class Columns:
    """What was kept of a file.

    Attributes
    ----------
    names : tuple of str
        Names of all its columns as written.
    cells : DataFrame
        The columns kept, named by their place.
    rows : Series of int
        Number of each row, rows without any entry at the end left out.
    """

    names: tuple[str, ...]
    cells: pl.DataFrame
    rows: pl.Series


@dataclass(frozen=True, slots=True)
class Way:
    """How a text file is read: in the likeliest way first, in another where it was not the right one.

    `rowwise` is the careful way, `as_text` holds the places of columns of which nothing smaller can be made.
    """

    encoding: str
    errors: str = "strict"
    rowwise: bool = False
    as_text: frozenset[int] = frozenset()


class _OtherWayError(Exception):
    """The file has to be read again, in this way."""

    def __init__(self, way: Way) -> None:
        super().__init__(way)
        self.way = way


def read_delimited(path: Path, manner: Manner, asked: Asked | None = None) -> Columns:
    """Read the columns asked for out of a text file, whatever its size.

    Parameters
    ----------
    path : Path
        A file in any encoding that `decode` knows, names in its first filled line.
    manner : Manner
        What may part its cells, how much is taken, and what is said of a fault.
    asked : mapping of str to function or None, optional
        Columns that are kept, each with what may be made of its text. All as text when left out.

    Returns
    -------
    Columns
        Cells as text with null for nothing, or as their function made them.

    Raises
    ------
    QcError
        As `manner.error`: empty, no text, a quotation mark out of place, a row wider than the names, a line
        without an end, more columns or cells than are taken.
    OSError
        The file cannot be read.
    """
    with path.open("rb") as stream:
        way = Way(likely_encoding(stream.read(HEAD_BYTES)))
    while True:
        try:
            with path.open(encoding=way.encoding, errors=way.errors, newline="") as text:
                return (_rowwise if way.rowwise else _plainly)(text, way, path, manner, asked)
        except UnicodeError:  # old Windows text, with a mark for each letter that was lost
            way = Way("cp1252", "replace", rowwise=way.rowwise)
        except _OtherWayError as other:
            way = other.way


@dataclass(slots=True)
class _Kept:
    """The columns asked for, gathered piece by piece."""

    names: tuple[str, ...]
    way: Way
    path: Path
    manner: Manner
    asked: Asked | None
    parts: dict[int, list[pl.Series]] = field(default_factory=dict)
    height: int = 0
    filled: int = 0  # rows up to the last one with an entry in any column

    def __post_init__(self) -> None:
        if len(self.names) > self.manner.most_columns:
            most = f"{self.manner.most_columns:,}"
            self.manner.refuse("broad", self.path, words=f"{len(self.names):,}", most=most)
        wanted = [at for at, name in enumerate(self.names) if self.asked is None or name in self.asked]
        self.parts = {at: [] for at in wanted}

    def add(self, piece: pl.DataFrame) -> None:
        """Keep what is wanted of a piece, whose columns are text named by their place."""
        blank = pl.all().str.strip_chars() == ""
        cells = piece.select(pl.when(~blank).then(pl.all()))
        self._look_for_the_end(cells)
        self.height += piece.height
        # blank rows count as one cell each even where nothing is kept, so that they cannot go on for ever
        if self.height * max(len(self.parts), 1) > self.manner.most_cells:
            self.manner.refuse("crowded", self.path, most=f"{self.manner.most_cells:,}")
        for at, parts in self.parts.items():
            parts.append(self._narrowed(at, cells[str(at)]))

    def _look_for_the_end(self, cells: pl.DataFrame) -> None:
        if any(cell is not None for cell in cells.row(-1)):
            self.filled = self.height + cells.height
            return
        used = cells.select(pl.any_horizontal(pl.all().is_not_null())).to_series().arg_true()
        if used.len():
            self.filled = self.height + int(used[-1]) + 1

    def _narrowed(self, at: int, text: pl.Series) -> pl.Series:
        """Make what was asked of a column; one that turns out to need its text is read again as text."""
        narrow = None if self.asked is None else self.asked[self.names[at]]
        if narrow is None or at in self.way.as_text:
            return text
        made = narrow(text)
        if made is None:
            raise _OtherWayError(replace(self.way, as_text=self.way.as_text | {at}))
        return made

    def columns(self, rows: pl.Series) -> Columns:
        """Put the pieces together, without rows at the end that hold nothing."""
        whole = {
            str(at): pl.concat(parts, rechunk=False).head(self.filled)
            for at, parts in self.parts.items()
            if parts
        }
        if not whole:
            whole = {str(at): pl.Series([], dtype=pl.String) for at in self.parts}
        return Columns(self.names, pl.DataFrame(whole), rows.head(self.filled))


def _plainly(text: TextIO, way: Way, path: Path, manner: Manner, asked: Asked | None) -> Columns:
    """Read plain text by the fast reader, piece by piece."""
    kept: _Kept | None = None
    separator = ""
    for piece in _pieces(text, path, manner):
        bare = "\r" in piece and piece.count("\r") != piece.count("\r\n")
        body = piece
        if kept is None:
            separator = _separator(piece, manner)
            head, _, body = piece.partition("\n")
            names = head.removesuffix("\r").split(separator)
            # with blank lines about the names the careful way is surer to count right
            bare = bare or not any(name.strip() for name in names) or body.startswith(("\n", "\r"))
        if bare or '"' in piece:
            raise _OtherWayError(replace(way, rowwise=True))
        if kept is None:
            kept = _Kept(tuple(names), way, path, manner, asked)
        if not body:
            continue
        cells = _plain_cells(body, separator, len(kept.names))
        if cells is None:
            raise _OtherWayError(replace(way, rowwise=True))
        kept.add(cells)
    if kept is None:
        manner.refuse("empty", path)
    return kept.columns(pl.int_range(2, kept.height + 2, eager=True))


def _pieces(text: TextIO, path: Path, manner: Manner) -> Iterator[str]:
    """Give a text in pieces of whole lines."""
    rest, line = "", 1
    for more in iter(partial(text.read, PIECE), ""):
        _refuse_nul(more, path, manner)
        whole, end, rest = (rest + more).rpartition("\n")
        if end:
            line += whole.count("\n") + 1
            yield whole + end
        elif len(rest) >= PIECE and "\r" not in rest:
            manner.refuse("long", path, line=line, most=f"{PIECE:,}")
        if "\r" in rest[:-1]:  # lines that end in a bare CR: nobody waits for another end
            yield rest
            rest = ""
    if rest:
        yield rest


def _plain_cells(body: str, separator: str, width: int) -> pl.DataFrame | None:
    """Split whole lines without quotation marks into columns; None where the fast reader cannot.

    The fast reader passes over blank lines at its beginning: they are put back, and where it counts other
    lines than there are, it is not believed.
    """
    schema = {str(at): pl.String for at in range(width)}
    filled = body.lstrip("\r\n")
    ahead = body.count("\n", 0, len(body) - len(filled))
    lines = body.count("\n") + (not body.endswith("\n"))
    blank = pl.DataFrame({name: pl.Series([None] * ahead, dtype=pl.String) for name in schema})
    if not filled:
        return blank
    try:
        cells = pl.read_csv(
            filled.encode(), has_header=False, schema=schema, separator=separator, quote_char=None
        )
    except pl.exceptions.PolarsError:
        return None
    cells = blank.vstack(cells) if ahead else cells
    return cells if cells.height == lines else None


class _Lines:
    """The lines of a text for the row-wise reader; `taken` counts characters since it was set to 0."""

    def __init__(self, text: TextIO, path: Path, manner: Manner) -> None:
        self.text, self.path, self.manner = text, path, manner
        self.taken, self.line = 0, 0

    def __iter__(self) -> Iterator[str]:
        for line in iter(partial(self.text.readline, PIECE + 1), ""):
            self.line += 1
            self.taken += len(line)
            _refuse_nul(line, self.path, self.manner)
            if self.taken > PIECE:  # one line, or a row of many lines within quotation marks
                self.manner.refuse("long", self.path, line=self.line, most=f"{PIECE:,}")
            yield line


def _rowwise(text: TextIO, way: Way, path: Path, manner: Manner, asked: Asked | None) -> Columns:
    """Read row by row: quotation marks, rows of several lines, and the line of each fault."""
    lines = _Lines(text, path, manner)
    ahead = list(_up_to_names(lines))
    rows = split_rows(chain(ahead, lines), _separator("".join(ahead), manner))
    try:
        names = next((cells for _, cells in rows if any(cell.strip() for cell in cells)), None)
        if names is None:
            manner.refuse("empty", path)
        kept = _Kept(tuple(names), way, path, manner, asked)
        numbers = [pl.Series([], dtype=pl.Int64)]
        for batch in _batches(rows, lines, len(names), path, manner):
            numbers.append(pl.Series([number for number, _ in batch], dtype=pl.Int64))
            columns = zip(*(cells for _, cells in batch), strict=True)
            kept.add(pl.DataFrame([pl.Series(str(at), c, dtype=pl.String) for at, c in enumerate(columns)]))
    except BrokenRowError as fault:
        manner.refuse("quotes", path, fault, line=fault.line, words=fault.problem)
    return kept.columns(pl.concat(numbers))


def _up_to_names(lines: Iterable[str]) -> Iterator[str]:
    """Give the lines up to the first filled one, which shows what parts the cells."""
    for line in lines:
        yield line
        if line.strip():
            return


def _batches(
    rows: Iterator[tuple[int, list[str]]], lines: _Lines, width: int, path: Path, manner: Manner
) -> Iterator[list[tuple[int, list[str]]]]:
    """Gather rows, each brought to the width of the names, until they fill a piece."""
    batch: list[tuple[int, list[str]]] = []
    held = lines.taken = 0
    for number, cells in rows:
        if any(cell.strip() for cell in cells[width:]):
            manner.refuse("wide", path, line=number)
        batch.append((number, cells[:width] + [""] * (width - len(cells))))
        held += lines.taken + width
        lines.taken = 0
        if held > PIECE:
            yield batch
            batch, held = [], 0
    if batch:
        yield batch


def _separator(text: str, manner: Manner) -> str:
    """Take what the first filled line shows most of."""
    head = FILLED_LINE.search(text)
    return max(manner.separators, key=head.group().count if head else "".count)


def _refuse_nul(text: str, path: Path, manner: Manner) -> None:
    if "\x00" in text:
        manner.refuse("binary", path)
