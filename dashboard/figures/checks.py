"""The charts of a gauge: its checks over time between the tolerance, and what a study found."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from html import escape
from typing import Any

from dashboard import words
from dashboard.figures.frame import (
    EdgeLabel,
    Figure,
    Note,
    Shape,
    bare_axis,
    base_layout,
    level,
    shade,
    value_sheet,
)
from dashboard.theme import LIGHT, SMALL_PX
from qc.jobs.board import CheckView, GaugeView, is_zero

HEIGHT_PX, TOP_PX, BOTTOM_PX = 260, 46, 34
STUDY_ROW_PX, STUDY_TOP_PX, STUDY_BOTTOM_PX = 40, 12, 46

EDGE = timedelta(days=4)  # room at both ends, so that the newest check does not sit on the frame

SOURCES = {
    "part": "between the parts",
    "gauge": "gauge in all",
    "person": "between the people",
    "person_part": "person and part together",
    "repeatability": "same person, same part",
}
"""Sources of spread, the part's own first: the rest is to be small beside it."""


def draw_checks(view: GaugeView, today: date, narrow: bool = False) -> Figure | None:
    """Return the checks of a gauge against its master, day by day up to today; None where there are none.

    Days on which a check is missed since the last one are shaded.
    """
    if not view.checks:
        return None
    values = [check.value for check in view.checks]
    bounds = [view.tolerance, -view.tolerance] if view.tolerance is not None else []
    low, high = min([0.0, *values, *bounds]), max([0.0, *values, *bounds])
    pad = 0.1 * ((high - low) or view.step)
    y_range = (low - pad, high + pad)
    say = _say(view)
    days = [check.day.isoformat() for check in view.checks]
    labels = [] if narrow else [EdgeLabel(0.0, "as its master", LIGHT["soft"])]
    labels += [EdgeLabel(bound, f"limit {say(bound)}", LIGHT["ink"]) for bound in bounds]
    course = bare_axis(
        type="date",
        range=[(view.checks[0].day - EDGE).isoformat(), (today + EDGE).isoformat()],
        showline=True,
        linecolor=LIGHT["soft"],
        nticks=4 if narrow else 6,
        tickangle=0,  # a slanted name would need more room than there is below
        # chosen: from about four months of daily checks on days no longer fit
        tickformat="%b %Y" if len(view.checks) > 90 else "%-d %b",
        tickfont={"size": 12, "color": LIGHT["soft"]},
    )
    gap, gap_label = _gap(view, today)
    lines = [_across(0.0, LIGHT["soft"], "dash"), *(_across(b, LIGHT["ink"]) for b in bounds)]
    lines += _moved(view)
    layout = value_sheet(
        ("Off its master", view.unit, False),
        labels,
        y_range,
        (HEIGHT_PX, TOP_PX, BOTTOM_PX, 64),
        narrow=narrow,
        signed=True,
        across=course,
        shapes=[*gap, *lines],
        wanted=5,
        notes=gap_label,
    )
    data = {
        "type": "scatter",
        "mode": "markers",
        "x": days,
        "y": values,
        "text": [_story(check, say) for check in view.checks],
        "hovertemplate": "%{text}<extra></extra>",
        "cliponaxis": False,
        "marker": {
            "size": 8 if len(view.checks) <= 60 else 6,
            "symbol": [_symbol(check) for check in view.checks],
            "color": [LIGHT["drift"] if check.good is False else LIGHT["ink"] for check in view.checks],
        },
    }
    return {"data": [data], "layout": layout}


def draw_study(study: Mapping[str, Any], value: str) -> Figure:
    """Return the spreads a gauge study found, each with its interval, one under the other.

    Parameters
    ----------
    study : mapping
        As `qc gauge --json` prints it.
    value : str
        Name of the column that was studied.
    """
    pooled = {"person_part"} if study["pooled"] else set()
    rows = [name for name in SOURCES if name in study["sd"] and name not in pooled]
    height = STUDY_TOP_PX + STUDY_BOTTOM_PX + STUDY_ROW_PX * len(rows)
    layout = base_layout(height, STUDY_TOP_PX, 20, STUDY_BOTTOM_PX, 170)
    ends = {name: _ends(study, name) for name in rows}
    top = max([study["sd"][name] for name in rows] + [high for _, high in ends.values()]) or 1.0
    layout["xaxis"] = bare_axis(
        range=[-0.02 * top, 1.06 * top],
        showline=True,
        linecolor=LIGHT["soft"],
        nticks=6,
        tickfont={"size": 12, "color": LIGHT["soft"]},
        title={
            "text": escape(f"spread of {value} (sd, unit of the file)"),
            "standoff": 8,
            "font": {"size": 12, "color": LIGHT["soft"]},
        },
    )
    places = {name: len(rows) - 1 - number for number, name in enumerate(rows)}
    layout["yaxis"] = bare_axis(
        range=[-0.6, len(rows) - 0.4],
        tickvals=[places[name] for name in rows],
        ticktext=[SOURCES[name] for name in rows],
        tickfont={"size": 12, "color": LIGHT["ink"]},
    )
    layout["shapes"] = [
        {**level(places[name], low, high, _colour(name), 3), "layer": "below"}
        for name, (low, high) in ends.items()
    ]
    data = {
        "type": "scatter",
        "mode": "markers",
        "x": [study["sd"][name] for name in rows],
        "y": [places[name] for name in rows],
        "text": [f"{SOURCES[name]}: {study['sd'][name]:.4g}{_between(ends[name])}" for name in rows],
        "hovertemplate": "%{text}<extra></extra>",
        "cliponaxis": False,
        "marker": {"size": 11, "color": [_colour(name) for name in rows]},
    }
    return {"data": [data], "layout": layout}


def _gap(view: GaugeView, today: date) -> tuple[list[Shape], list[Note]]:
    """Shade the days without a check, from the first missed one on: that is where doubt begins."""
    if not view.missed or view.next_check is None:
        return [], []
    right = today.isoformat()
    shape = shade(view.next_check.isoformat(), right, LIGHT["drift-soft"])
    place = {"xref": "x", "x": right, "xanchor": "right", "yref": "paper", "y": 1, "yanchor": "bottom"}
    font = {"color": LIGHT["drift"], "size": SMALL_PX}
    return [shape], [{**place, "yshift": 2, "showarrow": False, "text": "no check", "font": font}]


def _moved(view: GaugeView) -> list[Shape]:
    """Draw the level that the checks have read at since the change that still stands."""
    change = next((one for one in reversed(view.changes) if one.stands), None)
    if change is None or change.kind not in ("shift", "trend"):
        return []
    first, last = change.since.isoformat(), view.checks[-1].day.isoformat()
    begun = change.before if change.kind == "trend" else change.now
    return [level(begun, first, last, LIGHT["drift"], 2, end=change.now)]


def _say(view: GaugeView) -> Callable[[float], str]:
    decimals = words.step_decimals(view.step)
    return lambda value: words.amount(value, view.unit, decimals, signed=True)


def _symbol(check: CheckView) -> str:
    """Draw a check at zero hollow: it tells another thing than one on a ring."""
    return ("diamond" if check.good is False else "circle") + ("-open" if is_zero(check.master) else "")


def _story(check: CheckView, say: Callable[[float], str]) -> str:
    by = f" by {check.person}" if check.person else ""
    by += f" on {check.master}" if check.master else ""
    outside = ", outside its tolerance" if check.good is False else ""
    return escape(f"{words.day(check.day, year=True)}{by}: {say(check.value)}{outside}")


def _across(y: float, colour: str, dash: str = "solid") -> Shape:
    line = level(y, 0, 1, colour, 1.2 if dash == "solid" else 1, dash)
    return {**line, "xref": "paper"}


def _ends(study: Mapping[str, Any], name: str) -> tuple[float, float]:
    interval = study["intervals"].get(name)
    if interval is None:
        return study["sd"][name], study["sd"][name]
    return math.sqrt(max(interval[0], 0.0)), math.sqrt(max(interval[1], 0.0))


def _between(ends: tuple[float, float]) -> str:
    return f" ({ends[0]:.4g} to {ends[1]:.4g})" if ends[0] < ends[1] else ""


def _colour(name: str) -> str:
    return LIGHT["steady"] if name == "part" else LIGHT["ink"]
