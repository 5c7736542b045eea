"""The wear chart: the figure against the draws of the tool in use, its line, the limit, the day to change."""

from __future__ import annotations

from html import escape

from dashboard import words
from dashboard.figures.frame import EdgeLabel, Figure, Note, Shape, bare_axis, level, value_sheet
from dashboard.theme import LIGHT, SMALL_PX
from qc.jobs.board import Forecast, Point, SeriesView

HEIGHT_PX, TOP_PX, BOTTOM_PX = 280, 46, 44


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
    end = max([forecast.count_now, forecast.change_by_count or 0]) * 1.06
    now = words.current_stretch(verdict)
    since = [p for p in points if now is None or p.ordinal >= now.first] or points
    shapes, labels = _lines(forecast, since, end, verdict.unit)
    mark, note = _change_by(forecast)
    heights = [p.value for p in points] + [label.y for label in labels]
    pad = 0.1 * ((max(heights) - min(heights)) or 1.0)
    y_range = (min(heights) - pad, max(heights) + pad)
    draws = bare_axis(
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
    layout = value_sheet(
        (verdict.name, verdict.unit, verdict.centered),
        labels,
        y_range,
        (HEIGHT_PX, TOP_PX, BOTTOM_PX, 58),
        narrow=narrow,
        signed=verdict.centered,
        across=draws,
        shapes=[*shapes, *mark],
        wanted=5,
    )
    layout["annotations"] += note
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
    forecast: Forecast, points: list[Point], end: float, unit: str
) -> tuple[list[Shape], list[EdgeLabel]]:
    """Return the line of the pieces since the last change, and the limit it runs towards."""
    shapes: list[Shape] = []
    labels: list[EdgeLabel] = []
    if forecast.slope_per_100 is not None:
        slope = forecast.slope_per_100 / 100
        # The line of this slope that lies nearest to the pieces goes through their middle.
        height = sum(p.value - slope * (p.tool_count or 0) for p in points) / len(points)
        first = min(p.tool_count or 0 for p in points)
        last = height + slope * end
        shapes.append(level(height + slope * first, first, end, LIGHT["steady"], 2, end=last))
        pace = words.difference(forecast.slope_per_100, unit, signed=True)
        labels.append(EdgeLabel(last, f"{pace} / 100 draws", LIGHT["steady"], bold=True))
    if forecast.limit is not None:
        shapes.append(level(forecast.limit, 0, end, LIGHT["ink"], 1.2))
        labels.append(EdgeLabel(forecast.limit, f"limit {words.bound(forecast.limit, unit)}", LIGHT["ink"]))
    return shapes, labels


def _change_by(forecast: Forecast) -> tuple[list[Shape], list[Note]]:
    if forecast.change_by_count is None:
        return [], []
    count = forecast.change_by_count
    about = "about" if forecast.draws_left else "reached"
    when = f", {about} {words.day(forecast.change_by_day)}" if forecast.change_by_day else ""
    ends = {"x0": count, "x1": count, "yref": "paper", "y0": 0, "y1": 1}
    shape = {"type": "line", **ends, "line": {"color": LIGHT["mark"], "width": 2, "dash": "dash"}}
    place = {"x": count, "xanchor": "right", "yref": "paper", "y": 1, "yanchor": "bottom", "showarrow": False}
    text = escape(f"change by draw {count}{when}")
    return [shape], [{**place, "text": text, "font": {"color": LIGHT["mark"], "size": SMALL_PX}}]
