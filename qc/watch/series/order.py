"""Order of making: stated once, used everywhere.

Measured day in the plan's zone, then the time where one was typed, then the tool count, the row of the sheet
and the serial. Cards mostly carry only a date, so a time sorts after the untimed rows of its day.
"""

from __future__ import annotations

import polars as pl

ORDER: tuple[str, ...] = ("day", "has_time", "measured_at", "tool_count", "row", "serial")
"""Columns of the tidy table that give the order of making, first to last."""


def in_order(readings: pl.DataFrame) -> pl.DataFrame:
    """Return the readings in order of making.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table; needs the columns of `ORDER`.

    Returns
    -------
    polars.DataFrame
        The same rows, sorted; equal rows keep their order.

    Examples
    --------
    >>> from datetime import date, datetime
    >>> rows = pl.DataFrame({
    ...     "day": [date(2026, 5, 2), date(2026, 5, 1)], "has_time": [False, False],
    ...     "measured_at": [datetime(2026, 5, 2), datetime(2026, 5, 1)],
    ...     "tool_count": [8, 7], "row": [1, 2], "serial": ["B", "A"]})
    >>> in_order(rows)["serial"].to_list()
    ['A', 'B']
    """
    return readings.sort(list(ORDER), nulls_last=False, maintain_order=True)
