"""Closing a month: its report is written a last time, stored, and its hashes become an entry of the chain."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from qc.errors import MachineError, UsageError
from qc.jobs.errors import JobError
from qc.jobs.halves import AsBefore
from qc.jobs.judging import brought_up, ending
from qc.jobs.monthly.gathering import month_content, month_days
from qc.jobs.monthly.stored import FileNames, copied, put_files, stored_report
from qc.jobs.monthly.writing import MonthReport, month, written_files
from qc.jobs.roles import Verb, may
from qc.jobs.upload import ShowProgress
from qc.jobs.workshop import Workshop
from qc.report.month import month_answer
from qc.store import sheet_hash
from qc.words import dated_words, month_words

NOT_CLOSED = "Nothing was stored. The month is not closed."


def close_month(
    workshop: Workshop,
    which: str,
    *,
    who: str,
    out: Path | None = None,
    progress: ShowProgress | None = None,
) -> MonthReport:
    """Write the report of a month for good: from then on every run returns these files.

    Cards of its days that come in later change nothing in it; they stand in the next month's report.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``, a month that is over.
    who : str
        Code of the quality lead; it stands on the report.
    out : pathlib.Path, optional
        Folder for copies of the files; they are stored in ``reports/YYYY-MM`` in any case.
    progress : callable, optional
        As for `month`.

    Returns
    -------
    MonthReport
        Of a month that was closed before, as it was stored then.

    Raises
    ------
    UsageError
        Nobody is named.
    JobError
        The person may not close a month, the month is not over, or something came in meanwhile.
    MachineError
        The files or the store cannot be written.
    """
    may(who, Verb.CLOSE_MONTH, workshop.plan, workshop.store.people())
    _, last = month_days(which)
    if workshop.then is not None:
        raise UsageError("A past day is only looked at. Leave out --known to close a month.")
    if stored_report(workshop, which) is not None:
        return month(workshop, which, out=out)
    if last >= workshop.today:
        raise JobError(
            f"{month_words(which)} is not over: today is {dated_words(workshop.today)}. Close it when its "
            f"last cards are in; until then `qc month {which}` writes it as it stands."
        )
    with AsBefore() as files_beside, ending(NOT_CLOSED):
        waits = brought_up(workshop)
        if waits is not None:
            raise JobError(f"{waits.sentence(workshop.plan.workshop.time_zone)} {NOT_CLOSED}")
        said = f"Closed by {who} on {dated_words(workshop.today)}."
        content = month_content(workshop, which, closed=said, progress=progress)
        files = written_files(content, progress)
        answer = month_answer(content)
        told = json.dumps(answer, ensure_ascii=False, indent=1)
        files[FileNames(which).answer] = told.encode("utf-8")
        if not _stored(workshop, which, files, content.last_hash, who, files_beside):
            return month(workshop, which, out=out)
    place = workshop.folder / "reports" / which
    paths = tuple(place / name for name in FileNames(which).told)
    with ending("The month is closed."):
        return MonthReport(answer, copied(paths, out) if out is not None else paths, content)


def _stored(
    workshop: Workshop,
    which: str,
    files: Mapping[str, bytes],
    made_by: str,
    who: str,
    files_beside: AsBefore,
) -> bool:
    """Store the files and close the month in one transaction; False where somebody else just did.

    `made_by` is the hash of the newest entry that the report knows: nothing may have come in since.
    `files_beside` puts the files of before back where the month cannot be closed.
    """
    place = workshop.folder / "reports" / which
    with workshop.store.writing():
        # asked again where nobody else can write: of the person, too, whose role may have changed meanwhile
        may(who, Verb.CLOSE_MONTH, workshop.plan, workshop.store.people())
        if stored_report(workshop, which) is not None:
            return False
        if workshop.store.head() != made_by:
            raise JobError(
                "Something was handed in while the report was written, so the month was not closed. "
                "Type the command again."
            )
        for name in files:
            files_beside.note(place / name)
        try:
            put_files(place, files, flush=True)
        except OSError as error:
            raise MachineError(
                f"{place}: the report cannot be written here ({error.strerror}). Make room, and type the "
                "command again."
            ) from error
        hashes = {name: sheet_hash(data) for name, data in files.items()}
        workshop.store.close_month(which, hashes, who=who, when=workshop.now)
    return True
