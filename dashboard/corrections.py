"""The plain routes by which readings are put right or taken back, decisions undone, sheets put away."""

from __future__ import annotations

import json

from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from dashboard import queries
from dashboard.door import Role, needs
from dashboard.pages import decided, reading_life
from dashboard.uploads import problem, who

MOST_TEXT = 600  # chosen: a reason, not a report


def add_routes(server: Flask) -> None:
    """Add the routes for readings and for decisions that are taken back."""
    server.add_url_rule("/readings/<int:number>/ways", view_func=tell_ways_of_reading, methods=["GET"])
    server.add_url_rule("/readings/correct", view_func=correct_reading, methods=["POST"])
    server.add_url_rule("/held/decided", view_func=tell_decided, methods=["GET"])
    server.add_url_rule("/held/undo", view_func=undo_decision, methods=["POST"])
    server.add_url_rule("/sheets/put-away", view_func=put_sheet_away, methods=["POST"])
    server.add_url_rule("/sheets/show", view_func=show_layout, methods=["POST"])


@needs(Role.TECHNICIAN)
def tell_ways_of_reading(number: int) -> Response:
    """Answer with the form by which a reading is put right or taken back."""
    return _parts(reading_life.ways_of(number))


@needs(Role.TECHNICIAN)
def tell_decided() -> Response:
    """Answer with what was decided about held rows of late, each with the way to take it back."""
    return _parts(decided.decided_list())


@needs(Role.TECHNICIAN)
def correct_reading() -> Response:
    """Queue a correction, or the withdrawal of a reading, and answer with a ticket."""
    number, column, value = _text("reading"), _text("column"), _text("value")
    take_back = request.form.get("do") == "take-back"
    if not number.isascii() or not number.isdigit():
        return problem("Say which reading: open this from the reading's own line.", 400)
    if not take_back and (column not in dict(reading_life.COLUMNS) or not value):
        return problem("Type what it should say.", 400)
    wrong = _nobody()
    if wrong:
        return problem(wrong, 400)
    changes = {} if take_back else {column: value}
    sure = request.form.get("do") == "sure"
    return jsonify({"ticket": queries.desk().correct(number, changes, who(), _text("why"), sure)})


@needs(Role.TECHNICIAN)
def undo_decision() -> Response:
    """Queue the undoing of a decision about a held row and answer with a ticket."""
    row = _text("undone")
    if not row.isascii() or not row.isdigit():
        return problem("Say which decision: open this from its own line.", 400)
    wrong = _nobody()
    if wrong:
        return problem(wrong, 400)
    return jsonify({"ticket": queries.desk().undo([row], who(), _text("why"))})


@needs(Role.TECHNICIAN)
def put_sheet_away() -> Response:
    """Queue that a sheet which waits for its layout is put away, and answer with a ticket."""
    sheet = _text("sheet")
    if not any(one.sheet == sheet for one in queries.board().showing().waiting()):
        return problem("This sheet waits no more. Load the page anew to see which do.", 400)
    wrong = _nobody()
    if wrong:
        return problem(wrong, 400)
    return jsonify({"ticket": queries.desk().put_away(sheet, who(), _text("why"))})


@needs(Role.TECHNICIAN)
def show_layout() -> Response:
    """Queue that a sheet is read through the layout that was pointed at, and answer with a ticket."""
    sheet, told = _text("sheet"), request.form.to_dict(flat=False)
    found = queries.board().showing().preview(sheet, told)
    if found is None:
        return problem("This sheet waits no more. Load the list of sheets anew.", 400)
    if found.faults:
        return problem(f"It cannot be read so yet. {' '.join(found.faults)}", 400)
    if queries.board().shop().people and not who():
        return problem("Choose who shows it; the name is kept with it.", 400)
    return jsonify({"ticket": queries.desk().show_layout(sheet, found.text, who())})


def _nobody() -> str:
    """Say what is missing of who says it and why, nothing where both are given."""
    if queries.board().shop().people and not who():
        return "Choose who says it; the name is kept with it."
    return "" if _text("why") else "Say why in a few words: whoever looks it up next year will want to know."


def _text(name: str) -> str:
    return request.form.get(name, "").strip()[:MOST_TEXT]


def _parts(found: Component) -> Response:
    text = json.dumps(found, default=lambda part: part.to_plotly_json())
    return Response(text, mimetype="application/json")
