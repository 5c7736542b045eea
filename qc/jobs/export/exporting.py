"""A whole workshop as tidy tables with a data dictionary, for other programs."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from qc.errors import UsageError
from qc.jobs.export.columns import TableName, dictionary
from qc.jobs.export.tables import held, limits, pieces, plan_table, readings_in_parts, signals
from qc.jobs.export.writing import ExportFormat, writer_of
from qc.jobs.halves import half_folder, writable
from qc.jobs.judging import brought_up, ending, verdicts_of_day
from qc.jobs.signals import list_signals
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import export_text
from qc.stats import Tabled
from qc.store import OWN_FILE, private_folder

NOTHING_EXPORTED = "Nothing was exported."


@dataclass(frozen=True, slots=True)
class ExportedFile:
    """One table that was written: its file, and its rows without the head."""

    file: Path
    table: TableName
    rows: int

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"file": str(self.file), "table": self.table, "rows": self.rows}


@dataclass(frozen=True, slots=True)
class ExportedTables(Tabled):
    """What was written where; `note` says what could not be judged yet, empty mostly."""

    ROWS = "files"

    folder: Path
    format: ExportFormat
    as_of: date
    plan_version: int
    files: tuple[ExportedFile, ...]
    note: str = ""

    def to_dict(self) -> JsonObject:
        """Return plain values: the files, and the rows of each table by its name."""
        return {
            "folder": str(self.folder),
            "format": str(self.format),
            "as_of": self.as_of.isoformat(),
            "plan_version": self.plan_version,
            "files": [file.to_dict() for file in self.files],
            "rows": {file.table: file.rows for file in self.files},
            "note": self.note or None,
        }

    def to_text(self) -> str:
        """Say which table stands in which file."""
        rows = [(one.table, one.rows, one.file.name) for one in self.files]
        return export_text(self.folder, rows, self.note)


def export_tables(
    workshop: Workshop, out: Path, form: ExportFormat = ExportFormat.PARQUET, *, whole: bool = True
) -> ExportedTables:
    """Write readings, pieces, signals, limits, counts of held rows, the plan and the data dictionary.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; what waits is judged first.
    out : Path
        Folder for the files, made where missing; files of an earlier export are replaced, all at the end.
    form : ExportFormat
        Parquet and csv give a file for each table, xlsx one workbook.
    whole : bool
        Everything that was handed in; False leaves out what was measured after the workshop's day.

    Returns
    -------
    ExportedTables
        The files with their rows. All of them show the store at one moment.

    Raises
    ------
    UsageError
        `out` is a file, or lies where the workshop keeps its sheets.
    MachineError
        The folder cannot be written.
    """
    _refuse(workshop, out)
    waits = brought_up(workshop)
    until = None if whole else workshop.today
    with ending(NOTHING_EXPORTED), writable(out):
        private_folder(out)
        with half_folder(out, "export", "export") as half:
            files = _fill(workshop, half, form, until)
            for name in dict.fromkeys(one.file.name for one in files):
                (half / name).chmod(OWN_FILE)  # a library made it, with the rights that new files have
                os.replace(half / name, out / name)
    done = tuple(ExportedFile(out / one.file.name, one.table, one.rows) for one in files)
    version = len(workshop.store.plan_versions())
    note = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    return ExportedTables(out, form, workshop.today, version, done, note)


def _fill(workshop: Workshop, half: Path, form: ExportFormat, until: date | None) -> list[ExportedFile]:
    """Write every table into a folder, from one state of the store."""
    done = []
    with workshop.store.steady(), writer_of(form, half, workshop.today) as writer:
        verdicts = verdicts_of_day(workshop)
        lives = list_signals(workshop, all_states=True).signals
        waiting = [row for row in workshop.store.held(open_only=False) if until is None or row.day <= until]
        small: dict[TableName, pl.DataFrame] = {
            "pieces": pieces(workshop.plan, verdicts),
            "signals": signals(lives),
            "limits": limits(verdicts),
            "held": held(waiting),
            "plan": plan_table(workshop.plan),
            "dictionary": dictionary(),
        }
        name, rows = writer.write("readings", readings_in_parts(workshop, until))
        done.append(ExportedFile(half / name, "readings", rows))
        for table, frame in small.items():
            name, rows = writer.write(table, [frame])
            done.append(ExportedFile(half / name, table, rows))
    return done


def _refuse(workshop: Workshop, out: Path) -> None:
    """Raise where nothing may be written: a file, or the folder of the sheets as they were handed in."""
    if out.exists() and not out.is_dir():
        raise UsageError(f"{out} is a file. Name a folder; it is made where it is missing.")
    sheets = (workshop.folder / "sheets").resolve()
    if sheets in [out.resolve(), *out.resolve().parents]:
        raise UsageError(f"{out} lies among the sheets of the workshop. Name a folder outside it.")
