"""The plain routes by which people decide: on held rows, on a signal, on a series; and ask for studies."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import replace
from math import isfinite
from threading import BoundedSemaphore
from typing import Final

from flask import Flask, Response, jsonify, request

from dashboard import queries
from dashboard.door import MOST_BYTES, THREADS, Role, needs
from dashboard.pages import month, sheets
from dashboard.steps import steps
from dashboard.uploads import file_name, problem, who
from qc.jobs.board import HeldView, ShopView, SignalView
from qc.sayings import (
    MENDED,
    OF_SERIES,
    OF_SIGNAL,
    TICKED,
    Fault,
    Saying,
    What,
    faults_of_decision,
    faults_of_signal_saying,
    strange_piece,
)

GONE: Final = "This row is no longer held; someone has settled it already."
FIRST_ONLY: Final = "proposal-first"
DECISIONS: Final = ("proposal", "by-hand", "as-typed", "drop")
PIECE_WAYS: Final = ("release", "keep")
TEXT_LENGTH: Final = 600  # chosen: a remark, not a report
AT_ONCE_S: Final = 2.0
"""So long a request waits for its own decision, and the page need not ask again and again; chosen."""

_waits = BoundedSemaphore(THREADS // 2)  # so that pages are answered all the while

MOST_ROWS: Final = 500  # chosen: so many rows of one question are followed until they are settled
SIGNAL_FAULTS: Final = {
    Fault.NOBODY: "Choose who says it; the name is kept with it.",
    Fault.NOT_CLOSED: "Only a closed signal can be reopened.",
    Fault.CLOSED_ALREADY: "This signal is closed already. Reopen it first.",
    Fault.NO_CAUSE: "Choose the cause from the plan's list, or close the signal as false.",
    Fault.NO_ACTION: "Say in a few words what was done about it.",
    Fault.NO_OUTCOME: "Choose what became of the cause: mended, or the new level stays.",
    Fault.NO_STEP: "Choose the step or the piece that is meant.",
    Fault.NO_REMARK: "Write a remark or tick a step first.",
}
SERIES_FAULTS: Final = {
    Fault.NOBODY: "Choose who decides; the name is kept with it.",
    Fault.NO_REASON: "Say why in a few words: whoever looks at the chart next year will want to know.",
    Fault.NO_PIECE: "Name the first piece by its serial.",
    Fault.STRANGE_PIECE: "{} is no piece of this series. Look for its serial in the table under the chart.",
}
"""What to say of a fault; of several the first only: a form of four faults at once is closed, not mended."""

STUDY_FIGURES: Final = {"lower": "the lower limit", "upper": "the upper limit", "resolution": "the step"}


def add_routes(server: Flask) -> None:
    """Add the routes for held rows, signals, series and gauge studies."""
    server.add_url_rule("/held/decide", view_func=decide_rows, methods=["POST"])
    server.add_url_rule("/held/<row>/ways", view_func=tell_ways, methods=["GET"])
    server.add_url_rule("/held/after/<ticket>", view_func=tell_settled, methods=["GET"])
    server.add_url_rule("/judged", view_func=tell_judged, methods=["GET"])
    server.add_url_rule("/signals/<signal_id>/say", view_func=say_of_signal, methods=["POST"])
    server.add_url_rule("/series/decide", view_func=decide_series, methods=["POST"])
    server.add_url_rule("/hold/decide", view_func=decide_piece, methods=["POST"])
    server.add_url_rule("/month/write", view_func=write_month, methods=["POST"])
    server.add_url_rule("/gauges/study", view_func=study_gauge, methods=["POST"])
    server.add_url_rule("/remedies/recording", view_func=hear_recording, methods=["POST"])


@needs(Role.TECHNICIAN)
def decide_rows() -> Response:
    """Queue a decision on one held row or a run of them, and answer with a ticket.

    Where the worker is as quick as it is when nobody else asks, what became of the rows comes with it.
    """
    asked = [row for row in request.form.get("rows", "").split(",") if row]
    known = {row.id: row for row in queries.board().held_among(asked[:MOST_ROWS])[1]}
    rows = [known[row] for row in asked if row in known]
    if not rows or len(rows) < len(asked):
        return problem(GONE, 404)
    decision = request.form.get("decision", "")
    if decision == FIRST_ONLY:
        rows, decision = rows[:1], "proposal"
    wrong = _wrong_decision(decision, rows)
    if wrong:
        return problem(wrong, 400)
    if queries.board().shop().people and not who():
        return problem("Choose who decides, above the list; the name is kept with it.", 400)
    changes = {_text("column"): _text("value")} if decision == "by-hand" else {}
    ticket = queries.desk().decide([row.id for row in rows], decision, changes, who())
    answer: dict[str, object] = {"ticket": ticket}
    if _waits.acquire(blocking=False):
        try:
            if queries.desk().ended(ticket, AT_ONCE_S):
                answer["settled"] = _settled(ticket, asked)
        finally:
            _waits.release()
    return jsonify(answer)


@needs(Role.TECHNICIAN)
def tell_ways(row: str) -> Response:
    """Answer with the fields by which a held row can be settled otherwise, as the page's own elements."""
    found = sheets.ways_of(queries.board().held(), row)
    if found is None:
        return problem(GONE, 404)
    text = json.dumps(found, default=lambda part: part.to_plotly_json())
    return Response(text, mimetype="application/json")


@needs(Role.TECHNICIAN)
def tell_settled(ticket: str) -> Response:
    """Answer what became of a decision: a sentence, the rows that no longer wait, how many still do."""
    asked = [row for row in request.args.get("rows", "").split(",") if row][:MOST_ROWS]
    return jsonify(_settled(ticket, asked))


def _settled(ticket: str, asked: list[str]) -> dict[str, object]:
    """Return what became of a decision, as the page of sheets needs it."""
    done = queries.desk().progress(ticket)
    number, rows = queries.board().held_among(asked)
    waiting = {row.id for row in rows}
    counted, gone = sheets.held_sentence(number), [row for row in asked if row not in waiting]
    if done is None:
        said = "The board was started anew since; whether this was stored shows in the lists."
    elif done["state"] == "done":
        said = (done["receipt"] or {}).get("sentence", "")
    else:
        said = done["message"]
    return {"said": said, "counted": counted, "gone": gone, "judged": sheets.judged_sentence()}


@needs(Role.TECHNICIAN)
def tell_judged() -> Response:
    """Answer whether what was settled is judged, as a sentence, and whether it is worth asking again."""
    waits = bool(queries.board().not_judged())
    return jsonify({"waits": waits, "said": sheets.judged_sentence() if waits else sheets.JUDGED})


@needs(Role.TECHNICIAN)
def say_of_signal(signal_id: str) -> Response:
    """Queue what is said of a signal and answer with a ticket."""
    view = queries.board().signal(signal_id)
    if view is None:
        return problem("There is no signal of this name any more. Look at the list of signals.", 404)
    what = request.form.get("what", "")
    if what not in OF_SIGNAL:
        return problem(
            "Say what becomes of the signal: in hand, closed, closed as false, reopened, or a remark.", 400
        )
    saying = Saying(What(what), who(), _with_ticks(view))
    if saying.what is What.CLOSED:
        mended = _text("outcome") == MENDED
        first = _text("first") if mended else ""
        saying = replace(
            saying, cause=_text("cause"), action=_text("action"), outcome=_text("outcome"), first=first
        )
    if saying.what is What.STEP_UNDONE:
        number, known, why = _text("step-back"), _steps(view), _text("text")
        place = int(number) - 1 if number.isdecimal() and 0 < int(number) <= len(known) else None
        named = "" if place is None else f"{number}. {known[place]}" + (f" ({why})" if why else "")
        saying = replace(saying, text=named)
    if saying.what in {What.PIECE_DONE, What.PIECE_UNDONE}:
        saying = replace(saying, text=_text("text"), first=_text("first"))
        if saying.first and saying.first not in {piece.serial for piece in view.made_under}:
            return problem("That piece is not among those made under the cause.", 400)
    shop = queries.board().shop()
    faults = faults_of_signal_saying(saying, people=_codes(shop), causes=shop.causes, state=view.state)
    if faults:
        return problem(_first_of(SIGNAL_FAULTS, faults), 400)
    return jsonify({"ticket": queries.desk().say(signal_id, saying)})


@needs(Role.LEAD)
def decide_series() -> Response:
    """Queue a lead's decision about a series and answer with a ticket."""
    series = _text("series")
    known = {str(verdict.key): verdict for verdict in queries.board().verdicts()}
    if series not in known:
        return problem("There is no series of this name any more. Look at the list of stages.", 404)
    what = _text("what")
    if what not in OF_SERIES:
        return problem(
            "Say what is decided: a settled state frozen, pieces left out, or one of these undone.", 400
        )
    saying = Saying(What(what), who(), _text("why"), first=_text("first"), last=_text("last"))
    serials = {p.serial for p in known[series].points}
    faults = faults_of_decision(saying, people=_codes(queries.board().shop()), serials=serials)
    if faults:
        return problem(_first_of(SERIES_FAULTS, faults).format(strange_piece(saying, serials)), 400)
    return jsonify({"ticket": queries.desk().decide_series(series, saying)})


@needs(Role.LEAD)
def decide_piece() -> Response:
    """Queue that a piece is released, or kept back, and answer with a ticket."""
    serial, what, figure, why = (_text(name) for name in ("serial", "what", "figure", "why"))
    if what not in PIECE_WAYS:
        return problem("Say what becomes of the piece: released, or kept back.", 400)
    if not serial:
        return problem("Name the piece by its serial.", 400)
    if queries.board().shop().people and who() not in _codes(queries.board().shop()):
        return problem("Choose who decides; the name is kept with it.", 400)
    if not why:
        return problem("Say why in a few words: whoever looks at the piece next year will want to know.", 400)
    return jsonify({"ticket": queries.desk().decide_piece(serial, what, figure, who(), why)})


@needs(Role.TECHNICIAN)
def write_month() -> Response:
    """Queue that the report of a month is written and answer with a ticket."""
    asked = _text("month")
    if asked not in month.offered(queries.board().shop().day):
        return problem("Choose one of the months in the list.", 400)
    return jsonify({"ticket": queries.desk().write_month(asked, who())})


@needs(Role.TECHNICIAN)
def study_gauge() -> Response:
    """Queue a gauge study of one file and answer with a ticket."""
    request.max_content_length = MOST_BYTES
    sent = request.files.get("study")
    if sent is None or not sent.filename:
        return problem("Choose a csv or xlsx file of repeated readings first.", 400)
    question = {name: _text(name) for name in ("value", "part", "person", *STUDY_FIGURES)}
    if not question["value"] or not question["part"]:
        return problem("Name the column of the reading and that of the part.", 400)
    for name, said in STUDY_FIGURES.items():
        question[name] = question[name].replace(",", ".").replace("−", "-")
        if question[name] and not _is_number(question[name]):
            return problem(f"{said[:1].upper()}{said[1:]} has to be a number, or empty.", 400)
    file = (file_name(sent.filename), sent.stream)
    return jsonify({"ticket": queries.desk().study_gauge(file, question, who())})


@needs(Role.TECHNICIAN)
def hear_recording() -> Response:
    """Queue a recording of a piece's notes and answer with a ticket; it is heard and not kept."""
    request.max_content_length = MOST_BYTES
    sent = request.files.get("wav")
    if sent is None or not sent.filename:
        return problem("Choose a wav file, or record the notes here first.", 400)
    serial = _text("serial")
    if not serial:
        return problem("Open this page from an instrument: the recording is of one piece.", 400)
    return jsonify({"ticket": queries.desk().hear((file_name(sent.filename), sent.stream), serial, who())})


def _is_number(text: str) -> bool:
    try:
        return isfinite(float(text))
    except ValueError:
        return False


def _codes(shop: ShopView) -> list[str]:
    return [code for code, _ in shop.people]


def _first_of(words: Mapping[Fault, str], faults: Collection[Fault]) -> str:
    return next(said for fault, said in words.items() if fault in faults)


def _wrong_decision(decision: str, rows: list[HeldView]) -> str:
    if decision not in DECISIONS:
        return "Say what becomes of the row: the proposal, another value, as typed, or set aside."
    if decision == "proposal" and not all(row.proposal for row in rows):
        return "There is no mend to accept for this row. Type another value, or set it aside."
    if decision == "by-hand":
        if not _text("value"):
            return "Type the value that belongs there first."
        if not all(_text("column") in dict(row.columns) for row in rows):
            return "Choose what the new value is for: the figure, the serial, the day."
    return ""


def _with_ticks(view: SignalView) -> str:
    """Put the steps that were ticked before the remark; only steps of this signal are believed."""
    ticked = [step for step in _steps(view) if step in request.form.getlist("step")]
    return " ".join(part for part in [f"{TICKED}{' '.join(ticked)}" if ticked else "", _text("text")] if part)


def _steps(view: SignalView) -> list[str]:
    series = queries.board().series(view.verdict.key)
    return steps(series, view.signal) if series is not None else []


def _text(name: str) -> str:
    return " ".join(request.form.get(name, "").split())[:TEXT_LENGTH]
