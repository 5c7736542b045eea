"""A dataset: the Parquet files of a folder as one table, of which never more than a part is in memory."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import accumulate
from pathlib import Path

import polars as pl

from qc.errors import MachineError, QcError, UsageError
from qc.ingest.reading import Table
from qc.words import listed

ROW = "row of the dataset"
"""Column that counts the rows of all files, from 0: what puts parts back into the order of making."""

NAMES_LISTED = 12  # so many names of columns say which table this is


@dataclass(frozen=True, slots=True)
class Dataset:
    """Parquet files as one table, in the order of their names.

    Attributes
    ----------
    folder : Path
        Where they lie; a dataset of one file is the file.
    files : tuple of Path
        At least one.
    starts : tuple of int
        Number of the first row of each file in the whole, from 0.
    rows : int
        Of all files.
    columns : mapping of str to DataType
        Those that every file has, as it has them.
    """

    folder: Path
    files: tuple[Path, ...]
    starts: tuple[int, ...]
    rows: int
    columns: Mapping[str, pl.DataType]

    @property
    def name(self) -> str:
        """What it is called in a sentence."""
        return self.folder.name or str(self.folder)

    def scan(self, columns: Sequence[str]) -> pl.LazyFrame:
        """Return the rows of these columns with their number, not read yet."""
        each = [pl.scan_parquet(file).select(columns) for file in self.files]
        return pl.concat(each).with_row_index(ROW)

    def table(self, frame: pl.DataFrame) -> DatasetTable:
        """Return rows that were read as a table whose cells know the file they stand in."""
        names = tuple(name for name in frame.columns if name != ROW)
        cells = frame.select(pl.col(name).alias(str(number)) for number, name in enumerate(names))
        files = tuple(str(file.relative_to(self.folder)) for file in self.files) if self.many else ()
        return DatasetTable(self.name, "parquet", names, cells, frame[ROW], files=files, starts=self.starts)

    @property
    def many(self) -> bool:
        """Whether it is a folder, not one file."""
        return self.files != (self.folder,)

    def only(self, file: int) -> Dataset:
        """Return the dataset of one of its files."""
        return replace(self, files=(self.files[file],), starts=(0,))


@dataclass(frozen=True, slots=True)
class DatasetTable(Table):
    """Rows of a dataset; `rows` counts them over all files, from 0."""

    files: tuple[str, ...] = ()
    starts: tuple[int, ...] = ()

    def where(self, row: int, column: str) -> str:
        """Say where a cell stands: in which file, in which of its rows, counted from 1.

        Examples
        --------
        >>> table = DatasetTable("archive", "parquet", ("bore",), pl.DataFrame({"0": [1.0]}), pl.Series([7]),
        ...                      files=("a.parquet", "b.parquet"), starts=(0, 5))
        >>> table.where(0, "bore")
        'archive/b.parquet, row 3'
        """
        number = int(self.rows[row])
        if not self.files:
            return f"{self.name}, row {number + 1}"
        file = bisect_right(self.starts, number) - 1
        return f"{self.name}/{self.files[file]}, row {number - self.starts[file] + 1}"


def open_dataset(
    place: Path,
    columns: Sequence[str],
    *,
    error: Callable[[str], QcError],
    usage: Callable[[str], UsageError],
) -> Dataset:
    """Look at the files of a dataset without reading their rows.

    Parameters
    ----------
    place : Path
        A folder, searched through with the folders in it, or one Parquet file.
    columns : sequence of str
        Columns that will be read: each file has to have them, of one kind.
    error, usage : callable
        Make the errors of the asker.

    Returns
    -------
    Dataset

    Raises
    ------
    QcError
        By `error`: a file that is none, a column that one file lacks or has otherwise, no rows at all. By
        `usage`: a folder without Parquet files.
    """
    files = (place,) if place.is_file() else tuple(sorted(p for p in place.rglob("*.parquet") if p.is_file()))
    if not files:
        raise usage(f"{place}: there are no files *.parquet in this folder or below it")
    rows = []
    first: Mapping[str, pl.DataType] = {}
    for number, file in enumerate(files):
        with readable(file, error):
            schema = pl.read_parquet_schema(file)
            rows.append(int(pl.scan_parquet(file).select(pl.len()).collect().item()))
        first = schema if number == 0 else first
        _check_columns(file, schema, files[0], first, columns, error)
    if not sum(rows):
        raise error(f"{place.name}: there are no rows in its files: nothing to study")
    return Dataset(place, files, tuple(accumulate([0, *rows[:-1]])), sum(rows), first)


@contextmanager
def readable(place: Path, error: Callable[[str], QcError]) -> Iterator[None]:
    """Say which file cannot be read, and whose fault that is."""
    try:
        yield
    except OSError as fault:
        raise MachineError(f"{place}: cannot be read ({fault.strerror or fault})") from fault
    except pl.exceptions.PolarsError as fault:
        words = str(fault).strip().splitlines()[0]
        raise error(f"{place.name}: cannot be read as parquet ({words})") from fault


def _check_columns(
    file: Path,
    schema: Mapping[str, pl.DataType],
    first_file: Path,
    first: Mapping[str, pl.DataType],
    columns: Sequence[str],
    error: Callable[[str], QcError],
) -> None:
    """Refuse a file whose columns are not those of the first: parts are read as one table."""
    for name in columns:
        if name not in schema:
            there = listed([f"'{own}'" for own in list(schema)[:NAMES_LISTED]])
            raise error(f"{file.name}: there is no column '{name}'; there are {there}")
        if schema[name] != first[name]:
            raise error(
                f"{file.name}: column '{name}' holds {schema[name]}, in {first_file.name} it holds "
                f"{first[name]}: write it alike in all files"
            )
