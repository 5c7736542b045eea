"""The tools of a workshop in use: which pieces count, at which pace they draw, and when each is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.planned import filled_limits, latest_limits
from qc.jobs.remedies.sheet import stored_sheet
from qc.jobs.remedies.tool_wear import TOOL_COUNT, ToolWear, WearResult, wear
from qc.report.terminal import TOLD_WEEKS
from qc.watch import LOOK_BACK_DAYS

if TYPE_CHECKING:
    import polars as pl

    from qc.jobs.workshop import Workshop
    from qc.plan import Characteristic
    from qc.watch import SeriesVerdict


def wear_of(
    shop: Workshop,
    value: str | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    per_week: float | None = None,
    verdicts: Sequence[SeriesVerdict] = (),
) -> WearResult:
    """Forecast every tool in use for a figure of the workshop that wears, the plan's first by default.

    `verdicts` are those of the day: where one of them tells a day for the same count, that day is given.
    Without `per_week` the pace is that of each tool's last quarter.
    """
    wearing = [(s.id, c) for s in shop.plan.stages for c in s.characteristics if c.wears_with]
    chosen = [(stage, c) for stage, c in wearing if value in (None, c.id, c.name)]
    if not chosen:
        there = ", ".join(c.id for _, c in wearing) or "none"
        raise RemedyUsageError(f"--value {value}: no such wearing figure in the plan (it has: {there})")
    stage, characteristic = chosen[0]
    rows = shop.store.readings(stage=stage, characteristics=[characteristic.id])
    rows = _of_tools_in_use(rows, shop)
    told = _told_days(verdicts, characteristic.id) if per_week is None else {}
    return _wear_by_model(rows, shop, characteristic, (lower, upper), per_week, told)


def _of_tools_in_use(rows: pl.DataFrame, shop: Workshop) -> pl.DataFrame:
    """Keep the tools that are fitted on the day, and of each only what was made since its fitting."""
    removed = {t.id for t in shop.plan.tools if t.removed is not None and t.removed <= shop.today}
    kept = rows.filter(rows["tool"].is_not_null() & rows["tool_count"].is_not_null())
    return kept.filter(~kept["tool"].is_in(sorted(removed))) if removed else kept


def _since_fitting(rows: pl.DataFrame) -> pl.DataFrame:
    """Give one row a piece, readings averaged, from the last fall of the count on: a re-polish resets it."""
    import polars as pl

    ordered = rows.sort("measured_at", "row", maintain_order=True)
    falls = (ordered["tool_count"].diff() < 0).fill_null(False).arg_true()
    current = ordered[int(falls[-1]) :] if len(falls) else ordered
    pieces = current.group_by("serial", "tool_count", maintain_order=True).agg(
        pl.col("value").mean(), pl.col("tool").first(), pl.col("model").first(), pl.col("day").first()
    )
    return pieces.sort("tool_count", maintain_order=True)


def _pace(own: pl.DataFrame, today: date) -> float | None:
    """Return the draws a week of a tool's last quarter; None where it stood still."""
    recent = own.filter(own["day"] > today - timedelta(days=LOOK_BACK_DAYS))
    if recent.height < 2:
        return None
    draws = float(recent["tool_count"][-1] - recent["tool_count"][0])
    days = (today - recent["day"][0]).days
    return 7.0 * draws / days if draws > 0 and days > 0 else None


def _told_days(verdicts: Sequence[SeriesVerdict], characteristic: str) -> dict[tuple[str, int], date]:
    """Return the day to change a tool by as every page tells it, by tool and count."""
    return {
        (told.tool, told.change_by_count): told.change_by_day
        for verdict in verdicts
        if verdict.key.characteristic == characteristic
        and (told := verdict.forecast) is not None
        and told.change_by_count is not None
        and told.change_by_day is not None
    }


def _as_told(tool: ToolWear, told: dict[tuple[str, int], date], today: date) -> ToolWear:
    """Give a tool the day that is told of it elsewhere: two days for one change help nobody."""
    count = tool.line.change_by_count if tool.line is not None else None
    day = None if count is None else told.get((tool.tool, count))
    if day is not None:
        return replace(tool, change_by_date=day, weeks=max(0, (day - today).days) / 7.0)
    # a quarter's pace does not hold for years: a day that far off would be read as a promise
    far = tool.weeks is not None and tool.weeks > TOLD_WEEKS
    return replace(tool, change_by_date=None) if far else tool


def _wear_by_model(
    rows: pl.DataFrame,
    shop: Workshop,
    characteristic: Characteristic,
    asked: tuple[float | None, float | None],
    per_week: float | None,
    told: dict[tuple[str, int], date],
) -> WearResult:
    """Forecast every tool against the limits of the model it makes."""
    tools: list[ToolWear] = []
    cautions: tuple[str, ...] = ()
    for name in rows["tool"].unique(maintain_order=True).to_list():
        own = _since_fitting(rows.filter(rows["tool"] == name))
        _, low, high = filled_limits(latest_limits(characteristic, own["model"][0], shop.today), None, *asked)
        sheet = stored_sheet(own, f"{name} ({characteristic.id})", {"value": "value"}, ["tool", "tool_count"])
        result = wear(
            sheet,
            value="value",
            against=TOOL_COUNT,
            tool="tool",
            lower=low,
            upper=high,
            per_week=_pace(own, shop.today) if per_week is None else per_week,
            as_of=shop.today,
        )
        tools += [tool if per_week else _as_told(tool, told, shop.today) for tool in result.tools]
        cautions = result.cautions
    if not tools:
        raise RemedyError(
            f"{characteristic.name}: no readings with tool and count in the store. Upload the log first"
        )
    return WearResult(tuple(tools), characteristic.id, TOOL_COUNT, cautions)
