"""The tools of a workshop in use, each by the series that the verdict judges, and when each is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from qc.jobs.judging import load_verdicts, looks_back
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.sheet import stored_sheet
from qc.jobs.remedies.tool_wear import TOOL_COUNT, ToolWear, WearResult, wear
from qc.watch import (
    SeriesKey,
    change_day_of,
    fittings,
    forecast_rests_on,
    idle_words,
    left_line_at,
    weekly_pace,
)

if TYPE_CHECKING:
    from qc.jobs.workshop import Workshop
    from qc.plan import Characteristic
    from qc.watch import Forecast, Point, SeriesVerdict

SAME_TARGET = 1e-9
"""Targets nearer than this are one; they come back from a difference. [unit of the figure]"""


def wear_of(
    shop: Workshop,
    value: str | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    per_week: float | None = None,
    verdicts: Sequence[SeriesVerdict] | None = None,
) -> WearResult:
    """Forecast every tool in use for a figure of the workshop that wears, the plan's first by default.

    A tool is told by the series that is judged, as status and the board tell it: where models of several
    targets share it, by what each piece is off its own target.

    Parameters
    ----------
    shop : Workshop
        An open workshop; what was measured after its day takes no part.
    value : str, optional
        Id or name of the figure.
    lower, upper : float, optional
        Limits of the figure itself, in place of the plan's. [its unit]
    per_week : float, optional
        Draws a week; without it the pace is that of the quarter up to each tool's newest piece.
    verdicts : sequence of SeriesVerdict, optional
        Those of the day, for who has them at hand.

    Raises
    ------
    RemedyUsageError
        No such figure wears, or a limit was given for a tool that makes models of several targets.
    RemedyError
        No piece with a tool and its count is on record.
    """
    wearing = [(s.id, c) for s in shop.plan.stages for c in s.characteristics if c.wears_with]
    chosen = [(stage, c) for stage, c in wearing if value in (None, c.id, c.name)]
    if not chosen:
        there = ", ".join(c.id for _, c in wearing) or "none"
        raise RemedyUsageError(f"--value {value}: no such wearing figure in the plan (it has: {there})")
    stage, figure = chosen[0]
    every = _verdicts_of(shop, stage, figure) if verdicts is None else verdicts
    own = [v for v in every if (v.key.stage, v.key.characteristic) == (stage, figure.id)]
    removed = {t.id for t in shop.plan.tools if t.removed is not None and t.removed <= shop.today}
    tools: list[ToolWear] = []
    cautions: tuple[str, ...] = ()
    for verdict in own:
        for fitting in _fittings_in_use(verdict):
            if fitting[-1].tool not in removed:
                result = _forecast(shop, verdict, fitting, (lower, upper), per_week)
                tools += result.tools
                cautions = result.cautions
    if not tools:
        raise RemedyError(
            f"{figure.name}: no readings with tool and count in the store. Upload the log first"
        )
    said = [
        f"{verdict.title}: by what each piece is off its own model's target, as it is charted"
        for verdict in own
        if verdict.centered
    ]
    return WearResult(tuple(tools), figure.id, TOOL_COUNT, cautions, tuple(said))


def _verdicts_of(shop: Workshop, stage: str, figure: Characteristic) -> list[SeriesVerdict]:
    """Return the verdicts of a figure on the day asked about; of a past day they are made for it alone."""
    keys = {
        str(SeriesKey(s.id, c.id, f)) for s, c, f in shop.plan.charted() if (s.id, c.id) == (stage, figure.id)
    }
    if not looks_back(shop):
        return [verdict for verdict in load_verdicts(shop) if str(verdict.key) in keys]
    from qc.jobs.judging import judge_now

    return judge_now(shop, keys, keep=False).verdicts


def _fittings_in_use(verdict: SeriesVerdict) -> list[list[Point]]:
    """Return the pieces of each tool of a series since it was fitted last, in order of making.

    Of the tool that its newest pieces come from they are those that the verdict itself forecasts it by.
    """
    points, told = verdict.points, verdict.forecast
    found = []
    for tool in dict.fromkeys(p.tool for p in points if p.tool and p.tool_count is not None):
        if told is not None and told.tool == tool:
            found.append([points[place] for place in fittings(points)[-1]])
            continue
        # other tools may have worked between: of one by itself only a falling count is a new fitting
        alone = [p for p in points if p.tool == tool]
        found.append([alone[place] for place in fittings(alone)[-1]])
    return found


def _forecast(
    shop: Workshop,
    verdict: SeriesVerdict,
    fitting: Sequence[Point],
    asked: tuple[float | None, float | None],
    per_week: float | None,
) -> WearResult:
    """Forecast one tool by the pieces of its fitting, on the scale and in the words of its series."""
    import polars as pl

    name, told = fitting[-1].tool, verdict.forecast
    told = told if told is not None and told.tool == name else None
    rests_on = forecast_rests_on(fitting, left_line_at(verdict.signals) if told else None)
    rows = pl.DataFrame(
        {
            "value": [p.value for p in rests_on],
            "tool": [p.tool for p in rests_on],
            TOOL_COUNT: [p.tool_count for p in rests_on],
        }
    )
    lower, upper = _limits(verdict, fitting, asked)
    pace = weekly_pace(fitting) if per_week is None else per_week
    result = wear(
        stored_sheet(
            rows, f"{name} ({verdict.key.characteristic})", {"value": "value"}, ["tool", TOOL_COUNT]
        ),
        value="value",
        against=TOOL_COUNT,
        tool="tool",
        lower=lower,
        upper=upper,
        per_week=pace,
        as_of=shop.today,
    )
    if per_week is not None:
        return result
    return replace(result, tools=tuple(_on_its_day(tool, fitting, told, shop) for tool in result.tools))


def _limits(
    verdict: SeriesVerdict, fitting: Sequence[Point], asked: tuple[float | None, float | None]
) -> tuple[float | None, float | None]:
    """Return the limits on the scale of the points: those asked for, else those of the series."""
    targets = [p.measured - p.value for p in fitting]
    if asked != (None, None) and max(targets) - min(targets) > SAME_TARGET:
        models = ", ".join(dict.fromkeys(p.model for p in fitting))
        raise RemedyUsageError(
            f"--lower and --upper: {fitting[-1].tool} makes pieces of different targets ({models}). "
            "Leave the limits to the plan"
        )
    lower, upper = (None if limit is None else limit - targets[0] for limit in asked)
    return (verdict.lower if lower is None else lower), (verdict.upper if upper is None else upper)


def _on_its_day(tool: ToolWear, fitting: Sequence[Point], told: Forecast | None, shop: Workshop) -> ToolWear:
    """Give a tool the day of its change as every page tells it, and how long that is from today.

    The day hangs on what was drawn. Where it has passed and the draws have not been made, that is said.
    """
    count = tool.line.change_by_count if tool.line is not None and tool.line.proven else None
    same = told is not None and told.change_by_count == count
    # as the verdict has it, which may have been kept by an earlier program
    day = told.change_by_day if told is not None and same else change_day_of(count, fitting)
    if day is None or count is None:
        return replace(tool, change_by_date=None)
    left = count - (fitting[-1].tool_count or 0)
    idle = idle_words(day, fitting[-1].day, left, shop.today)
    if idle:
        return replace(tool, change_by_date=day, warnings=(*tool.warnings, idle))
    return replace(tool, change_by_date=day, weeks=max(0, (day - shop.today).days) / 7.0)
