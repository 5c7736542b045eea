"""The plain routes by which sheets and accepted mends come in: multipart, with a size limit, no base64."""

from __future__ import annotations

from typing import Any, Final

from flask import Flask, Response, abort, jsonify, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from dashboard import queries

MOST_BYTES: Final = 64 * 1024 * 1024
"""Largest upload in one go; a single sheet has its own, smaller limit where it is read."""

MOST_FILES: Final = 500
WHO_LENGTH: Final = 40


def add_routes(server: Flask) -> None:
    """Add the routes for uploads, mends and their progress."""
    server.add_url_rule("/uploads", view_func=take_sheets, methods=["POST"])
    server.add_url_rule("/held/<held_id>/accept", view_func=accept_mend, methods=["POST"])
    server.add_url_rule("/tickets/<ticket>", view_func=tell_progress, methods=["GET"])
    server.register_error_handler(RequestEntityTooLarge, _too_large)


def take_sheets() -> Response:
    """Take the files of a form and answer with a ticket."""
    request.max_content_length = MOST_BYTES
    sent = [file for file in request.files.getlist("sheets") if file.filename]
    if not sent:
        return _problem("No sheet came with this upload. Choose one or more csv or xlsx files.", 400)
    if len(sent) > MOST_FILES:
        return _problem(f"{len(sent)} sheets are too many in one go; send at most {MOST_FILES}.", 400)
    files = [(_file_name(file.filename), file.read()) for file in sent]
    return jsonify({"ticket": queries.desk().submit(files, _who())})


def accept_mend(held_id: str) -> Response:
    """Queue the acceptance of a proposed mend and answer with a ticket."""
    known = next((row for row in queries.board().held() if row.id == held_id), None)
    if known is None:
        return _problem("This row is no longer held; someone has settled it already.", 404)
    if not known.proposal:
        return _problem("There is no mend to accept for this row. Mend the sheet and send it again.", 400)
    return jsonify({"ticket": queries.desk().mend(held_id, _who())})


def tell_progress(ticket: str) -> Response:
    """Answer how far a ticket is, without its receipt: the page asks for that itself."""
    found = queries.desk().progress(ticket)
    if found is None:
        abort(404)
    return jsonify({name: found[name] for name in ("state", "done", "of", "message")})


def _who() -> str:
    who = request.form.get("who", "").strip()[:WHO_LENGTH]
    codes = {code for code, _ in queries.board().shop().people}
    return who if who in codes else ""


def _file_name(sent: str | None) -> str:
    # Only the last part, and only what can be shown: the name labels the sheet, it never reaches the disk.
    name = (sent or "").replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in name if c.isprintable())[:200] or "sheet"


def _problem(sentence: str, status: int) -> Response:
    answer = jsonify({"problem": sentence})
    answer.status_code = status
    return answer


def _too_large(_: HTTPException) -> Any:
    return _problem(
        f"This is more than {MOST_BYTES // 2**20} MB in one go. Send fewer sheets at a time.", 413
    )
