"""The files of a history: which they are, what is none, and their lines read one by one, never a file whole.

A file may be of any size, so nothing here holds more of it than one row, which is bounded.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import NoReturn, TextIO

import polars as pl

from qc.errors import MachineError, UsageError
from qc.ingest import SheetError
from qc.ingest.reading import BROKEN, KINDS, LONGEST_ROW, BrokenRowError, LongRowError, split_rows
from qc.jobs.errors import JobError
from qc.words import told_name

KINDS_READ = {".csv", ".parquet"}
WORKBOOKS = {".xlsx", ".xlsm", ".xls", ".ods"}


def history_files(paths: Sequence[Path]) -> list[tuple[Path, str]]:
    """Name the files of a history, those of a folder and of the folders in it by their names.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders as they were given.

    Returns
    -------
    list of (Path, str)
        Each file, and what it is called on record.

    Raises
    ------
    UsageError
        There is no such file or folder, none of the kinds that are read in it, or what is no file.
    JobError
        The system takes no such name.
    MachineError
        We may not look.
    """
    found = []
    for path in paths:
        if _is_folder(path):
            found += [(file, f"{path.name}/{file.relative_to(path).as_posix()}") for file in _files_in(path)]
        else:
            found.append((path, path.name))
    return found


def _is_folder(path: Path) -> bool:
    """Tell a folder from a file; whatever is neither is called what it is."""
    shown = told_name(str(path))
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError, ValueError) as fault:  # the last for a NUL in the name
        raise UsageError(f"{shown}: there is no such file or folder. Check the name.") from fault
    except OSError as fault:
        made = JobError if fault.errno == errno.ENAMETOOLONG else MachineError
        raise made(f"{shown}: cannot be read ({fault.strerror}). Check the name.") from fault
    if path.is_dir():
        return True
    odd = next((words for is_one, words, _ in KINDS if is_one(mode)), None)
    if odd is not None:
        raise UsageError(f"{shown}: this is {odd}, not a file. Give the file itself, csv or Parquet.")
    if path.suffix.casefold() in WORKBOOKS:
        raise UsageError(
            f"{shown}: this is a workbook, and a history is read as csv or Parquet. Save it as csv, or hand "
            "its sheets in with `qc upload`."
        )
    return False


def _files_in(folder: Path) -> list[Path]:
    files = sorted(p for p in folder.rglob("*") if p.suffix.casefold() in KINDS_READ and not p.is_dir())
    if not files:
        shown = told_name(str(folder))
        raise UsageError(f"{shown}: there are no files *.csv or *.parquet in this folder or below it.")
    return [file for file in files if not _is_folder(file)]


@contextmanager
def readable(file: Path, name: str) -> Iterator[None]:
    """Say which file cannot be read, where, and whose fault that is."""
    try:
        yield
    except OSError as fault:
        shown = told_name(str(file))
        raise MachineError(f"{shown}: cannot be read ({fault.strerror or fault}). Check the name.") from fault
    except (pl.exceptions.PolarsError, LongRowError) as fault:
        refuse_parquet(name, str(fault).strip().splitlines()[0], fault)
    except pl.exceptions.PanicException as fault:  # no `Exception`
        refuse_parquet(name, BROKEN, fault)
    except BrokenRowError as fault:
        where = f"line {fault.line}"
        if "field limit" in fault.problem:  # the words of Python's csv
            most = fault.problem.rpartition("(")[2].rstrip(")")
            hint = "It is no table with a reading a line, or a quotation mark is missing: mend the line."
            raise SheetError(name, f"a cell has more than {most} characters", hint, cell=where) from fault
        hint = "A cell that begins with a quotation mark must end with one: mend the line."
        raise SheetError(name, "a quotation mark is out of place", hint, cell=where) from fault
    except UnicodeDecodeError as fault:
        hint = "Save it again as csv with the encoding UTF-8."
        raise SheetError(name, "the text is in an encoding that cannot be read", hint) from fault


def refuse_parquet(name: str, words: str, cause: BaseException | None = None) -> NoReturn:
    """Refuse a Parquet file by what is wrong with it."""
    raise JobError(f"{name}: cannot be read as parquet ({words}). Write it anew.") from cause


def text_rows(text: TextIO, separator: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Give each row of a csv text with the line it begins on; no more than one row is in memory.

    Raises
    ------
    SheetError
        A row that goes on for more than `LONGEST_ROW` characters, or what is no text.
    BrokenRowError
        A quotation mark is out of place or left open, or a cell is too long.
    """
    lines = _Lines(text, name)
    for line, cells in split_rows(lines, separator):
        yield line, cells
        lines.first, lines.taken = lines.line + 1, 0


class _Lines:
    """The lines of a text; `taken` counts characters since the row that began on line `first`."""

    def __init__(self, text: TextIO, name: str) -> None:
        self.text, self.name = text, name
        self.line, self.first, self.taken = 0, 1, 0

    def __iter__(self) -> Iterator[str]:
        for line in iter(partial(self.text.readline, LONGEST_ROW + 1), ""):
            self.line += 1
            self.taken += len(line)
            if "\x00" in line:
                hint = "It is no plain text, or was damaged: write it anew."
                raise SheetError(self.name, "the file holds a NUL byte", hint, cell=f"line {self.line}")
            if self.taken > LONGEST_ROW:  # one line, or a row of many lines within quotation marks
                problem = f"it goes on for more than {LONGEST_ROW:,} characters without an end"
                hint = "It is no table with a reading a line, or a quotation mark is missing: mend the line."
                raise SheetError(self.name, problem, hint, cell=f"line {self.first}")
            yield line
