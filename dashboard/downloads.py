"""Plain files from the board: its colours, the data behind a chart, a month's report."""

from __future__ import annotations

import polars as pl
from flask import Flask, Response, abort, request, send_file

from dashboard import queries, theme
from dashboard.door import ANYBODY, Role, needs
from qc.jobs.board import SeriesKey, SeriesView
from qc.jobs.export import ExportFormat, table_file

TEXT, NUMBER, COUNT = pl.String(), pl.Float64(), pl.Int64()
COLUMNS: dict[str, pl.DataType] = {
    "ordinal": COUNT, "serial": TEXT, "day": pl.Date(), "model": TEXT, "value": NUMBER, "measured": NUMBER,
    "unit": TEXT, "readings": COUNT, "spread": NUMBER, "person": TEXT, "gauge": TEXT, "tool": TEXT,
    "tool_count": COUNT, "batch": TEXT, "air_c": NUMBER, "note": TEXT,
}  # fmt: skip

MIMETYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "parquet": "application/vnd.apache.parquet",
}
"""Formats of the data behind a chart, as registered with IANA."""


def add_routes(server: Flask) -> None:
    """Add the plain routes for files."""

    @server.get("/theme.css")
    @needs(ANYBODY)
    def theme_css() -> Response:
        return Response(theme.style_sheet(), mimetype="text/css")

    @server.get("/data/stages/<stage>/<characteristic>/<family>.<form>")
    @needs(Role.TECHNICIAN)
    def series_file(stage: str, characteristic: str, family: str, form: str) -> Response:
        view = queries.board().series(SeriesKey(stage, characteristic, family))
        if view is None:
            abort(404, "There is no series of this name.")
        if form not in MIMETYPES:
            abort(404, f"The data come as {', '.join(MIMETYPES)}, not as {form}. Load the page again.")
        name = f"{stage}_{characteristic}_{family}"
        made = queries.board().shop().day
        data = table_file(points_of(view), ExportFormat(form), name, made)
        head = {"Content-Disposition": f'attachment; filename="{_plain_name(name)}.{form}"'}
        return Response(data, mimetype=MIMETYPES[form], headers=head)

    @server.get("/hold/tags.pdf")
    @needs(Role.TECHNICIAN)
    def hold_tags() -> Response:
        data = queries.board().hold_tags(request.args.get("serial", ""))
        if data is None:
            abort(404, "No such piece is to be held, so there is no tag to print.")
        head = {"Content-Disposition": 'inline; filename="tags.pdf"'}
        return Response(data, mimetype="application/pdf", headers=head)

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


def points_of(view: SeriesView) -> pl.DataFrame:
    """Return the points of a series as a table, oldest first: every column there is, empty ones too."""
    unit = view.verdict.unit
    rows = [
        (
            p.ordinal, p.serial, p.day, p.model, p.value, p.measured, unit, p.readings, p.spread,
            p.person, p.gauge, p.tool, p.tool_count, p.batch, p.air_c, p.note,
        )
        for p in view.verdict.points
    ]  # fmt: skip
    # what nobody wrote is empty in every format, not a text of no letters
    cells = [tuple(None if cell == "" else cell for cell in row) for row in rows]
    return pl.DataFrame(cells, schema=COLUMNS, orient="row")


def _plain_name(name: str) -> str:
    return "".join(c if c.isalnum() or c in "._-" else "_" for c in name)
