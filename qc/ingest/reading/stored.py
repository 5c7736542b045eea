"""Parquet files of any size: only the columns asked for are brought in, after a look from a process apart.

The reader of such files trusts what they say of themselves: a damaged one can end the process that reads it,
or write to its terminal. So a child reads it first, with a limit on its memory, and only what it came through
is read here. It says what it found as one line of JSON; what it writes besides is thrown away.
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import polars as pl

from qc.ingest.reading.apart import command, python_can_be_started, surroundings
from qc.words import told_name

if TYPE_CHECKING:
    from qc.ingest.reading.manner import Manner

Found: TypeAlias = "tuple[tuple[str, ...], pl.DataFrame]"

CHECK = "qc.ingest.reading.stored_check"

LONGEST_CHECK_S = 300.0
"""How long a file may take to be looked at. Chosen: a damaged one can make its reader go round in circles,
and a whole one of the largest size taken needs a tenth of it."""


CROWDED, DAMAGED = "crowded", "damaged"
BROKEN = "its parts do not fit together"
MISNAMED = "its name or folder is not plain text: rename it"

SLICE = 10_000  # rows of a file of any size that are in memory at once
LONGEST_ROW = 1_000_000
"""Most characters of a row that is read as text. Chosen: far beyond any reading with its notes; a file of a
few bytes may say that each of its rows holds as much as the machine has memory. [character]"""


class TooManyCellsError(ValueError):
    """The columns asked for hold more cells than are taken."""


class LongRowError(ValueError):
    """A row holds more text than is taken."""


class NestedColumnError(ValueError):
    """A column holds more than one value a cell."""


def read_columns(path: Path, asked: Collection[str] | None, most_cells: int) -> Found:
    """Read columns of a file that is whole, rows without any entry at its end left out.

    Parameters
    ----------
    path : Path
        A Parquet file.
    asked : collection of str or None
        Columns wanted; those that are not there are passed over. None for all.
    most_cells : int
        Most cells taken.

    Returns
    -------
    tuple of (tuple of str, DataFrame)
        Names of all columns, and those wanted, named by their place.

    Raises
    ------
    TooManyCellsError
        Known from what the file says of itself, before any column is read.
    NestedColumnError
        A column wanted holds lists or records, whose size nobody knows before.
    """
    # a name with a star or an equals sign means this file and nothing else
    scan = pl.scan_parquet(path, glob=False, hive_partitioning=False)
    schema = scan.collect_schema()
    names = tuple(schema.names())
    wanted = [name for name in names if asked is None or name in asked]
    nested = next((name for name in wanted if schema[name].is_nested()), None)
    if nested is not None:
        raise NestedColumnError(f"column '{nested}' holds {schema[nested]}: one value a cell is needed")
    height = int(scan.select(pl.len()).collect().item())
    if height * max(len(wanted), 1) > most_cells:
        raise TooManyCellsError(f"{height} rows")
    cells = scan.select(wanted).collect()
    kept = _filled(cells)
    for name in names if kept < height else ():
        if name not in wanted:
            kept = max(kept, _filled(scan.select(pl.col(name).slice(kept)).collect()) + kept)
    places = [str(names.index(name)) for name in wanted]
    return names, cells.head(kept).rename(dict(zip(wanted, places, strict=True)))


def _filled(cells: pl.DataFrame) -> int:
    """Count the rows up to the last one with an entry."""
    filled = [
        (column.str.strip_chars() != "").fill_null(False)
        if column.dtype == pl.String
        else column.is_not_null()
        for column in cells
    ]
    if not filled:
        return 0
    used = pl.select(pl.any_horizontal(filled)).to_series().arg_true()
    return int(used[-1]) + 1 if used.len() else 0


def read_parquet(path: Path, manner: Manner, asked: Collection[str] | None = None) -> Found:
    """Look at a file from a process apart, then read it as `read_columns` does.

    Raises
    ------
    QcError
        As `manner.error`: damaged, nested, or more cells than are taken.
    """
    if _misnamed(path):
        manner.refuse("unreadable", path, words=MISNAMED)
    order: dict[str, object] = {"asked": None if asked is None else list(asked), "most": manner.most_cells}
    fault, words = _looked_at(path, order, LONGEST_CHECK_S)
    if fault == CROWDED:
        manner.refuse(CROWDED, path, most=f"{manner.most_cells:,}")
    if fault:
        manner.refuse("unreadable", path, words=words)
    try:
        return read_columns(path, asked, manner.most_cells)
    except pl.exceptions.PanicException as error:  # no `Exception`; the child came through, or there was none
        manner.refuse("unreadable", path, error, words=BROKEN)


def check_slices(path: Path) -> str:
    """Have a process apart go through a file as `parquet_slices` will; return what is wrong, or nothing.

    It may take `LONGEST_CHECK_S`, and a second more for each megabyte of the file.
    """
    if _misnamed(path):
        return MISNAMED
    return _looked_at(path, {"slices": True}, LONGEST_CHECK_S + path.stat().st_size / 1e6)[1]


def parquet_slices(path: Path, columns: Sequence[str] | None = None) -> Iterator[pl.DataFrame]:
    """Give the rows of a file of any size, `SLICE` at a time, each cell as somebody would type it.

    Parameters
    ----------
    path : Path
        A Parquet file.
    columns : sequence of str, optional
        The columns wanted; all when left out.

    Yields
    ------
    DataFrame
        Text: ISO days, 1 for true and for 1.0, nothing for null.

    Raises
    ------
    LongRowError
        A row of more than `LONGEST_ROW` characters.
    PolarsError, PanicException
        The file is damaged.
    """
    scan = pl.scan_parquet(path, glob=False, hive_partitioning=False)
    wanted = scan if columns is None else scan.select(columns)
    rows = int(scan.select(pl.len()).collect().item())
    for start in range(0, rows, SLICE):
        part = wanted.slice(start, SLICE).collect()
        texts = part.select(_as_typed(name, kind) for name, kind in part.schema.items())
        lengths = [column.str.len_chars().cast(pl.Int64) for column in texts]
        long = pl.select(pl.sum_horizontal(lengths) > LONGEST_ROW).to_series().arg_true()
        if long.len():
            raise LongRowError(f"row {start + int(long[0]) + 1} has more than {LONGEST_ROW:,} characters")
        yield texts


def _as_typed(name: str, kind: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(kind, pl.Datetime):
        return column.dt.strftime("%Y-%m-%d %H:%M:%S").fill_null("")
    whole = column.cast(pl.Int8) if kind == pl.Boolean else column
    text = whole.cast(pl.String).fill_null("")
    return text.str.strip_suffix(".0") if kind.is_float() else text


def _misnamed(path: Path) -> bool:
    """Tell whether the reader of such files cannot be given the name: it takes plain text only."""
    return told_name(str(path), len(str(path))) != str(path)


def _looked_at(path: Path, order: dict[str, object], seconds: float) -> tuple[str, str]:
    """Have a child read the file; return what it found wrong, by name and in words."""
    if not python_can_be_started():  # as within another program: then it is read here and now
        return "", ""
    try:
        done = subprocess.run(
            command(CHECK),
            input=json.dumps({"path": os.fspath(path), **order}).encode(),
            capture_output=True,
            timeout=seconds,
            check=False,
            env=surroundings(),
        )
    except subprocess.TimeoutExpired:
        return DAMAGED, f"nothing came of it within {seconds:.0f} s"
    except OSError:
        return "", ""
    try:
        said = json.loads(done.stdout)
        return str(said["fault"]), str(said["words"])
    except (ValueError, KeyError, TypeError):  # it ended before it could say anything
        return DAMAGED, BROKEN
