"""Spreadsheet day numbers: 46156 in a column of millimetres was 14 May 2026, and before that 14.05."""

from __future__ import annotations

import polars as pl

from qc.ingest.cells import SERIAL, SPREADSHEET_FIRST, SPREADSHEET_LAST, spreadsheet_day
from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.sheets.day_month_date import day_month_figure
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason


def find_spreadsheet_date(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures and dates that stand as a spreadsheet's day number."""
    return Doubted([*_figures(facts), *_days(facts.readings)], _days(facts.events))


def _figures(facts: Facts) -> list[Finding]:
    # whole millimetres or micrometres of this size are hardly ever read, and a day's number always looks
    # so
    if facts.readings.is_empty():
        return []
    value = pl.col("value")
    whole = value.is_between(SPREADSHEET_FIRST, SPREADSHEET_LAST) & (value == value.round())
    found = []
    for row in facts.readings.filter(whole & pl.col("unit").is_in(["mm", "um"])).to_dicts():
        day = spreadsheet_day(row["value"])
        if day is None:
            continue
        figure = day_month_figure(day)
        problem = (
            f"{row['text']} is a spreadsheet's number for {day.isoformat()}, which was typed as {figure:.2f}"
        )
        mend = f"Accept {figure:g}, and set such columns to text or number before typing."
        found.append(Finding(row[INDEX], Reason.SPREADSHEET_DATE, problem, mend, {"value": figure}))
    return found


def _days(rows: pl.DataFrame) -> list[Finding]:
    # a date column set to numbers shows five digits; they say the day without doubt, so it is offered
    if rows.is_empty():
        return []
    unread = rows.filter(pl.col("day").is_null() & pl.col("day_text").str.contains(SERIAL.pattern))
    found = []
    for row in unread.to_dicts():
        day = spreadsheet_day(float(row["day_text"]))
        if day is None:
            continue
        problem = (
            f"the date stands as the number {row['day_text']}, a spreadsheet's number for {day.isoformat()}"
        )
        mend = f"Accept {day.isoformat()}, or write the date."
        found.append(Finding(row[INDEX], Reason.SPREADSHEET_DATE, problem, mend, {"day": day.isoformat()}))
    return found
