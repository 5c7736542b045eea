"""The chart of one series: its pieces in order, what changed, since when, what happened beside it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from html import escape
from itertools import pairwise
from math import ceil, floor

from dashboard import words
from dashboard.figures.events import CHARACTER_PX, EventLane, lay_out_events
from dashboard.figures.frame import (
    SYMBOLS,
    Axis,
    EdgeLabel,
    Figure,
    Note,
    Shape,
    Trace,
    bare_axis,
    base_layout,
    level,
    shade,
    value_sheet,
)
from dashboard.figures.overlays import draw_frozen, draw_rule_hits, draw_rule_limits
from dashboard.theme import LIGHT, SMALL_PX
from qc.jobs.board import (
    IN_100,
    Point,
    RulesView,
    SeriesView,
    SignalResult,
    StretchResult,
    as_running_rate,
    limit_lines,
)

HEIGHT_PX = 440
TOP_PX = 44
BAND_TEXT = "began in this band, 9 in 10 sure"
WIDE_PX, NARROW_PX = 590, 300
"""Widths that labels are laid out for where the reader's own is not known, on a desk and on a phone [px]."""

MONTH_PX, YEAR_PX = 36, 68
"""Room that a month's name needs, without and with its year [px]."""

FREE_PX = 4
"""Size of the mark of a piece without a fault, where most have none [px]."""

LITTLE = 0.02
"""Height of a chart of pieces that do not differ and have no limits, as a share of their figure (chosen)."""

FAR_LIMIT = 3.0
"""A limit further away than this many times the height of the data is named at the edge only."""


def draw_series(
    view: SeriesView,
    last: int | None = None,
    narrow: bool = False,
    rules: RulesView | None = None,
    width_px: int | None = None,
) -> Figure:
    """Return the chart of a series.

    Parameters
    ----------
    view : SeriesView
        The verdict with what the plan says of it.
    last : int, optional
        Show only this many of the newest points.
    narrow : bool
        Lay the labels inside the chart, for a screen too narrow for a margin.
    rules : RulesView, optional
        What classic rules found, where someone switched some on.
    width_px : int, optional
        About how wide the plot will be, so that names under it do not run into each other.
    """
    said = {p.ordinal: story(view, p) for p in view.verdict.points[-(last or 0) :]}
    faults: set[int] = set()
    rates = as_running_rate(view.verdict)
    if rates is not view.verdict:
        faults = {p.ordinal for p in view.verdict.points if p.value}
        view = replace(view, verdict=rates)
        said = {
            p.ordinal: f"{said[p.ordinal]}<br>{_running(view, p)}"
            for p in view.verdict.points
            if p.ordinal in said
        }
    verdict = view.verdict
    points = verdict.points[-last:] if last else verdict.points
    if not points:
        return {"data": [], "layout": base_layout(HEIGHT_PX, TOP_PX, 10, 30, 10)}
    first, final = points[0].ordinal, points[-1].ordinal
    x_range = (first - 0.8, final + 0.8)
    y_range = value_range(view, points)
    width = width_px or (NARROW_PX if narrow else WIDE_PX)
    lane = lay_out_events(view.marks, x_range, width, verdict.telling)
    labels, shapes = _levels(view, x_range, y_range, usual=rules is None)
    rule_labels, rule_shapes = draw_rule_limits(rules, x_range, y_range, _say(view))
    labels, shapes = [*labels, *rule_labels], [*shapes, *rule_shapes]
    band, band_label = _band(verdict.telling, first, final, width)
    frozen, frozen_label = draw_frozen(view, first, final)
    months = _months(points, width) | {"range": list(x_range), "ticklabelstandoff": lane.height_px + 4}
    layout = value_sheet(
        (verdict.name, verdict.unit, verdict.centered),
        labels,
        y_range,
        (HEIGHT_PX + lane.height_px, TOP_PX, 34 + lane.height_px, 58),
        narrow=narrow,
        signed=verdict.centered,
        across=months,
        shapes=[*frozen, *band, *shapes],
        notes=[*band_label, *frozen_label],
    )
    layout["annotations"] += lane.annotations
    data = [_points(view, points, said, faults), *draw_rule_hits(rules, points), *_ticks(lane, y_range[0])]
    return {"data": data, "layout": layout}


def value_range(view: SeriesView, points: Sequence[Point]) -> tuple[float, float]:
    """Return the span of the vertical axis: all points, and the limits that are not far away."""
    verdict = view.verdict
    values = [point.value for point in points]
    low, high = min(values), max(values)
    height = (high - low) or _lone_height(view, high)
    if high == low:  # one piece, or several alike: it stands in the middle of what would be seen as a change
        low, high = low - height / 2, high + height / 2
    if verdict.kind != "measured" and verdict.natural_upper is not None:
        high = max(high, verdict.natural_upper)  # how often a fault comes is seen beside how often it may
    earlier = [limit for limit, *_ in limit_lines(verdict, points[0].ordinal, points[-1].ordinal)]
    for limit in (verdict.lower, verdict.upper, verdict.target, *earlier):
        if limit is not None and low - FAR_LIMIT * height <= limit <= high + FAR_LIMIT * height:
            low, high = min(low, limit), max(high, limit)
    pad = 0.08 * ((high - low) or 1.0)
    # counts stand on their zero: a cut axis would make one defect look like a peak
    floor = 0.0 if verdict.kind != "measured" and min(values) >= 0 else low - pad
    return floor, high + pad


def _lone_height(view: SeriesView, value: float) -> float:
    """Return a height for a chart whose points do not differ: as far as the limits are, else a little."""
    verdict = view.verdict
    edges = [edge for edge in (verdict.lower, verdict.upper, verdict.target) if edge is not None]
    width = max([abs(value - edge) for edge in edges], default=0.0)
    if verdict.kind != "measured":
        return max(width, 1.0)
    return width or LITTLE * abs(value) or 1.0


def story(view: SeriesView, point: Point) -> str:
    """Return what the hover says of a point: the reading's story, in lines."""
    verdict = view.verdict
    decimals = words.decimals_of(verdict)
    names = {model.id: model.name for model in view.models}
    head = f"<b>{escape(point.serial)}</b>  {escape(names.get(point.model, point.model))}, "
    lines = [head + words.day(point.day, year=True)]
    value = words.figure(verdict, point.value)
    if verdict.centered:
        value += f" from target (measured {words.amount(point.measured, verdict.unit, decimals)})"
    lines.append(value)
    if point.readings > 1:
        inner = (
            f", spread {words.amount(point.spread, verdict.unit, decimals)}"
            if point.spread is not None
            else ""
        )
        lines.append(f"{point.readings} readings{inner}")
    made = [
        f"by {point.person}" if point.person else "",
        f"with {point.gauge}" if point.gauge else "",
        f"tool {point.tool}" + (f", draw {point.tool_count}" if point.tool_count is not None else "")
        if point.tool
        else "",
        f"batch {point.batch}" if point.batch else "",
        f"room {point.air_c:.1f} °C" if point.air_c is not None else "",
    ]
    told = ", ".join(part for part in made if part)
    lines += [escape(text) for text in (told, point.note) if text]
    if point.left_out:
        lines.append("left out on purpose: shown, in no figure")
    return "<br>".join(lines)


def _running(view: SeriesView, point: Point) -> str:
    rate = words.number(point.value, 1 if view.verdict.unit == IN_100 else 2)
    return f"{escape(view.verdict.name.rpartition(', ')[2])}: {rate} {view.verdict.unit}"


def _points(
    view: SeriesView, points: Sequence[Point], said: Mapping[int, str], faults: Collection[int] = ()
) -> Trace:
    drifting = [(s.first, s.last) for s in view.verdict.stretches if _drifts(view, s)]
    symbols = {model.id: SYMBOLS.get(model.symbol, "circle") for model in view.models}

    def colour(point: Point) -> str:
        if point.left_out:
            return LIGHT["soft"]
        inside = any(first <= point.ordinal <= last for first, last in drifting)
        return LIGHT["drift"] if inside else LIGHT["ink"]

    # chosen: above some 90 pieces larger marks touch at the width of a desk
    size = 9 if len(points) <= 90 else 6

    def shape(point: Point) -> str:
        own = symbols.get(point.model, "circle")
        return "circle-open" if point.left_out and own == "circle" else own

    return {
        "type": "scatter",
        "mode": "markers",
        "name": view.verdict.name,
        "x": [p.ordinal for p in points],
        "y": [p.value for p in points],
        "text": [said[p.ordinal] for p in points],
        "customdata": [p.serial for p in points],
        "hovertemplate": "%{text}<extra></extra>",
        "cliponaxis": False,
        "marker": {
            "size": size if not faults else [size if p.ordinal in faults else FREE_PX for p in points],
            "symbol": [shape(p) for p in points],
            "color": [colour(p) for p in points],
            "line": {"width": [0 if shape(p) == "circle" else 1.2 if p.left_out else 1.8 for p in points]},
        },
    }


def _drifts(view: SeriesView, stretch: StretchResult) -> bool:
    # Older changes that were lived with are part of what was; only the one being told of is coloured.
    signal = view.verdict.telling
    return signal is not None and stretch.changed and stretch.last >= signal.raised


def _say(view: SeriesView) -> Callable[[float], str]:
    verdict, decimals = view.verdict, words.decimals_of(view.verdict)
    if verdict.unit == IN_100:
        return lambda value: words.amount(value, IN_100, 0 if value.is_integer() else 1)
    return lambda value: words.amount(value, verdict.unit, decimals, verdict.centered)


def _levels(
    view: SeriesView, x_range: tuple[float, float], y_range: tuple[float, float], usual: bool = True
) -> tuple[list[EdgeLabel], list[Shape]]:
    verdict, say = view.verdict, _say(view)
    ink, soft = LIGHT["ink"], LIGHT["soft"]
    labels: list[EdgeLabel] = []
    shapes: list[Shape] = []

    def said(value: float) -> str:
        return words.bound(value, verdict.unit, verdict.centered)

    shapes += [
        level(limit, begin, end, ink, 1.2)
        for limit, begin, end in limit_lines(verdict, *x_range)
        if y_range[0] <= limit <= y_range[1]
    ]
    for limit, arrow in ((verdict.upper, "↑"), (verdict.lower, "↓")):
        if limit is None:
            continue
        if y_range[0] <= limit <= y_range[1]:
            labels.append(EdgeLabel(limit, f"limit {said(limit)}", ink))
        else:
            edge = y_range[1] if limit > y_range[1] else y_range[0]
            labels.append(EdgeLabel(edge, f"{arrow} limit {said(limit)}", ink))
    if verdict.target is not None and not verdict.centered and y_range[0] <= verdict.target <= y_range[1]:
        shapes += [
            level(aim, begin, end, soft, 1, "dash")
            for aim, begin, end in limit_lines(verdict, *x_range, of=("target",))
            if y_range[0] <= aim <= y_range[1]
        ]
        labels.append(EdgeLabel(verdict.target, f"target {said(verdict.target)}", soft))
    # One pair of limits at a time: those of the rules take the place of the usual ones.
    natural = [(verdict.natural_upper, "to"), (verdict.natural_lower, "from")] if usual else []
    if verdict.kind != "measured" and all(p.value.is_integer() for p in verdict.points):
        # of whole numbers the last one that is usual: between two of them there is nothing to be seen
        whole = {"to": floor, "from": ceil}
        natural = [(None if b is None else float(whole[way](b)), way) for b, way in natural]
    for bound, way in natural:
        if bound is not None and y_range[0] < bound < y_range[1]:
            shapes.append(level(bound, *x_range, LIGHT["steady"], 1, "dot"))
            labels.append(EdgeLabel(bound, f"usual {way} {say(bound)} ({verdict.rests_on})", LIGHT["steady"]))
    for name, stretch in _named(verdict.stretches):
        left, right = max(stretch.first - 0.4, x_range[0]), min(stretch.last + 0.4, x_range[1])
        if right <= x_range[0]:
            continue
        colour = LIGHT["drift"] if _drifts(view, stretch) else LIGHT["steady"]
        start, end = _ends(stretch, left)
        shapes.append(level(start, left, right, colour, 3 if name else 1.5, end=end))
        if name:
            # of a tool that wears the line has no one height: it is told where it ends
            name = "now" if name == "mean" and stretch.line_to is not None else name
            label = f"{name} {words.mean(verdict, end)} ({stretch.n})"
            labels.append(EdgeLabel(end, label, colour, bold=True))
    return labels, shapes


def _ends(stretch: StretchResult, left: float) -> tuple[float, float]:
    """Return the heights of a stretch's line: its mean, or the slope that wear gives it."""
    if stretch.line_from is None or stretch.line_to is None:
        return stretch.mean, stretch.mean
    cut = max(0.0, left + 0.4 - stretch.first) / max(1, stretch.last - stretch.first)
    return stretch.line_from + cut * (stretch.line_to - stretch.line_from), stretch.line_to


def _named(stretches: Sequence[StretchResult]) -> list[tuple[str, StretchResult]]:
    # The last two stretches are named: what it was, and what it is.
    names = [""] * max(0, len(stretches) - 2) + (["mean"] if len(stretches) == 1 else ["before", "now"])
    return list(zip(names, stretches, strict=True)) if stretches else []


def _band(
    signal: SignalResult | None, first: int, final: int, width_px: float
) -> tuple[list[Shape], list[Note]]:
    """Shade the pieces among which the change began; its words lean inwards at the ends of the chart."""
    if signal is None or words.start_set(signal)[1] < first:
        return [], []
    low, high = words.start_set(signal)
    left, right = max(low, first) - 0.5, high + 0.5
    middle = (left + right) / 2
    share = (middle - first) / max(1, final - first)
    half = len(BAND_TEXT) * CHARACTER_PX / 2 / width_px
    label = {
        "xref": "x",
        "x": middle,
        "xanchor": "right" if share > 1 - half else "left" if share < half else "center",
        "yref": "paper",
        "y": 1,
        "yanchor": "bottom",
        "yshift": 2,
        "showarrow": False,
        "text": BAND_TEXT,
        "font": {"color": LIGHT["drift"], "size": SMALL_PX},
    }
    return [shade(left, right, LIGHT["drift-soft"])], [label]


def _months(points: Sequence[Point], width_px: float) -> Axis:
    changes = [b for a, b in pairwise(points) if (a.day.year, a.day.month) != (b.day.year, b.day.month)]
    starts = [points[0], *changes]
    scale = width_px / max(1, points[-1].ordinal - points[0].ordinal)
    # A name needs room: where the next month begins at once, the first, cut stretch goes without.
    if len(starts) > 1 and (starts[1].ordinal - starts[0].ordinal) * scale < (YEAR_PX + MONTH_PX) / 2:
        starts = starts[1:]
    shown: list[Point] = []
    room = 0
    for here in starts:
        own = YEAR_PX if not shown or here.day.year != shown[-1].day.year else MONTH_PX
        if not shown or (here.ordinal - shown[-1].ordinal) * scale >= (own + room) / 2:
            shown.append(here)
            room = own
    turns = [True, *(a.day.year != b.day.year for a, b in pairwise(shown))]
    names = [
        f"{p.day:%b} {p.day.year}" if turn else f"{p.day:%b}" for p, turn in zip(shown, turns, strict=True)
    ]
    return bare_axis(
        tickvals=[p.ordinal for p in shown],
        ticktext=names,
        showline=True,
        linecolor=LIGHT["soft"],
        linewidth=1,
        tickangle=0,
        tickfont={"color": LIGHT["soft"], "size": 12},
    )


def _ticks(lane: EventLane, floor: float) -> list[Trace]:
    """Draw a tick for every event, also for those whose name found no room: the hover still tells it."""
    if not lane.marks:
        return []
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "events",
            "x": [mark.ordinal for mark in lane.marks],
            "y": [floor] * len(lane.marks),
            "text": [escape(f"{mark.text}, {words.day(mark.day, year=True)}") for mark in lane.marks],
            "hovertemplate": "%{text}<extra></extra>",
            "cliponaxis": False,
            "marker": {
                "symbol": "line-ns",
                "size": 14,
                "color": LIGHT["mark"],
                "line": {"width": 2, "color": LIGHT["mark"]},
            },
        }
    ]
