"""``/month``: the month so far, the way to write its report, and the reports that were written."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

from dash import Dash, Input, Output, dcc, html, no_update
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.fields import choice, desk_form, submit
from dashboard.parts import card, figures, heading, nothing, outcome, table, unbroken
from dashboard.routing import Page, address
from qc.jobs.board import ReportView
from qc.plain import JsonObject
from qc.words import month_words

KIND_WORDS = {".pdf": "Open the pdf", ".html": "Open the page", ".xlsx": "Workbook"}
DONE: Final = "month-done"

OFFERED: Final = 3
"""Months that can be written from here: the present one and two before, whose late cards may still come."""

UNDER = (
    "Two pages for the meeting, then a panel for each series: pdf, page and workbook say the same. A month "
    "stays open for late cards until the lead closes it by qc month YYYY-MM --close."
)


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the month so far, the form that writes it, and the list of reports, newest first."""
    said = html.Div(id="month-said", role="status", className="said-of", **{"aria-live": "polite"})
    body = html.Div(body_of(), id="month-body")
    return html.Div([heading("Month", UNDER), said, body, dcc.Store(id=DONE)])


def register(app: Dash) -> None:
    """Add the callback that lists a report once it is written."""

    @needs(Role.TECHNICIAN)
    def show_again(ticket: str) -> tuple[Component, Any]:
        """Return what became of a ticket, and the page as it stands now."""
        said, done = outcome(queries.ticket(ticket, "sentence"))
        return said, body_of() if done else no_update

    app.callback(
        Output("month-said", "children"),
        Output("month-body", "children"),
        Input(DONE, "data"),
        prevent_initial_call=True,
    )(show_again)


def offered(today: date) -> tuple[str, ...]:
    """Return the months that can be written, newest first.

    Examples
    --------
    >>> offered(date(2026, 1, 14))
    ('2026-01', '2025-12', '2025-11')
    """
    found, day = [], today
    for _ in range(OFFERED):
        found.append(f"{day:%Y-%m}")
        day = day.replace(day=1) - timedelta(days=1)
    return tuple(found)


def body_of() -> list[Component]:
    """Return everything below the head of the page."""
    told = queries.board().month()
    main = html.Div([_so_far(told), _yields(told), _open(told)])
    return [html.Div([main, html.Aside([_write(), _reports()])], className="grid first")]


def _so_far(told: JsonObject) -> Component:
    """Return the month in a sentence and its figures, as they stand on the first page of its report."""
    left = f"{told['shipped_total']}"
    if told["shipped_beside"]:
        left += f" ({told['shipped_beside']})"
    rows = [
        ("Shipped", left),
        ("First pass, all stages in a row", f"{told['rolled']}, 95 % interval"),
        ("Rework", told["rework_total"]),
        ("Pieces to hold", dcc.Link(f"{told['hold_total']} in the house", href="/hold")),
        ("Reactions open", dcc.Link(str(len(told["reactions"])), href="/signals")),
    ]
    preview = html.A(
        "Preview the whole of it", href="/month/preview", className="plain", target="_blank", rel="noopener"
    )
    title = f"{month_words(told['month'])} so far"
    return card(
        title,
        html.P(unbroken(told["headline"]), className="lead"),
        html.Div(figures(rows), className="below"),
        html.P(preview, className="below"),
    )


def _yields(told: JsonObject) -> Component:
    head = ("Stage", "This month, 95 % interval", "Pieces", told["before"], told["year_ago"])
    rows = [[y[name] for name in ("stage", "share", "of", "before", "year_ago")] for y in told["yields"]]
    if not rows:
        return card("First pass, by stage", nothing("No piece came to any stage yet."), className="below")
    listing = table(head, rows, "Pieces that passed without rework, of those that came to the stage")
    return card("First pass, by stage", listing, className="below")


def _open(told: JsonObject) -> Component:
    """Return what the meeting will have to decide, as far as it is known."""
    if not told["decisions"]:
        body: Component = nothing("Nothing has to be decided yet.")
    else:
        body = html.Ol([html.Li(unbroken(said)) for said in told["decisions"]], className="steps")
    return card("To decide", body, className="below")


def _write() -> Component:
    months = offered(queries.board().shop().day)
    body = [
        choice("Which month", "month", [(one, month_words(one)) for one in months]),
        html.Div([submit("Write it", "what", "write")], className="ways"),
    ]
    form = desk_form("/month/write", DONE, body, "month-write", saying="Writing it …")
    return card("Write the report", form, className="no-print")


def _reports() -> Component:
    reports = [report for report in queries.board().reports() if _told(report.files)]
    if not reports:
        return card("Reports", nothing("No report is written yet."))
    return card("Reports", html.Ul([_row(r) for r in reports], className="months"))


def _told(files: Sequence[Path]) -> list[Path]:
    return [path for path in files if path.suffix in KIND_WORDS]


def _row(report: ReportView) -> Component:
    links = [html.Li(_link(report.month, path)) for path in _told(report.files)]
    closed = [html.Span(" closed", className="state")] if report.closed else []
    return html.Li([html.Strong(month_words(report.month)), *closed, html.Ul(links, className="files")])


def _link(month: str, path: Path) -> Component:
    href = address("/reports/<month>/<name>", {"month": month, "name": path.name})
    return html.A(KIND_WORDS[path.suffix], href=href, className="plain", target="_blank", rel="noopener")


def _title(**_: str) -> str:
    return "Month"


PAGE = Page("/month", "/month", layout, _title, nav="Month", register=register)
