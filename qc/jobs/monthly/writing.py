"""The monthly report: gathered from the store, judged as of the month's last day, written three ways."""

from __future__ import annotations

import os
from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import polars as pl

from qc.errors import MachineError, QcError
from qc.jobs.judging import brought_up, judge_now, signals_of_day
from qc.jobs.pieces import hold_list, why_words
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.month import (
    MonthContent,
    PieceToHold,
    change_lines,
    data_gaps,
    decisions,
    die_lines,
    draw_all,
    gauge_lines,
    month_html,
    month_pdf,
    month_workbook,
    reaction_lines,
    return_lines,
    rework_lines,
    rolled_yield,
    shipped_models,
    stage_yields,
)
from qc.report.terminal import month_text
from qc.sayings import SignalState
from qc.stats import Tabled
from qc.store import OWN_FILE, HeldRecord, private_folder
from qc.watch import SeriesVerdict

@dataclass(frozen=True, slots=True)
class MonthReport(Tabled):
    """The files of a month's report."""

    content: MonthContent
    files: tuple[Path, ...]
    not_judged: str = ""  # since when signals wait that could not be kept now, in words

    def to_dict(self) -> JsonObject:
        """Return month, files and the headline."""
        return {
            "month": self.content.month,
            "as_of": self.content.as_of.isoformat(),
            "headline": self.content.headline,
            "files": [str(path) for path in self.files],
        }

    def to_text(self) -> str:
        """Say what the month was and where the report lies."""
        told = month_text(self.content.headline, self.files, self.content.last_hash)
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def month(workshop: Workshop, which: str, *, out: Path | None = None) -> MonthReport:
    """Write a month's report as pdf, page and workbook.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``.
    out : pathlib.Path, optional
        Folder to write to; ``reports/YYYY-MM`` of the workshop when left out.

    Raises
    ------
    QcError
        Not a month, or a month to come.
    MachineError
        The folder cannot be written.
    """
    waits = brought_up(workshop)
    then = workshop.then
    content = month_content(workshop, which, keep=waits is None and then is None)
    # what was known then must not take the place of what is known now
    own = which if then is None else f"{which}-known-{then.day.isoformat()}"
    folder = out if out is not None else workshop.folder / "reports" / own
    drawings = draw_all(content)
    documents = {
        "pdf": month_pdf(content, drawings),
        "html": month_html(content, drawings).encode("utf-8"),
        "xlsx": month_workbook(content),
    }
    try:
        private_folder(folder)
        files = _put({folder / f"month-{which}.{kind}": data for kind, data in documents.items()})
    except OSError as error:
        raise MachineError(
            f"{folder}: the report cannot be written here ({error.strerror}). None of its files was "
            "written; make room, or name another folder with --out."
        ) from error
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    return MonthReport(content, files, told)


def _put(documents: Mapping[Path, bytes]) -> tuple[Path, ...]:
    """Write every file whole or none of them: a reader never meets half a report."""
    drafts = {path.with_suffix(path.suffix + ".part"): path for path in documents}
    try:
        for draft, path in drafts.items():
            draft.touch(OWN_FILE)
            draft.write_bytes(documents[path])
        for draft, path in drafts.items():
            os.replace(draft, path)
    finally:
        for draft in drafts:
            draft.unlink(missing_ok=True)
    return tuple(documents)
