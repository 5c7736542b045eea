"""``/month``: the monthly reports on disk."""

from __future__ import annotations

from pathlib import Path

from dash import html
from dash.development.base_component import Component

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.parts import card, heading, nothing
from dashboard.routing import Page, address
from qc.jobs.board import ReportView
from qc.words import month_words

KIND_WORDS = {".pdf": "Open the pdf", ".html": "Open the page", ".xlsx": "Workbook"}


@needs(Role.TECHNICIAN)
def layout(**_: str) -> Component:
    """Return the list of reports, newest first."""
    reports = [report for report in queries.board().reports() if report.files]
    under = "Two pages for the owner, then a panel for each series. `qc month` writes a new one."
    if not reports:
        return html.Div(
            [heading("Month"), card("", nothing("No report is written yet: qc month YYYY-MM writes one."))]
        )
    return html.Div(
        [
            heading("Month", under.replace("`", "")),
            card("Reports", html.Ul([_row(r) for r in reports], className="months")),
        ]
    )


def _row(report: ReportView) -> Component:
    links = [html.Li(_link(report.month, path)) for path in report.files if path.suffix in KIND_WORDS]
    return html.Li([html.Strong(month_words(report.month)), html.Ul(links, className="files")])


def _link(month: str, path: Path) -> Component:
    href = address("/reports/<month>/<name>", {"month": month, "name": path.name})
    return html.A(KIND_WORDS[path.suffix], href=href, className="plain", target="_blank", rel="noopener")


def _title(**_: str) -> str:
    return "Month"


PAGE = Page("/month", "/month", layout, _title, nav="Month")
