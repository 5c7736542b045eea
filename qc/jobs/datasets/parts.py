"""A dataset cut into parts of whole series, each small enough to be studied in memory.

Where each series stands in one piece, as in an export, a part is a run of rows: whoever studies it reads
just these. Where the series of a dataset are mixed, its rows are first sorted into scratch files, one a part,
in one pass over it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from qc.errors import MachineError, QcError
from qc.jobs.datasets.dataset import ROW, Dataset, readable

PART_ROWS = 250_000
"""Rows of a part, one long series may have more; chosen: some ten megabytes, and seconds of work."""

SERIES, PART = "series of the part", "number of the part"


@dataclass(frozen=True, slots=True)
class DatasetPart:
    """Some series of a dataset with all their rows, to be read where they are studied.

    Attributes
    ----------
    dataset : Dataset
        What it is a part of.
    columns : tuple of str
        Columns to be read.
    first, rows : int
        The run of rows it is, counted from 0; of rows that were sorted out first, how many there are.
    series : int
        How many series it has.
    sorted_out : DataFrame or None
        Its rows, where they do not stand together in the dataset.
    """

    dataset: Dataset
    columns: tuple[str, ...]
    first: int
    rows: int
    series: int
    sorted_out: pl.DataFrame | None = None

    def read(self, error: Callable[[str], QcError]) -> pl.DataFrame:
        """Return its rows in the order of the dataset, with their numbers."""
        if self.sorted_out is not None:
            return self.sorted_out
        with readable(self.dataset.folder, error):
            run = self.dataset.scan(self.columns).slice(self.first, self.rows)
            return run.collect(engine="streaming").sort(ROW)


@dataclass(frozen=True, slots=True)
class InParts:
    """The parts of a dataset, made one by one as they are asked for; how many parts and series there are."""

    parts: Iterator[DatasetPart]
    count: int
    series: int


@contextmanager
def in_parts(
    dataset: Dataset,
    columns: Sequence[str],
    series: str | None,
    order: str | None,
    *,
    error: Callable[[str], QcError],
    rows: int | None = None,
) -> Iterator[InParts]:
    """Cut a dataset into parts of whole series.

    Parameters
    ----------
    dataset : Dataset
        As it was opened.
    columns : sequence of str
        Columns that the parts will have.
    series, order : str or None
        Column that names the series, and the one that orders their rows; without series all is one part.
        Series come in the order of their first row, so ordered.
    error : callable
        Makes the errors of the asker.
    rows : int, optional
        About so many rows a part; `PART_ROWS` when left out.

    Yields
    ------
    InParts
        To be used up within the context: scratch files are removed at its end.
    """
    wanted = tuple(columns)
    if series is None:
        yield InParts(iter([DatasetPart(dataset, wanted, 0, dataset.rows, 1)]), 1, 1)
        return
    with readable(dataset.folder, error):
        spans = _spans(dataset, series, order, rows or PART_ROWS)
    count = int(spans[PART].max()) + 1  # type: ignore[arg-type]
    if spans.select((pl.col("last") - pl.col("first") + 1 == pl.col("rows")).all()).item():
        runs = spans.group_by(PART).agg(pl.col("first").min(), pl.col("rows").sum(), pl.len()).sort(PART)
        parts = (DatasetPart(dataset, wanted, first, size, own) for _, first, size, own in runs.iter_rows())
        yield InParts(parts, count, spans.height)
        return
    with tempfile.TemporaryDirectory(prefix="qc-parts-") as scratch:
        with readable(dataset.folder, error), _room_in(Path(scratch)):
            _sort_out(dataset, wanted, series, spans, Path(scratch))
        sizes = dict(spans.group_by(PART).len().iter_rows())
        yield InParts(_sorted_out(dataset, wanted, Path(scratch), sizes), count, spans.height)


def _spans(dataset: Dataset, series: str, order: str | None, rows: int) -> pl.DataFrame:
    """Return where each series begins and ends, how many rows it has, and which part takes it."""
    asked = [series] if order is None else [series, order]
    begins = pl.col(ROW) if order is None else pl.col(order)
    found = (
        dataset.scan(asked)
        .group_by(_label(series, dataset.columns).alias(SERIES))
        .agg(
            pl.col(ROW).min().alias("first"),
            pl.col(ROW).max().alias("last"),
            pl.len().cast(pl.Int64).alias("rows"),
            begins.min().alias("begins"),
            pl.col(ROW).filter(begins == begins.min()).min().alias("begins at"),
        )
        .collect(engine="streaming")
        .cast({"first": pl.Int64, "last": pl.Int64})
    )
    together = bool((found["last"] - found["first"] + 1 == found["rows"]).all())
    # runs of rows can only be cut where they lie; mixed ones are put into the order of their beginning
    found = found.sort("first") if together else found.sort("begins", "begins at")
    parts, filled, number = [], 0, 0
    for size in found["rows"]:
        if filled and filled + size > rows:
            number, filled = number + 1, 0
        filled += size
        parts.append(number)
    return found.with_columns(pl.Series(PART, parts, pl.Int64))


def _label(series: str, columns: Mapping[str, pl.DataType]) -> pl.Expr:
    """Return the name of a row's series as a study takes it."""
    named = pl.col(series)
    return named.str.strip_chars() if columns[series] == pl.String else named


def _sort_out(
    dataset: Dataset, columns: Sequence[str], series: str, spans: pl.DataFrame, scratch: Path
) -> None:
    """Write the rows of each part into files of its own, in one pass over the dataset."""
    named = dataset.scan(columns).with_columns(_label(series, dataset.columns).alias(SERIES))
    told = spans.lazy().select(SERIES, PART)
    numbered = named.join(told, on=SERIES, how="left", nulls_equal=True).drop(SERIES)
    numbered.sink_parquet(pl.PartitionBy(scratch, key=PART, include_key=False), mkdir=True)


def _sorted_out(
    dataset: Dataset, columns: tuple[str, ...], scratch: Path, sizes: Mapping[int, int]
) -> Iterator[DatasetPart]:
    for number in sorted(sizes):
        files = sorted((scratch / f"{PART}={number}").rglob("*.parquet"))
        frame = pl.concat([pl.read_parquet(file) for file in files]).sort(ROW)
        yield DatasetPart(dataset, columns, 0, frame.height, sizes[number], frame)


@contextmanager
def _room_in(scratch: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        raise MachineError(
            f"{scratch.parent}: the rows of the dataset could not be sorted there ({fault.strerror}). Make "
            "room, or name another folder by the variable TMPDIR."
        ) from fault
