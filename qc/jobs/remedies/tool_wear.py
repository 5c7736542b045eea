"""`qc wear`: when a die or mandrel has to be changed, in draws and dates."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from qc import clock
from qc.jobs.remedies.cards import asked_sheet, wear_wanted
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.planned import given, model_of_sheet, planned_limits
from qc.jobs.remedies.sheet import MOST_FIGURE, RemedySheet, SheetRow, SheetSource, with_taken
from qc.plain import as_meant
from qc.plan import Plan
from qc.report.terminal import Forecast, taken_text, urgency, wear_text, wear_words, weeks_words
from qc.stats import Tabled
from qc.trade import TradeError, WearLine, cautions_for, fit_wear

LEAST_FOR_LINE = 3
"""Pieces that make a line with something to spare."""

DRAWS, TOOL = "draws", "tool"
"""Columns of a drawing card where the command names none."""

TOOL_COUNT = "tool_count"
"""Column of the draws since the fitting, as the store has it."""

LEAST_PACE = 1e-3
"""Chosen: a draw in twenty years is no pace. [1/week]"""

MOST_DAYS = 20_000
"""A date beyond a working life is no date."""


@dataclass(frozen=True, slots=True)
class ToolWear:
    """The forecast of one tool; `line` is None while it has too few pieces."""

    tool: str
    n: int
    line: WearLine | None
    change_by_date: date | None
    warnings: tuple[str, ...]
    counts: tuple[float, ...]
    values: tuple[float, ...]
    weeks: float | None = None
    counted: str = "count"

    @property
    def forecast(self) -> Forecast:
        """What is said of the tool, in the order in which it is said."""
        return self.tool, self.n, self.line, self.change_by_date, self.warnings, self.weeks, self.counted

    @property
    def said(self) -> str:
        """When to change it, in one sentence."""
        return wear_words(self.forecast)

    @property
    def lasts(self) -> str:
        """How long what is left of it lasts; empty without a pace."""
        return weeks_words(self.weeks) if self.weeks is not None else ""

    def to_dict(self) -> dict[str, object]:
        """Give the forecast in the agreed shape."""
        line = self.line
        return {
            "tool": self.tool,
            "n": self.n,
            "slope": None if line is None else line.slope,
            "interval": None if line is None else list(line.slope_interval),
            "limit": None if line is None else line.limit,
            "line_crossing": None if line is None or line.line_crossing is None else list(line.line_crossing),
            "change_by_count": None if line is None else line.change_by_count,
            "change_by_date": None if self.change_by_date is None else self.change_by_date.isoformat(),
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True, slots=True)
class WearResult(Tabled):
    """What `qc wear` answers."""

    ROWS = "tools"

    tools: tuple[ToolWear, ...]
    value: str
    against: str
    cautions: tuple[str, ...]
    taken: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, object]:
        """Give the forecasts in the agreed shape; `taken` where something came from a card or a plan."""
        return {"tools": [tool.to_dict() for tool in self.tools]} | with_taken(self.taken)

    def to_text(self) -> str:
        """Give one sentence a tool, the most urgent first, then the figures."""
        return taken_text(wear_text([tool.forecast for tool in self.tools], self.cautions), self.taken)

    @property
    def urgent_first(self) -> tuple[ToolWear, ...]:
        """The tools, the next to be changed first."""
        return tuple(sorted(self.tools, key=lambda tool: urgency(tool.forecast)))


@as_meant
def wear(
    sheet: SheetSource,
    *,
    value: str | None = None,
    against: str | None = None,
    tool: str | None = None,
    lower: float | None = None,
    upper: float | None = None,
    per_week: float | None = None,
    as_of: date | None = None,
    workshop: Path | None = None,
) -> WearResult:
    """Forecast the wear of every tool on a sheet.

    Parameters
    ----------
    sheet : path, polars DataFrame, pandas DataFrame or RemedySheet
        One row a piece, in order of making; or a drawing card as a bench writes it, whose pieces count as the
        mean of their readings.
    value, against : str, optional
        Columns of the figure that wears and of the count since the tool was fitted; with a workshop its
        figure that wears, and the draws.
    tool : str, optional
        Column of the tool's name.
    lower, upper : float, optional
        Limits of the figure; else those of the workshop's plan for the model. [its unit]
    per_week : float, optional
        Draws a week, for a date.
    as_of : date, optional
        Day from which the date counts; else the workshop's, else today.
    workshop : Path, optional
        Workshop whose plan gives what is left out.

    Returns
    -------
    WearResult
        One forecast a tool.

    Raises
    ------
    RemedyError
        A missing column, a cell that is no figure, or a count that falls on one tool.
    RemedyUsageError
        Limits or pace that cannot be.
    """
    by = given(workshop, as_of=as_of)
    _check_asked(lower, upper, per_week)
    if value is None and by.plan is not None:
        value = wearing_figure(by.plan)
    if value is None or (against is None and by.plan is None):
        raise RemedyUsageError("--value and --against name the columns of the figure and the count")
    if as_of is None:
        as_of = by.today if by.shop is not None else clock.today("UTC")
    value, against = value.strip().lower(), (against or DRAWS).strip().lower()
    tool = tool and tool.strip().lower()
    sheet = asked_sheet(sheet, wear_wanted(value, against, tool, by.plan), plan=by.plan)
    if tool is None and sheet.has(TOOL) and sheet.carded:
        tool = TOOL
    sheet.need(value, against, *([tool] if tool else []))
    sheet = _pieces(sheet, value, against, tool)
    taken = sheet.taken
    groups: dict[str, list[SheetRow]] = defaultdict(list)
    for row in sheet.rows:
        groups[sheet.label(row, tool) if tool else ""].append(row)
    tools = []
    counted = "draw" if against in (DRAWS, TOOL_COUNT) else "count"
    for name, rows in groups.items():
        own = replace(sheet, rows=tuple(rows))
        model = model_of_sheet(own, by) if by.plan is not None else None
        (_, low, high), said = planned_limits(by, value, model, (None, lower, upper))
        taken += said
        counts = tuple(sheet.number(row, against) for row in rows)
        values = tuple(sheet.number(row, value) for row in rows)
        line, warnings = _line(sheet, rows, counts, values, (value, against), low, high)
        change, weeks = _date(line, per_week, as_of), _weeks(line, per_week)
        tools.append(ToolWear(name, len(rows), line, change, warnings, counts, values, weeks, counted))
    return WearResult(tuple(tools), value, against, cautions_for("drawing"), tuple(dict.fromkeys(taken)))


def _check_asked(lower: float | None, upper: float | None, per_week: float | None) -> None:
    """Refuse limits and a pace that cannot be, each by the option it came with."""
    if per_week is not None and not LEAST_PACE <= per_week <= MOST_FIGURE:
        raise RemedyUsageError(f"--per-week {per_week:g}: a number of draws above 0 is needed")
    for name, limit in (("--lower", lower), ("--upper", upper)):
        if limit is not None and not abs(limit) <= MOST_FIGURE:
            raise RemedyUsageError(f"{name} {limit:g}: a limit in the unit of the values is needed")
    if lower is not None and upper is not None and not lower < upper:
        raise RemedyUsageError(f"--lower {lower:g} must be below --upper {upper:g}")


def wearing_figure(plan: Plan) -> str:
    """Return the one figure of a plan that wears.

    Raises
    ------
    RemedyUsageError
        There is none, or more than one.
    """
    names = [c.id for stage in plan.stages for c in stage.characteristics if c.wears_with]
    if len(names) != 1:
        raise RemedyUsageError(f"--value: say which figure wears; the plan has {', '.join(names) or 'none'}")
    return names[0]


def _pieces(sheet: RemedySheet, value: str, against: str, tool: str | None) -> RemedySheet:
    """Give one row a piece of a card, its readings averaged: what is read twice is no second piece."""
    if not sheet.carded or not sheet.has("serial"):
        return sheet
    together: dict[tuple[str, ...], list[SheetRow]] = defaultdict(list)
    for row in sheet.rows:
        key = (sheet.text(row, "serial"), sheet.text(row, against), sheet.text(row, tool) if tool else "")
        together[key].append(row)
    rows = []
    for same in together.values():
        mean = math.fsum(sheet.number(row, value) for row in same) / len(same)
        rows.append(
            replace(same[0], cells={**same[0].cells, value: repr(mean)}) if len(same) > 1 else same[0]
        )
    return replace(sheet, rows=tuple(rows))


def _line(
    sheet: RemedySheet,
    rows: list[SheetRow],
    counts: tuple[float, ...],
    values: tuple[float, ...],
    columns: tuple[str, str],
    lower: float | None,
    upper: float | None,
) -> tuple[WearLine | None, tuple[str, ...]]:
    """Fit one tool; too few pieces are said and not refused, since other tools may have their forecast."""
    # a falling count goes on to the fit, which refuses it by its cell, however few the pieces
    falling = any(after < before for before, after in zip(counts, counts[1:], strict=False))
    if (len(rows) < LEAST_FOR_LINE or len(set(counts)) < 2) and not falling:
        return None, (f"only {len(rows)} pieces on this tool: no line yet, measure on",)
    try:
        line = fit_wear(counts, values, lower=lower, upper=upper)
    except TradeError as error:
        raise sheet.blame(error, rows, {"value": columns[0], "count": columns[1]}) from error
    warnings = line.warnings
    if line.limit is None:
        warnings = (*warnings, "no limit was given: slope only, give --upper or --lower for a forecast")
    return line, warnings


def _weeks(line: WearLine | None, per_week: float | None) -> float | None:
    """Give how long what is left of a tool lasts; None without a pace, or where no change is planned."""
    if line is None or line.change_by_count is None or per_week is None or not line.proven:
        return None
    return max(0.0, (line.change_by_count - line.last_count) / per_week)


def _date(line: WearLine | None, per_week: float | None, as_of: date | None) -> date | None:
    weeks = _weeks(line, per_week)  # a day in the calendar would be read as the end of a tool that wears
    if weeks is None or as_of is None:
        return None
    most = min(MOST_DAYS, (date.max - as_of).days)
    return as_of + timedelta(days=math.floor(7.0 * weeks)) if 7.0 * weeks < most else None
