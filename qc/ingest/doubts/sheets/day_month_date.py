"""Day.month dates: a spreadsheet made 14 May of a diameter of 14.05, or a date was typed without its year."""

from __future__ import annotations

import re
from datetime import date

import polars as pl

from qc.ingest.cells import BARE, nearest_year, read_moment
from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow

MONTHS = {
    name: number
    for number, names in enumerate(
        "jan,feb,mar mär mrz,apr,may mai,jun,jul,aug,sep,oct okt,nov,dec dez".split(","), start=1
    )
    for name in names.split()
}
WORDED = re.compile(r"^(\d{1,2})[-. ]+([A-Za-zä]{3})[a-z]*\.?(?:[-. ]+\d{2,4})?$")


def find_day_month_date(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures that became dates, and dates without a year."""
    readings = [*_figures(facts), *_days(facts.readings, facts)]
    return Doubted(readings, _days(facts.events, facts))


def day_month_figure(day: date) -> float:
    """Return the figure a day.month date was typed as.

    Examples
    --------
    >>> day_month_figure(date(2026, 5, 14)), day_month_figure(date(2026, 12, 13))
    (14.05, 13.12)
    """
    return float(f"{day.day}.{day.month:02d}")


def _figures(facts: Facts) -> list[Finding]:
    # a figure of 14.05 comes back as 14 May: the date gives it back, but for a last zero
    if facts.readings.is_empty():
        return []
    unread = facts.readings.filter(
        pl.col("value").is_null() & (pl.col("text") != "") & (pl.col("_kind") == "measured")
    )
    found = []
    for row in unread.to_dicts():
        day = _as_day(row["text"])
        if day is None:
            continue
        value = day_month_figure(day)
        problem = f"the figure stands as a date, {row['text']}: a spreadsheet made one of {value:.2f}"
        mend = f"Accept {value:g}, and set such columns to text or number before typing."
        found.append(Finding(row[INDEX], Reason.DAY_MONTH_DATE, problem, mend, {"value": value}))
    return found


def _as_day(text: str) -> date | None:
    moment = read_moment(text, "UTC")
    if moment is not None:
        return moment.day
    worded = WORDED.match(text.strip())
    if worded is None or worded[2].casefold() not in MONTHS:
        return None
    try:
        return date(2000, MONTHS[worded[2].casefold()], int(worded[1]))
    except ValueError:
        return None


def _days(rows: pl.DataFrame, facts: Facts) -> list[Finding]:
    if rows.is_empty():
        return []
    unread = rows.filter(pl.col("day").is_null() & pl.col("day_text").str.contains(BARE.pattern))
    return [finding for row in unread.to_dicts() if (finding := _dated(row, facts, rows)) is not None]


def _dated(row: FrameRow, facts: Facts, rows: pl.DataFrame) -> Finding | None:
    match = BARE.match(row["day_text"].strip())
    if match is None:
        return None
    near = _near_day(row, rows) or facts.known.today
    day = nearest_year(int(match[1]), int(match[2]), near, facts.known.today)
    if day is None:
        return None
    problem = f"the date {row['day_text']} has no year"
    mend = f"Accept {day.isoformat()}, or write the whole date."
    return Finding(row[INDEX], Reason.DAY_MONTH_DATE, problem, mend, {"day": day.isoformat()})


def _near_day(row: FrameRow, rows: pl.DataFrame) -> date | None:
    """Return the middle of the days on the same sheet."""
    same = rows.filter((pl.col("sheet") == row["sheet"]) & pl.col("day").is_not_null())["day"]
    return same.sort()[same.len() // 2] if same.len() else None
