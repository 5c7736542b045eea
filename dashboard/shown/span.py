"""The span of a series that a page shows: the newest pieces first, all of them where somebody asks."""

from __future__ import annotations

from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from dashboard import words
from dashboard.parts import serial_link, state_words, table
from dashboard.routing import series_address
from qc.jobs.board import SeriesVerdict, SeriesView, SignalResult

WINDOW: Final = 60
"""Pieces shown at first: the newest, so that a long history does not hide the last weeks."""

BEFORE: Final = 20
"""Pieces shown before the band in which a change began."""

FORMATS: Final = ("csv", "xlsx", "parquet")


def window(verdict: SeriesVerdict, signal: SignalResult | None = None) -> int:
    """Return how many pieces are shown at first: enough to see what was before a change.

    Parameters
    ----------
    verdict : SeriesVerdict
        The series.
    signal : SignalResult, optional
        The change to be seen; by default the one that the series tells of now.
    """
    shown = signal or verdict.telling
    if shown is None or not verdict.points:
        return WINDOW
    return max(WINDOW, verdict.points[-1].ordinal - words.start_set(shown)[0] + 1 + BEFORE)


def span_tools(prefix: str, view: SeriesView, newest: int, now: SeriesView | None = None) -> Component:
    """Return the line above a chart: how the series stands, and the span, hidden where all are in view.

    Of a chart that shows the series as it stood, `now` is the series of today.
    """
    count = len(view.verdict.points)
    buttons = [
        html.Button(
            said, id=f"{prefix}-span-{span}", n_clicks=0, **{"aria-pressed": str(span == "newest").lower()}
        )
        for span, said in (("newest", f"newest {newest}"), ("all", f"all {count}"))
    ]
    group = html.Div(
        buttons,
        role="group",
        className="switch",
        hidden=count <= newest,
        **{"aria-label": "Span of the chart"},
    )
    said = [state_words(view.verdict)] if now is None else [html.Span(["Now: ", state_words(now.verdict)])]
    return html.Div([*said, group], className="tools")


def taking_along(prefix: str, view: SeriesView) -> Component:
    """Return the line below a chart: its figures as a table, as a picture, as files of all pieces."""
    name = "_".join(str(view.verdict.key).split("/"))
    at = f"/data{series_address(view.verdict.key)}"
    links: list[Any] = ["Download the data:"]
    for form in FORMATS:
        links += [" ", html.A(form, href=f"{at}.{form}", download=f"{name}.{form}")]
    ways = [
        html.A("The figures as a table", href=f"#{prefix}-pieces"),
        # board.js saves the chart that stands in the same card
        html.Button("Save the picture", type="button", className="plain", **{"data-picture": prefix}),
        html.Span(links),
    ]
    return html.Div(ways, className="taking no-print")


def pieces_fold(prefix: str, view: SeriesView, last: int | None) -> Component:
    """Return the pieces that a chart shows as a table too: a chart alone shuts out who cannot see it."""
    body = html.Div(pieces_table(view, last), id=f"{prefix}-pieces-body")
    return html.Details(
        [html.Summary("The figures as a table"), body], className="card", id=f"{prefix}-pieces"
    )


def pieces_table(view: SeriesView, last: int | None) -> list[Component]:
    """Return the newest `last` pieces of a series as a table, newest first; all of them without `last`."""
    verdict = view.verdict
    names = {model.id: model.name for model in view.models}
    points = verdict.points[-(last or 0) :]
    rows = [
        [
            serial_link(p.serial),
            words.day(p.day, year=True),
            names.get(p.model, p.model),
            words.figure(verdict, p.value),
            str(p.readings),
            p.person,
            p.gauge,
            f"{p.tool}, draw {p.tool_count}" if p.tool and p.tool_count is not None else p.tool,
            p.batch,
            "left out on purpose" if p.left_out else "",
            p.note,
        ]
        for p in reversed(points)
    ]
    head = ["Serial", "Made", "Model", "Figure", "Readings", "Person", "Gauge", "Tool", "Batch", "", "Note"]
    count = len(verdict.points)
    said = f"All {count} pieces" if len(rows) == count else f"The newest {len(rows)} of {count} pieces"
    return [table(head, rows, f"{said}, newest first", numbers=(3, 4))]
