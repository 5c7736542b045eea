"""The wear chart: the figure against the draws of the tool in use, its line, the limit, the day to change."""

from __future__ import annotations

from html import escape
from typing import Any

from dashboard import words
from dashboard.figures.frame import Figure, axis_title, bare_axis, base_layout, value_axis
from dashboard.theme import LIGHT, SMALL_PX
from qc.jobs.board_views import Forecast, Point, SeriesView

HEIGHT_PX = 260


def draw_wear(view: SeriesView, narrow: bool = False) -> Figure | None:
    """Return the chart of a wearing figure, or None where there is no forecast to draw."""
    verdict = view.verdict
    forecast = verdict.forecast
    if forecast is None:
        return None
    points = [
        p
        for p in verdict.points
        if p.tool == forecast.tool
        and p.tool_count is not None
        and (forecast.fitted_day is None or p.day >= forecast.fitted_day)
    ]
    if not points:
        return None
    decimals = words.decimals_of(verdict)
    layout = base_layout(HEIGHT_PX, 34, 14 if narrow else 190, 44, 46 if narrow else 58)
    end = max([forecast.count_now, forecast.change_by_count or 0]) * 1.06
    layout["xaxis"] = bare_axis(
        range=[-0.015 * end, end],
        showline=True,
        linecolor=LIGHT["soft"],
        nticks=8,
        title={
            "text": escape(f"draws of {forecast.tool} since it was fitted"),
            "standoff": 8,
            "font": {"size": 12},
        },
        tickfont={"size": 12, "color": LIGHT["soft"]},
    )
    levels = [p.value for p in points] + ([forecast.limit] if forecast.limit is not None else [])
    pad = 0.1 * ((max(levels) - min(levels)) or 1.0)
    layout["yaxis"] = value_axis(min(levels) - pad, max(levels) + pad, verdict.centered, wanted=5)
    layout["shapes"], layout["annotations"] = _lines(forecast, points, end, decimals, verdict.unit, narrow)
    layout["annotations"].append(axis_title(verdict.name, verdict.unit, verdict.centered, shift=2))
    data = {
        "type": "scatter",
        "mode": "markers",
        "x": [p.tool_count for p in points],
        "y": [p.value for p in points],
        "text": [f"<b>{escape(p.serial)}</b> draw {p.tool_count}, {words.day(p.day)}" for p in points],
        "hovertemplate": "%{text}: %{y}<extra></extra>",
        "customdata": [p.serial for p in points],
        "marker": {"size": 8, "color": LIGHT["ink"]},
        "cliponaxis": False,
    }
    return {"data": [data], "layout": layout}


def _lines(
    forecast: Forecast, points: list[Point], end: float, decimals: int, unit: str, narrow: bool
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    shapes: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    side = {"xref": "paper", "x": 1, "xanchor": "right" if narrow else "left", "xshift": 0 if narrow else 8}
    if forecast.slope_per_100 is not None:
        slope = forecast.slope_per_100 / 100
        # The line of this slope that lies nearest to the pieces goes through their middle.
        level = sum(p.value - slope * (p.tool_count or 0) for p in points) / len(points)
        colour = LIGHT["steady"]
        shapes.append(
            {
                "type": "line",
                "x0": 0,
                "x1": end,
                "y0": level,
                "y1": level + slope * end,
                "line": {"color": colour, "width": 2},
            }
        )
        pace = words.amount(forecast.slope_per_100, unit, decimals, signed=True)
        notes.append(
            {
                **side,
                "y": level + slope * end,
                "yshift": 10 if narrow else 0,
                "showarrow": False,
                "text": f"<b>{escape(pace)} / 100 draws</b>",
                "font": {"color": colour, "size": SMALL_PX},
            }
        )
    if forecast.limit is not None:
        line = {"color": LIGHT["ink"], "width": 1.2}
        shapes.append(
            {"type": "line", "x0": 0, "x1": end, "y0": forecast.limit, "y1": forecast.limit, "line": line}
        )
        said = words.bound(forecast.limit, unit)
        notes.append(
            {
                **side,
                "y": forecast.limit,
                "yshift": 9,
                "showarrow": False,
                "text": escape(f"limit {said}"),
                "font": {"color": LIGHT["ink"], "size": SMALL_PX},
            }
        )
    if forecast.change_by_count is not None:
        line = {"color": LIGHT["mark"], "width": 2, "dash": "dash"}
        count = forecast.change_by_count
        shapes.append(
            {"type": "line", "x0": count, "x1": count, "yref": "paper", "y0": 0, "y1": 1, "line": line}
        )
        when = f", about {words.day(forecast.change_by_day)}" if forecast.change_by_day else ""
        notes.append(
            {
                "x": count,
                "xanchor": "right",
                "yref": "paper",
                "y": 1,
                "yanchor": "bottom",
                "showarrow": False,
                "text": escape(f"change by draw {count}{when}"),
                "font": {"color": LIGHT["mark"], "size": SMALL_PX},
            }
        )
    return shapes, notes
