"""A history cut into parts: so many rows of a csv file or of Parquet files, each as a sheet of its own.

The same files give the same parts, byte for byte, whenever they are read. So a part that is on record is
known by its hash, and whoever was interrupted goes on behind it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qc.errors import MachineError, UsageError
from qc.ingest import Grid, SheetError, TidyColumns, tidy_columns, tidy_said
from qc.ingest.reading import CONTROL, BrokenRowError, likely_encoding, separator_of, split_rows
from qc.jobs.errors import JobError

PART_ROWS = 10_000
"""Rows of a part. Chosen: a part takes some seconds, which is what a kill costs; the doubts see a thousand
pieces beside each other; the fixed cost of a part is then a tenth of its time."""

SAMPLE = 64_000  # bytes that show the encoding and the separator
SEPARATOR = ";"  # between the cells of a part as it is kept
PARQUET = b"PAR1"
OLD_WINDOWS = "cp1252"  # what text is that is no UTF-8


@dataclass(frozen=True, slots=True)
class Source:
    """One file of a history.

    Attributes
    ----------
    path : Path
        Where it lies.
    name : str
        What it is called on record.
    labels : tuple of str
        Its headings.
    columns : TidyColumns
        What they mean.
    rows : int
        Rows below them, without blank lines.
    said : frozenset of (str, str)
        The stages and figures that its rows name, in plain form.
    days : frozenset of str
        The days that stand in it, as typed.
    separator, encoding : str
        Of a csv file; empty for Parquet.
    """

    path: Path
    name: str
    labels: tuple[str, ...]
    columns: TidyColumns
    rows: int
    said: frozenset[tuple[str, str]]
    days: frozenset[str]
    separator: str = ""
    encoding: str = ""


@dataclass(frozen=True, slots=True)
class HistoryPart:
    """Some rows of a file: as they are kept, and as they are read."""

    source: Source
    first: int  # row of the file below its headings, from 1
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    @property
    def name(self) -> str:
        """What the part is called on record."""
        return f"{self.source.name}, rows {self.first} to {self.first + len(self.rows) - 1}"

    def data(self) -> bytes:
        """Return the part as a csv sheet of its own; raises `SheetError` for control characters."""
        text = io.StringIO(newline="")
        written = csv.writer(text, delimiter=SEPARATOR, lineterminator="\r\n")
        written.writerows([self.source.labels, *self.rows])
        if found := CONTROL.search(text.getvalue()):
            line = self.lines[max(0, text.getvalue().count("\r\n", 0, found.start()) - 1)]
            hint = "The file was damaged, or is no plain text: write it anew."
            raise SheetError(self.name, "the file holds a control character", hint, cell=f"line {line}")
        return text.getvalue().encode("utf-8")

    def grid(self, digest: str) -> Grid:
        """Return the part as a sheet that was read; its lines are those of the file."""
        whole = (self.source.labels, *self.rows)
        separator = self.source.separator or SEPARATOR
        widths = tuple(len(row) for row in whole)
        return Grid(self.source.name, "", "csv", digest, whole, (1, *self.lines), separator, widths)


def find_sources(paths: Sequence[Path]) -> list[Source]:
    """Look at the files of a history: their headings, and how many rows they have.

    Parameters
    ----------
    paths : sequence of Path
        Files, csv or Parquet, and folders, which are searched through with the folders in them; in the order
        given, those of a folder by their names.

    Returns
    -------
    list of Source

    Raises
    ------
    UsageError
        There is no such file or folder, or none of these kinds in it.
    SheetError
        A heading is missing, doubled, or nearly a known one.
    MachineError
        A file cannot be read.
    """
    found = []
    for path in paths:
        files = [path] if path.is_file() else _files_in(path)
        for file in files:
            name = file.name if path.is_file() else f"{path.name}/{file.relative_to(path).as_posix()}"
            found.append(_looked_at(file, name))
    return found


def parts_of(source: Source) -> Iterator[HistoryPart]:
    """Give the parts of a file one after the other; no more than one is in memory.

    Raises
    ------
    SheetError
        A row cannot be read as csv.
    MachineError
        The file cannot be read any longer.
    """
    rows = _csv_rows(source) if source.separator else _parquet_rows(source)
    first, own, lines = 1, list[tuple[str, ...]](), list[int]()
    with _readable(source.path, source.name):
        for line, row in rows:
            own.append(tuple(row))
            lines.append(line)
            if len(own) == PART_ROWS:
                yield HistoryPart(source, first, tuple(own), tuple(lines))
                first, own, lines = first + len(own), [], []
    if own:
        yield HistoryPart(source, first, tuple(own), tuple(lines))


def _files_in(folder: Path) -> list[Path]:
    if not folder.exists():
        raise UsageError(f"{folder}: there is no such file or folder. Check the name.")
    kinds = {".csv", ".parquet"}
    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.suffix.casefold() in kinds)
    if not files:
        raise UsageError(f"{folder}: there are no files *.csv or *.parquet in this folder or below it.")
    return files


@contextmanager
def _readable(file: Path, name: str) -> Iterator[None]:
    """Say which file cannot be read, where, and whose fault that is."""
    try:
        yield
    except OSError as fault:
        raise MachineError(f"{file}: cannot be read ({fault.strerror or fault}). Check the name.") from fault
    except pl.exceptions.PolarsError as fault:
        words = str(fault).strip().splitlines()[0]
        raise JobError(f"{name}: cannot be read as parquet ({words}). Write it anew.") from fault
    except BrokenRowError as fault:
        hint = "A cell that begins with a quotation mark must end with one: mend the line."
        raise SheetError(name, "the line cannot be read", hint, cell=f"line {fault.line}") from fault
    except UnicodeDecodeError as fault:
        hint = "Save it again as csv with the encoding UTF-8."
        raise SheetError(name, "the text is in an encoding that cannot be read", hint) from fault


def _looked_at(file: Path, name: str) -> Source:
    with _readable(file, name):
        with file.open("rb") as opened:
            head = opened.read(SAMPLE)
        if not head:
            raise SheetError(name, "the file is empty", "Leave it out.")
        if head.startswith(PARQUET):
            return _parquet(file, name)
        try:
            return _csv(file, name, likely_encoding(head))
        except UnicodeDecodeError:
            return _csv(file, name, OLD_WINDOWS)


def _parquet(file: Path, name: str) -> Source:
    labels = tuple(pl.read_parquet_schema(file))
    columns = tidy_columns(labels, name)
    scan = pl.scan_parquet(file)
    asked = [column.label for key, column in columns.columns.items() if key in {"stage", "name", "day"}]
    own = scan.select(asked).unique().collect(engine="streaming")
    cells = [[""] * len(labels) for _ in range(own.height)]
    for label in asked:
        for row, text in zip(cells, _texts(own)[label], strict=True):
            row[labels.index(label)] = text
    rows = int(scan.select(pl.len()).collect().item())
    return Source(file, name, labels, columns, rows, *_seen(cells, columns)[1:])


def _csv(file: Path, name: str, encoding: str) -> Source:
    with file.open(encoding=encoding, newline="") as opened:
        separator = separator_of(opened.read(SAMPLE))
        opened.seek(0)
        rows = split_rows(opened, separator)
        _, labels = next(rows)
        columns = tidy_columns(labels, name)
        seen = _seen((row for _, row in rows if row), columns)
    return Source(file, name, tuple(labels), columns, *seen, separator, encoding)


def _seen(
    rows: Iterable[Sequence[str]], columns: TidyColumns
) -> tuple[int, frozenset[tuple[str, str]], frozenset[str]]:
    """Count rows, and gather which figures and days they name: what would be refused is told at once."""
    at = columns.columns["day"].index
    known: dict[tuple[str, ...], tuple[str, str]] = {}
    places = [columns.columns[key].index for key in ("stage", "name") if key in columns.columns]
    days, number = set(), 0
    for number, row in enumerate(rows, start=1):  # noqa: B007 - the last one is how many there are
        cells = tuple(row[place] if place < len(row) else "" for place in places)
        if cells not in known:
            known[cells] = tidy_said(row, columns)
        days.add(row[at] if at < len(row) else "")
    return number, frozenset(known.values()), frozenset(days)


def _csv_rows(source: Source) -> Iterator[tuple[int, list[str]]]:
    with source.path.open(encoding=source.encoding, newline="") as opened:
        rows = split_rows(opened, source.separator)
        next(rows)
        yield from ((line, row) for line, row in rows if row)


def _parquet_rows(source: Source) -> Iterator[tuple[int, list[str]]]:
    scan = pl.scan_parquet(source.path)
    for start in range(0, source.rows, PART_ROWS):
        part = _texts(scan.slice(start, PART_ROWS).collect())
        yield from ((start + n, list(row)) for n, row in enumerate(part.iter_rows(), start=1))


def _texts(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame as somebody would type it: ISO days, 1 for true and for 1.0, nothing for null."""
    return frame.select(_as_text(name, kind) for name, kind in frame.schema.items())


def _as_text(name: str, kind: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(kind, pl.Datetime):
        return column.dt.strftime("%Y-%m-%d %H:%M:%S").fill_null("")
    whole = column.cast(pl.Int8) if kind == pl.Boolean else column
    text = whole.cast(pl.String).fill_null("")
    return text.str.strip_suffix(".0") if kind.is_float() else text
