"""Plain files from the board: its colours, the data behind a chart, a month's report."""

from __future__ import annotations

import csv
from io import StringIO

from flask import Flask, Response, abort, send_file

from dashboard import queries, theme
from dashboard.door import ANYBODY, Role, needs
from qc.jobs.board import SeriesKey, SeriesView
from qc.plain import FORMULA_STARTS

COLUMNS = (
    "ordinal", "serial", "day", "model", "value", "measured", "unit", "readings", "spread", "person", "gauge",
    "tool", "tool_count", "batch", "air_c", "note",
)  # fmt: skip


def add_routes(server: Flask) -> None:
    """Add the plain routes for files."""

    @server.get("/theme.css")
    @needs(ANYBODY)
    def theme_css() -> Response:
        return Response(theme.style_sheet(), mimetype="text/css")

    @server.get("/data/stages/<stage>/<characteristic>/<family>.csv")
    @needs(Role.TECHNICIAN)
    def series_csv(stage: str, characteristic: str, family: str) -> Response:
        view = queries.board().series(SeriesKey(stage, characteristic, family))
        if view is None:
            abort(404, "There is no series of this name.")
        name = f"{stage}_{characteristic}_{family}.csv"
        head = {"Content-Disposition": f'attachment; filename="{_plain_name(name)}"'}
        return Response(write_csv(view), mimetype="text/csv; charset=utf-8", headers=head)

    @server.get("/month/preview")
    @needs(Role.TECHNICIAN)
    def month_preview() -> Response:
        return Response(queries.board().month_page(), mimetype="text/html; charset=utf-8")

    @server.get("/reports/<month>/<name>")
    @needs(Role.TECHNICIAN)
    def report_file(month: str, name: str) -> Response:
        # Only what the listing names is served, so no address reaches another file of the disk.
        for report in queries.board().reports():
            for path in report.files:
                if report.month == month and path.name == name:
                    return send_file(path, as_attachment=path.suffix not in {".pdf", ".html"})
        abort(404, "There is no such report.")


def write_csv(view: SeriesView) -> str:
    """Return the points of a series as csv, texts guarded against being run as formulas."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    unit = view.verdict.unit
    for p in view.verdict.points:
        row = [
            p.ordinal, p.serial, p.day.isoformat(), p.model, p.value, p.measured, unit, p.readings, p.spread,
            p.person, p.gauge, p.tool, p.tool_count, p.batch, p.air_c, p.note,
        ]  # fmt: skip
        writer.writerow([guard_cell(cell) for cell in row])
    return out.getvalue()


def guard_cell(value: object) -> object:
    """Return a cell that no spreadsheet will run.

    Examples
    --------
    >>> guard_cell("=1+1"), guard_cell(-1.5)
    ("'=1+1", -1.5)
    """
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return "" if value is None else value


def _plain_name(name: str) -> str:
    return "".join(c if c.isalnum() or c in "._-" else "_" for c in name)
