"""The month on the board: as it stands today, and written by the worker."""

from __future__ import annotations

from collections.abc import Sequence

from qc.jobs.monthly import month, month_content
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.month import MonthContent, draw_all, month_html, plain_content
from qc.watch import SeriesVerdict
from qc.words import month_words


def month_so_far(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> MonthContent:
    """Return the report of the month of the workshop's day, as it stands.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; nothing is kept in its store.
    verdicts : sequence of SeriesVerdict
        Those of its day.
    """
    return month_content(workshop, f"{workshop.today:%Y-%m}", keep=False, verdicts=verdicts)


def month_figures(content: MonthContent) -> JsonObject:
    """Return the words and figures of a report, as its files say them, by the names of its templates."""
    return plain_content(content)


def month_page(content: MonthContent) -> str:
    """Return the first pages of a report as html; the panels are drawn only when it is written."""
    return month_html(content, draw_all(content, panels=False))


def write_month(workshop: Workshop, which: str) -> JsonObject:
    """Write the report of a month and say what became of it.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    which : str
        ``YYYY-MM``.
    """
    written = month(workshop, which)
    if written.content is None:
        said = f"{month_words(which)} is closed: its report stands as it was stored."
    else:
        said = f"{month_words(which)} is written. {written.content.headline}"
    return {"sentence": said, "reasons": []}
