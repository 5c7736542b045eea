"""The monthly report: written three ways from one content, or, of a closed month, as it was stored."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qc.errors import MachineError
from qc.jobs.judging import brought_up
from qc.jobs.monthly.gathering import month_content
from qc.jobs.monthly.stored import FileNames, copied, put_files, stored_report
from qc.jobs.upload import ShowProgress
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject, as_meant
from qc.report.month import MonthContent, draw_all, month_answer, month_html, month_pdf, month_workbook
from qc.report.terminal import month_text
from qc.stats import Tabled


@dataclass(frozen=True, slots=True)
class MonthReport(Tabled):
    """The files of a month's report.

    Attributes
    ----------
    answer : dict
        What the command prints as JSON, without the files.
    files : tuple of Path
        The pdf, the page and the workbook.
    content : MonthContent or None
        What they say; None of a closed month, whose files are as they were stored.
    not_judged : str
        Since when signals wait that could not be kept now, in words.
    """

    answer: JsonObject
    files: tuple[Path, ...]
    content: MonthContent | None = None
    not_judged: str = ""

    def to_dict(self) -> JsonObject:
        """Return month, headline, files, and the figures of the first page."""
        return {**self.answer, "files": [str(path) for path in self.files]}

    def to_text(self) -> str:
        """Say what the month was and where the report lies."""
        told = month_text(self.answer, self.files)
        return f"{self.not_judged}\n{told}" if self.not_judged else told


@as_meant
def month(
    workshop: Workshop, which: str, *, out: Path | None = None, progress: ShowProgress | None = None
) -> MonthReport:
    """Write a month's report as pdf, page and workbook; of a closed month return the stored files.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``.
    out : pathlib.Path, optional
        Folder to write to; ``reports/YYYY-MM`` of the workshop when left out.
    progress : callable, optional
        Told how many series are judged and drawn, of how many, and in words.

    Raises
    ------
    QcError
        Not a month, a month to come, or a stored file that is lost or altered.
    MachineError
        The folder cannot be written.
    """
    stored = stored_report(workshop, which)
    if stored is not None:
        answer, files = stored
        return MonthReport(answer, copied(files, out) if out is not None else files)
    waits = brought_up(workshop)
    then = workshop.then
    content = month_content(workshop, which, keep=waits is None and then is None, progress=progress)
    # what was known then must not take the place of what is known now
    own = which if then is None else f"{which}-known-{then.day.isoformat()}"
    folder = out if out is not None else workshop.folder / "reports" / own
    written = written_files(content, progress)
    try:
        files = put_files(folder, written)
    except OSError as error:
        raise MachineError(
            f"{folder}: the report cannot be written here ({error.strerror}). None of its files was "
            "written; make room, or name another folder with --out."
        ) from error
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    return MonthReport(month_answer(content), files, content, told)


def written_files(content: MonthContent, progress: ShowProgress | None = None) -> dict[str, bytes]:
    """Return the three files of a report by their names: the same content in each."""
    drawings = draw_all(content, progress)
    names = FileNames(content.month)
    makers: dict[str, Callable[[], bytes]] = {
        names.pdf: lambda: month_pdf(content, drawings),
        names.html: lambda: month_html(content, drawings).encode("utf-8"),
        names.xlsx: lambda: month_workbook(content),
    }
    files = {}
    for done, (name, make) in enumerate(makers.items(), start=1):
        files[name] = make()
        if progress is not None:
            progress(done, len(makers), "files made:")
    return files
