"""A history cut into parts: so many rows of a csv file or of Parquet files, each as a sheet of its own.

The same files give the same parts, byte for byte, whenever they are read. So a part that is on record is
known by its hash, and whoever was interrupted goes on behind it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qc.ingest import Grid, SheetError, TidyColumns, ask_dates, tidy_columns, tidy_said
from qc.ingest.reading import CONTROL, check_slices, likely_encoding, parquet_slices, separator_of
from qc.jobs.history.files import history_files, readable, refuse_parquet, text_rows

PART_ROWS = 10_000
"""Rows of a part. Chosen: a part takes some seconds, which is what a kill costs; the doubts see a thousand
pieces beside each other; the fixed cost of a part is then a tenth of its time."""

PART_LETTERS = 8_000_000
"""Most characters of a part, one row may go beyond: what bounds its memory, where rows are long. Chosen: ten
times what usual rows come to, and below what a sheet may have. [character]"""

MOST_COLUMNS = 1_000  # chosen: a reading has some twenty, the rest stands beside
MOST_LETTERS = 20_000_000  # of names of figures; a plan has 2 MB at most, so some of these are strange to it
MOST_DAYS, LONGEST_DAY = 100_000, 100  # days that are remembered as looked at; no day is longer
ROWS_AT_ONCE = 32  # of a Parquet file made text at a time: each may be long

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
    two_ways : str
        The first of its days, as typed, that can be read two ways; empty where there is none.
    separator, encoding : str
        Of a csv file; empty for Parquet.
    """

    path: Path
    name: str
    labels: tuple[str, ...]
    columns: TidyColumns
    rows: int
    said: frozenset[tuple[str, str]]
    two_ways: str
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
        There is no such file or folder, none of these kinds in it, or what is no file.
    SheetError
        A heading is missing, doubled, or nearly a known one; a row without an end.
    JobError
        A Parquet file is damaged.
    MachineError
        A file cannot be read.
    """
    return [_looked_at(file, name) for file, name in history_files(paths)]


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
    first, own, lines, letters = 1, list[tuple[str, ...]](), list[int](), 0
    with readable(source.path, source.name):
        for line, row in rows:
            own.append(tuple(row))
            lines.append(line)
            letters += len(row) + sum(map(len, row))
            if len(own) == PART_ROWS or letters > PART_LETTERS:
                yield HistoryPart(source, first, tuple(own), tuple(lines))
                first, own, lines, letters = first + len(own), [], [], 0
    if own:
        yield HistoryPart(source, first, tuple(own), tuple(lines))


def _looked_at(file: Path, name: str) -> Source:
    with readable(file, name):
        with file.open("rb") as opened:
            head = opened.read(SAMPLE)
        if not head:
            raise SheetError(name, "the file is empty", "Leave it out.")
        if head.startswith(PARQUET) or file.suffix.casefold() == ".parquet":
            return _parquet(file, name)
        try:
            return _csv(file, name, likely_encoding(head))
        except UnicodeDecodeError:
            return _csv(file, name, OLD_WINDOWS)


def _parquet(file: Path, name: str) -> Source:
    """Look at a Parquet file, once a process apart came through it."""
    words = check_slices(file)
    if words:
        refuse_parquet(name, words)
    labels = tuple(pl.scan_parquet(file, glob=False, hive_partitioning=False).collect_schema())
    columns = _columns(labels, name)
    asked = [column.label for key, column in columns.columns.items() if key in {"stage", "name", "day"}]
    at = [labels.index(label) for label in asked]
    seen = _Seen(columns)
    for part in parquet_slices(file, asked):
        seen.rows += part.height
        for cells in part.unique().iter_rows():
            row = [""] * len(labels)
            for place, text in zip(at, cells, strict=True):
                row[place] = text
            seen.look(row)
    return Source(file, name, labels, columns, *seen.found())


def _csv(file: Path, name: str, encoding: str) -> Source:
    with file.open(encoding=encoding, newline="") as opened:
        separator = separator_of(opened.read(SAMPLE))
        opened.seek(0)
        rows = text_rows(opened, separator, name)
        _, labels = next(rows)
        columns = _columns(labels, name)
        seen = _Seen(columns)
        for _, row in rows:
            if row:
                seen.rows += 1
                seen.look(row)
    return Source(file, name, tuple(labels), columns, *seen.found(), separator, encoding)


def _columns(labels: Sequence[str], name: str) -> TidyColumns:
    if len(labels) > MOST_COLUMNS:
        hint = "Leave out those that hold nothing of a reading."
        raise SheetError(name, f"{len(labels):,} columns, and up to {MOST_COLUMNS:,} are taken", hint)
    return tidy_columns(labels, name)


class _Seen:
    """Counts rows, and gathers which figures and days they name: what would be refused is told at once.

    What is gathered is bounded, however long the file: figures until they are more than any plan has names
    for, days by the first one that can be read two ways.
    """

    def __init__(self, columns: TidyColumns) -> None:
        self.columns, self.rows = columns, 0
        self._day = columns.columns["day"].index
        self._places = [columns.columns[key].index for key in ("stage", "name") if key in columns.columns]
        self._figures: dict[tuple[str, ...], tuple[str, str]] = {}
        self._letters = 0
        self._days: set[str] = set()
        self._two_ways = ""

    def look(self, row: Sequence[str]) -> None:
        """Look at what a row names."""
        cells = tuple(row[place] if place < len(row) else "" for place in self._places)
        if cells not in self._figures and self._letters < MOST_LETTERS:
            self._letters += sum(map(len, cells)) + 1
            self._figures[cells] = tidy_said(row, self.columns)
        day = row[self._day] if self._day < len(row) else ""
        if day not in self._days:
            if len(self._days) >= MOST_DAYS:
                self._days.clear()
            if len(day) <= LONGEST_DAY:
                self._days.add(day)
                if ask_dates([day]) is not None:
                    self._two_ways = min(self._two_ways or day, day)

    def found(self) -> tuple[int, frozenset[tuple[str, str]], str]:
        """Return how many rows there are, the figures they name, and the day that can be read two ways."""
        return self.rows, frozenset(self._figures.values()), self._two_ways


def _csv_rows(source: Source) -> Iterator[tuple[int, list[str]]]:
    with source.path.open(encoding=source.encoding, newline="") as opened:
        rows = text_rows(opened, source.separator, source.name)
        next(rows)
        yield from ((line, row) for line, row in rows if row)


def _parquet_rows(source: Source) -> Iterator[tuple[int, list[str]]]:
    number = 0
    for part in parquet_slices(source.path):
        for row in part.iter_rows(buffer_size=ROWS_AT_ONCE):
            number += 1
            yield number, list(row)
